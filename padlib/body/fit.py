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

from padlib.body.agree import check_tape
from padlib.body.asks import ANSWERED, asks
from padlib.body.body import Body
from padlib.body.landmarks import with_landmarks
from padlib.body.levels import check_levels
from padlib.body.measure import Measurements, measure
from padlib.body.roundness import Section, sections
from padlib.body.rounds import brought, promised
from padlib.body.usual import FIGURES, UNSTEERED, names
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.crossings import new_crossings
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]

WORST = (0.6, 1.6)  # the least and most that a measurement may change by in one go
TOLD_MM = 1.0  # measurements that changed by less are not in the table
DISAGREES_MM = 10.0  # from here on the double is said to disagree with the tape
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
    Raises InputError for an unknown name, value, figure or roundness, for measurements that contradict each
    other (padlib.body.agree), for a value that is more than 40 % less or 60 % more than the body's, and where
    nothing that was given can be measured on the body.
    """
    _check_words(roundness, figure)
    doubtful = check_tape(measurements)
    body = body if body.landmarks else with_landmarks(body)
    start = measure(body)
    given = _checked(measurements, start)
    usual = sections(start.values, figure)
    flatten = {s.part: s.usual for s in usual if roundness == "usual" and s.rounder}
    check_levels(given, start.values)
    wanted = asks(given, start.values, flatten)
    moved, told, rode = brought(body, wanted, start)
    findings = [
        *doubtful,
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
        if name not in ANSWERED and name not in (*names(), *UNSTEERED):
            near = difflib.get_close_matches(str(name), ANSWERED, n=1, cutoff=0.0)[0]
            raise InputError(
                f"A body cannot be fitted to a measurement '{name}'; did you mean '{near}'?"
            )
        if isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
            raise InputError(f"{name} must be a number in mm, not {value!r}.")
        if not np.isfinite(value) or value <= 0:
            raise InputError(f"{name} must be a positive number in mm, not {value}.")
        if name not in start.values or name not in ANSWERED:
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
    words = f"There is no tape for {', '.join(lost)} on this body; left out."
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
        "place it elsewhere; a file that padlib writes of it says where."
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
        if abs(told.get(name, np.inf) - value) > promised(name):
            words = (
                f"The body has {name} {told.get(name, np.nan):.0f} mm where {value:.0f} mm was asked for; "
                "check it against the measurements beside it."
            )
            out.append(Finding(274, words, name, Grade.WARNING))
    return out
