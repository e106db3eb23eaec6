"""A panel with darts really cut and laid flat, and their length closed in on what the limit needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import FlatteningError
from padlib.flatten.cloth import cloth_use
from padlib.flatten.cutting import Legs, Opened, cut_darts
from padlib.flatten.flat import Dart
from padlib.flatten.ground import Ground, Rules, Trial, total_length
from padlib.flatten.injective import overlaps
from padlib.flatten.isometric import Solved, solve
from padlib.flatten.moves import SLACK, all_scaled, holds, sound
from padlib.flatten.search import find, suited
from padlib.flatten.sketch import Wedge
from padlib.flatten.slit import carry
from padlib.flatten.stretch import areas, flipped, percentiles, stretch, worst
from padlib.flatten.trial import HARD, evaluate
from padlib.mesh.surface import Faces, Plane, Vertices
from padlib.seams.panels import Panel

HELPS = 0.95  # of the stretch without darts: where darts cannot mend a panel, they must reach this
ROUNDS = 5  # of making darts longer or shorter where the sketch was wrong
LEAST = 0.5  # of the least intake: what the panel may make of what was asked of the sketch
FAR = 1.4  # of the target
BACK = (0.9, 0.8, 0.7)  # of their length, to which darts that overlap themselves are drawn back
CLOSE = 0.975  # of the target: near enough not to try again
AIM = 0.994  # of the target: what is aimed at when darts are made longer or shorter
SLOPES = (-1.5, -0.3)  # least and most that stretch falls as a power of the darts' length
HOPE = (
    1.25  # of what is asked of the sketch: further off, a dart is not left out on the panel itself
)

Seek = Callable[[Ground], Trial | None]


@dataclass(frozen=True, eq=False)
class Cut:
    """A panel with darts cut and laid flat.

    touches: its outline would overlap itself if it were not held apart; where that comes with its
    darts, one of them wants cloth put in, not taken out; wedges: its darts on the flat without darts.
    """

    panel: Panel
    flat: Plane
    stretch: NDArray[np.float64]
    legs: Legs
    value: float
    touches: bool = False
    wedges: tuple[Wedge, ...] = ()


@dataclass(frozen=True, eq=False)
class Job:
    """What is to be darted: a panel, its flat (n, 2) without darts, the panel with the pinned darts
    alone (as it was where there are none), and the stretch that is aimed at."""

    panel: Panel
    flat: Plane
    bare: Cut
    target: float


def laid(panel: Panel, legs: Legs, flat: Plane, rules: Rules) -> Cut:
    """A cut panel with its stretch."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    values = stretch(vertices, faces, flat)
    counted = values
    if rules.cloth is not None:
        counted = rules.cloth.plain * cloth_use(rules.cloth, vertices, faces, flat).use[:, None]
    at = summary_at(counted, areas(vertices, faces), rules.percentile)
    return Cut(panel, flat, values, legs, at)


def solved(vertices: Vertices, faces: Faces, start: Plane | None, rules: Rules) -> Solved:
    """A panel's flat with strain near the limit made dear."""
    cloth = rules.cloth
    limit = HARD * rules.limit / (1.0 if cloth is None else cloth.plain)
    return solve(vertices, faces, start, limit=limit, cloth=cloth, pile=rules.pile)


def summary_at(values: NDArray[np.float64], weights: NDArray[np.float64], at: float) -> float:
    """The percentile `at` of the absolute stretch (m, 2), weighted by area as `summary` does."""
    return percentiles(worst(values), weights, (at / 100.0,))[0]


def searched(job: Job, here: Ground) -> Cut:
    """The panel with the darts that one search gives, or as it was where they do not help."""
    return _cut_as(job, here, find(here), find)


def followed(job: Job, here: Ground, wedges: tuple[Wedge, ...]) -> Cut:
    """The panel with darts that begin as these, or as all but one of them, and are moved until they suit it, or as it
    was."""

    def seek(here: Ground) -> Trial | None:
        trial = evaluate(here, (*here.fixed, *wedges))
        if trial is None:
            fewer = [wedges[:k] + wedges[k + 1 :] for k in range(len(wedges))]
            tried = [evaluate(here, (*here.fixed, *some)) for some in fewer if some]
            trial = min((t for t in tried if t is not None), key=lambda t: t.value, default=None)
        return None if trial is None else suited(here, trial)

    return _cut_as(job, here, seek(here), seek)


