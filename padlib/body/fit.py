"""A body brought to a tape: moved smoothly to given girths, heights and lengths, its character kept.

Each round measures the body, asks of every tape's ring and landmark what is still missing, and moves the
surface by the smoothest movement that gives it (padlib.body.warp); landmarks are found anew.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.asks import ANSWERED, Asks, asks, steering
from padlib.body.body import Body
from padlib.body.landmarks import find_landmarks, with_landmarks
from padlib.body.measure import Measurements, measure
from padlib.body.roundness import Section, sections
from padlib.body.typical import FIGURES
from padlib.body.warp import warp
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.crossings import new_crossings
from padlib.mesh.surface import Point, Surface

Array = NDArray[np.float64]

ROUNDS = 6  # with landmarks that ride on the surface
AGAIN = 4  # ... that are found anew
ENOUGH, PATIENCE = 0.7, 2  # so many rounds that leave more than this share of the miss are the last
NEARLY = (
    6.0  # misses, as a share of what is promised, up to which moving on by found landmarks helps
)
GIRTH_MM, LENGTH_MM = 2.0, 5.0  # what is promised
CLOSE = 0.3  # share of that at which a round is the last one
WORST = (0.6, 1.6)  # the least and most that a measurement may change by in one go
TOLD_MM = 1.0  # measurements that changed by less are not in the table
DISAGREES_MM = 10.0  # from here on the double is said to disagree with the tape
OWN_MM = 0.5  # a landmark so far from where it would be found was put there by hand
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
ROUNDNESS = ("told", "usual")


@dataclass(frozen=True)
class Moved:
    """One measurement before and after, mm; asked is None where nothing was asked."""

    name: str
    asked: float | None
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class Fitted:
    """A body brought to a tape.

    body: the moved body, same triangles, landmarks found anew; moved: every measurement that was asked for
    or changed by more than 1 mm; findings: where the body disagreed with the tape, and what was not reached;
    farthest_mm: how far the surface moved at most, mean_mm on average over vertices.
    """

    body: Body
    moved: tuple[Moved, ...]
    findings: tuple[Finding, ...]
    farthest_mm: float
    mean_mm: float


def fit_body(
    body: Body,
    measurements: Mapping[str, float],
    *,
    roundness: str = "told",
    figure: str = "neutral",
) -> Fitted:
    """Move a closed body to measurements in mm by name, as padlib.body.measure takes them.

    Girths that are not given keep their value, those beside a given one follow it; heights that are not
    given lie between the given ones as before; other lengths follow the stature. waist_breadth with
    waist_depth (or one of them; bust and hip likewise) set the shape of a section. roundness: "told" says
    where the trunk is rounder in section than people are; "usual" also makes such a section as flat as is
    usual for its girth (a stuffed double). figure: neutral, female or male, for what is usual.
    Raises InputError for an unknown name, value, figure or roundness, for a value that is more than 40 %
    less or 60 % more than the body's, and where nothing that was given can be measured on the body.
    """
    _check_words(roundness, figure)
    body = body if body.landmarks else with_landmarks(body)
    start = measure(body)
    given = _checked(measurements, start)
    usual = sections(start.values, figure)
    flatten = {s.part: s.usual for s in usual if roundness == "usual" and s.rounder}
    wanted = asks(given, start.values, flatten)
    moved, told, rode = _moved(body, wanted, start)
    findings = [
        *_unmeasured(measurements, given),
        *_disagreements(given, start.values),
        *_round_findings(usual, flatten, told.values),
        *_missed(given, told.values),
        *_ridden(rode),
        *_crossed(body.surface, moved.surface),
    ]
    apart = np.linalg.norm(moved.surface.vertices - body.surface.vertices, axis=1)
    moved = replace(
        moved,
        source=f"{body.source or 'body'}, fitted to {len(given)} measurement{'s' * (len(given) != 1)}",
        findings=(*body.findings, *findings),
    )
    return Fitted(
        moved,
        _table(given, start.values, told.values),
        tuple(findings),
        float(apart.max()),
        float(apart.mean()),
    )


def _check_words(roundness: str, figure: str) -> None:
    for name, value, known in (("roundness", roundness, ROUNDNESS), ("figure", figure, FIGURES)):
        if value not in known:
            raise InputError(f"{name} must be one of {', '.join(known)}, not '{value}'.")


def _checked(given: Mapping[str, float], start: Measurements) -> dict[str, float]:
    """The given values that this body can be moved to. Raises InputError."""
    out = {}
    for name, value in given.items():
        if name not in ANSWERED:
            near = difflib.get_close_matches(str(name), ANSWERED, n=1, cutoff=0.0)[0]
            raise InputError(
                f"A body cannot be fitted to a measurement '{name}'; did you mean '{near}'?"
            )
        if isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
            raise InputError(f"{name} must be a number in mm, not {value!r}.")
        if not np.isfinite(value) or value <= 0:
            raise InputError(f"{name} must be a positive number in mm, not {value}.")
        if name not in start.values:
            continue
        ratio = value / start.values[name]
        if not WORST[0] <= ratio <= WORST[1]:
            raise InputError(
                f"{name} {value:g} mm is too far from the body's {start.values[name]:.0f} mm to be "
                "reached by moving it; check the unit (mm), or start from a nearer body."
            )
        out[name] = float(value)
    if given and not out:
        raise InputError(
            "None of the measurements can be taken on this body "
            f"({', '.join(given)}); check that the body has these parts."
        )
    return out


def _moved(
    body: Body, wanted: Asks, start: Measurements
) -> tuple[Body, Measurements, tuple[str, ...]]:
    """The body moved until its measurements are near, those, and which landmarks rode on the surface.

    The landmarks first ride on the surface. Where those found anew on the moved body lie a little elsewhere,
    it is moved on by them; where they lie far off (a wide waist has no narrowest level), they are kept as they rode.
    """
    own = _put_by_hand(body)
    now, told, _ = _rounds(body, start, wanted, ROUNDS, None)
    found, seen = _found(now, own)
    miss = _miss(wanted, seen.values)
    if CLOSE <= miss < NEARLY:
        found, seen, miss = _rounds(found, seen, wanted, AGAIN, own)
    if miss < 1.0:
        return found, seen, ()
    rode = _riding(wanted, seen.values)
    mixed = replace(now, landmarks=_found(now, own)[0].landmarks | _only(now.landmarks, rode))
    seen = measure(mixed)
    if _miss(wanted, seen.values) < 1.0:
        return mixed, seen, rode
    return now, told, ("every landmark",)


def _rounds(
    body: Body, told: Measurements, wanted: Asks, most: int, own: Mapping[str, Point] | None
) -> tuple[Body, Measurements, float]:
    """The best of some rounds, its measurements and its miss; landmarks ride, or with `own` are found anew."""
    best = (body, told, _miss(wanted, told.values))
    now, idle = body, 0
    for _ in range(most):
        if best[2] < CLOSE or idle == PATIENCE:
            break
        holds, moves, ties, anchors = steering(now, told, wanted)
        by = warp(now.surface.vertices, now.surface.faces, holds, moves, ties, anchors)
        vertices = now.surface.vertices + by
        vertices -= [0.0, 0.0, vertices[:, 2].min()]
        now = replace(now, surface=Surface(vertices, now.surface.faces))
        now, told = (now, measure(now)) if own is None else _found(now, own)
        miss = _miss(wanted, told.values)
        idle = 0 if miss < ENOUGH * best[2] else idle + 1
        if miss < best[2]:
            best = (now, told, miss)
    return best


def _found(body: Body, own: Mapping[str, Point]) -> tuple[Body, Measurements]:
    """The body with its landmarks found anew, but for the user's own, and its measurements."""
    body = replace(body, landmarks=find_landmarks(body.surface).points | dict(own))
    return body, measure(body)


