"""Seam partners made to agree in length, edge by edge, in one solve over all panels.

Each pair of edges that will be sewn together is a constraint |mine| = ratio * |theirs| of an
augmented Lagrangian inside the Newton that flattens; nothing decides a common length beforehand, so
the price in stretch is the least that a solution of these constraints near the free flats has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import FlatteningError, MeshError
from padlib.flatten import newton
from padlib.flatten.assembly import assembly
from padlib.flatten.disk import check_disk
from padlib.flatten.injective import crossings
from padlib.flatten.isometric import contact_of, isometric
from padlib.flatten.limit import LITTLE, strains
from padlib.flatten.rest import determinants, jacobians, rest
from padlib.flatten.strain import Energy
from padlib.flatten.stretch import areas, flipped, stretch, summary
from padlib.flatten.ties import Seams
from padlib.mesh.surface import Faces, Plane, Vertices

SEAM_GAIN = 30.0
SEAM_ERROR = 1e-6
STEPS_A_ROUND = 20
LIMIT_POWER = 8.0

Pair = tuple[int, ArrayLike, int, ArrayLike]


@dataclass(frozen=True)
class MatchReport:
    """What matching did.

    before, after (p,): length of the first run less that asked of the second, mm, for each pair;
    notch_before, notch_after (p,): the largest such difference over any part of the pair that is
    longer than 20 mm; stretch_before, stretch_after: summary of every panel; steps: Newton steps;
    barrier: whether a boundary had to be kept off itself.
    """

    before: NDArray[np.float64]
    after: NDArray[np.float64]
    notch_before: NDArray[np.float64]
    notch_after: NDArray[np.float64]
    stretch_before: tuple[dict[str, float], ...]
    stretch_after: tuple[dict[str, float], ...]
    steps: int
    barrier: bool

    @property
    def price(self) -> NDArray[np.float64]:
        """What matching added to the mean stretch of every panel (0.01 is one per cent)."""
        pairs = zip(self.stretch_before, self.stretch_after, strict=True)
        return np.array([after["mean"] - before["mean"] for before, after in pairs])


def match(
    meshes: Sequence[tuple[Vertices, Faces]],
    flats: Sequence[Plane],
    pairs: Sequence[Pair],
    *,
    ease: ArrayLike | None = None,
    limit: float | None = None,
    iterations: int = 10,
) -> tuple[list[Plane], MatchReport]:
    """Flats (n_i, 2) mm in which the two runs of every pair are equally long, edge by edge.

    meshes: (vertices, faces) of each panel, disks; flats: a flat of each, without flips. pairs:
    (i, run_i (k,), j, run_j (k,)), vertices along a seam in panel i and the partners of them in
    panel j, in the same order; i may be j (dart legs). ease (p,): how much longer the first run is
    to be than the second, 0.03 being 3 %; none by default. limit: as `isometric` has it.
    iterations: rounds of the multiplier method at most.
    Raises MeshError where a run names no boundary edges or an edge has two partners, FlatteningError
    where a flat would overlap or the lengths cannot be reached.
    """
    checked = [check_disk(*mesh) for mesh in meshes]
    begin = [_begin(v, f, u) for (v, f, _), u in zip(checked, flats, strict=True)]
    union = _Union.of(checked)
    mine, theirs, ratio, which = _edges(union, checked, pairs, ease)
    problem = _problem(union, mine, theirs, ratio)
    start = np.concatenate(begin) / union.unit
    if limit is not None:
        problem = _limited(problem, union, start, limit)
    flat, steps = _rounds(problem, start, iterations)
    barrier = any(crossings(flat[loop]) for loop in union.loops)
    if barrier:
        flat, steps = _apart(problem, union, start, iterations)
    _check(problem, union, flat, which)
    out = union.parts(flat * union.unit)
    return out, _report(checked, begin, out, (mine, theirs, ratio, which), union, steps, barrier)


@dataclass(frozen=True)
class _Union:
    """All panels as one mesh: first vertex of each (p + 1,), vertices and faces, loops, unit mm."""

    first: NDArray[np.int64]
    vertices: Vertices
    faces: Faces
    loops: tuple[NDArray[np.int64], ...]
    unit: float

    @classmethod
    def of(cls, checked: Sequence[tuple[Vertices, Faces, NDArray[np.int64]]]) -> _Union:
        """The union of panels, in the unit of the square root of their whole area."""
        first = np.concatenate([[0], np.cumsum([len(v) for v, _, _ in checked])])
        vertices = np.concatenate([v for v, _, _ in checked])
        faces = np.concatenate([f + at for (_, f, _), at in zip(checked, first, strict=False)])
        loops = tuple(loop + at for (_, _, loop), at in zip(checked, first, strict=False))
        unit = float(np.sqrt(rest(vertices, faces).area.sum()))
        return cls(first, vertices, faces, loops, unit)

    def parts(self, flat: Plane) -> list[Plane]:
        """The flats of the panels."""
        return [flat[a:b].copy() for a, b in zip(self.first[:-1], self.first[1:], strict=True)]


def _begin(vertices: Vertices, faces: Faces, flat: Plane) -> Plane:
    """The given flat, or a new one where it is not sound."""
    flat = np.asarray(flat, dtype=np.float64)
    if flat.shape != (len(vertices), 2):
        raise MeshError(f"a flat must hold {len(vertices)} positions, not be of {flat.shape}")
    if flipped(vertices, faces, flat).any():
        return isometric(vertices, faces)
    return flat


def _edges(
    union: _Union, checked: Sequence, pairs: Sequence[Pair], ease: ArrayLike | None
) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Partner edges (k, 2), (k, 2) in the union, their ratio (k,) and their pair (k,)."""
    more = np.zeros(len(pairs)) if ease is None else np.asarray(ease, dtype=np.float64)
    if more.shape != (len(pairs),) or not (more > -1).all():
        raise MeshError("ease must be one number above -1 for each pair of runs")
    mine, theirs, which = [np.zeros((0, 2), np.int64)], [np.zeros((0, 2), np.int64)], []
    for number, (i, run_i, j, run_j) in enumerate(pairs):
        first, second = (_run(checked, union, k, run) for k, run in ((i, run_i), (j, run_j)))
        if len(first) != len(second):
            raise MeshError(f"the runs of pair {number} have {len(first)} and {len(second)} edges")
        mine.append(first)
        theirs.append(second)
        which.append(np.full(len(first), number))
    pair = np.concatenate([np.zeros(0, np.int64), *which])
    both = np.concatenate(mine), np.concatenate(theirs)
    _check_once(union, *both)
    return *both, (1.0 + more)[pair], pair


