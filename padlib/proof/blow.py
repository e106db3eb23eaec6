"""Sewn cloth blown out by what fills it: a stuffed cushion, a balloon.

Pressure pushes every triangle along its normal; the cloth holds against stretch and folds where it is
pushed together (a tension field: D. Steigmann 1990).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix, diags_array

from padlib.mesh.areas import vertex_crosses
from padlib.mesh.solve import factor
from padlib.mesh.surface import Vertices
from padlib.proof.sew import Sewn, pull, stiffness

Array = NDArray[np.float64]

FOLDS = 0.02  # of its stiffness: what cloth keeps when it is pushed together
HELD = 1e-4  # weight of staying where it is, each vertex: keeps the whole from drifting


def blown(
    sewn: Sewn,
    start: Vertices,
    *,
    load: float = 0.01,
    lie: tuple[Array, Vertices] | None = None,
    steps: int = 2000,
    still: float = 1e-4,
) -> tuple[Vertices, int]:
    """A closed sewn cushion filled tight: positions (n, 3) mm and the steps that it took.

    start (n, 3): near enough that no triangle is inside out; load: pressure times the root of the
    cloth's area over its stiffness, so about the strain that the filling makes; lie: weights (n,) with
    which vertices keep to places (n, 3); still: mean movement of a step, mm, at which it rests.
    """
    pressure = load / np.sqrt(sewn.area.sum())
    stiff = stiffness(sewn)
    hold = HELD * float(stiff.diagonal().mean())
    weight, on = lie or (np.zeros(sewn.count), start)
    solve = factor(csc_matrix(stiff + diags_array(weight + hold))).solve
    kept = weight[:, None] * on
    place = np.array(start, dtype=np.float64)
    speed = np.zeros_like(place)
    for step in range(steps):
        ahead = place + speed * step / (step + 3.0)  # Nesterov 1983
        push = pressure * vertex_crosses(ahead, sewn.faces) / 6.0
        new = solve(pull(sewn, ahead, FOLDS) + push + hold * ahead + kept)
        moved = new - place
        if (moved * speed).sum() < 0:
            speed[:] = 0.0  # overshot: begin gathering speed anew (O'Donoghue, Candes 2015)
        else:
            speed = moved
        place = new
        if np.linalg.norm(moved, axis=1).mean() < still:
            return place, step + 1
    return place, steps
