"""Darts: as few and as short as will keep a panel's stretch within the cloth's limit.

A dart is a straight line of the panel's flat without darts, cut into the panel exactly (its two legs
are one polyline in 3D) from a vertex of a sewn edge, so that partners stay vertex for vertex. It is
sought on a sketch of the panel (`search`), then cut into the panel itself and laid flat again.

Where the curvature under a slit is negative its legs would overlap in the plane: cloth must be put
in, not taken out. Such darts are refused, and where none is left a finding says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import FlatteningError
from padlib.findings import Finding, Grade
from padlib.flatten.candidates import candidates, spread
from padlib.flatten.cloth import Cloth, cloth_use
from padlib.flatten.conformal import conformal
from padlib.flatten.cutting import Legs, Opened, cut_darts
from padlib.flatten.disk import boundary_loop
from padlib.flatten.flat import Dart, Flat
from padlib.flatten.forecast import forecast
from padlib.flatten.ground import Ground, Rules, Trial, ground, total_length
from padlib.flatten.injective import overlaps
from padlib.flatten.isometric import Solved, solve
from padlib.flatten.search import SLACK, all_scaled, find, holds
from padlib.flatten.sketch import sketch
from padlib.flatten.slit import carry
from padlib.flatten.stretch import areas, flipped, stretch, summary
from padlib.flatten.trial import HARD, evaluate
from padlib.mesh.surface import Faces, Plane, Vertices
from padlib.seams.panels import Panel

TRIANGLES = 500  # of a sketch
HELPS = 0.95  # of the stretch without darts: where darts cannot mend a panel, they must reach this
ROUNDS = 5  # of making darts longer or shorter where the sketch was wrong
LEAST = 0.5  # of the least intake: what the panel may make of what was asked of the sketch
MUCH = 1.2  # of the root of the panel's area: so much dart length is better spent on a seam
FAR = 1.4  # of the target
GAIN = 0.97  # of the sketch's percentile: what panels with darts near the limit were seen to show
NEAR = 1.04  # of the target: further off, a wider search is worth its time
CLOSE = 0.975  # of the target: near enough not to try again
AIM = 0.994  # of the target: what is aimed at when darts are made longer or shorter
SLOPES = (-1.5, -0.3)  # least and most that stretch falls as a power of the darts' length
HOPE = (
    1.25  # of what is asked of the sketch: further off, a dart is not left out on the panel itself
)


@dataclass(frozen=True)
class Suggestion:
    """A dart that could be cut, not cut yet.

    mouth: panel vertex at the edge; seam: name of the seam that it starts from; tip (3,) mm in space;
    length_mm; intake_deg between the legs; stretch_left: the percentile of stretch with this dart.
    """

    mouth: int
    seam: str
    tip: tuple[float, float, float]
    length_mm: float
    intake_deg: float
    stretch_left: float


@dataclass(frozen=True, eq=False)
class _Cut:
    """A panel with darts cut and laid flat.

    touches: its outline would overlap itself if it were not held apart, so some dart wants cloth put
    in, not taken out.
    """

    panel: Panel
    flat: Plane
    stretch: NDArray[np.float64]
    legs: Legs
    value: float
    touches: bool = False


def dart_panel(
    panel: Panel,
    *,
    limit: float = 0.05,
    percentile: float = 95.0,
    margin: float = 1.0,
    max_darts: int = 6,
    rules: Rules | None = None,
    cloth: Cloth | None = None,
    pile: ArrayLike | None = None,
) -> Flat:
    """Lay a panel flat, with darts where its stretch would stay over the cloth's limit.

    limit: the cloth's stretch limit (0.05 is 5 %); percentile: share of the area, in percent, that
    must keep it; margin: part of the limit that is aimed at; max_darts: at most so many; rules:
    where darts may lie and how they may look (their limit, percentile and max_darts give way to
    those given here); cloth, pile (3,): what the panel is laid for and which way its pile lies; then
    limit is one of the cloth's use, 1 at the cloth's own limits.

    The flat's panel has the slits opened, see `cutting.cut_darts` for its edges and parents.
    Findings 550 to 554. Raises MeshError where the panel is not a disk, FlatteningError where no
    flat without flip or overlap was found.
    """
    if cloth is not None:
        limit = limit * cloth.plain
    way = None if pile is None else tuple(np.asarray(pile, dtype=np.float64).tolist())
    asked = {"limit": limit, "percentile": percentile, "max_darts": max_darts}
    base = replace(rules or Rules(), **asked, cloth=cloth, pile=way)
    vertices, faces = panel.surface.vertices, panel.surface.faces
    first = conformal(vertices, faces)
    before, area = stretch(vertices, faces, first), areas(vertices, faces)
    start = _laid(panel, (), _solved(vertices, faces, first, base).flat, base)
    cut, notes = start, []
    if start.value > limit * margin:
        cut, notes = _darted(panel, start, base, limit * margin)
    darts = tuple(_measured(cut, left, right) for left, right in cut.legs)
    found = _told(panel, start, cut, darts, base) + notes
    told = (before, area, darts, tuple(found))
    return Flat(cut.panel, cut.flat, cut.stretch, *told, cloth=cloth, pile=way)


def suggest_darts(
    panel: Panel,
    *,
    limit: float = 0.05,
    percentile: float = 95.0,
    count: int = 5,
    rules: Rules | None = None,
) -> list[Suggestion]:
    """Single darts that would help this panel most, best first, with the stretch each would leave.

    Values are those of a sketch of some hundred triangles, good to a few hundredths of themselves.
    """
    base = replace(rules or Rules(), limit=limit, percentile=percentile, tries=2 * count)
    vertices, faces = panel.surface.vertices, panel.surface.faces
    start = _laid(panel, (), _solved(vertices, faces, None, base).flat, base)
    here = _ground(panel, start, base, limit)
    if here is None:
        return []
    out = []
    for wedge in spread(here, candidates(here, ()), base.tries):
        tried = evaluate(here, (wedge,))
        if tried is not None and tried.value * here.gain < start.value:
            out.append(_suggestion(panel, start, here, tried))
    return sorted(out, key=lambda s: s.stretch_left)[:count]


def pairs_of_darts(flat: Flat) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """The two legs (k,), (k,) of each dart, mouth to tip, which must be equally long on paper."""
    return [(dart.left, dart.right) for dart in flat.darts]


def _laid(panel: Panel, legs: Legs, flat: Plane, rules: Rules, *, touches: bool = False) -> _Cut:
    """A cut panel with its stretch."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    values = stretch(vertices, faces, flat)
    counted = values
    if rules.cloth is not None:
        counted = rules.cloth.plain * cloth_use(rules.cloth, vertices, faces, flat).use[:, None]
    at = summary_at(counted, areas(vertices, faces), rules.percentile)
    return _Cut(panel, flat, values, legs, at, touches)


