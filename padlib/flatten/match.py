"""Seam partners made to agree in length, edge by edge, in one solve over all panels.

Each pair of edges that will be sewn together is a constraint |mine| = ratio * |theirs|, ratio 1 but
for ease. The strain of all panels together, each by its area, is least under these constraints: at
the end what an edge pulls is what its partner is pulled by, so that no other sharing of the
differences costs less. Newton steps on the augmented Lagrangian (Hestenes 1969) with a new estimate
of the multipliers after every step, which near the end converge as fast as Newton on the conditions
of Karush, Kuhn and Tucker would; one factor of one sparse matrix a step, whatever the panels.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import FlatteningError, MeshError
from padlib.flatten import newton
from padlib.flatten.assembly import assembly
from padlib.flatten.contact import contact_of
from padlib.flatten.disk import check_disk
from padlib.flatten.injective import crossings
from padlib.flatten.isometric import isometric
from padlib.flatten.limit import strains
from padlib.flatten.nap import Nap, joined
from padlib.flatten.partners import Checked, Pair, Partners, partners
from padlib.flatten.rest import Rest, determinants, jacobians, rest
from padlib.flatten.strain import PLAIN, Energy, Scales
from padlib.flatten.stretch import areas, flipped, stretch, summary
from padlib.flatten.ties import TINY, Seams
from padlib.mesh.surface import Faces, Plane, Vertices

SEAM_GAIN = 300.0  # stiffness of a pair of edges: what is missing falls by about this a step
NEAR = 1e-2  # relative difference from which on the multipliers are worth estimating
SEAM_ERROR = 1e-4  # relative difference of an edge at the end
ENOUGH = 1e-3
STEPS = 60
SHARE, POWER = 0.7, 6.0
FARTHEST = 4.0
BACK = (
    0.05,
    0.2,
    0.5,
    1.0,
)  # how far back towards the start a flat is looked for that crosses nothing
ABOUT = 3  # edges about a new vertex
SMALL = 0.1  # of the mean edge of seams: shorter ones are measured by this


@dataclass(frozen=True)
class MatchReport:
    """What matching did.

    before, after (p,): length of the first run less that asked of the second, mm, for each pair;
    notch_before, notch_after (p,): the largest such difference over any part of the pair, so that
    no notch can be off by more; stretch_before, stretch_after: summary of every panel; steps: Newton
    steps; barrier: whether a boundary had to be kept off itself; pull (k,): what each edge of a pair
    pulls, in the strain energy (mm2) of all panels by mm of its length, edges in the order of pairs.
    """

    before: NDArray[np.float64]
    after: NDArray[np.float64]
    notch_before: NDArray[np.float64]
    notch_after: NDArray[np.float64]
    stretch_before: tuple[dict[str, float], ...]
    stretch_after: tuple[dict[str, float], ...]
    steps: int
    barrier: bool
    pull: NDArray[np.float64]

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
    ease: Sequence[ArrayLike] | None = None,
    limit: float | None = None,
    held: Collection[int] = (),
    naps: Sequence[Nap | None] | None = None,
    steps: int = STEPS,
    tolerance: float = ENOUGH,
) -> tuple[list[Plane], MatchReport]:
    """Flats (n_i, 2) mm in which the two runs of every pair are equally long, edge by edge.

    meshes: (vertices, faces) of each panel, disks; flats: a flat of each, without flips. pairs:
    (i, run_i (k,), j, run_j (k,)), vertices along a seam in panel i and the partners of them in
    panel j, in the same order; i may be j (dart legs). ease: for each pair how much longer the first
    run is to be than the second, 0.03 being 3 %, one number or one for each edge; none by default.
    limit: the cloth's stretch limit, a fraction above 0; with it strain near the limit is dear and
    strain over it very much so. held: panels that stay as they are; the others agree with them.
    naps: for each panel the cloth that it is laid for and its pile, None where the cloth is the same in
    all directions; strain at the limits of a cloth then counts as much as strain at `limit` elsewhere.
    steps: Newton steps at most; where they are not enough the report's `after` tells the difference.
    tolerance: relative gain expected of the next step at the end.
    Raises MeshError where a run names no boundary edges, an edge has two partners or limit or ease
    is no such number, FlatteningError where a flat would overlap.
    """
    checked, begin, sewn, solved = _whole(
        meshes, flats, pairs, ease, held, _Plan(limit, steps, tolerance, naps)
    )
    return solved.flats, _report(checked, begin, solved, sewn)


def matched(
    meshes: Sequence[tuple[Vertices, Faces]],
    flats: Sequence[Plane],
    pairs: Sequence[Pair],
    *,
    ease: Sequence[ArrayLike] | None = None,
    limit: float | None = None,
    held: Collection[int] = (),
    naps: Sequence[Nap | None] | None = None,
    loose: Sequence[NDArray[np.bool_]] | None = None,
) -> list[Plane]:
    """The flats of `match` without its report, which takes as long as a few steps.

    loose: the flats were matched before; of each the vertices (n,) that are new since, which then come to rest first.
    """
    plan = _Plan(limit, STEPS, ENOUGH, naps, loose)
    return _whole(meshes, flats, pairs, ease, held, plan)[3].flats


def _whole(
    meshes: Sequence[tuple[Vertices, Faces]],
    flats: Sequence[Plane],
    pairs: Sequence[Pair],
    ease: Sequence[ArrayLike] | None,
    held: Collection[int],
    plan: _Plan,
) -> tuple[list[Checked], list[Plane], Partners, _Solved]:
    """What is matched, how it begins, its partners and what comes of it."""
    limit = plan.limit
    if limit is not None and not limit > 0:
        raise MeshError(f"limit is {limit}, but a stretch limit must be above 0")
    checked = [check_disk(*mesh) for mesh in meshes]
    begin = [
        _begin(v, f, u, sound=k in held)
        for k, ((v, f, _), u) in enumerate(zip(checked, flats, strict=True))
    ]
    sewn = partners(checked, pairs, ease)
    moving = [k for k in range(len(checked)) if k not in held]
    solved = _Solved(list(begin), 0, False, np.zeros(len(sewn.mine)))
    if moving:
        solved = _solve(checked, begin, sewn, moving, plan)
    return checked, begin, sewn, solved


def cloth_energy(limit: float | None) -> Energy:
    """Mean square strain, to which a term is added that grows steeply towards a stretch limit.

    One energy for all panels, so that they can be weighed against each other. With `SHARE` 0.7 and
    `POWER` 6 the steep term is a seventh of the whole at 0.7 of the limit and six sevenths at the
    limit: found by trial on suits, where sharper ones lower the worst less than they raise the mean.
    """
    return PLAIN if limit is None else Energy(1.0, 1.0, POWER, SHARE * limit)


@dataclass(frozen=True)
class _Plan:
    """The stretch limit, when to stop, the cloths, and what is new in flats that were matched before."""

    limit: float | None
    most: int
    tolerance: float
    naps: Sequence[Nap | None] | None = None
    loose: Sequence[NDArray[np.bool_]] | None = None


@dataclass(frozen=True)
class _Solved:
    """All flats after matching, Newton steps, whether a barrier was needed, pull of each edge."""

    flats: list[Plane]
    steps: int
    barrier: bool
    pull: NDArray[np.float64]


@dataclass(frozen=True)
class _Union:
    """Panels as one mesh: first vertex of each (p + 1,), vertices and faces, at rest, loops, unit mm."""

    first: NDArray[np.int64]
    vertices: Vertices
    faces: Faces
    at_rest: Rest
    loops: tuple[NDArray[np.int64], ...]
    unit: float

    @classmethod
    def of(cls, checked: Sequence[Checked]) -> _Union:
        """The union of panels, in the unit of the square root of their whole area."""
        first = np.concatenate([[0], np.cumsum([len(v) for v, _, _ in checked])])
        vertices = np.concatenate([v for v, _, _ in checked])
        faces = np.concatenate([f + at for (_, f, _), at in zip(checked, first, strict=False)])
        loops = tuple(loop + at for (_, _, loop), at in zip(checked, first, strict=False))
        each = [rest(v, f) for v, f, _ in checked]
        unit = float(np.sqrt(sum(r.area.sum() for r in each)))
        area = np.concatenate([r.area for r in each]) / unit**2
        gx, gy = (unit * np.hstack(x) for x in zip(*((r.gx, r.gy) for r in each), strict=True))
        return cls(first, vertices / unit, faces, Rest(area, gx, gy), loops, unit)

    def parts(self, flat: Plane) -> list[Plane]:
        """The flats of the panels."""
        return [flat[a:b].copy() for a, b in zip(self.first[:-1], self.first[1:], strict=True)]


def _begin(vertices: Vertices, faces: Faces, flat: Plane, *, sound: bool) -> Plane:
    """The given flat, or a new one where it is not known to be sound and is not."""
    flat = np.asarray(flat, dtype=np.float64)
    if flat.shape != (len(vertices), 2):
        raise MeshError(f"a flat must hold {len(vertices)} positions, not be of {flat.shape}")
    if not sound and flipped(vertices, faces, flat).any():
        return isometric(vertices, faces)
    return flat


def _solve(
    checked: Sequence[Checked],
    begin: Sequence[Plane],
    sewn: Partners,
    moving: Sequence[int],
    plan: _Plan,
) -> _Solved:
    """The joint solve of the moving panels, the others held."""
    union = _Union.of([checked[k] for k in moving])
    seams, known = _seams(sewn, union, begin, moving)
    start, hold, scales = _turned(plan, union, moving, [begin[k] for k in moving])
    problem = replace(_problem(union, seams, start, plan.limit, scales), hold=hold)
    if plan.loose is not None and scales is None:
        new = np.concatenate([plan.loose[k] for k in moving])
        start = _rested(problem, start, new, plan) if new.any() else start
        problem = replace(problem, seams=seams.balancing(start, newton.slope(problem, start)))
    work = newton.Work()
    flat, problem = _agreed(problem, start, plan, work)
    crossed = [k for k, loop in enumerate(union.loops) if crossings(flat[loop])]
    if crossed:
        parts, contacts = _apart(union, start, flat, crossed)
        start, hold, _ = _turned(plan, union, moving, parts)
        watched = replace(problem, contacts=contacts, hold=hold)
        flat, problem = _agreed(watched, start, replace(plan, most=3 * plan.most), work)
    _check(problem, union, flat, moving)
    out = list(begin)
    for k, part in zip(moving, union.parts(flat * union.unit), strict=True):
        out[k] = part
    pull = np.zeros(len(sewn.mine))
    pull[known] = problem.seams.pull * union.unit
    return _Solved(out, work.steps, bool(crossed), pull)


def _rested(problem: newton.Problem, flat: Plane, new: NDArray[np.bool_], plan: _Plan) -> Plane:
    """The flat with its new vertices (n,), and those about them, where they agree and strain least while the rest
    stays: far less work than steps for all, of which strain that is steep in a few places would take many."""
    faces, seams = problem.faces, problem.seams
    free = new.copy()
    for _ in range(ABOUT):
        free[faces[free[faces].any(axis=1)]] = True
    beside = np.hstack([seams.mine, seams.theirs])
    rows = free[beside].any(axis=1)
    near = free.copy()
    near[beside[rows]] = True
    own = near[faces].any(axis=1)
    used, corner = np.unique(faces[own], return_inverse=True)
    place = np.full(len(flat), -1)
    place[used] = np.arange(len(used))
    corner = corner.reshape(-1, 3)
    reference = np.broadcast_to(problem.energy.reference, len(faces))[own]
    part = replace(
        problem,
        faces=corner,
        at_rest=Rest(
            *(x[..., own] for x in (problem.at_rest.area, problem.at_rest.gx, problem.at_rest.gy))
        ),
        assembly=assembly(corner, len(used)),
        weight=problem.weight[own],
        energy=replace(problem.energy, reference=reference),
        seams=seams.part(rows, place),
        still=~free[used],
    )
    out = flat.copy()
    out[used] = _agreed(part, flat[used], plan, newton.Work())[0]
    return out


def _turned(
    plan: _Plan, union: _Union, moving: Sequence[int], parts: Sequence[Plane]
) -> tuple[Plane, NDArray[np.float64] | None, Scales | None]:
    """The flats as a start in the union's unit, turned to their pile; what holds them; scales."""
    naps = [None if plan.naps is None else plan.naps[k] for k in moving]
    panel = np.searchsorted(union.first, union.faces[:, 0], side="right") - 1
    counts = np.bincount(panel, minlength=len(moving))
    turned, hold, scales = joined(naps, parts, counts.tolist(), limit=plan.limit)
    return np.concatenate(turned) / union.unit, hold, scales


