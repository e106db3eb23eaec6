"""Projected Newton on the strain of a flat, with steps that flip nothing.

Second-order steps with positive semidefinite triangle Hessians (Teran et al. 2005), a step limit at
the first triangle to collapse (Smith, Schaefer 2015), and Armijo's rule. Lengths are in units of
the square root of the panel's area, weights add up to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.errors import FlatteningError
from padlib.flatten import contact as touch
from padlib.flatten import orthotropic, strain
from padlib.flatten.assembly import Assembly, Wider, wider
from padlib.flatten.injective import crossings
from padlib.flatten.rest import Rest, jacobians, singular_values
from padlib.flatten.ties import Seams, Ties
from padlib.mesh.solve import Factor, factor
from padlib.mesh.surface import Faces, Plane

_SHORT = 0.9
_FARTHEST = 16.0
_ARMIJO = 1e-4
_STEPS = 40
_RIDGE = 1e-9
_FIRM = 1e9  # of the largest stiffness: what keeps still
_NOTHING = 1e-13
_FAR = 1.0
_FARTHER, _NEARER, _FREE = 0.5, 0.7, 0.1
_APPROACHED = 0.01
_PATIENCE, _MUCH = 5, 0.5
_LEAST = 0.05
_RIDGES = 4


@dataclass(frozen=True)
class Problem:
    """What is minimised. weight (m,) sums to 1; ties: lengths and places asked for; seams: edges
    that must be as long as their partners; contacts: barriers between parts of a boundary; hold
    (k, n): what each vertex's x counts in sums that no step may change, so that flats whose cloth is
    not the same in all directions cannot turn; still (n,): vertices that stay where they are."""

    faces: Faces
    at_rest: Rest
    assembly: Assembly
    weight: NDArray[np.float64]
    energy: strain.Energy = strain.PLAIN
    ties: Ties | None = None
    seams: Seams | None = None
    contacts: tuple[touch.Contact, ...] = ()
    hold: NDArray[np.float64] | None = None
    still: NDArray[np.bool_] | None = None


@dataclass
class Work:
    """What is kept between Newton steps of one mesh: the symbolic factor, the pattern with seams, the part of the
    last Newton step that was taken. Counts steps."""

    factor: Factor | None = None
    wider: Wider | None = None
    step: float = 1.0
    steps: int = 0
    trace: list[float] = field(default_factory=list)


def value(problem: Problem, flat: Plane) -> float:
    """The energy of a flat (n, 2); infinity where a triangle is flipped."""
    of = strain if problem.energy.scales is None else orthotropic
    out = of.total(problem.energy, problem.at_rest, problem.weight, problem.faces, flat)
    if problem.ties is not None and np.isfinite(out):
        out += problem.ties.value(flat)
    if problem.seams is not None and np.isfinite(out):
        out += problem.seams.value(flat)
    if np.isfinite(out):
        out += sum(touch.barrier(contact, flat) for contact in problem.contacts)
    return out


def slope(problem: Problem, flat: Plane) -> Plane:
    """The derivative (n, 2) of the strain of a flip-free flat (n, 2), without ties, seams and barriers."""
    of = strain if problem.energy.scales is None else orthotropic
    parts = of.local(problem.energy, problem.at_rest, problem.weight, problem.faces, flat)
    return problem.assembly.gradient(parts)


def minimise(
    problem: Problem, flat: Plane, *, iterations: int, tolerance: float, work: Work
) -> Plane:
    """The flat (n, 2) after Newton steps from a flip-free start.

    Ends when the expected gain of a step falls below `tolerance` times the energy, after
    `iterations` steps, or when no step gains anything.
    """
    now = value(problem, flat)
    for _ in range(iterations):
        move, slope = _direction(problem, flat, work)
        if -slope <= tolerance * max(now, _NOTHING):
            break
        there, after = _line_search(problem, flat, move, now, slope)
        work.step = float(np.abs(there - flat).max() / max(np.abs(move).max(), _NOTHING))
        flat = there
        work.steps += 1
        work.trace.append(after)
        stuck = now - after <= 1e-3 * tolerance * max(now, _NOTHING)
        now = after
        if stuck:
            break
    return flat


def step(problem: Problem, flat: Plane, work: Work) -> tuple[Plane, float]:
    """The flat (n, 2) after one Newton step, and the gain that was expected, relative to the energy.

    Where no part of the step gains anything, the flat is handed back as it was.
    """
    now = value(problem, flat)
    move, slope = _direction(problem, flat, work)
    work.steps += 1
    return _line_search(problem, flat, move, now, slope)[0], -slope / max(abs(now), _NOTHING)


@dataclass(frozen=True)
class Way:
    """How far a triangle's own shape is gone to in a round of the approach. most: the largest bound
    of the logarithmic strain, which is gone to while steps are not cut short; soft: strains beyond
    the bound count by their logarithm, instead of not at all."""

    most: float = _FAR
    soft: bool = True


def approach(problem: Problem, flat: Plane, *, rounds: int, work: Work, way: Way = Way()) -> Plane:
    """The flat (n, 2) brought near its best from a start that is far off, one step a round.

    In each round a triangle's rest shape is replaced by one on the way from the flat's triangle to
    its own, so that no strain is beyond a bound and Newton's model holds (Liu, Ye, Ni, Fu 2018,
    "Progressive parameterizations"); barriers reach no farther than the flat's edges are long then.
    Ends when every triangle has its own rest shape, or when rounds no longer lower the mean strain
    by much: then the strain is the panel's own.
    """
    best, idle, bound = np.inf, 0, _FAR
    for _ in range(rounds):
        eased, far = _eased(problem.at_rest, problem.faces, flat, bound, soft=way.soft)
        mean = float(problem.weight @ far)
        best, idle = (mean, 0) if mean < best - _APPROACHED else (best, idle + 1)
        if not (far > _FAR).any() or idle > (_PATIENCE if mean > _MUCH else 0):
            break
        contacts = tuple(touch.eased(contact, flat) for contact in problem.contacts)
        near = replace(problem, at_rest=eased, weight=_even(problem.weight), contacts=contacts)
        flat = minimise(near, flat, iterations=1, tolerance=0.0, work=work)
        eager = work.step >= _FREE
        bound = min(way.most, bound + _FARTHER) if eager else max(_FAR, _NEARER * bound)
    return flat


def _even(weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights (m,) of which none is very small: slivers then keep out of each other's way early."""
    least = np.maximum(weight, _LEAST * weight.mean())
    return least / least.sum()


