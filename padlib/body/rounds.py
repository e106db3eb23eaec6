"""The rounds that bring a measured body to what is asked of it, with landmarks that ride or are found anew."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.asks import Asks, steering
from padlib.body.body import Body
from padlib.body.calm import calmed
from padlib.body.carried import own_landmarks
from padlib.body.landmarks import find_landmarks
from padlib.body.measure import Measurements, measure
from padlib.body.neckline import based
from padlib.body.warp import warp
from padlib.mesh.surface import Point, Surface

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 6  # with landmarks that ride on the surface
AGAIN, SETTLE = 2, 2  # how often landmarks found near are taken over, and rounds after each
LATER = 4  # ... more, where what was asked for is still missed
NEAR_MM, SAME_MM = 14.0, 1.0  # found so near to where one rode; no farther: as good as there
ENOUGH, PATIENCE = 0.7, 2  # so many rounds that leave more than this share of the miss are the last
# ... and where what was asked for is missed so far: a neck and its base that ask against each other come on slowly
SLOWLY, PATIENTLY = 0.9, 12
KNOWN_MM = 6.0  # found no nearer than this to where it is known to lie, a landmark stays there
SOFT = (
    "acromion",
)  # known better than found from the start: a soft shoulder's is found near the usual breadth
GIRTH_MM, LENGTH_MM = 2.0, 5.0  # what is promised
NEARLY = (
    0.9  # share of that within which landmarks found anew are believed: a file is a little coarser
)
CLOSE = 0.3  # share of that at which a round is the last one
LEVELS = {  # landmarks that ride together: the measurements that hang on them
    ("waist",): (
        "waist_height", "waist_girth", "body_rise", "back_waist_length", "waist_breadth", "waist_depth",
    ),
    ("chest", "bust"): ("bust_height", "bust_girth", "chest_girth", "bust_breadth", "bust_depth"),
    ("axilla",): ("axilla_height", "chest_girth"),
    ("seat", "hip"): ("hip_height", "hip_girth", "trochanter_height", "hip_breadth", "hip_depth"),
    ("crotch", "groin", "gluteal"): ("crotch_height", "thigh_girth", "body_rise", "trunk_length"),
    ("mid_thigh", "patella", "knee"): ("mid_thigh_girth", "knee_girth", "knee_height"),
    ("calf", "ankle"): (
        "calf_girth", "calf_height", "ankle_girth", "ankle_height", "minimum_leg_girth",
    ),
    ("acromion", "elbow", "wrist", "hand"): (
        "arm_length", "upper_arm_length", "shoulder_width", "shoulder_length", "shoulder_height",
        "upper_arm_girth", "elbow_girth", "forearm_girth", "wrist_girth", "hand_length",
    ),
    ("neck", "cervicale", "suprasternal"): (
        "neck_girth", "neck_base_girth", "cervicale_height", "suprasternal_height",
        "shoulder_length", "back_waist_length", "trunk_length",
    ),
}  # fmt: skip


def brought(
    body: Body,
    wanted: Asks,
    start: Measurements,
    *,
    mirror: Ints | None = None,
    own: Mapping[str, Point] | None = None,
    least: int = 0,
    known: Collection[str] = (),
) -> tuple[Body, Measurements, tuple[str, ...]]:
    """The body moved until its measurements are near, those, and which landmarks rode on the surface.

    mirror (n,): each vertex's image in x = 0, for a body that is to stay its own mirror image; own: landmarks put
    by hand, found out if None; least: so many rounds at least, for what is wanted beside what was given; known:
    beginnings of names of landmarks that are known better than the shape tells them, and ride where found far off.
    The landmarks first ride on the surface. Those found anew a little elsewhere on the moved body are taken over,
    and it is moved on by them; where they lie far off (a wide waist has no narrowest level), they are kept as they
    rode, and a written file carries them (padlib.body.carried).
    """
    own = own_landmarks(body) if own is None else own
    now, told, miss = _rounds(body, start, wanted, ROUNDS, mirror, least)
    for turn in range(AGAIN + LATER):
        if turn >= AGAIN and miss < NEARLY:
            break
        next_, apart = _adopted(now, own, wanted, SOFT if known else ())
        if apart < SAME_MM:
            break
        seen = measure(next_)
        next_, seen, missed = _rounds(next_, seen, wanted, SETTLE, mirror, min(least, 1))
        if missed > max(NEARLY, miss):
            break
        now, told, miss = next_, seen, missed
    if miss > 1.0:
        now, told, miss = _rounds(now, told, wanted, PATIENTLY, mirror, enough=SLOWLY)
    found, seen = _found(now, own, wanted)
    off = _apart(now, found)
    far = [g for g in LEVELS if any(k in g for k in known) and off.get(g[0], 0.0) >= KNOWN_MM]
    kept = tuple(mark for marks in far for mark in marks)
    if not kept and _miss(wanted, seen.values) < NEARLY:
        return *_calmed(body, found, seen, wanted, mirror), ()
    rode = tuple(dict.fromkeys((*kept, *_riding(wanted, seen.values))))
    mixed = replace(now, landmarks=found.landmarks | _only(now.landmarks, rode))
    seen = measure(mixed)
    if _miss(wanted, seen.values) < NEARLY:
        return *_calmed(body, mixed, seen, wanted, mirror), rode
    return *_calmed(body, now, told, wanted, mirror), ("every landmark",)


def _adopted(
    body: Body, own: Mapping[str, Point], wanted: Asks, firm: Collection[str]
) -> tuple[Body, float]:
    """The body with landmarks as found where they lie near those that rode, and how far the farthest of them lay, mm.

    Those of one group (LEVELS) are taken or left together.
    """
    found, _ = _found(body, own, wanted)
    apart = _apart(body, found)
    near = {
        n for n in body.landmarks
        if n in found.landmarks and apart[_group(n)] < (KNOWN_MM if _group(n) in firm else NEAR_MM)
    }  # fmt: skip
    landmarks = {n: found.landmarks[n] if n in near else p for n, p in body.landmarks.items()}
    farthest = max((apart[_group(n)] for n in near), default=0.0)
    return based(replace(body, landmarks=landmarks), wanted.given), farthest


def _apart(body: Body, found: Body) -> dict[str, float]:
    """How far apart the farthest of each group's landmarks (LEVELS) lie that both have, mm."""
    out: dict[str, float] = {}
    for name in (n for n in body.landmarks if n in found.landmarks):
        off = float(np.linalg.norm(found.at(name) - body.at(name)))
        out[_group(name)] = max(out.get(_group(name), 0.0), off)
    return out