def _riding(wanted: Asks, told: Mapping[str, float]) -> tuple[str, ...]:
    """Beginnings of the names of landmarks that are kept: those of measurements that would be missed."""
    missed = [n for n, v in wanted.given.items() if abs(told.get(n, np.inf) - v) > _promised(n)]
    return tuple(
        mark for marks, names in LEVELS.items() if any(n in names for n in missed) for mark in marks
    )


def _only(landmarks: Mapping[str, Point], begin: tuple[str, ...]) -> dict[str, Point]:
    """The landmarks whose names begin with one of some words."""
    return {name: point for name, point in landmarks.items() if name.startswith(begin)}


def _put_by_hand(body: Body) -> dict[str, Point]:
    """The body's landmarks that lie elsewhere than where they are found: the user's own."""
    surface = body.surface
    found = find_landmarks(surface)
    out = {}
    for name, point in body.landmarks.items():
        own = point.on(surface.vertices, surface.faces)
        if name not in found.points or np.linalg.norm(own - found.at(name, surface)) > OWN_MM:
            out[name] = point
    return out


def _promised(name: str) -> float:
    """How near a measurement is to come to what was asked, mm."""
    return GIRTH_MM if name.endswith("_girth") else LENGTH_MM


def _miss(wanted: Asks, told: Mapping[str, float]) -> float:
    """The worst miss as a share of what is promised."""
    worst = [0.0]
    for name, value in wanted.given.items():
        worst.append(abs(told.get(name, np.inf) - value) / _promised(name))
    for part, ratio in wanted.ratios.items():
        got = told.get(f"{part}_depth", np.inf) / told.get(f"{part}_breadth", 1.0)
        worst.append(abs(got / ratio - 1) / 0.02)
    return max(worst)


