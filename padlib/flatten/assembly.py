"""Sums per-triangle derivatives into one gradient and one sparse Hessian of fixed pattern.

Unknowns are interleaved (x0, y0, x1, y1, ...). The pattern of the lower triangle is found once per
mesh; after that an assembly is one `bincount`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.flatten.strain import PAIRS, Local
from padlib.flatten.terms import Terms
from padlib.mesh.solve import BACKEND, lower_triangle, nested_dissection, with_values
from padlib.mesh.surface import Faces

METIS_FROM = 1500


@dataclass(frozen=True)
class Assembly:
    """The fixed pattern of a mesh's Hessian.

    size n; corners (3, m); slots (21, m): where each distinct entry of a triangle's 6 x 6 matrix
    goes in the lower triangle; indptr, indices: that triangle in column order; diagonal (2n,): slots
    of the diagonal; start, width: for `edge_slots`; order (2n,) elimination order or None.
    """

    size: int
    corners: NDArray[np.int64]
    slots: NDArray[np.int64]
    indptr: NDArray[np.int32]
    indices: NDArray[np.int32]
    diagonal: NDArray[np.int64]
    keys: NDArray[np.int64]
    start: NDArray[np.int64]
    width: NDArray[np.int64]
    order: NDArray[np.int64] | None

    def gradient(self, parts: Local) -> NDArray[np.float64]:
        """The gradient (n, 2)."""
        at = self.corners.ravel()
        x = np.bincount(at, parts.gradient[:, 0].ravel(), self.size)
        y = np.bincount(at, parts.gradient[:, 1].ravel(), self.size)
        return np.column_stack([x, y])

    def values(self, parts: Local) -> NDArray[np.float64]:
        """The values of the Hessian's lower triangle, in the order of the pattern."""
        blocks = parts.blocks
        low = self.corners[[0, 1, 2]] > self.corners[[1, 2, 0]]
        corner01 = np.where(low, blocks[3:, 0, 1], blocks[3:, 1, 0])
        corner10 = np.where(low, blocks[3:, 1, 0], blocks[3:, 0, 1])
        data = [blocks[:3, 0, 0], blocks[:3, 1, 0], blocks[:3, 1, 1]]
        data += [blocks[3:, 0, 0], corner10, corner01, blocks[3:, 1, 1]]
        weights = np.concatenate([part.ravel() for part in data])
        return np.bincount(self.slots.ravel(), weights, len(self.indices))

    def matrix(self, values: NDArray[np.float64]) -> sp.csc_matrix:
        """The lower triangle as a matrix."""
        return with_values(self._empty, values)

    @cached_property
    def _empty(self) -> sp.csc_matrix:
        return lower_triangle(np.zeros(len(self.indices)), self.indices, self.indptr)

    def edge_slots(self, ends: NDArray[np.int64]) -> NDArray[np.int64]:
        """Slots (4, k) of the off-diagonal block of mesh edges (k, 2): 00, 10, 01, 11.

        The first digit is the component of the vertex of larger index.
        """
        low, high = ends.min(axis=1), ends.max(axis=1)
        place = np.searchsorted(self.keys, low * self.size + high)
        return _block_slots(place, low, self.start, self.width)


@dataclass(frozen=True)
class Wider:
    """The fixed pattern of a mesh's Hessian together with terms that reach across the mesh.

    of: the mesh's own; at (k, q): the terms' vertices; first, second (p,): the pairs of the 2q components of a term;
    twice (k, p): 2 where both are one unknown, so that its entry counts for both orders; slots: where the mesh's
    entries and then the terms' (k, p) go in the lower triangle; indptr, indices: that triangle in column order.
    """

    of: Assembly
    at: NDArray[np.int64]
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    twice: NDArray[np.float64]
    slots: NDArray[np.int64]
    indptr: NDArray[np.int32]
    indices: NDArray[np.int32]

    def fits(self, of: Assembly, terms: Terms) -> bool:
        """Whether these are the mesh and the vertices that it was made for."""
        return of is self.of and np.array_equal(terms.at, self.at)

    def matrix(self, values: NDArray[np.float64], terms: Terms) -> sp.csc_matrix:
        """The lower triangle of the mesh's values and of the sum of bend * way way'."""
        way = terms.way.reshape(len(self.at), -1)
        entries = terms.bend[:, None] * self.twice * way[:, self.first] * way[:, self.second]
        weights = np.concatenate([values, entries.ravel()])
        return with_values(self._empty, np.bincount(self.slots, weights, len(self.indices)))

    @cached_property
    def _empty(self) -> sp.csc_matrix:
        return lower_triangle(np.zeros(len(self.indices)), self.indices, self.indptr)


