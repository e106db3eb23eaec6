"""Cotangents of the corners of triangles, and the Laplacian of a mesh, whole or parted.

Component by component and without the frames that `rest` makes, because a linear map of a large
mesh spends half of its time here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.flatten.rest import FLOOR, Rest, rest
from padlib.mesh.surface import Faces, Vertices

_THIN = 1e3 * FLOOR


@dataclass(frozen=True)
class Corners:
    """Corners of triangles. dot, double (3, m), (m,): scalar product of the two edges that meet in a
    corner, and twice the area, mm2."""

    dot: NDArray[np.float64]
    double: NDArray[np.float64]

    def cotangents(self) -> NDArray[np.float64]:
        """Cotangent (3, m) of each corner's angle."""
        return self.dot / self.double

    def angles(self) -> NDArray[np.float64]:
        """Angle (3, m) of each corner, rad."""
        return np.arctan2(self.double, self.dot)


@dataclass(frozen=True)
class Parts:
    """The cotangent Laplacian of a mesh, parted. inside (i,): vertices that are not held.

    inner: their block (i, i), lower triangle; across (i, b): inside by held, in the order of the held;
    number (n,): the place of each vertex inside, -1 less its place among the held for those.
    """

    inside: NDArray[np.int64]
    inner: sp.csc_matrix
    across: sp.csr_matrix
    number: NDArray[np.int64]


def corners(vertices: Vertices, faces: Faces) -> Corners:
    """The corners of the triangles of a mesh. vertices (n, 3) mm; faces (m, 3).

    Triangles thinner than `rest.FLOOR` of their longest edge are those that `rest` makes of them.
    """
    at = np.ascontiguousarray(faces.T)
    edge = [vertices[:, c][at] for c in range(3)]
    for c in range(3):
        x = edge[c]
        edge[c] = x[[2, 0, 1]] - x[[1, 2, 0]]  # edge k lies opposite corner k
    i, j = [1, 2, 0], [2, 0, 1]
    dot = -(edge[0][i] * edge[0][j] + edge[1][i] * edge[1][j] + edge[2][i] * edge[2][j])
    # d0 d1 + d1 d2 + d2 d0 is (2A)^2 too, but loses the digits of needles; a cross product keeps them
    x = edge[1][0] * edge[2][1] - edge[2][0] * edge[1][1]
    y = edge[2][0] * edge[0][1] - edge[0][0] * edge[2][1]
    z = edge[0][0] * edge[1][1] - edge[1][0] * edge[0][1]
    double = np.sqrt(x * x + y * y + z * z)
    longest = (dot[i] + dot[j]).max(axis=0)
    thin = np.flatnonzero(~(double > _THIN * longest))
    if len(thin):
        _mend(vertices, faces, thin, dot, double)
    return Corners(dot, double)


def _mend(vertices: Vertices, faces: Faces, thin: NDArray, dot: NDArray, double: NDArray) -> None:
    """Put in what `rest` makes of thin triangles, so that both agree about them."""
    mended = rest(vertices, faces[thin])
    area = mended.area
    i, j = [1, 2, 0], [2, 0, 1]
    gx, gy = mended.gx, mended.gy
    dot[:, thin] = -(gx[i] * gx[j] + gy[i] * gy[j]) * (4.0 * area**2)
    double[thin] = 2.0 * area


def parts(made: Corners, faces: Faces, held: NDArray[np.int64], size: int) -> Parts:
    """The Laplacian of a mesh of `size` vertices, parted into those held (b,) and all others."""
    count = size - len(held)
    number = np.zeros(size, np.int64)  # as `Parts` has it
    number[held] = -1 - np.arange(len(held))
    inside = np.flatnonzero(number == 0)
    number[inside] = np.arange(count)
    at = number[np.ascontiguousarray(faces.T)]
    weight = -0.5 * made.cotangents()
    i, j, w = at[[1, 2, 0]].ravel(), at[[2, 0, 1]].ravel(), weight.ravel()
    low, high = np.minimum(i, j), np.maximum(i, j)
    own = _diagonal(i, j, w, count)
    both = low >= 0
    half = np.flatnonzero((low < 0) & (high >= 0))
    rows = np.concatenate([high[both], np.arange(count)])
    columns = np.concatenate([low[both], np.arange(count)])
    inner = sp.coo_matrix((np.concatenate([w[both], own]), (rows, columns)), (count, count))
    across = sp.coo_matrix((w[half], (high[half], -1 - low[half])), (count, len(held)))
    return Parts(inside, inner.tocsc(), across.tocsr(), number)


def _diagonal(i: NDArray, j: NDArray, weight: NDArray, count: int) -> NDArray[np.float64]:
    """Minus the sums of a row's weights (i,): the diagonal of the inner block."""
    out = np.zeros(count)
    for ends in (i, j):
        on = ends >= 0
        out -= np.bincount(ends[on], weight[on], count)
    return out


def laplacian(at_rest: Rest, faces: Faces) -> sp.csc_matrix:
    """The cotangent Laplacian (n, n), positive semidefinite: x' L x / 2 is the Dirichlet energy."""
    size = int(faces.max()) + 1
    i, j = np.array([0, 1, 2, 0, 1, 2, 1, 2, 0]), np.array([0, 1, 2, 1, 2, 0, 0, 1, 2])
    values = at_rest.area * (at_rest.gx[i] * at_rest.gx[j] + at_rest.gy[i] * at_rest.gy[j])
    corners = faces.T
    entries = (values.ravel(), (corners[i].ravel(), corners[j].ravel()))
    return sp.coo_matrix(entries, (size, size)).tocsc()