def _cut_as(job: Job, here: Ground, trial: Trial | None, seek: Seek) -> Cut:
    """The panel with the darts of a trial on its sketch, or as it was where they do not help; seek: what gave the
    trial, to be asked again where the panel itself shows that the sketch must show more."""
    if trial is None or len(trial.wedges) == len(here.fixed):
        return job.bare
    if not holds(here, trial):
        return _salvaged(job, here, trial)
    best, trial = _fitted(job, here, trial, seek)
    return _unneeded(job, here, trial, best, seek)


def _salvaged(job: Job, here: Ground, trial: Trial) -> Cut:
    """The panel with those darts of a trial short of the limit that open and help, or as it was.

    A dart whose tip has come into a hollow overlaps itself there, and may do without it.
    """
    for share in (1.0, *BACK):
        short = evaluate(here, all_scaled(here, trial, share), trial) if share < 1.0 else trial
        cut = None if short is None else made(job, short, here.rules)
        if cut is not None and _sound(job, cut, here):
            return cut if cut.value < HELPS * job.bare.value else job.bare
    best = job.bare
    for k in range(len(here.fixed), len(trial.wedges)):
        fewer = evaluate(here, trial.wedges[:k] + trial.wedges[k + 1 :])
        if fewer is not None and len(fewer.wedges) > len(here.fixed):
            less = _salvaged(job, here, fewer)
            best = less if less.value < best.value else best
    return best


def _fitted(job: Job, here: Ground, trial: Trial, seek: Seek) -> tuple[Cut, Trial]:
    """The panel with a trial's darts, longer or shorter until the panel itself just holds the target,
    and the last trial."""
    seen: list[tuple[float, float]] = []
    best, again, target = job.bare, False, job.target
    for _ in range(ROUNDS):
        cut = made(job, trial, here.rules)
        if cut is None:
            break
        best = shorter(best, cut, target) if _sound(job, cut, here) else best
        if CLOSE * target < cut.value <= target:
            break
        seen.append((total_length(here, trial.wedges[len(here.fixed) :]), cut.value))
        gain = cut.value / trial.value
        here = replace(here, ask=target / gain, gain=gain)
        share = _next_length(seen, AIM * target) / seen[-1][0]
        after = evaluate(here, all_scaled(here, trial, share), trial) if share < FAR else None
        after = _stronger(here, trial) if after is None and cut.value > target else after
        if after is None and not again:  # the sketch knows better now what it must show
            after, again, seen = seek(here), True, []
        unlike = after is not None and after.wedges != trial.wedges
        if not unlike or len(after.wedges) == len(here.fixed):
            break
        trial = after
    return best, trial


def _stronger(here: Ground, trial: Trial) -> Trial | None:
    """The trial that leaves least of those on the way with as many darts: where darts that the panel needs longer
    cannot be, the shortest were not the right ones. None where this is it."""
    count = len(trial.wedges)
    like = [t for t in here.tried.values() if t is not None and len(t.wedges) == count]
    best = min((t for t in like if sound(here, t)), key=lambda t: t.value, default=trial)
    return best if best.value < trial.value else None


def _next_length(seen: list[tuple[float, float]], target: float) -> float:
    """The length of darts at which the target is to be expected, after (length, stretch) seen.

    Stretch is taken for a power of the length: between two lengths, one of which holds, that which
    runs through both; else the last two's, within reason.
    """
    points = np.log(np.array(seen))
    over, under = points[points[:, 1] > np.log(target)], points[points[:, 1] <= np.log(target)]
    if len(over) and len(under):
        a, b = over[over[:, 0].argmax()], under[under[:, 0].argmin()]
        share = (np.log(target) - a[1]) / (b[1] - a[1])
        return float(np.exp(a[0] + share * (b[0] - a[0])))
    slope = -1.0 / SLACK
    if len(points) > 1 and points[-1, 0] != points[-2, 0]:
        steep = (points[-1, 1] - points[-2, 1]) / (points[-1, 0] - points[-2, 0])
        slope = float(np.clip(steep, *SLOPES))
    return float(np.exp(points[-1, 0] + (np.log(target) - points[-1, 1]) / slope))


