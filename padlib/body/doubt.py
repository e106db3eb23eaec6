"""How unsure measurements are that rest on skin which was not scanned.

A filling is smooth; the person under it need not be. The farther a place lies from the scan, the less is known of it:
so a tape over a filling, and a level that hangs on a landmark in one, are known no better than the filling is. What is
in part made up was also scanned roughly: a level that is a balance on a smooth body is told as unsure with it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.armpits import unsure
from padlib.body.axes import places
from padlib.body.body import Body
from padlib.body.figure import figure
from padlib.body.measure import Measurements, Wearer, ready, taken
from padlib.body.parts import SIDES, unsided
from padlib.body.quiet import quiet
from padlib.body.trunk_marks import trochanter_unsure, trunk_marks
from padlib.findings import Finding, Grade

Array = NDArray[np.float64]

UNKNOWN, BALANCED = 268, 269  # numbers of the findings
BALANCE = "trochanter_height"
# Standard deviation of a place for each mm that it lies from the scan: of a tape's corner, of a crotch, of a landmark
# elsewhere; a hidden armpit's is that of what its height was told from. From raw scans against clean meshes of 17
# builds: bust, chest and upper arm girth, stature (tests/benchmarks/results/scan.md: how it held on twelve others).
PER_GAP, PER_FOLD, PER_LEVEL = 0.09, 0.12, 0.03
FOLDS = ("axilla", "crotch")
SURE = 2.0  # standard deviations that are told
LEAST, TOLD = 2.0, 5.0  # mm: less is not unsure, more is told


def doubts(body: Body, told: Measurements) -> dict[str, float]:
    """Two standard deviations in mm of each measurement that rests on fillings, and of trochanters on a flat outline.

    told: its measurements, with their tape lines. Those under LEAST are left out.
    """
    if body.gap is None or not np.any((body.gap > 0.0) & np.isfinite(body.gap)):
        return {}
    gap = np.where(np.isfinite(body.gap), body.gap, 0.0)
    tree = cKDTree(body.surface.vertices)
    out: dict[str, list[float]] = {}
    for name, line in told.tape_lines.items():
        out.setdefault(unsided(name), []).append(along(line, gap, tree))
        if f"{name.removesuffix('_girth')}_depth" in told.values:
            for kind, both in zip(("breadth", "depth"), across(line, gap, tree), strict=True):
                out[f"{name.removesuffix('_girth')}_{kind}"] = [both]
    tape = {name: SURE * PER_GAP * float(np.mean(both)) for name, both in out.items()}
    level = by_level(body, gap, told.values)
    if BALANCE in told.values:
        level[BALANCE] = float(np.hypot(level.get(BALANCE, 0.0), SURE * _by_outline(body)))
    both = {
        name: float(np.hypot(tape.get(name, 0.0), level.get(name, 0.0))) for name in told.values
    }
    return {name: mm for name, mm in both.items() if mm > LEAST}


def with_doubts(body: Body, told: Measurements, given: Collection[str] = ()) -> Measurements:
    """Measurements with how unsure each is, and a finding that names those that may be off by more than TOLD.

    given: names of those that a tape said: no hole makes them unsure.
    """
    unsure = {name: mm for name, mm in doubts(body, told).items() if name not in given}
    much = {name: mm for name, mm in unsure.items() if mm > TOLD}
    if not much:
        return replace(told, unsure=unsure)
    found = []
    if BALANCE in much:
        words = f"may be off by {much.pop(BALANCE):.0f} mm: the hips widen over a long way; set hip_left and hip_right."
        found.append(Finding(BALANCED, f"{BALANCE} {words}", "hip", Grade.WARNING))
    if much:
        each = ", ".join(f"{name} by {mm:.0f}" for name, mm in much.items())
        words = "measured in part where nothing was scanned, so these may be off, in mm:"
        words = f"{words} {each}; take them with a tape."
        found.append(Finding(UNKNOWN, words, "scan", Grade.WARNING, len(much)))
    return replace(told, unsure=unsure, warnings=(*told.warnings, *found))


def _by_outline(body: Body) -> float:
    """Standard deviation, mm, of the trochanters' height by the hips' outline; 0 where they were given."""
    if not any(body.sure.get(f"hip_{side}", 1.0) < 1.0 for side in SIDES):
        return 0.0
    return trochanter_unsure(
        figure(quiet(body.surface.vertices, body.surface.faces)[0], body.surface.faces)
    )


def along(line: Array, gap: Array, tree: cKDTree) -> float:
    """Change in mm of a line's length when each of its corners (k, 3) moves out by its distance from the scan."""
    way = np.diff(line, axis=0)
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    before = np.roll(way, 1, axis=0)
    if not np.allclose(line[0], line[-1]):  # what turns at its ends is not known
        way, before, line = way[1:], before[1:], line[1:]
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", way, before), -1.0, 1.0))
    return float(turn @ gap[tree.query(line[:-1])[1]])