def _group(name: str) -> str:
    """The landmarks that a landmark is taken or left with, by the first of their beginnings."""
    return next((marks[0] for marks in LEVELS if name.startswith(marks)), name)


def _calmed(
    before: Body, body: Body, told: Measurements, wanted: Asks, mirror: Ints | None
) -> tuple[Body, Measurements]:
    """The moved body without its new crossings, where what was asked for is kept so."""
    surface = calmed(before.surface, body.surface, mirror)
    if surface is body.surface:
        return body, told
    calm = replace(body, surface=surface)
    seen = measure(calm)
    if _miss(wanted, seen.values) < max(1.0, 1.1 * _miss(wanted, told.values)):
        return calm, seen
    return body, told


def _rounds(
    body: Body,
    told: Measurements,
    wanted: Asks,
    most: int,
    mirror: Ints | None,
    least: int = 0,
    enough: float = ENOUGH,
) -> tuple[Body, Measurements, float]:
    """The best of some rounds with landmarks that ride, its measurements and its miss."""
    best = (body, told, _miss(wanted, told.values))
    now, idle = body, 0
    for turn in range(most):
        if turn >= least and (best[2] < CLOSE or idle == PATIENCE):
            break
        holds, moves, ties, anchors = steering(now, told, wanted)
        by = warp(now.surface.vertices, now.surface.faces, holds, moves, ties, anchors)
        if mirror is not None:
            by = 0.5 * (by + by[mirror] * [-1.0, 1.0, 1.0])
        vertices = now.surface.vertices + by
        vertices -= [0.0, 0.0, vertices[:, 2].min()]
        now = based(replace(now, surface=Surface(vertices, now.surface.faces)), wanted.given)
        told = measure(now)
        miss = _miss(wanted, told.values)
        idle = 0 if miss < enough * best[2] else idle + 1
        if miss < best[2] or turn < least:
            best = (now, told, miss)
    return best


def _found(body: Body, own: Mapping[str, Point], wanted: Asks) -> tuple[Body, Measurements]:
    """The body with its landmarks found anew, but for the user's own, and its measurements."""
    body = replace(body, landmarks=find_landmarks(body.surface).points | dict(own))
    body = based(body, wanted.given)
    return body, measure(body)


def _riding(wanted: Asks, told: Mapping[str, float]) -> tuple[str, ...]:
    """Beginnings of the names of landmarks that are kept: those of measurements that would be missed."""
    missed = [n for n, v in wanted.given.items() if abs(told.get(n, np.inf) - v) > promised(n)]
    return tuple(
        mark for marks, names in LEVELS.items() if any(n in names for n in missed) for mark in marks
    )


def _only(landmarks: Mapping[str, Point], begin: tuple[str, ...]) -> dict[str, Point]:
    """The landmarks whose names begin with one of some words."""
    return {name: point for name, point in landmarks.items() if name.startswith(begin)}


def promised(name: str) -> float:
    """How near a measurement is to come to what was asked, mm."""
    return GIRTH_MM if name.endswith("_girth") else LENGTH_MM


def _miss(wanted: Asks, told: Mapping[str, float]) -> float:
    """The worst miss as a share of what is promised."""
    worst = [0.0]
    for name, value in wanted.given.items():
        worst.append(abs(told.get(name, np.inf) - value) / promised(name))
    for part, ratio in wanted.ratios.items():
        got = told.get(f"{part}_depth", np.inf) / told.get(f"{part}_breadth", 1.0)
        worst.append(abs(got / ratio - 1) / 0.02)
    return max(worst)