def _unneeded(job: Job, here: Ground, trial: Trial, best: Cut, seek: Seek) -> Cut:
    """The panel without the darts that the panel itself, not only its sketch, can do without."""
    k = len(here.fixed)
    while best.value <= job.target and len(trial.wedges) > 1 and k < len(trial.wedges):
        fewer = evaluate(here, trial.wedges[:k] + trial.wedges[k + 1 :])
        hopeless = fewer is None or fewer.value > HOPE * here.ask
        cut = None if hopeless else made(job, fewer, here.rules)
        if cut is not None and cut.value <= job.target and _sound(job, cut, here):
            best, trial = _fitted(job, here, fewer, seek)
            k = len(here.fixed)
        else:
            k += 1
    return best


def _sound(job: Job, cut: Cut, here: Ground) -> bool:
    """Whether all darts of a cut panel but the pinned ones open as they must, of themselves."""
    if cut.touches and not job.bare.touches:
        return False
    rules, free = here.rules, cut.legs[len(here.fixed) :]
    intakes = [measured(cut, left, right).intake_deg for left, right in free]
    return all(LEAST * rules.least_intake <= intake <= rules.most_intake for intake in intakes)


def shorter(one: Cut, two: Cut, target: float) -> Cut:
    """The better of two: holding the target, then less dart length; else less stretch."""
    held = one.value <= target, two.value <= target
    if held[0] != held[1]:
        return two if held[1] else one
    if held[0]:
        return two if _leg_length(two) < _leg_length(one) else one
    return two if two.value < one.value else one


def _leg_length(cut: Cut) -> float:
    """Length of all darts of a cut panel in mm."""
    at = cut.panel.surface.vertices
    return sum(
        float(np.linalg.norm(np.diff(at[left], axis=0), axis=1).sum()) for left, _ in cut.legs
    )


def made(job: Job, trial: Trial, rules: Rules) -> Cut | None:
    """The panel with a trial's darts cut and laid flat; None where one of them cannot be."""
    opened = cut_darts(job.panel, job.flat, trial.wedges)
    if opened is None:
        return None
    vertices, faces = opened.panel.surface.vertices, opened.panel.surface.faces
    begin = _begun(opened, trial)
    if flipped(vertices, faces, begin).any() or overlaps(faces, begin):
        begin = opened.flat
    try:
        done = solved(vertices, faces, begin, rules)
    except FlatteningError:
        return None
    cut = laid(opened.panel, opened.legs, done.flat, rules)
    return replace(cut, touches=done.barrier, wedges=trial.wedges)


def with_pins(panel: Panel, start: Cut, fixed: tuple[Wedge, ...], rules: Rules) -> Cut:
    """The panel with pinned darts alone, laid flat; as it was where there are none.

    Raises FlatteningError where no flat without flip or overlap was found.
    """
    opened = cut_darts(panel, start.flat, fixed) if fixed else None
    if opened is None:
        return start
    surface = opened.panel.surface
    done = solved(surface.vertices, surface.faces, opened.flat, rules)
    cut = laid(opened.panel, opened.legs, done.flat, rules)
    return replace(cut, touches=done.barrier, wedges=fixed)


def _begun(opened: Opened, trial: Trial) -> Plane:
    """A flat to begin with: where the sketch, laid flat, has the places of the panel's vertices."""
    begin = carry(trial.mesh.faces, trial.mesh.flat, trial.flat, opened.flat)
    for own, drawn in zip(opened.legs, trial.mesh.legs, strict=True):
        for leg, sketched in zip(own, drawn, strict=True):
            at = [
                _shares(flat[run])
                for flat, run in ((opened.flat, leg), (trial.mesh.flat, sketched))
            ]
            for axis in (0, 1):
                begin[leg, axis] = np.interp(at[0], at[1], trial.flat[sketched, axis])
    return begin


def _shares(points: Plane) -> NDArray[np.float64]:
    """How far along a line of points (k, 2) each lies, 0 to 1."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    return along / along[-1]


def measured(cut: Cut, left: NDArray[np.int64], right: NDArray[np.int64]) -> Dart:
    """A dart with its measures."""
    at, flat = cut.panel.surface.vertices, cut.flat
    along = float(np.linalg.norm(np.diff(at[left], axis=0), axis=1).sum())
    sizes = [
        float(np.linalg.norm(np.diff(flat[leg], axis=0), axis=1).sum()) for leg in (left, right)
    ]
    a, b = flat[left[0]] - flat[left[-1]], flat[right[0]] - flat[right[-1]]
    intake = float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))
    return Dart(int(left[-1]), left, right, along, intake, abs(sizes[0] - sizes[1]))
