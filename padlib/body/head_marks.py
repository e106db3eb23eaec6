"""Landmarks of head, neck and shoulders."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.figure import Figure, Mark, sagittal
from padlib.body.parts import SIDES
from padlib.body.pick import hollow, mass, on_profile, pick, smoothed
from padlib.body.slices import crest, edges, slices

Array = NDArray[np.float64]

UP = np.array([0.0, 0.0, 1.0])
STEP = 2.0  # mm between the samples of a profile
BUMP = 0.010  # of stature: half of the length over which a profile is smoothed, twice
FLAT = 2.0  # mm: places of a profile that differ by so little are taken together
TOP = 0.5  # mm: places of one section that lie so near its top or side are taken together
LEAST_SAMPLES = 5  # of a profile or ridge below which nothing is looked for
# Girth of the base of the neck over that of the neck (ANSUR II: 1 / 0.915 men, 1 / 0.889 women).
NECK_BASE = 1.11
SHOULDER = (
    0.114  # half the biacromial breadth as a share of stature (ANSUR II: 0.118 men, 0.112 women)
)


def head_marks(fig: Figure) -> dict[str, Mark]:
    """Crown, cervicale, suprasternal, neck_left/right, acromion_left/right, as far as the body has them."""
    marks: dict[str, Mark] = {}
    if fig.head:
        own = fig.vertices[:, 2] <= fig.parts.top  # hands may be higher
        marks["crown"] = (fig.vertices[np.argmax(np.where(own, fig.vertices[:, 2], -np.inf))], 1.0)
    tops = _shoulder_tops(fig)
    for side in fig.axilla:
        marks[f"acromion_{side}"] = _acromion(fig, tops[side], side)
    if fig.neck is None:
        return marks
    marks.update(_neck_front_back(fig))
    for side in SIDES:
        if f"acromion_{side}" in marks:
            marks[f"neck_{side}"] = _neck_side(fig, side, marks[f"acromion_{side}"][0], tops[side])
    return marks


def _neck_front_back(fig: Figure) -> dict[str, Mark]:
    """Cervicale: the outward corner of neck and upper back; suprasternal: the inward corner of throat and chest.

    Both are sought on the profile in the middle plane, as the farthest point from a chord, near the places where
    ANSUR II has them relative to the thinnest neck (cervicale 0.862, suprasternale 0.818 of stature).
    """
    tall = fig.stature
    thin = _thinnest(fig)
    cut = sagittal(fig, float(fig.parts.cut.centre[fig.parts.core[fig.neck], 0]))
    z = np.arange(fig.axilla_z - 0.06 * tall, thin + 0.05 * tall, STEP)
    if len(z) < LEAST_SAMPLES:
        return {}
    sides = edges(cut.start, cut.end, z, along=2, across=1)
    front, back = (_without_bumps(side, tall) for side in sides)
    marks: dict[str, Mark] = {}
    nape = _farthest(back, z, thin - 0.02 * tall, thin + 0.04 * tall, -1)
    spine = _farthest(back, z, fig.axilla_z - 0.06 * tall, thin - 0.05 * tall, 1)
    bow = hollow(back[:, 1:], spine[1:], nape[1:])
    at, lead = pick(
        z, -bow / tall, near=thin - 0.016 * tall, spread=0.010 * tall, weight=0.002, soft=1.0
    )
    marks["cervicale"] = (on_profile(sides[1], z, at), _sure(lead, 0.004))
    throat = _farthest(front, z, at - 0.03 * tall, min(at + 0.012 * tall, thin), 1)
    chest = front[np.argmin(np.abs(z - (fig.axilla_z - 0.01 * tall)))]
    bow = hollow(front[:, 1:], chest[1:], throat[1:])
    where, lead = pick(z, -bow / tall, near=at - 0.043 * tall, spread=0.012 * tall, weight=0.002)
    marks["suprasternal"] = (on_profile(sides[0], z, where), _sure(lead, 0.004))
    return marks


def _without_bumps(profile: Array, tall: float) -> Array:
    """A profile (k, 3) without bumps as long as a vertebra, which a thin clean back has and a noisy scan has not."""
    known = np.flatnonzero(np.isfinite(profile[:, 1]))
    out = profile.copy()
    width = 2 * int(BUMP * tall / STEP) + 1
    for k in (0, 1):
        out[known, k] = smoothed(smoothed(profile[known, k], width), width)
    return out


def _thinnest(fig: Figure) -> float:
    """Height of the thinnest neck from side to side, mm: the mean over the levels that are nearly as thin."""
    levels = fig.window(
        fig.levels[fig.neck] - 0.03 * fig.stature, fig.levels[fig.neck] + 0.03 * fig.stature
    )
    levels = levels[fig.parts.core[levels] >= 0]
    across = _across(fig)
    width = [float(np.ptp(fig.parts.cut.points(n) @ across)) for n in fig.parts.core[levels]]
    return float(mass(-np.array(width) / fig.stature, 0.004) @ fig.levels[levels])


def _across(fig: Figure) -> Array:
    """Unit vector (3,) from side to side: from armpit to armpit, so that a body a little turned measures the same."""
    if len(fig.axilla) < 2:
        return np.array([1.0, 0.0, 0.0])
    way = (fig.axilla["left"] - fig.axilla["right"]) * [1.0, 1.0, 0.0]
    return way / np.linalg.norm(way)


def _farthest(profile: Array, z: Array, low: float, high: float, sign: int) -> Array:
    """Point (3,) of a profile between two heights that is farthest back (+1) or farthest forward (-1).

    The mean of all that are nearly as far (FLAT): on a flat back the farthest point itself jumps by centimetres.
    """
    inside = np.flatnonzero((z >= low) & (z <= high) & np.isfinite(profile[:, 1]))
    if not len(inside):
        return profile[np.argmin(np.abs(z - low))]
    return mass(sign * profile[inside, 1], FLAT) @ profile[inside]


def _sure(lead: float, full: float) -> float:
    """Confidence 0.5..0.95 from how far the chosen place stands out."""
    return float(0.5 + 0.45 * np.clip(lead / full, 0.0, 1.0))


def _shoulder_tops(fig: Figure) -> dict[str, Array]:
    """The ridge of each shoulder: highest points (k, 3) of planes x = const from the neck out to the arm."""
    near = fig.vertices[:, 2] > fig.axilla_z - 0.03 * fig.stature
    faces = fig.faces[near[fig.faces].all(axis=1)]
    middle = fig.middle(fig.crotch_z + 0.1 * fig.stature, fig.axilla_z)
    out = {}
    for side, sign in SIDES.items():
        far = np.arange(0.03 * fig.stature, 0.19 * fig.stature, STEP)
        cut = slices(fig.vertices, faces, np.sort(middle + sign * far), (1.0, 0.0, 0.0))
        top = crest(cut.start, cut.end, cut.level, UP, len(far), flat=TOP)
        top = top if sign > 0 else top[::-1]
        out[side] = top[np.isfinite(top[:, 2])]
    return out


def _acromion(fig: Figure, ridge: Array, side: str) -> Mark:
    """Shoulder point: on the ridge, where its slope turns from that of the shoulder to that of the arm.

    A shoulder turns softly, so the place is held near half the published biacromial breadth.
    """
    tall = fig.stature
    if len(ridge) < LEAST_SAMPLES:
        return np.full(3, np.nan), 0.0
    middle = fig.middle(fig.crotch_z + 0.1 * tall, fig.axilla_z)
    out = np.abs(ridge[:, 0] - middle)
    width = 2 * int(0.008 * tall / STEP) + 1
    slope = np.arctan(np.gradient(smoothed(ridge[:, 2], width), out))
    beside = max(
        0.065 * tall, _beside_head(fig, ridge, out) + 0.004 * tall
    )  # a child's head is wide
    inner = slope[(out > beside) & (out < beside + 0.020 * tall)]
    outer = slope[(out > 0.145 * tall) & (out < 0.175 * tall)]
    if not len(inner) or not len(outer):
        near = int(np.argmin(np.abs(out - SHOULDER * tall)))
        return ridge[near], 0.3
    half = 0.5 * (np.median(inner) + np.median(outer))
    turn = abs(np.median(inner) - np.median(outer))
    off = np.abs(slope - half) / np.radians(12.0)
    at, _ = pick(
        out, -off * np.clip(turn / 0.5, 0, 1), near=SHOULDER * tall, spread=0.014 * tall, weight=1.0
    )
    point = np.array([np.interp(at, out, ridge[:, k]) for k in range(3)])
    return point, float(0.4 + 0.45 * np.clip(turn / 0.5, 0, 1))


def _beside_head(fig: Figure, ridge: Array, out: Array) -> float:
    """How far from the middle (mm) the highest points of a ridge still lie on head or neck; nought without a neck."""
    if fig.neck is None:
        return 0.0
    return float(np.max(out[ridge[:, 2] > fig.levels[fig.neck]], initial=0.0))


def _neck_side(fig: Figure, side: str, shoulder: Array, ridge: Array) -> Mark:
    """Side neck point: where the outline from the front bends from neck to shoulder.

    The bend is the farthest place from the chord; it is held near NECK_BASE times the half breadth
    of the thinnest neck, since a trapezius makes a long soft bend.
    """
    sign = SIDES[side]
    levels = fig.window(shoulder[2], float(fig.levels[fig.neck]))
    outline = _outline(fig, levels, sign)
    if not len(outline) or not len(ridge):
        return np.full(3, np.nan), 0.0
    top = outline[0]
    out = sign * (ridge[:, 0] - top[0])
    beyond = (out > 0) & (sign * (shoulder[0] - ridge[:, 0]) > 0) & (ridge[:, 2] < top[2])
    path = np.concatenate([outline, ridge[beyond]])
    path = path[sign * (shoulder[0] - path[:, 0]) > 0]
    bow = sign * hollow(path[:, [0, 2]] - top[[0, 2]], np.zeros(2), (shoulder - top)[[0, 2]])
    half = 0.5 * _breadth(fig)
    off = (sign * (path[:, 0] - top[0]) - (NECK_BASE - 1) * half) / (0.1 * half)
    if not len(path):
        return np.full(3, np.nan), 0.0
    step = np.linalg.norm(np.gradient(path, axis=0), axis=1) if len(path) > 1 else np.ones(1)
    score = -bow / fig.stature - 0.004 * off**2 + 0.0006 * np.log(np.maximum(step, 1e-6))
    depth = -bow.min() / fig.stature
    return mass(score, 0.0006) @ path, float(0.4 + 0.5 * np.clip(depth / 0.015, 0, 1))


def _outline(fig: Figure, levels: NDArray[np.int64], sign: float) -> Array:
    """The places (k, 3) of trunk and neck that lie farthest to one side at some levels, from the top down."""
    cut, core = fig.parts.cut, fig.parts.core[levels]
    sides = [cut.segments(n) for n in core if n >= 0]
    if not sides:
        return np.zeros((0, 3))
    group = np.repeat(np.arange(len(sides)), [len(start) for start, _ in sides])
    start, end = (np.concatenate(part) for part in zip(*sides, strict=True))
    way = np.array([sign, 0.0, 0.0])
    return crest(start, end, group, way, len(sides), flat=TOP)[::-1]


def _breadth(fig: Figure) -> float:
    """Breadth of the thinnest neck, mm."""
    loop = fig.parts.core[fig.neck]
    return float(fig.parts.cut.high[loop, 0] - fig.parts.cut.low[loop, 0])