def _table(
    given: Mapping[str, float], before: Mapping[str, float], after: Mapping[str, float]
) -> tuple[Moved, ...]:
    """Rows for all that was asked for or that moved."""
    return tuple(
        Moved(name, given.get(name), before[name], after[name])
        for name in before
        if name in after and (name in given or abs(after[name] - before[name]) > TOLD_MM)
    )


def _unmeasured(asked: Mapping[str, float], given: Mapping[str, float]) -> list[Finding]:
    """Findings for measurements that the body has no place for."""
    lost = [name for name in asked if name not in given]
    if not lost:
        return []
    words = f"The body has no part for {', '.join(lost)}; left out."
    return [Finding(270, words, "measurements", Grade.WARNING, len(lost))]


def _disagreements(given: Mapping[str, float], told: Mapping[str, float]) -> list[Finding]:
    """Findings for tapes that read otherwise on the wearer than on the body."""
    out = []
    for name, value in given.items():
        more = told[name] - value
        if abs(more) >= DISAGREES_MM:
            way = "more" if more > 0 else "less"
            words = (
                f"{name} was {told[name]:.0f} mm on the body, {abs(more):.0f} mm {way} than "
                f"the tape's {value:.0f} mm; the body was moved to the tape."
            )
            out.append(Finding(271, words, name, Grade.REPAIR))
    return out


def _round_findings(
    usual: list[Section], flatten: Mapping[str, float], after: Mapping[str, float]
) -> list[Finding]:
    """Findings for sections that were rounder than people's."""
    out = []
    for s in usual:
        if not s.rounder:
            continue
        words = (
            f"The section at the {s.part} was {s.ratio:.2f} as deep as broad, rounder than 95 % of people "
            f"({s.most:.2f}; ANSUR II, waist at the navel)"
        )
        if s.part in flatten:
            now = after[f"{s.part}_depth"] / after[f"{s.part}_breadth"]
            words += f"; it was made {now:.2f}, as is usual for its girth."
            out.append(Finding(272, words, s.part, Grade.REPAIR))
        else:
            words += "; a stuffed double is often so, ask for the usual roundness to put it right."
            out.append(Finding(273, words, s.part, Grade.WARNING))
    return out


def _ridden(rode: tuple[str, ...]) -> list[Finding]:
    """The finding for landmarks that were not taken where they would be found anew."""
    if not rode:
        return []
    words = (
        f"{', '.join(rode)}: kept where the tape lay on the body before, since the moved body's own shape would "
        "place it elsewhere; measure there."
    )
    return [Finding(275, words, "landmarks", Grade.NOTE, len(rode))]


def _crossed(before: Surface, after: Surface) -> list[Finding]:
    """The finding for a surface that newly runs through itself."""
    more = new_crossings(before, after)
    if not more:
        return []
    words = f"The surface runs through itself at {more} places more than before; ask for less."
    return [Finding(276, words, "surface", Grade.WARNING, more)]


def _missed(given: Mapping[str, float], told: Mapping[str, float]) -> list[Finding]:
    """Findings for wishes that were not reached."""
    out = []
    for name, value in given.items():
        if abs(told.get(name, np.inf) - value) > _promised(name):
            words = (
                f"The body has {name} {told.get(name, np.nan):.0f} mm where {value:.0f} mm was asked for; "
                "check it against the measurements beside it."
            )
            out.append(Finding(274, words, name, Grade.WARNING))
    return out