def _run(checked: Sequence, union: _Union, panel: int, run: ArrayLike) -> NDArray[np.int64]:
    """The edges (k, 2) of a run of a panel, as vertices of the union."""
    if not 0 <= panel < len(checked):
        raise MeshError(f"a pair names panel {panel}, but there are {len(checked)} panels")
    run = np.asarray(run, dtype=np.int64).ravel()
    loop = checked[panel][2]
    place = np.full(int(loop.max()) + 1, -1)
    place[loop] = np.arange(len(loop))
    inside = (run >= 0) & (run < len(place))
    spots = np.where(inside, place[np.where(inside, run, 0)], -1)
    gap = np.diff(spots) % len(loop)
    if len(run) < 2 or (spots < 0).any() or not np.isin(gap, (1, len(loop) - 1)).all():
        raise MeshError(f"a run of panel {panel} does not follow the panel's boundary")
    at = run + union.first[panel]
    return np.column_stack([at[:-1], at[1:]])


def _check_once(union: _Union, mine: NDArray, theirs: NDArray) -> None:
    """No edge is sewn to two others."""
    ends = np.sort(np.concatenate([mine, theirs]), axis=1)
    keys = ends[:, 0] * len(union.vertices) + ends[:, 1]
    if len(np.unique(keys)) != len(keys):
        raise MeshError("an edge of a panel is in more than one pair of runs; name it once")


def _problem(union: _Union, mine: NDArray, theirs: NDArray, ratio: NDArray) -> newton.Problem:
    """One problem for all panels, in the unit of the union."""
    vertices = union.vertices / union.unit
    at_rest = rest(vertices, union.faces)
    ends = vertices[mine]
    scale = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    scale = np.maximum(scale, 1e-3 * max(float(scale.mean()), 1e-12)) if len(scale) else scale
    seams = Seams(mine, theirs, ratio, scale, np.zeros(len(mine)), SEAM_GAIN / scale)
    weight = at_rest.area / at_rest.area.sum()
    pattern = assembly(union.faces, len(vertices))
    return newton.Problem(union.faces, at_rest, pattern, weight, seams=seams)