def _seams(
    sewn: Partners, union: _Union, begin: Sequence[Plane], moving: Sequence[int]
) -> tuple[Seams, NDArray[np.int64]]:
    """The pairs of edges as vertices of the union, and which of the pairs they are.

    Where one side is held, the other is asked for the length that follows from it.
    """
    place = np.full(int(sewn.first[-1]), -1)
    for k, at in zip(moving, union.first, strict=False):
        size = int(sewn.first[k + 1] - sewn.first[k])
        place[sewn.first[k] : sewn.first[k + 1]] = at + np.arange(size)
    mine, theirs, ratio = place[sewn.mine], place[sewn.theirs], sewn.ratio.copy()
    here, there = mine[:, 0] >= 0, theirs[:, 0] >= 0
    long, asked = (side / union.unit for side in sewn.lengths(begin))
    more = np.where(here & there, 0.0, np.where(here, asked, long / ratio))
    ratio[~(here & there)] = 0.0
    mine, theirs = np.where(here[:, None], mine, theirs), np.where(there[:, None], theirs, mine)
    known = np.flatnonzero(here | there)
    ends = union.vertices[mine[known]]
    scale = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    scale = np.maximum(scale, max(SMALL * float(scale.mean()), TINY)) if len(scale) else scale
    parts = (mine[known], theirs[known], ratio[known], more[known], scale)
    return Seams(*parts, np.zeros(len(known)), SEAM_GAIN / scale), known