def _solved(vertices: Vertices, faces: Faces, start: Plane | None, rules: Rules) -> Solved:
    """A panel's flat with strain near the limit made dear."""
    cloth = rules.cloth
    limit = HARD * rules.limit / (1.0 if cloth is None else cloth.plain)
    return solve(vertices, faces, start, limit=limit, cloth=cloth, pile=rules.pile)


def summary_at(values: NDArray[np.float64], weights: NDArray[np.float64], at: float) -> float:
    """The percentile `at` of the absolute stretch (m, 2), weighted by area as `summary` does."""
    size = np.abs(values).max(axis=1)
    order = np.argsort(size, kind="stable")
    share = np.cumsum(weights[order]) / weights.sum()
    return float(size[order[min(int(np.searchsorted(share, at / 100.0)), len(order) - 1)]])


def _mouths(panel: Panel, loop: NDArray[np.int64], clear: float) -> NDArray[np.int64]:
    """Places in the loop where a dart may start: on sewn edges, clear of their ends."""
    fit = []
    for edge in panel.edges:
        if edge.kind != "sewn":
            continue
        at = panel.surface.vertices[edge.run]
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))])
        closed = edge.run[0] == edge.run[-1]
        free = closed | ((along >= clear) & (along <= along[-1] - clear))
        fit.append(edge.run[free])
    return np.flatnonzero(np.isin(loop, np.concatenate(fit))) if fit else np.zeros(0, np.int64)


