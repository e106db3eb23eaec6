"""The last millimetre of every girth, on the mesh itself: triangles cut corners that the solid has not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import Anatomy, arm_axes, arm_places, neck_axes, person
from padlib.body.girths import NO_ARMS, Place, places
from padlib.body.slices import girth, hull, oblique
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST = 0.03  # no section is changed by more than this share: the solid is that near already


def trimmed(an: Anatomy, v: Vertices, f: Faces, *, rounds: int = 3) -> Vertices:
    """Vertices (n, 3) of a whole body moved square to its limbs until each tape on the mesh reads its girth."""
    tapes = places(an)
    arms = _arms(an, v)
    out = v.copy()
    for _ in range(rounds):
        ratio = {p.name: an.m[p.girth] / read(an, p, out, f, arms) for p in tapes}
        out = out + _moves(an, tapes, ratio, out, arms)
    return out


def read(an: Anatomy, place: Place, v: Vertices, f: Faces, arms: Mask) -> float:
    """Length in mm of a taut tape on the mesh at a place; arms (n,): which vertices are of the arms."""
    on_arm = place.regions == ("arms",)
    mine = arms[f].all(axis=1) & (v[f[:, 0], 0] > 0) if on_arm else ~arms[f].all(axis=1)
    normal = np.cross(place.across, place.back)
    cut = oblique(v, f[mine], place.centre[None], normal[None] / np.linalg.norm(normal))
    start, end = cut.start, cut.end
    if place.name in ("thigh", "mid_thigh", "knee", "calf", "minimum_leg", "ankle"):
        left = (start[:, 0] > 0) & (end[:, 0] > 0)
        start, end = start[left], end[left]
    elif place.name == "bust":
        wide = 1.02 * an.rows["bust"][1]
        near = (np.abs(start[:, 0]) < wide) & (np.abs(end[:, 0]) < wide)
        start, end = start[near], end[near]
    elif place.name in ("neck", "head"):
        near = np.linalg.norm(start - place.centre, axis=1) < 0.1 * an.h
        start, end = start[near], end[near]
    return girth(hull(np.concatenate([start, end]), cut.normals[0]))


def _arms(an: Anatomy, v: Vertices) -> Mask:
    """Which vertices belong to the arms: nearer to their solid than to the rest."""
    left = v * np.array([1.0, 1.0, 1.0])
    left[:, 0] = np.abs(left[:, 0])
    out = np.zeros(len(v), dtype=bool)
    near = np.flatnonzero(left[:, 2] > 0.3 * an.h)
    arm, rest = person(an, ("arms",))(left[near]), person(an, NO_ARMS)(left[near])
    out[near] = arm < rest
    return out


def _moves(
    an: Anatomy, tapes: list[Place], ratio: dict[str, float], v: Vertices, arms: Mask
) -> Vertices:
    """How each vertex moves (n, 3): square to its limb, by the factors of the tapes on both sides of it."""
    mirror = np.where(v[:, :1] < 0, -1.0, 1.0) * np.array([1.0, 0.0, 0.0]) + np.array([0.0, 1, 1])
    p = v * mirror  # all on the left
    h, zc, za = an.h, an.m["crotch_height"], an.m["axilla_height"]
    out = np.zeros_like(v)
    up = np.eye(3)[2]
    low, rest = ~arms & (p[:, 2] < zc), ~arms & (p[:, 2] >= zc)
    _limb(out, p, low, tapes, ratio, LEG, np.zeros(3), up, (0.0, zc - 0.004 * h))
    _limb(out, p, rest & (p[:, 2] < za), tapes, ratio, TRUNK, np.zeros(3), up, (zc, za - 0.004 * h))
    joint, axes = arm_axes(an)
    elbow, wrist = arm_places(an)
    ends = (0.2 * elbow, wrist + 0.25 * an.m["hand_length"])
    _limb(out, p, arms, tapes, ratio, ARM, joint, axes[2], ends)
    base, axes, length = neck_axes(an)
    _limb(out, p, rest & (p[:, 2] > za), tapes, ratio, ("neck",), base, axes[2], (0.0, length))
    skull = next(t for t in tapes if t.name == "head").centre[2]
    _limb(out, p, rest, tapes, ratio, ("head",), np.zeros(3), up, (skull - 0.05 * h, h))
    return out * mirror


LEG = ("ankle", "minimum_leg", "calf", "knee", "mid_thigh", "thigh")
TRUNK = ("hip", "navel", "waist", "bust")
ARM = ("upper_arm", "elbow", "forearm", "wrist")


def _limb(
    out: Vertices,
    p: Vertices,
    mine: Mask,
    tapes: list[Place],
    ratio: dict[str, float],
    names: tuple[str, ...],
    origin: Array,
    along: Array,
    ends: tuple[float, float],
) -> None:
    """Put the moves of one limb's vertices (mask) into out (n, 3): none at its ends, between tapes in proportion."""
    some = [next(t for t in tapes if t.name == name) for name in names]
    at = np.array([(t.centre - origin) @ along for t in some])
    order = np.argsort(at)
    grow = np.clip([ratio[some[k].name] - 1 for k in order], -MOST, MOST)
    stations = np.concatenate([[ends[0]], at[order], [ends[1]]])
    grow = np.concatenate([[0.0], grow, [0.0]])
    centre = np.array([some[k].centre for k in [order[0], *order, order[-1]]])
    s = (p[mine] - origin) @ along
    middle = np.column_stack([np.interp(s, stations, centre[:, k]) for k in range(3)])
    away = p[mine] - middle
    away -= (away @ along)[:, None] * along
    out[mine] += np.interp(s, stations, grow)[:, None] * away
