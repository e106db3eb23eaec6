"""The flat with least stretch: no flipped triangle, no overlap, from any disk.

Symmetric Dirichlet energy by projected Newton from a conformal start; then, where a stretch limit
is given, its p-norm, because a limit is what cloth has; where the flat would overlap itself, again
from a start without overlap with a barrier along the boundary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import FlatteningError, MeshError
from padlib.flatten import newton
from padlib.flatten.assembly import assembly
from padlib.flatten.cloth import Cloth
from padlib.flatten.conformal import conformal
from padlib.flatten.contact import contact_of
from padlib.flatten.disk import boundary_edges, check_disk
from padlib.flatten.injective import crossings, embedding
from padlib.flatten.limit import pull_down, strains
from padlib.flatten.nap import Nap, begun, nap_of, settled, straight
from padlib.flatten.rest import Rest, determinants, jacobians, rest
from padlib.flatten.strain import Energy
from padlib.flatten.ties import Ties, ties
from padlib.mesh.surface import Faces, Plane, Vertices

CONTACT_TOLERANCE = 1e-4
FREE_POOR, HELD_POOR, POOR_RATIO = 10.0, 0.1, 1.5
"""Mean square strains beyond which another way is tried: without and with a barrier, and that
against the strain without."""

WAYS = (newton.Way(), newton.Way(soft=False), newton.Way(3.0, soft=False))
"""Ways of the approach, in the order in which they are tried."""

TIE_ROUNDS = 8
ROUNDS = 200
ROUGH = 1e-2  # relative gain at which the plain start of a cloth's solve ends
TIE_ERROR = 1e-6
SAY, SAY_POWER = 0.1, 16.0
"""Weight and power of the worst strain in the last step: on domes the mean square strain rises by 1e-5 of itself, the
worst falls by a hundredth."""

ROUND = 1e-4  # worst strain below which there is nothing to round off


@dataclass(frozen=True)
class Solved:
    """A flat (n, 2) mm with what the solve tells: Newton steps, whether the barrier was needed, the
    multipliers of the edge targets (k,) (energy per relative length, mean square strain), the mean
    square strain of the flat, and that of the flat which was allowed to overlap itself."""

    flat: Plane
    steps: int
    barrier: bool
    pull: NDArray[np.float64]
    strain: float
    free: float


def isometric(
    vertices: Vertices,
    faces: Faces,
    start: Plane | None = None,
    *,
    limit: float | None = None,
    edge_targets: tuple[ArrayLike, ArrayLike] | None = None,
    pins: tuple[ArrayLike, ArrayLike] | None = None,
    cloth: Cloth | None = None,
    pile: ArrayLike | None = None,
    iterations: int = 100,
    tolerance: float = 1e-6,
    spare_worst: bool = False,
) -> Plane:
    """Flat (n, 2) mm with least stretch, counter-clockwise, no triangle flipped, no overlap.

    vertices (n, 3) mm; faces (m, 3), one disk. start: a flat to begin with; used where no triangle
    of it is flipped. limit: the cloth's stretch limit (0.05 is 5 %); with it the worst stretch is
    pulled down until 99 % of the area is within it, as far as that goes; 0 asks for the least worst
    stretch whatever the mean. edge_targets: mesh edges (k, 2) and the lengths (k,) mm that they must have
    in the flat. pins: vertices (j,) and the places (j, 2) mm that they must have.
    cloth: what the cloth bears along its pile, across it and in shear; the flat is then turned so that
    its pile, which lies along `pile` (3,) or (m, 3) in space, runs along -y (with pins it is where they
    put it), and limit is one of the cloth's use: 1 asks that 99 % be within the cloth's own limits.
    iterations: Newton steps at most per stage; tolerance: relative gain at which a stage ends;
    spare_worst: without limit and cloth, one more step lets the worst stretch fall by about a hundredth
    while the mean square strain rises by some 1e-5 of itself.
    Raises MeshError where the mesh is not a disk or the pile no direction; InputError where a cloth
    has no pile; FlatteningError where no flat without flip or overlap was found.
    """
    return solve(
        vertices,
        faces,
        start,
        limit=limit,
        edge_targets=edge_targets,
        pins=pins,
        cloth=cloth,
        pile=pile,
        iterations=iterations,
        tolerance=tolerance,
        spare_worst=spare_worst,
    ).flat


def solve(
    vertices: Vertices,
    faces: Faces,
    start: Plane | None = None,
    *,
    limit: float | None = None,
    edge_targets: tuple[ArrayLike, ArrayLike] | None = None,
    pins: tuple[ArrayLike, ArrayLike] | None = None,
    cloth: Cloth | None = None,
    pile: ArrayLike | None = None,
    iterations: int = 100,
    tolerance: float = 1e-6,
    spare_worst: bool = False,
) -> Solved:
    """What `isometric` does, with what the solve tells."""
    vertices, faces, loop = check_disk(vertices, faces)
    unit = float(np.sqrt(rest(vertices, faces).area.sum()))
    scaled = vertices / unit
    problem = _problem(scaled, faces, unit, edge_targets, pins)
    nap = nap_of(cloth, pile, scaled, faces, fixed=pins is not None)
    plan = _Plan(limit, iterations, tolerance, nap, start is not None, spare_worst)
    first = _first_start(scaled, faces, problem.at_rest, None if start is None else start / unit)
    tried = _tried(problem, first, partial(embedding, scaled, faces), plan, FREE_POOR)
    free, barrier = tried.strain, crossings(tried.flat[loop]) > 0
    if barrier:
        begin = _injective_start(scaled, faces, loop, problem.at_rest, first)
        watched = replace(problem, contacts=(contact_of(problem.at_rest, faces, scaled, loop),))
        rough = replace(plan, tolerance=max(plan.tolerance, CONTACT_TOLERANCE))
        poor = max(HELD_POOR, POOR_RATIO * free)
        tried = _tried(watched, begin, lambda: begin, rough, poor)
    flat, tied = tried.flat, tried.tied
    _check(problem, loop, flat)
    pull = np.zeros(0) if tied is None else tied.pull * tied.lengths
    return Solved(flat * unit, tried.steps, barrier, pull, tried.strain, free)


@dataclass(frozen=True)
class _Plan:
    """Limit, when to stop, the cloth with its pile, whether a start was given, and whether the worst
    strain has a say in the last step."""

    limit: float | None
    iterations: int
    tolerance: float
    nap: Nap | None = None
    warm: bool = False
    spare: bool = False


def _problem(
    vertices: Vertices, faces: Faces, unit: float, edge_targets: object, pins: object
) -> newton.Problem:
    """The problem in units of the square root of the area."""
    at_rest = rest(vertices, faces)
    pattern = assembly(faces, len(vertices))
    edges, lengths = _targets(edge_targets, faces, unit)
    held, places = _places(pins, len(vertices), unit)
    asked = ties(pattern, edges, lengths, held, places) if len(edges) or len(held) else None
    return newton.Problem(faces, at_rest, pattern, at_rest.area / at_rest.area.sum(), ties=asked)


def _targets(
    edge_targets: tuple[ArrayLike, ArrayLike] | None, faces: Faces, unit: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Edge targets as arrays in the solve's unit, or MeshError."""
    if edge_targets is None:
        return np.zeros((0, 2), np.int64), np.zeros(0)
    edges = np.asarray(edge_targets[0], dtype=np.int64).reshape(-1, 2)
    lengths = np.asarray(edge_targets[1], dtype=np.float64).ravel()
    if len(edges) != len(lengths) or not (np.isfinite(lengths) & (lengths > 0)).all():
        raise MeshError("edge_targets must be edges (k, 2) and as many lengths above 0 mm")
    rim = boundary_edges(faces)
    size = int(faces.max()) + 1
    known = np.sort(rim, axis=1) @ np.array([size, 1])
    asked = np.sort(edges, axis=1) @ np.array([size, 1])
    if not np.isin(asked, known).all():
        bad = edges[~np.isin(asked, known)][0]
        raise MeshError(f"edge_targets name {tuple(bad.tolist())}, which is no boundary edge")
    return edges, lengths / unit