def _ground(panel: Panel, start: _Cut, rules: Rules, target: float) -> Ground | None:
    """What the search stands on, asked for what makes the panel itself hold the target."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    loop = boundary_loop(faces)
    mouths = _mouths(panel, loop, rules.clear)
    if not len(mouths):
        return None
    corners = np.array([edge.run[0] for edge in panel.edges], dtype=np.int64)
    plan = sketch(vertices, faces, start.flat, loop, corners=corners, triangles=TRIANGLES)
    here = None if plan is None else ground(plan, rules, mouths)
    plain = None if here is None else evaluate(replace(here, ask=np.inf), ())
    if plain is None or plain.value <= 0:
        return None
    # far over the limit the sketch's milder energy says little of what it will say near the limit
    gain = start.value / plain.value if start.value < FAR * target else GAIN
    return replace(here, ask=target / gain, gain=gain)


def _darted(panel: Panel, start: _Cut, rules: Rules, target: float) -> tuple[_Cut, list[Finding]]:
    """The panel with darts, and what is to be said about the search."""
    here = _ground(panel, start, rules, target)
    if here is None:
        words = "no sewn edge is long enough to start a dart from; the stretch stays as it is"
        return start, [Finding(553, words, panel.name, Grade.WARNING)]
    best = _searched(panel, start, here, target)
    if best.value > NEAR * target and candidates(here, ()):
        wide = replace(here, rules=replace(rules, beam=2 * rules.beam, tries=2 * rules.tries))
        best = _shorter(best, _searched(panel, start, wide, target), target)
    return best, []


def _searched(panel: Panel, start: _Cut, here: Ground, target: float) -> _Cut:
    """The panel with the darts that one search gives, or as it was where they do not help."""
    trial = find(here)
    if trial is None or not trial.wedges:
        return start
    if not holds(here, trial):
        return _salvaged(panel, start, here, trial)
    best, trial = _fitted(panel, start, here, trial, target)
    return _unneeded(panel, start, here, trial, best, target)


def _salvaged(panel: Panel, start: _Cut, here: Ground, trial: Trial) -> _Cut:
    """The panel with those darts of a trial short of the limit that open and help, or as it was."""
    made = _made(panel, start, trial, here.rules)
    if made is not None and _sound(made, here.rules):
        return made if made.value < HELPS * start.value else start
    best = start
    for k in range(len(trial.wedges)):
        fewer = evaluate(here, trial.wedges[:k] + trial.wedges[k + 1 :])
        if fewer is not None and fewer.wedges:
            less = _salvaged(panel, start, here, fewer)
            best = less if less.value < best.value else best
    return best


def _fitted(
    panel: Panel, start: _Cut, here: Ground, trial: Trial, target: float
) -> tuple[_Cut, Trial]:
    """The panel with a trial's darts, longer or shorter until the panel itself just holds the target,
    and the last trial."""
    seen: list[tuple[float, float]] = []
    best, again = start, False
    for _ in range(ROUNDS):
        made = _made(panel, start, trial, here.rules)
        if made is None:
            break
        best = _shorter(best, made, target) if _sound(made, here.rules) else best
        if CLOSE * target < made.value <= target:
            break
        seen.append((total_length(here, trial.wedges[len(here.fixed) :]), made.value))
        gain = made.value / trial.value
        here = replace(here, ask=target / gain, gain=gain)
        share = _next_length(seen, AIM * target) / seen[-1][0]
        after = evaluate(here, all_scaled(here, trial, share), trial) if share < FAR else None
        if after is None and not again:  # the sketch knows better now what it must show
            after, again, seen = find(here), True, []
        if after is None or after.wedges == trial.wedges or not after.wedges:
            break
        trial = after
    return best, trial


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


def _unneeded(
    panel: Panel, start: _Cut, here: Ground, trial: Trial, best: _Cut, target: float
) -> _Cut:
    """The panel without the darts that the panel itself, not only its sketch, can do without."""
    k = 0
    while best.value <= target and len(trial.wedges) > 1 and k < len(trial.wedges):
        fewer = evaluate(here, trial.wedges[:k] + trial.wedges[k + 1 :])
        hopeless = fewer is None or fewer.value > HOPE * here.ask
        made = None if hopeless else _made(panel, start, fewer, here.rules)
        if made is not None and made.value <= target and _sound(made, here.rules):
            best, trial = _fitted(panel, start, here, fewer, target)
            k = 0
        else:
            k += 1
    return best


def _sound(cut: _Cut, rules: Rules) -> bool:
    """Whether all darts of a cut panel open as they must, of themselves."""
    if cut.touches and cut.legs:
        return False
    intakes = [_measured(cut, left, right).intake_deg for left, right in cut.legs]
    return all(LEAST * rules.least_intake <= intake <= rules.most_intake for intake in intakes)


def _shorter(one: _Cut, two: _Cut, target: float) -> _Cut:
    """The better of two: holding the target, then less dart length; else less stretch."""
    held = one.value <= target, two.value <= target
    if held[0] != held[1]:
        return two if held[1] else one
    if held[0]:
        return two if _leg_length(two) < _leg_length(one) else one
    return two if two.value < one.value else one


def _leg_length(cut: _Cut) -> float:
    """Length of all darts of a cut panel in mm."""
    at = cut.panel.surface.vertices
    return sum(
        float(np.linalg.norm(np.diff(at[left], axis=0), axis=1).sum()) for left, _ in cut.legs
    )


def _made(panel: Panel, start: _Cut, trial: Trial, rules: Rules) -> _Cut | None:
    """The panel with a trial's darts cut and laid flat; None where one of them cannot be."""
    opened = cut_darts(panel, start.flat, trial.wedges)
    if opened is None:
        return None
    vertices, faces = opened.panel.surface.vertices, opened.panel.surface.faces
    begin = _begun(opened, trial)
    if flipped(vertices, faces, begin).any() or overlaps(faces, begin):
        begin = opened.flat
    try:
        solved = _solved(vertices, faces, begin, rules)
    except FlatteningError:
        return None
    return _laid(opened.panel, opened.legs, solved.flat, rules, touches=solved.barrier)


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