def _limited(problem: newton.Problem, union: _Union, flat: Plane, limit: float) -> newton.Problem:
    """The problem with strain weighed against the limit, or what a panel's worst now is."""
    worst = strains(problem, flat)
    panel = np.searchsorted(union.first, union.faces[:, 0], side="right") - 1
    most = np.full(len(union.loops), max(limit, 1e-9))
    np.maximum.at(most, panel, worst)
    over = most > limit
    energy = Energy(np.where(over, LITTLE, 1.0)[panel], 1.0, LIMIT_POWER, most[panel])
    return newton.with_energy(problem, energy)


def _rounds(problem: newton.Problem, flat: Plane, iterations: int) -> tuple[Plane, int]:
    """Rounds of the augmented Lagrangian until partners agree."""
    work = newton.Work()
    for _ in range(iterations):
        flat = newton.minimise(problem, flat, iterations=STEPS_A_ROUND, tolerance=1e-5, work=work)
        if problem.seams.error(flat) < SEAM_ERROR:
            break
        problem = replace(problem, seams=problem.seams.updated(flat))
    return flat, work.steps


def _apart(
    problem: newton.Problem, union: _Union, start: Plane, iterations: int
) -> tuple[Plane, int]:
    """The same with every boundary kept off itself, from flats without overlap."""
    parts = union.parts(start)
    for k, loop in enumerate(union.loops):
        if crossings(start[loop]):
            first, last = union.first[k : k + 2]
            own = (union.faces[:, 0] >= first) & (union.faces[:, 0] < last)
            parts[k] = isometric(union.vertices[first:last], union.faces[own] - first) / union.unit
    vertices = union.vertices / union.unit
    contacts = tuple(contact_of(vertices, loop) for loop in union.loops)
    return _rounds(replace(problem, contacts=contacts), np.concatenate(parts), iterations)


def _check(problem: newton.Problem, union: _Union, flat: Plane, which: NDArray) -> None:
    """Never hand out a flip, an overlap or a pair that does not agree."""
    bad = ~(determinants(jacobians(problem.at_rest, union.faces, flat)) > 0)
    for number, loop in enumerate(union.loops):
        if crossings(flat[loop]):
            raise FlatteningError(f"panel {number} would overlap itself when its seams are matched")
    if bad.any():
        raise FlatteningError(f"{int(bad.sum())} triangles would flip when seams are matched")
    off = np.abs(problem.seams.misfit(flat)) / problem.seams.scale
    if len(off) and off.max() > 1e-3:
        number = int(which[int(off.argmax())])
        raise FlatteningError(f"the two runs of pair {number} cannot be made equally long")


def _report(
    checked: Sequence,
    begin: Sequence[Plane],
    out: Sequence[Plane],
    edges: tuple[NDArray, NDArray, NDArray, NDArray],
    union: _Union,
    steps: int,
    barrier: bool,
) -> MatchReport:
    """The differences and the stretch before and after."""
    count = int(edges[3].max()) + 1 if len(edges[3]) else 0
    sides = [_differences(np.concatenate(flats), edges, count) for flats in (begin, out)]
    told = [
        tuple(
            summary(stretch(v, f, u), areas(v, f))
            for (v, f, _), u in zip(checked, flats, strict=True)
        )
        for flats in (begin, out)
    ]
    return MatchReport(
        sides[0][0], sides[1][0], sides[0][1], sides[1][1], told[0], told[1], steps, barrier
    )


def _differences(
    flat: Plane, edges: tuple[NDArray, NDArray, NDArray, NDArray], count: int
) -> tuple[NDArray, NDArray]:
    """Per pair: whole difference (p,), and the largest over any part longer than 20 mm (p,)."""
    mine, theirs, ratio, which = edges
    long = [np.linalg.norm(flat[e[:, 1]] - flat[e[:, 0]], axis=1) for e in (mine, theirs)]
    whole = np.bincount(which, long[0] - ratio * long[1], count)
    part = np.zeros(count)
    for number in range(count):
        own = which == number
        part[number] = _worst_part(long[0][own], (ratio * long[1])[own])
    return whole, part


def _worst_part(mine: NDArray, theirs: NDArray) -> float:
    """The largest difference of two runs over any part of them longer than 20 mm."""
    at = np.concatenate([[0.0], np.cumsum(mine)])
    off = np.concatenate([[0.0], np.cumsum(mine - theirs)])
    apart = np.abs(at[:, None] - at[None, :]) > 20.0
    return float(np.where(apart, np.abs(off[:, None] - off[None, :]), 0.0).max())
