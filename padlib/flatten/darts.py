"""Darts: as few and as short as will keep a panel's stretch within the cloth's limit.

A dart is a straight line of the panel's flat without darts, cut into the panel exactly (its two legs
are one polyline in 3D) from a vertex of a sewn edge, so that partners stay vertex for vertex. It is
sought on a sketch of the panel (`search`), then cut into the panel itself and laid flat again (`fit`).
The maker may pin darts, and forbid seams and places (`pins`).

Where the curvature under a slit is negative its legs would overlap in the plane: cloth must be put
in, not taken out. Such darts are refused; where darts do not reach the limit, or a seam would do
better, a finding says which gusset or which seam would (`cures`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.body.limb import lengths
from padlib.findings import Finding, Grade
from padlib.flatten.candidates import candidates, spread
from padlib.flatten.cloth import Cloth
from padlib.flatten.conformal import conformal
from padlib.flatten.cures import Cures, cures_on, split_words, spots, told
from padlib.flatten.disk import boundary_loop
from padlib.flatten.fit import (
    FAR,
    Cut,
    Job,
    followed,
    laid,
    measured,
    searched,
    shorter,
    solved,
    with_pins,
)
from padlib.flatten.flat import Dart, Flat
from padlib.flatten.ground import Ground, Rules, Trial, ground
from padlib.flatten.moves import holds
from padlib.flatten.pins import Ban, Pin, allowed, banned, line_near, pinned_wedges
from padlib.flatten.shorten import shortened
from padlib.flatten.sketch import Wedge, sketch
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.trial import evaluate, reached
from padlib.seams.panels import Panel

TRIANGLES = 500  # of a sketch
MUCH = 1.2  # of the root of the panel's area: so much dart length may be better spent on a seam
GAIN = 0.97  # of the sketch's percentile: what panels with darts near the limit were seen to show
NEAR = 1.04  # of the target: further off, a wider search is worth its time


@dataclass(frozen=True)
class Suggestion:
    """A dart that could be cut, not cut yet. Its `pin` makes it one that stays.

    mouth: panel vertex at the edge; seam: name of the seam that it starts from; path: its places on
    the panel in space, from mouth to tip, mm; length_mm; intake_deg between the legs; stretch_left:
    the percentile of stretch with this dart; p99_left: the 99th.
    """

    mouth: int
    seam: str
    path: tuple[tuple[float, float, float], ...]
    length_mm: float
    intake_deg: float
    stretch_left: float
    p99_left: float

    @property
    def tip(self) -> tuple[float, float, float]:
        """Its tip in space, mm."""
        return self.path[-1]

    @property
    def pin(self) -> Pin:
        """The dart as a pinned one."""
        return Pin(self.path[0], self.path[-1])


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
    pinned: Sequence[Pin] = (),
    forbidden: Sequence[Ban] = (),
    like: Sequence[Pin] = (),
) -> Flat:
    """Lay a panel flat, with darts where its stretch would stay over the cloth's limit.

    limit: the cloth's stretch limit (0.05 is 5 %); percentile: share of the area, in percent, that
    must keep it; margin: part of the limit that is aimed at; max_darts: at most so many; rules:
    where darts may lie and how they may look (their limit, percentile and max_darts give way to
    those given here); cloth, pile (3,): what the panel is laid for and which way its pile lies; then
    limit is one of the cloth's use, 1 at the cloth's own limits. pinned: darts that stay, whatever
    they do; the others are sought around them. forbidden: seams that no dart may start from, and
    places that none may touch.

    The flat's panel has the slits opened, see `cutting.cut_darts` for its edges and parents; pinned
    darts are its first. Findings 550 to 555. Raises MeshError where the panel is not a disk,
    FlatteningError where no flat without flip or overlap was found, InputError where a pinned dart
    or a forbidden place is not on the panel.
    """
    if cloth is not None:
        limit = limit * cloth.plain
    way = None if pile is None else tuple(np.asarray(pile, dtype=np.float64).tolist())
    asked = {"limit": limit, "percentile": percentile, "max_darts": max_darts}
    base = replace(rules or Rules(), **asked, cloth=cloth, pile=way)
    vertices, faces = panel.surface.vertices, panel.surface.faces
    first = conformal(vertices, faces)
    before, area = stretch(vertices, faces, first), areas(vertices, faces)
    done = solved(vertices, faces, first, base)
    start = replace(laid(panel, (), done.flat, base), touches=done.barrier)
    fixed = pinned_wedges(panel, start.flat, pinned)
    bare = with_pins(panel, start, fixed, base)
    cut, notes = bare, []
    if bare.value > limit * margin:
        job = Job(panel, start.flat, bare, limit * margin)
        cut, notes = _darted(job, start, base, fixed, forbidden, like)
    darts = tuple(measured(cut, left, right) for left, right in cut.legs)
    found = _said(start, cut, darts, base) + _about_pins(panel, darts[: len(fixed)], base) + notes
    rest = (before, area, darts, tuple(found))
    return Flat(cut.panel, cut.flat, cut.stretch, *rest, cloth=cloth, pile=way)


def suggest_darts(
    panel: Panel,
    *,
    limit: float = 0.05,
    percentile: float = 95.0,
    count: int = 5,
    rules: Rules | None = None,
    forbidden: Sequence[Ban] = (),
) -> list[Suggestion]:
    """Single darts that would help this panel most, with the stretch each would leave.

    First those that hold the limit by themselves, as short as they can be for that, the shortest
    first; then the others, by what they leave. forbidden: as for `dart_panel`. Values are those of a
    sketch of some hundred triangles, good to a few hundredths of themselves. Raises MeshError,
    FlatteningError and InputError as `dart_panel`.
    """
    base = replace(rules or Rules(), limit=limit, percentile=percentile, tries=2 * count)
    vertices, faces = panel.surface.vertices, panel.surface.faces
    start = laid(panel, (), solved(vertices, faces, None, base).flat, base)
    here = _ground(panel, start, base, limit, (), forbidden)
    if here is None or not len(here.mouths):
        return []
    sure, out = replace(here, ask=np.inf), []
    for wedge in spread(here, candidates(here, ()), base.tries):
        tried = evaluate(sure, (wedge,))
        if tried is not None and tried.value * here.gain < start.value:
            short = shortened(here, tried) if holds(here, tried) else tried
            out.append(_suggestion(panel, here, short))
    return sorted(out, key=lambda s: _rank(s, limit))[:count]


def _rank(dart: Suggestion, limit: float) -> tuple[bool, float]:
    """What suggestions are ranked by."""
    over = dart.stretch_left > limit
    return over, dart.stretch_left if over else dart.length_mm


def suggest_cures(
    panel: Panel, *, limit: float = 0.05, percentile: float = 95.0, rules: Rules | None = None
) -> Cures:
    """The best gusset and the best seam across a panel, with the stretch that each would leave.

    Values are those of a sketch. Raises MeshError where the panel is not a disk, FlatteningError where no flat
    without flip or overlap was found.
    """
    base = replace(rules or Rules(), limit=limit, percentile=percentile)
    vertices, faces = panel.surface.vertices, panel.surface.faces
    start = laid(panel, (), solved(vertices, faces, None, base).flat, base)
    here = _ground(panel, start, base, limit, (), ())
    return Cures(None, None, False) if here is None else cures_on(panel, here, limit)


def pairs_of_darts(flat: Flat) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """The two legs (k,), (k,) of each dart, mouth to tip, which must be equally long on paper."""
    return [(dart.left, dart.right) for dart in flat.darts]


def _mouths(panel: Panel, loop: NDArray[np.int64], clear: float) -> NDArray[np.int64]:
    """Places in the loop where a dart may start: on sewn edges, clear of their ends."""
    fit = []
    for edge in panel.edges:
        if edge.kind != "sewn":
            continue
        at = panel.surface.vertices[edge.run]
        along = lengths(at)
        closed = edge.run[0] == edge.run[-1]
        free = closed | ((along >= clear) & (along <= along[-1] - clear))
        fit.append(edge.run[free])
    return np.flatnonzero(np.isin(loop, np.concatenate(fit))) if fit else np.zeros(0, np.int64)


def _ground(
    panel: Panel,
    start: Cut,
    rules: Rules,
    target: float,
    fixed: tuple[Wedge, ...],
    bans: Sequence[Ban],
) -> Ground | None:
    """What the search stands on, asked for what makes the panel itself hold the target."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    loop = boundary_loop(faces)
    mouths = _mouths(panel, loop, rules.clear)
    mouths = mouths[allowed(panel, loop[mouths], bans)]
    corners = np.array([edge.run[0] for edge in panel.edges], dtype=np.int64)
    plan = sketch(vertices, faces, start.flat, loop, corners=corners, triangles=TRIANGLES)
    here = None if plan is None else ground(plan, rules, mouths)
    plain = None if here is None else evaluate(replace(here, ask=np.inf), ())
    if plain is None or plain.value <= 0:
        return None
    # far over the limit the sketch's milder energy says little of what it will say near the limit
    gain = start.value / plain.value if start.value < FAR * target else GAIN
    corner = vertices[faces]
    away = 0.5 * float(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1).mean())
    barred = start.flat[banned(panel, bans)]
    return replace(here, ask=target / gain, gain=gain, fixed=fixed, barred=barred, away=away)