def _problem(
    union: _Union, seams: Seams, start: Plane, limit: float | None, scales: Scales | None
) -> newton.Problem:
    """One problem for all panels, every triangle by its area."""
    at_rest = union.at_rest
    weight = at_rest.area / at_rest.area.sum()
    pattern = assembly(union.faces, len(union.vertices))
    energy = replace(cloth_energy(limit), scales=scales)
    problem = newton.Problem(union.faces, at_rest, pattern, weight, energy, seams=seams)
    if limit is None:
        return problem
    # A triangle that is far over the limit is pulled down from where it is: powers would overflow.
    far = strains(problem, start, scales) / FARTHEST
    return newton.with_energy(problem, replace(energy, reference=np.maximum(energy.reference, far)))


def _agreed(
    problem: newton.Problem, flat: Plane, plan: _Plan, work: newton.Work
) -> tuple[Plane, newton.Problem]:
    """Newton steps with new multipliers after each, until partners agree and strain is least."""
    for _ in range(plan.most):
        last = flat
        flat, gain = newton.step(problem, last, work)
        error = problem.seams.error(flat)
        if error < SEAM_ERROR and gain < plan.tolerance:
            break
        if error < NEAR:
            problem = replace(problem, seams=problem.seams.updated(last, flat))
    return flat, problem