def _measured(cut: _Cut, left: NDArray[np.int64], right: NDArray[np.int64]) -> Dart:
    """A dart with its measures."""
    at, flat = cut.panel.surface.vertices, cut.flat
    along = float(np.linalg.norm(np.diff(at[left], axis=0), axis=1).sum())
    sizes = [
        float(np.linalg.norm(np.diff(flat[leg], axis=0), axis=1).sum()) for leg in (left, right)
    ]
    a, b = flat[left[0]] - flat[left[-1]], flat[right[0]] - flat[right[-1]]
    intake = float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))
    return Dart(int(left[-1]), left, right, along, intake, abs(sizes[0] - sizes[1]))


def _told(
    panel: Panel, start: _Cut, cut: _Cut, darts: tuple[Dart, ...], rules: Rules
) -> list[Finding]:
    """Findings about the darts and the stretch left."""
    out = []
    cloth = rules.cloth
    what = "stretch" if cloth is None else f"use of the limits of '{cloth.name}'"
    unit = 100 if cloth is None else 100 / cloth.plain
    was, now = unit * start.value, unit * cut.value
    share = f"{rules.percentile:g} % of the area"
    if darts:
        total = sum(dart.length_mm for dart in darts)
        words = (
            f"{len(darts)} dart{'s' if len(darts) > 1 else ''}, {total:.0f} mm in all, bring the "
            f"{what} that {share} keeps from {was:.1f} to {now:.1f} %"
        )
        out.append(Finding(551, words, panel.name, count=len(darts)))
        if total > MUCH * np.sqrt(areas(panel.surface.vertices, panel.surface.faces).sum()):
            _, spot = _cure(panel)
            words = f"a seam across the panel near {_place(spot)} would do better than {total:.0f} mm of darts"
            out.append(Finding(554, words, panel.name))
    if cut.value > rules.limit:
        cure, spot = _cure(panel)
        words = (
            f"{now:.1f} % {what} is left where {unit * rules.limit:g} % is asked for {share}, and more "
            f"darts do not help; {cure} near {_place(spot)} would"
        )
        out.append(Finding(550, words, panel.name, Grade.WARNING))
    worst = summary(cut.stretch, areas(cut.panel.surface.vertices, cut.panel.surface.faces))
    if cloth is None and cut.value <= rules.limit and worst["p99"] > 2 * rules.limit:
        words = f"a hundredth of the area stretches more than {100 * worst['p99']:.1f} %"
        out.append(Finding(552, words, panel.name))
    return out


def _place(spot: NDArray[np.float64]) -> str:
    """A place in words; -0 is 0."""
    x, y, z = (round(float(c)) for c in spot)
    return f"x {x}, y {y}, z {z} mm"


def _cure(panel: Panel) -> tuple[str, NDArray[np.float64]]:
    """What would help where darts do not, and where: by the sign of the curvature there."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    u = forecast(vertices, faces)
    low, high = float(u.min()), float(u.max())
    if high >= -low:
        return "a gusset (cloth put in) or a seam across the panel", vertices[int(u.argmax())]
    return "a seam that splits the panel", vertices[int(u.argmin())]


def _suggestion(panel: Panel, start: _Cut, here: Ground, trial: Trial) -> Suggestion:
    """A tried dart in the words of the maker."""
    wedge = trial.wedges[0]
    vertices = panel.surface.vertices
    near = int(np.hypot(*(start.flat - wedge.tip).T).argmin())
    seam = next(edge.seam for edge in panel.edges if wedge.mouth in edge.run)
    size = total_length(here, trial.wedges)
    spot = tuple(float(c) for c in vertices[near])
    return Suggestion(wedge.mouth, seam, spot, size, trial.intakes[0], trial.value * here.gain)