def _eased(
    at_rest: Rest, faces: Faces, flat: Plane, bound: float, *, soft: bool
) -> tuple[Rest, NDArray[np.float64]]:
    """Rest shapes of bounded strain, and the larger logarithmic strain (m,) of the true ones.

    With J = U S V' of a triangle, J' = U S**t V' has strain t log S; the rest gradients are turned
    by V S**(t - 1) V'.
    """
    jacobian = jacobians(at_rest, faces, flat)
    big, small = singular_values(jacobian)
    logs = np.log(big), np.log(small)
    far = np.maximum(np.abs(logs[0]), np.abs(logs[1]))
    over = np.maximum(far, bound)
    part = bound * (1.0 + soft * np.log(over / bound)) / over - 1.0
    cosine, sine = strain.frames(jacobian)[1]
    first, second = np.exp(part * logs[0]), np.exp(part * logs[1])
    xx = first * cosine**2 + second * sine**2
    yy = first * sine**2 + second * cosine**2
    xy = (first - second) * cosine * sine
    gx, gy = at_rest.gx, at_rest.gy
    return Rest(at_rest.area, xx * gx + xy * gy, xy * gx + yy * gy), far


def _direction(problem: Problem, flat: Plane, work: Work) -> tuple[Plane, float]:
    """The Newton step (n, 2) and the energy's slope along it."""
    of = strain if problem.energy.scales is None else orthotropic
    parts = of.local(problem.energy, problem.at_rest, problem.weight, problem.faces, flat)
    assembly = problem.assembly
    gradient, values = assembly.gradient(parts), assembly.values(parts)
    if problem.ties is not None:
        problem.ties.add(flat, gradient, values)
    values[assembly.diagonal] += _RIDGE * values[assembly.diagonal].mean()
    values[assembly.diagonal[:2]] *= 2.0  # holds one vertex: nothing else stops a shift
    if problem.still is not None:
        values[assembly.diagonal] += np.repeat(_FIRM * values.max() * problem.still, 2)
    seams = None if problem.seams is None else problem.seams.terms(flat)
    if seams is None or not len(seams.at):
        matrix = assembly.matrix(values)
    else:
        gradient += seams.gradient(assembly.size)
        if work.wider is None or not work.wider.fits(assembly, seams):
            work.wider = wider(assembly, seams)
        matrix = work.wider.matrix(values, seams)
    for contact in problem.contacts:  # parts of the boundary near each other, others at each step
        terms = touch.barrier_terms(contact, flat)
        if len(terms.at):
            gradient += terms.gradient(assembly.size)
            matrix = matrix + terms.hessian(assembly.size)
    if problem.still is not None:
        gradient[problem.still] = 0.0
    move = -_solved(problem, matrix, gradient, work).reshape(-1, 2)
    if problem.hold is not None:
        move = _held(problem.hold, move, work)
    return move, float(np.vdot(gradient, move))