def across(ring: Array, gap: Array, tree: cKDTree) -> Array:
    """Change in mm of a ring's breadth and depth when its corners (k, 3) move out by their distance from the scan."""
    ends = np.concatenate([ring[:, :2].argmin(axis=0), ring[:, :2].argmax(axis=0)])
    return gap[tree.query(ring[ends])[1]].reshape(2, 2).sum(axis=0)


def by_level(body: Body, gap: Array, plain: Mapping[str, float]) -> dict[str, float]:
    """How far measurements change at most when landmarks in fillings lie higher or lower by what is not known of them.

    plain: the values as measured. The further way counts: a bust point on a flat chest, say, goes down with the armpits
    farther than it goes up. All in mm.
    """
    at = places(body.surface, body.landmarks)
    faces = body.surface.faces
    hidden = {name: float(gap[faces[body.landmarks[name].face]].max()) for name in at}
    share = {name: PER_FOLD if unsided(name) in FOLDS else PER_LEVEL for name in hidden}
    hidden = {name: SURE * share[name] * far for name, far in hidden.items() if far > 0.0}
    if any(unsided(name) == "axilla" for name in hidden):
        told = unsure(body.surface.vertices, faces, gap)
        arms = {f"axilla_{side}": SURE * far for side, far in told.items()}
        hidden |= {name: far for name, far in arms.items() if name in at}
    if not hidden:
        return {}
    wearer = ready(body.surface, at)
    aside = _beside_armpits(wearer, hidden)
    values = []
    for k, sign in enumerate((-1.0, 1.0)):
        moved = {name: at[name] + step for name, step in aside[k].items() if name in at}
        moved |= {name: at[name] + [0.0, 0.0, sign * far] for name, far in hidden.items()}
        values.append(taken(replace(wearer, at=at | moved), body)[0])
    low, high = values
    known = plain.keys() & low.keys() & high.keys()
    return {n: max(abs(low[n] - plain[n]), abs(high[n] - plain[n])) for n in known}


def _beside_armpits(wearer: Wearer, hidden: Mapping[str, float]) -> tuple[dict[str, Array], ...]:
    """Steps (3,) of the trunk's landmarks, looked for by the armpits, when hidden ones lie lower and higher."""
    far = {side: hidden.get(f"axilla_{side}", 0.0) for side in SIDES}
    if not any(far.values()):
        return {}, {}
    fig = figure(wearer.vertices, wearer.faces)
    found = []
    for sign in (0.0, -1.0, 1.0):
        axilla = {side: p + [0.0, 0.0, sign * far[side]] for side, p in fig.axilla.items()}
        found.append({k: m[0] for k, m in trunk_marks(replace(fig, axilla=axilla), []).items()})
    plain, *moved = found
    steps = ({k: p - plain[k] for k, p in one.items() if k in plain} for one in moved)
    return tuple({k: step for k, step in one.items() if np.isfinite(step).all()} for one in steps)