def _places(
    pins: tuple[ArrayLike, ArrayLike] | None, size: int, unit: float
) -> tuple[NDArray[np.int64], Plane]:
    """Pins as arrays in the solve's unit, or MeshError."""
    if pins is None:
        return np.zeros(0, np.int64), np.zeros((0, 2))
    held = np.asarray(pins[0], dtype=np.int64).ravel()
    places = np.asarray(pins[1], dtype=np.float64).reshape(-1, 2)
    if len(held) != len(places) or len(np.unique(held)) != len(held):
        raise MeshError("pins must be different vertices, each with a flat position in mm")
    if len(held) and (held.min() < 0 or held.max() >= size):
        raise MeshError(f"pins name vertices outside 0 to {size - 1}")
    return held, places / unit


def _sound(at_rest: Rest, faces: Faces, flat: Plane) -> bool:
    """Whether no triangle of a flat is flipped or collapsed."""
    return bool((determinants(jacobians(at_rest, faces, flat)) > 1e-12).all())


def _first_start(vertices: Vertices, faces: Faces, at_rest: Rest, given: Plane | None) -> Plane:
    """The given start where no triangle is flipped, else the conformal map, else an embedding."""
    if given is not None and given.shape == (len(vertices), 2) and _sound(at_rest, faces, given):
        return given
    flat = conformal(vertices, faces)
    return flat if _sound(at_rest, faces, flat) else embedding(vertices, faces)