def _held(hold: NDArray[np.float64], move: Plane, work: Work) -> Plane:
    """A Newton step (n, 2) made the best one that keeps the sums of hold (k, n) times x (Lagrange)."""
    if work.factor is None:
        return move
    rows = np.stack([hold, np.zeros_like(hold)], axis=2).reshape(len(hold), -1)
    answer = work.factor.solve(rows.T)
    return move - (answer @ np.linalg.solve(rows @ answer, hold @ move[:, 0])).reshape(-1, 2)


def _solved(
    problem: Problem, matrix: sp.csc_matrix, gradient: Plane, work: Work
) -> NDArray[np.float64]:
    """The solution (2n,), with the last symbolic factor where the pattern is still the same."""
    plain = matrix.nnz == len(problem.assembly.indices)
    order = problem.assembly.order if plain else None
    for _ in range(_RIDGES):
        try:
            if work.factor is None or not work.factor.fits(matrix):
                work.factor = factor(matrix, lower=True, order=order)
            else:
                work.factor.refactor(matrix)
            return work.factor.solve(gradient.ravel())
        except np.linalg.LinAlgError:  # rounding made it indefinite: a stiffer ridge
            matrix = matrix + sp.diags(1e-6 * matrix.diagonal(), format="csc")
    raise FlatteningError("the panel's triangles are too thin to lay flat; remesh the panel first")


def _line_search(
    problem: Problem, flat: Plane, move: Plane, now: float, slope: float
) -> tuple[Plane, float]:
    """The flat after a step that lowers the energy enough, and its energy.

    Halved until it does (Armijo); or, where the energy falls faster than the model said, because
    the projected Hessian is too stiff, doubled as long as that gains.
    """
    free = _SHORT * flip_step(problem.faces, flat, move)
    near, step = _until_meeting(problem, flat, move, min(1.0, free))
    for _ in range(_STEPS):
        there = flat + step * move
        after = value(near, there)
        if after <= now + _ARMIJO * step * slope and _simple(problem, there):
            if step == 1.0 and after < now + 0.7 * slope:
                return _extended(problem, flat, move, after, free)
            return there, after
        step *= 0.5
    return flat, now


def _until_meeting(
    problem: Problem, flat: Plane, move: Plane, step: float
) -> tuple[Problem, float]:
    """The problem with the pairs near the way alone, and the step at which nothing has met yet."""
    if not problem.contacts:
        return problem, step
    near = tuple(touch.within(contact, flat, step * move) for contact in problem.contacts)
    first = min(touch.meeting(contact, flat, step * move) for contact in near)
    return replace(problem, contacts=near), step if first >= 1.0 else _SHORT * first * step


def _extended(
    problem: Problem, flat: Plane, move: Plane, after: float, free: float
) -> tuple[Plane, float]:
    """The flat after the full step, or a multiple of it where the energy fell below what was hoped."""
    near, longest = _until_meeting(problem, flat, move, min(_FARTHEST, free))
    step = 1.0
    while 2 * step <= longest:
        further = value(near, flat + 2 * step * move)
        if not (further < after and _simple(problem, flat + 2 * step * move)):
            break
        step, after = 2 * step, further
    return flat + step * move, after


def _simple(problem: Problem, flat: Plane) -> bool:
    """Whether the boundary is simple, where that is watched."""
    return all(crossings(flat[contact.loop]) == 0 for contact in problem.contacts)


def flip_step(faces: Faces, flat: Plane, move: Plane) -> float:
    """The largest step along `move` (n, 2) before a triangle collapses; infinity if none does.

    Twice the signed area of a triangle is a quadratic of the step; the least positive root counts.
    """
    x, y = flat[:, 0][faces.T], flat[:, 1][faces.T]
    dx, dy = move[:, 0][faces.T], move[:, 1][faces.T]
    x1, x2, y1, y2 = x[1] - x[0], x[2] - x[0], y[1] - y[0], y[2] - y[0]
    dx1, dx2, dy1, dy2 = dx[1] - dx[0], dx[2] - dx[0], dy[1] - dy[0], dy[2] - dy[0]
    a = dx1 * dy2 - dx2 * dy1
    b = x1 * dy2 + dx1 * y2 - x2 * dy1 - dx2 * y1
    c = x1 * y2 - x2 * y1
    roots = touch.smallest_roots(a, b, c)
    return min(float(np.where(t > 0, t, np.inf).min()) for t in roots)


def with_energy(problem: Problem, energy: strain.Energy) -> Problem:
    """The same problem with another energy."""
    return replace(problem, energy=energy)


def plain(problem: Problem) -> Problem:
    """The problem of the mean square strain alone, without ties, seams and barriers."""
    return replace(problem, energy=strain.PLAIN, ties=None, seams=None, contacts=(), hold=None)
