"""A cushion sewn together from its flats and filled: how much it holds, beside the pad it is made for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix, diags_array

from padlib.flatten.flat import Flat
from padlib.mesh.areas import enclosed
from padlib.mesh.solve import factor
from padlib.mesh.surface import Surface, Vertices
from padlib.proof.blow import blown
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle

Array = NDArray[np.float64]

LIE = 2.0  # weight with which the base lies on the body it was taken from, beside the cloth's stiffness
PRESS = 0.01  # strain to which the filling stretches a ball of its size: what woven cotton gives (common practice)


@dataclass(frozen=True, eq=False)
class Filled:
    """A cushion sewn back and filled: its surface, litres, and steps of the solve."""

    surface: Surface
    volume_l: float
    steps: int


def fill(flats: Sequence[Flat], body: Vertices, start: Vertices) -> Filled:
    """Sew top and base of a cushion together and fill it while its base lies on the body.

    flats: the top's and the base's, in this order; body (n, 3) mm: where the base's panel lay;
    start (m, 3): where the top's panel starts, with nothing known of the pad's height, as `slack_top` gives it.
    The filling presses evenly, and cloth that is pushed together folds (`blown`): were it to push back, dents
    could stay, and the same flats hold a quarter less from one start than from another.
    """
    sewn = weld(bundle(flats))
    place = np.zeros((sewn.count, 3))
    place[sewn.welded[0]] = start
    place[sewn.welded[1]] = body
    weight = np.zeros(sewn.count)
    weight[sewn.welded[1]] = LIE * sewn.area.sum() / sewn.count * 1e-3
    load = PRESS * 4 * np.sqrt(np.pi)  # a ball of radius r and area A bears 2 s / r at the strain s
    place, taken = blown(sewn, place, load=load, lie=(weight, place))
    return Filled(Surface(place, sewn.faces), enclosed(place, sewn.faces) / 1e6, taken)


def slack_top(top: Surface, rim: NDArray[np.int64]) -> Vertices:
    """A start (n, 3) for a top: a film spanned by its rim.

    rim (k,): border vertices. Nothing of the top's own height is used: inside the rim only the mesh's connections.
    """
    faces = top.faces
    count = len(top.vertices)
    rows = faces[:, [0, 1, 2, 1, 2, 0]].ravel()
    columns = faces[:, [1, 2, 0, 0, 1, 2]].ravel()
    graph = csc_matrix((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    graph.data[:] = 1.0
    laplacian = csc_matrix(diags_array(np.asarray(graph.sum(axis=1)).ravel()) - graph)
    free = np.ones(count, dtype=bool)
    free[rim] = False
    out = top.vertices.copy()
    right = -laplacian[free][:, ~free] @ top.vertices[~free]
    out[free] = factor(csc_matrix(laplacian[free][:, free])).solve(np.asarray(right))
    return out