def _darted(
    job: Job,
    start: Cut,
    rules: Rules,
    fixed: tuple[Wedge, ...],
    bans: Sequence[Ban],
    like: Sequence[Pin],
) -> tuple[Cut, list[Finding]]:
    """The panel with darts, and what is to be said about the search."""
    name, target = job.panel.name, job.target
    here = _ground(job.panel, start, rules, target, fixed, bans)
    if here is None or not len(here.mouths):
        words = "no sewn edge is long enough to start a dart from; the stretch stays as it is"
        notes = [Finding(553, words, name, Grade.WARNING)]
        return job.bare, notes + ([] if here is None else _cured(job, here, job.bare, rules))
    if like:
        free = here.sketch.loop[here.mouths]
        lines = (line_near(job.panel, here.sketch.flat, free, pin)[0] for pin in like)
        best = followed(job, here, tuple(lines))
        return best, _cured(job, here, best, rules)
    best = searched(job, here)
    if best.value > NEAR * target and rules.max_darts > len(fixed) and candidates(here, ()):
        wide = replace(here, rules=replace(rules, beam=2 * rules.beam, tries=2 * rules.tries))
        best = shorter(best, searched(job, wide), target)
    return best, _cured(job, here, best, rules)


def _cured(job: Job, here: Ground, cut: Cut, rules: Rules) -> list[Finding]:
    """What would do better than the darts of a panel, or help where they do not."""
    name, limit, unit = job.panel.name, rules.limit, _unit(rules)
    if cut.value > limit:
        more = rules.max_darts > len(cut.legs)
        words = (
            f"{unit * cut.value:.1f} % {_what(rules)} is left where {unit * limit:g} % is asked for "
            f"{rules.percentile:g} % of the area, and "
            f"{'more darts do not help' if more else 'no more darts are allowed'}; "
            f"{told(cures_on(job.panel, here, limit, cut.wedges), limit)}"
        )
        return [Finding(550, words, name, Grade.WARNING)]
    total = sum(measured(cut, left, right).length_mm for left, right in cut.legs)
    root = here.longest / here.rules.longest
    split = cures_on(job.panel, here, limit).split if total > MUCH * root else None
    if split is None or split.stretch_left > limit or split.length_mm > total:
        return []
    words = f"better than {total:.0f} mm of darts: {split_words(split)}"
    return [Finding(554, words, name)]


