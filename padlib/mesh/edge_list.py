"""The edges of a triangle mesh, found anew after each batch of changes, and batches that do not touch each other."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from padlib.errors import MeshError
from padlib.mesh.columns import norms
from padlib.mesh.surface import Faces, Vertices

NONE = np.iinfo(np.int64).max

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


class Edges:
    """Edges of a mesh: ends (k, 2), faces (k, 2), opposite vertices (k, 2); -1 where there is none.

    side (3m,): the edge of the half-edge that starts at corner c of face f, at place 3 f + c.
    """

    def __init__(self, f: Faces, n: int) -> None:
        """Of faces f (m, 3) on n vertices. Raises MeshError where an edge has more than two faces."""
        a, b = f.ravel(), f.take([1, 2, 0], axis=1).ravel()
        ordered, order = _sorted(np.minimum(a, b) * n + np.maximum(a, b), n * n)
        first = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
        self._f, self._order, self._count = f, order, np.diff(np.r_[first, len(a)])
        if self._count.max() > 2:
            raise MeshError(
                "remeshing needs at most two triangles at every edge;"
                f" {int((self._count > 2).sum())} edges have more, so repair the mesh first"
            )
        self._one = order[first]
        self.border = self._count == 1
        self._two = np.where(self.border, -1, order[np.minimum(first + 1, len(a) - 1)])
        self.ends = np.stack([a.take(self._one), b.take(self._one)], axis=1)
        self.keys = ordered[first]

    # what follows is asked for by some steps only

    @cached_property
    def faces(self) -> Ints:
        """The faces (k, 2) on both sides of each edge; -1 for none."""
        return np.stack([self._one // 3, np.where(self.border, -1, self._two // 3)], axis=1)

    @cached_property
    def opposite(self) -> Ints:
        """The vertices (k, 2) opposite each edge; -1 for none."""
        corner = self._f.take([2, 0, 1], axis=1).ravel()
        other = np.where(self.border, -1, corner.take(self._two))
        return np.stack([corner.take(self._one), other], axis=1)

    @cached_property
    def side(self) -> Ints:
        """The edge (3m,) of each half-edge."""
        out = np.empty(len(self._order), dtype=np.int64)
        out[self._order] = np.repeat(np.arange(len(self._count)), self._count)
        return out

    def lengths(self, v: Vertices) -> NDArray[np.float64]:
        """Length (k,) of each edge."""
        return norms(v.take(self.ends[:, 0], axis=0) - v.take(self.ends[:, 1], axis=0))

    def on_border(self, n: int) -> Mask:
        """Which vertices (n,) lie on the boundary."""
        out = np.zeros(n, dtype=bool)
        out[self.ends[self.border]] = True
        return out

    def valence(self, n: int) -> Ints:
        """Number of neighbours (n,) of each vertex."""
        return np.bincount(self.ends.ravel(), minlength=n)


def _sorted(key: Ints, top: int) -> tuple[Ints, Ints]:
    """Keys (k,) below `top` in order, and the order; equal keys stay as they came."""
    bits = max(len(key) - 1, 1).bit_length()
    if top.bit_length() + bits > 63:
        order = np.argsort(key, kind="stable")
        return key[order], order
    both = np.sort((key << bits) | np.arange(len(key)))  # much faster than a stable argsort
    return both >> bits, both & ((1 << bits) - 1)


def apart(ends: Ints, f: Faces, wanted: Ints, n: int) -> Ints:
    """Edges out of `wanted` (first come, first served) of which no two are joined by a face."""
    chosen = []
    free = np.ones(n, dtype=bool)
    for _ in range(3):
        best = np.full(n, NONE)
        rank = np.arange(len(wanted))
        for side in (0, 1):  # written backwards, so that the lowest rank is what remains
            at = ends[wanted[::-1], side]
            other = np.full(n, NONE)
            other[at] = rank[::-1]
            best = np.minimum(best, other)
        per_face = best[f]
        lowest = np.minimum(np.minimum(per_face[:, 0], per_face[:, 1]), per_face[:, 2])
        beaten = np.zeros(n, dtype=bool)
        beaten[f[per_face > lowest[:, None]]] = True
        a, b = ends[wanted, 0], ends[wanted, 1]
        # only the ends of an edge share its rank, so an end beaten by its own edge cannot be
        won = (best[a] == rank) & (best[b] == rank) & ~beaten[a] & ~beaten[b]
        chosen.append(wanted[won])
        taken = np.zeros(n, dtype=bool)
        taken[ends.take(chosen[-1], axis=0)] = True
        near = taken[f[:, 0]] | taken[f[:, 1]] | taken[f[:, 2]]
        free[f.compress(near, axis=0)] = False
        wanted = wanted[free[a] & free[b]]
        if len(wanted) == 0:
            break
    return np.concatenate(chosen)


def disjoint(edges: Edges, wanted: Ints, n: int) -> Ints:
    """Edges out of `wanted` (best first) whose two faces share no vertex with another's."""
    corners = np.concatenate(
        [edges.ends.take(wanted, axis=0), edges.opposite.take(wanted, axis=0)], axis=1
    )
    rank = np.arange(len(wanted))
    best = np.full(n, NONE)
    for k in range(4):
        other = np.full(n, NONE)
        other[corners[::-1, k]] = rank[::-1]
        best = np.minimum(best, other)
    return wanted[(best[corners] == rank[:, None]).all(axis=1)]
