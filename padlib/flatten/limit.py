"""The worst stretch pulled down, because a stretch limit is what cloth has.

A p-norm of strain whose power grows (2, 4, ... 32): each stage starts from the flat of the last and
takes as its reference the worst strain there, so that nothing overflows and the triangles near the
worst weigh most. In the end the worst strain is within two hundredths of the least possible on
round caps, where that is known (Milnor 1969).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten import newton
from padlib.flatten.cloth import Cloth, limit_scales, use_of
from padlib.flatten.orthotropic import eigenvalues
from padlib.flatten.rest import jacobians, singular_values
from padlib.flatten.strain import Energy, Scales
from padlib.flatten.stretch import summary
from padlib.mesh.surface import Plane

POWERS = (2.0, 4.0, 8.0, 16.0, 32.0)
LITTLE = 1e-4
"""Part of the mean square strain in the p-norm stages: it decides where nothing is near the worst."""

STEPS, ENOUGH = 20, 1e-3


@dataclass(frozen=True)
class Stage:
    """A flat (n, 2), the energy that it is least in, and how far it is over the limit."""

    flat: Plane
    energy: Energy
    score: float
    done: bool


def pull_down(
    problem: newton.Problem,
    flat: Plane,
    limit: float,
    work: newton.Work,
    *,
    cloth: Cloth | None = None,
) -> Stage:
    """The best stage of the p-norm continuation from a flat (n, 2) of least mean strain.

    limit 0: the last, least worst strain. Else the first whose 99 % stretch is within the limit, or
    the one that is least over it. cloth: with it the limit is one of the cloth's use, 1 at its own
    limits, and the flat's pile runs along -y.
    """
    best = _judged(problem, flat, problem.energy, limit, cloth)
    scales = None if cloth is None else limit_scales(cloth)
    least = limit if cloth is None else limit * cloth.plain
    for power in POWERS:
        if best.done:
            break
        worst = max(least, float(strains(problem, flat, scales).max()), 1e-9)
        energy = Energy(LITTLE, 1.0, power, worst, scales)
        there = newton.with_energy(problem, energy)
        flat = newton.minimise(there, flat, iterations=STEPS, tolerance=ENOUGH, work=work)
        stage = _judged(problem, flat, energy, limit, cloth)
        best = stage if stage.score <= best.score else best
    return best


def strains(
    problem: newton.Problem, flat: Plane, scales: Scales | None = None
) -> NDArray[np.float64]:
    """The larger |s - 1/s| / 2 (m,) of each triangle, or the larger scaled strain of a cloth."""
    jacobian = jacobians(problem.at_rest, problem.faces, flat)
    if scales is not None:
        return np.abs(eigenvalues(scales, jacobian)).max(axis=0)
    return np.maximum(*(0.5 * np.abs(s - 1.0 / s) for s in singular_values(jacobian)))


def _judged(
    problem: newton.Problem, flat: Plane, energy: Energy, limit: float, cloth: Cloth | None
) -> Stage:
    """A stage with its score: what is over the limit at 95 and 99 % of the area, and the mean."""
    jacobian = jacobians(problem.at_rest, problem.faces, flat)
    if cloth is None:
        big, small = singular_values(jacobian)
        values = np.column_stack([1.0 / small - 1.0, 1.0 / big - 1.0])
    else:
        values = use_of(cloth, jacobian).use[:, None]
    told = summary(values, problem.weight)
    if limit == 0.0:
        return Stage(flat, energy, told["max"], told["max"] < 1e-9)
    over = [max(told[key] - limit, 0.0) for key in ("p95", "p99")]
    score = 2.0 * over[0] + over[1] + 0.1 * told["mean"]
    return Stage(flat, energy, score, over[1] == 0.0)
