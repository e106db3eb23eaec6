"""Nested dissection by coordinates: an elimination order of a mesh's vertices in a fraction of a second.

The vertices are parted at the median of the longest side of their box, again and again; those that
reach across are a separator and are eliminated after both parts (George 1973, "Nested dissection of a
regular finite element mesh"; by coordinates: Heath, Raghavan 1995). It needs no graph search, so it
is several times quicker to find than a METIS order and fills in about a third more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAF = 60
LEFT, RIGHT, BETWEEN = 0, 1, 2


def dissection(points: ArrayLike, edges: ArrayLike, *, leaf: int = LEAF) -> NDArray[np.int64]:
    """An elimination order (n,) for points (n, d) joined by edges (e, 2).

    Parts of about `leaf` vertices are not parted further. The k-th entry is the vertex that is
    eliminated k-th.
    """
    points = np.ascontiguousarray(np.asarray(points, dtype=np.float64).T)
    tails, heads = np.asarray(edges, dtype=np.int64).reshape(-1, 2).T
    size = points.shape[1]
    key = np.zeros(size, np.int64)  # a digit 0, 1 or 2 for each level: left, right, between
    side = np.zeros(size, np.int8)
    left, starts = np.arange(size), np.array([0])
    for _ in range(int(np.ceil(np.log2(max(size / leaf, 1.0))))):
        left, half = _halved(points, left, starts)
        side[left] = half
        across = side[tails] != side[heads]
        a, b = tails[across], heads[across]
        side[np.where(side[a] == RIGHT, a, b)] = BETWEEN
        inner = ~across & (side[tails] < BETWEEN) & (side[heads] < BETWEEN)
        tails, heads = tails[inner], heads[inner]
        key *= 3
        key[left] += side[left]
        stays = side[left] < BETWEEN
        left = left[stays]
        if not len(left):
            break
        fresh = np.concatenate([[True], key[left[1:]] != key[left[:-1]]])
        starts = np.flatnonzero(fresh)
    place = np.zeros(size, np.int64)
    place[left] = np.arange(len(left))
    return np.lexsort((place, key))


def _halved(
    points: NDArray[np.float64], left: NDArray[np.int64], starts: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Vertices sorted within their parts along each part's longest side, and which are beyond its middle.

    left (k,): vertices, part by part; starts (p,): where each part begins in it.
    """
    count = np.diff(np.append(starts, len(left)))
    part = np.repeat(np.arange(len(starts)), count)
    box = [
        np.maximum.reduceat(axis[left], starts) - np.minimum.reduceat(axis[left], starts)
        for axis in points
    ]
    longest = np.argmax(box, axis=0)
    left = left[np.lexsort((points[longest[part], left], part))]
    beyond = np.arange(len(left)) >= np.repeat(starts + count // 2, count)
    return left, beyond