def _injective_start(
    vertices: Vertices, faces: Faces, loop: NDArray[np.int64], at_rest: Rest, first: Plane
) -> Plane:
    """A start without flip or overlap: the first, the conformal map, or an embedding."""
    for flat in (first, conformal(vertices, faces)):
        if _sound(at_rest, faces, flat) and crossings(flat[loop]) == 0:
            return flat
    return embedding(vertices, faces)


@dataclass(frozen=True)
class _Tried:
    """Where the stages ended: flat (n, 2), its mean square strain, Newton steps, ties as they are."""

    flat: Plane
    strain: float
    steps: int
    tied: Ties | None


def _tried(
    problem: newton.Problem, start: Plane, again: Callable[[], Plane], plan: _Plan, poor: float
) -> _Tried:
    """The stages from a start; as long as they end at a strain over `poor`, other ways are tried
    from another start, and the best counts."""
    best = _ended(problem, start, plan, WAYS[0])
    if best.strain <= poor:
        return best
    start = again()
    for way in WAYS[1:]:
        best = min(best, _ended(problem, start, plan, way), key=lambda tried: tried.strain)
        if best.strain <= poor:
            break
    return best


def _ended(problem: newton.Problem, start: Plane, plan: _Plan, way: newton.Way) -> _Tried:
    """Where the stages end that begin at a start."""
    flat, work, tied = _stages(problem, start, plan, way)
    return _Tried(flat, newton.value(newton.plain(problem), flat), work.steps, tied)


def _stages(
    problem: newton.Problem, flat: Plane, plan: _Plan, way: newton.Way
) -> tuple[Plane, newton.Work, Ties | None]:
    """All stages from a start: mean strain, then the worst strain, then lengths and places."""
    work = newton.Work()
    options = {"iterations": plan.iterations, "tolerance": plan.tolerance, "work": work}
    free = replace(problem, ties=None)
    if problem.ties is None or plan.limit is not None:
        free, flat = _least(free, flat, plan, way, options)
    elif plan.nap is not None:
        free, flat = begun(plan.nap, free, flat)
    if plan.limit is not None:
        cloth = None if plan.nap is None else plan.nap.cloth
        stage = pull_down(free, flat, plan.limit, work, cloth=cloth)
        flat, free = stage.flat, newton.with_energy(free, stage.energy)
    flat, tied = _tied(replace(free, ties=problem.ties), flat, options)
    return flat if plan.nap is None else straight(plan.nap, flat)[0], work, tied


def _least(
    free: newton.Problem, flat: Plane, plan: _Plan, way: newton.Way, options: dict
) -> tuple[newton.Problem, Plane]:
    """The problem and its flat of least mean strain, from a start that may be far off."""
    work = options["work"]
    flat = newton.approach(free, flat, rounds=ROUNDS, work=work, way=way)
    if plan.nap is None:
        flat = newton.minimise(free, flat, **options)
        return free, _rounded(free, flat, work) if plan.spare and plan.limit is None else flat
    if not plan.warm:
        flat = newton.minimise(free, flat, **(options | {"tolerance": ROUGH}))
    return settled(plan.nap, free, flat, **options)


def _rounded(free: newton.Problem, flat: Plane, work: newton.Work) -> Plane:
    """A flat of least mean strain with the worst strain a little lower: at the minimum a step along it
    costs nothing to first order, so the worst few triangles may have a small say in the last one."""
    worst = float(strains(free, flat).max())
    if worst < ROUND:
        return flat
    said = newton.with_energy(free, Energy(1.0, SAY, SAY_POWER, worst))
    last = newton.Work(factor=work.factor)
    flat = newton.minimise(said, flat, iterations=1, tolerance=0.0, work=last)
    work.steps += last.steps
    return flat


def _tied(problem: newton.Problem, flat: Plane, options: dict) -> tuple[Plane, Ties | None]:
    """Rounds of the augmented Lagrangian until lengths and places are kept."""
    if problem.ties is None:
        return flat, None
    for _ in range(TIE_ROUNDS):
        flat = newton.minimise(problem, flat, **options)
        if problem.ties.error(flat) < TIE_ERROR:
            break
        problem = replace(problem, ties=problem.ties.updated(flat))
    return flat, problem.ties


def _check(problem: newton.Problem, loop: NDArray[np.int64], flat: Plane) -> None:
    """Never hand out a flat with a flip or an overlap."""
    bad = int((~(determinants(jacobians(problem.at_rest, problem.faces, flat)) > 0)).sum())
    crossed = crossings(flat[loop])
    if bad or crossed:
        raise FlatteningError(
            f"the panel could not be laid flat: {bad} triangles flipped, {crossed} crossings of its "
            "edge; split it by one more seam"
        )