def _unit(rules: Rules) -> float:
    """What makes percent of a percentile: of stretch, or of what the cloth bears."""
    return 100.0 if rules.cloth is None else 100.0 / rules.cloth.plain


def _what(rules: Rules) -> str:
    """What percentiles are of."""
    return "stretch" if rules.cloth is None else f"use of the limits of '{rules.cloth.name}'"


def _said(start: Cut, cut: Cut, darts: tuple[Dart, ...], rules: Rules) -> list[Finding]:
    """Findings about the darts and the stretch left."""
    out, name, unit = [], cut.panel.name, _unit(rules)
    was, now = unit * start.value, unit * cut.value
    if darts:
        total = sum(dart.length_mm for dart in darts)
        words = (
            f"{len(darts)} dart{'s' if len(darts) > 1 else ''}, {total:.0f} mm in all, bring the "
            f"{_what(rules)} that {rules.percentile:g} % of the area keeps from {was:.1f} to {now:.1f} %"
        )
        out.append(Finding(551, words, name, count=len(darts)))
    worst = summary(cut.stretch, areas(cut.panel.surface.vertices, cut.panel.surface.faces))
    if cut.value <= rules.limit and worst["p99"] > 2 * rules.limit:
        words = f"a hundredth of the area stretches more than {100 * worst['p99']:.1f} %"
        out.append(Finding(552, words, name))
    return out


def _about_pins(panel: Panel, darts: tuple[Dart, ...], rules: Rules) -> list[Finding]:
    """Warnings about pinned darts that do not open."""
    out = []
    for k, dart in enumerate(darts):
        if dart.intake_deg < rules.least_intake:
            words = (
                f"pinned dart {k + 1} opens by {dart.intake_deg:.1f} degrees only: there is no cloth to "
                "spare where it lies; move it, or put in a gusset there"
            )
            out.append(Finding(555, words, panel.name, Grade.WARNING))
    return out


def _suggestion(panel: Panel, here: Ground, trial: Trial) -> Suggestion:
    """A tried dart in the words of the maker."""
    wedge, leg = trial.wedges[0], trial.mesh.legs[0][0]
    seam = next(edge.seam for edge in panel.edges if wedge.mouth in edge.run)
    path = trial.mesh.vertices[leg]
    size = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
    most = replace(here.rules, percentile=99.0)
    left = (trial.value * here.gain, reached(trial.mesh, trial.flat, most) * here.gain)
    return Suggestion(wedge.mouth, seam, spots(path), size, trial.intakes[0], *left)