def _apart(
    union: _Union, start: Plane, flat: Plane, crossed: Sequence[int]
) -> tuple[list[Plane], tuple]:
    """Flats (n_i, 2) mm without overlap near a solved one, and barriers for the panels that cross."""
    parts = union.parts(flat * union.unit)
    begin = union.parts(start * union.unit)
    for k in crossed:
        first, last = union.first[k : k + 2]
        own = (union.faces[:, 0] >= first) & (union.faces[:, 0] < last)
        mesh = union.vertices[first:last] * union.unit, union.faces[own] - first
        parts[k] = _uncrossed(*mesh, union.loops[k] - first, begin[k], parts[k])
    at_rest, vertices = union.at_rest, union.vertices
    loops = [union.loops[k] for k in crossed]
    return parts, tuple(contact_of(at_rest, union.faces, vertices, loop) for loop in loops)


def _uncrossed(
    vertices: Vertices, faces: Faces, loop: NDArray[np.int64], begin: Plane, end: Plane
) -> Plane:
    """The flat nearest to `end` on the way back to `begin` that is sound, or a new one."""
    for share in BACK:
        flat = end + share * (begin - end)
        if not crossings(flat[loop]) and not flipped(vertices, faces, flat).any():
            return flat
    return isometric(vertices, faces)


def _check(problem: newton.Problem, union: _Union, flat: Plane, moving: Sequence[int]) -> None:
    """Never hand out a flip or an overlap."""
    bad = ~(determinants(jacobians(problem.at_rest, union.faces, flat)) > 0)
    if bad.any():
        raise FlatteningError(f"{int(bad.sum())} triangles would flip when seams are matched")
    pairs = zip(moving, union.loops, strict=True)
    over = tuple(number for number, loop in pairs if crossings(flat[loop]))
    if over:
        why = FlatteningError(f"panel {over[0]} would overlap itself when its seams are matched")
        why.panels = over
        raise why


def _report(
    checked: Sequence[Checked], begin: Sequence[Plane], solved: _Solved, sewn: Partners
) -> MatchReport:
    """The differences and the stretch before and after."""
    before, after = (sewn.differences(flats) for flats in (begin, solved.flats))
    told = [
        tuple(
            summary(stretch(v, f, u), areas(v, f))
            for (v, f, _), u in zip(checked, flats, strict=True)
        )
        for flats in (begin, solved.flats)
    ]
    return MatchReport(
        before[0],
        after[0],
        before[1],
        after[1],
        *told,
        solved.steps,
        solved.barrier,
        solved.pull,
    )