def wider(of: Assembly, terms: Terms) -> Wider:
    """The fixed pattern of a mesh and of terms on its vertices."""
    size = 2 * of.size
    columns = (2 * terms.at[:, :, None] + np.arange(2)).reshape(len(terms.at), -1)
    first, second = np.tril_indices(columns.shape[1])
    a, b = columns[:, first], columns[:, second]
    own = np.repeat(np.arange(size), np.diff(of.indptr)) * size + of.indices
    keys, slots = _ranked(np.append(own, np.minimum(a, b) * size + np.maximum(a, b)))
    twice = np.where((a == b) & (first != second), 2.0, 1.0)
    indptr = np.searchsorted(keys, np.arange(size + 1) * size).astype(np.int32)
    indices = (keys % size).astype(np.int32)
    return Wider(of, terms.at, first, second, twice, slots, indptr, indices)


def assembly(faces: Faces, size: int) -> Assembly:
    """The fixed pattern of a mesh of faces (m, 3) and `size` vertices."""
    corners = np.ascontiguousarray(faces.T)
    ends = np.stack([corners[[i for i, _ in PAIRS]], corners[[j for _, j in PAIRS]]])
    low, high = ends.min(axis=0), ends.max(axis=0)
    pair = low * size + high
    keys, inverse = _ranked(pair.ravel())
    column = keys // size
    count = np.bincount(column, minlength=size)
    start = np.concatenate([[0], np.cumsum(4 * count - 1)])[:-1]
    width = 2 * count
    inverse = inverse.reshape(pair.shape)
    blocks = _block_slots(inverse, low, start, width)
    slots = np.concatenate(
        [blocks[0, :3], blocks[1, :3], blocks[3, :3], *(blocks[k, 3:] for k in range(4))]
    )
    indptr, indices = _pattern(keys, column, count, start, width)
    own = np.searchsorted(keys, np.arange(size) * (size + 1))
    own_slots = _block_slots(own, np.arange(size), start, width)
    diagonal = own_slots[[0, 3]].T.ravel()
    order = _order(keys, size)
    return Assembly(size, corners, slots, indptr, indices, diagonal, keys, start, width, order)


def _ranked(keys: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sorted distinct keys, and for each key its place among them."""
    order = np.argsort(keys, kind="stable")  # radix sort on integers
    ranked = keys[order]
    new = np.concatenate([[True], ranked[1:] != ranked[:-1]])
    place = np.empty(len(keys), np.int64)
    place[order] = np.cumsum(new) - 1
    return ranked[new], place


def _block_slots(place: NDArray, column: NDArray, start: NDArray, width: NDArray) -> NDArray:
    """Slots 00, 10, 01, 11 of blocks at `place` among all blocks sorted by column then row.

    Column j of vertices starts at slot start[j] = 4 (blocks before it) - j, because the upper entry
    of its diagonal block is not stored; slot 01 of a diagonal block is therefore meaningless.
    """
    before = (start[column] + column) // 4
    head = start[column] + 2 * (place - before)
    tail = head + width[column] - 1
    return np.stack([head, head + 1, tail, tail + 1])


def _pattern(
    keys: NDArray, column: NDArray, count: NDArray, start: NDArray, width: NDArray
) -> tuple[NDArray, NDArray]:
    """Column pointers and row indices of the scalar lower triangle."""
    size = len(count)
    row = keys % size
    slots = _block_slots(np.arange(len(keys)), column, start, width)
    indices = np.zeros(int((4 * count - 1).sum()), np.int32)
    indices[slots[0]], indices[slots[1]] = 2 * row, 2 * row + 1
    off = row != column
    indices[slots[2][off]] = 2 * row[off]
    indices[slots[3]] = 2 * row + 1
    indptr = np.empty(2 * size + 1, np.int32)
    indptr[0:-1:2], indptr[1::2] = start, start + width
    indptr[-1] = len(indices)
    return indptr, indices


def _order(keys: NDArray, size: int) -> NDArray[np.int64] | None:
    """METIS order of the vertices, both components together; None leaves it to the solver.

    CHOLMOD's own ordering is as good here and quicker to find.
    """
    if size < METIS_FROM or BACKEND == "cholmod":
        return None
    ones = np.ones(len(keys), np.int8)
    order = nested_dissection(sp.coo_matrix((ones, (keys % size, keys // size)), (size, size)))
    return None if order is None else (2 * order[:, None] + np.arange(2)).ravel()
