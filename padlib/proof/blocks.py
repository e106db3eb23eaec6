"""One symmetric sparse matrix over points in space, summed again and again in one pattern."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix

from padlib.mesh.solve import lower_triangle
from padlib.proof.elastic import LOWER

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LOWER3 = np.tril_indices(3)


@dataclass(frozen=True, eq=False)
class Blocks:
    """The pattern of a lower triangle (3n, 3n), unknowns x0, y0, z0, x1, ...

    indptr, indices: of its columns; corner (45 m,), point (6 n,): where the entries of the triangles'
    blocks and of each vertex's 3 x 3 matrix go; fixed: values of a form that every sum starts from.
    """

    indptr: Ints
    indices: Ints
    corner: Ints
    point: Ints
    fixed: Array

    def matrix(self, local: Array, points: Array, times: float = 1.0) -> csc_matrix:
        """The sum: local (45, m) of the triangles (`elastic.hessians`), points (n, 3, 3) of the vertices;
        times: of the fixed form."""
        values = times * self.fixed + np.bincount(self.corner, local.ravel(), len(self.fixed))
        values += np.bincount(self.point, points[:, LOWER3[0], LOWER3[1]].ravel(), len(self.fixed))
        return lower_triangle(values, self.indices, self.indptr)


def blocks_of(faces: Ints, count: int, fixed: csc_matrix) -> Blocks:
    """The pattern of triangles (m, 3) over `count` vertices; fixed (n, n): a form that each coordinate
    has by itself."""
    size = 3 * count
    corner = (3 * faces[:, :, None] + np.arange(3)).reshape(len(faces), 9).T
    row, column = np.array(LOWER).T
    point = 3 * np.arange(count)[:, None] + np.arange(3)
    own = coo_array(fixed)
    parts = [_keys(corner[row], corner[column], size)]
    parts.append(_keys(point[:, LOWER3[0]], point[:, LOWER3[1]], size))
    low = own.row >= own.col
    row, column, value = own.row[low].astype(np.int64), own.col[low].astype(np.int64), own.data[low]
    parts += [_keys(3 * row + d, 3 * column + d, size) for d in range(3)]
    keys, place = np.unique(np.concatenate(parts), return_inverse=True)
    ends = np.cumsum([len(p) for p in parts])
    values = np.bincount(place[ends[1] :], np.tile(value, 3), len(keys))
    indptr = np.searchsorted(keys, np.arange(size + 1) * size)
    return Blocks(indptr, keys % size, place[: ends[0]], place[ends[0] : ends[1]], values)


def _keys(row: Ints, column: Ints, size: int) -> Ints:
    """Numbers of entries in column order, turned into the lower triangle."""
    return (np.minimum(row, column) * size + np.maximum(row, column)).ravel()
