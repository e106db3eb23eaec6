"""A straight-line embedding of any disk on a grid of integers: the rescue where doubles fail.

Schnyder (1990, "Embedding planar graphs on the grid"): a triangulated disk, one more vertex joined
to its whole boundary, is a planar triangulation. A shelling (canonical) order of it (de Fraysseix,
Pach, Pollack 1990) gives three trees; the numbers of triangles in the three regions between a
vertex's tree paths are its barycentric coordinates. They are integers below 2 n, so a triangle's
sign is exact, and no triangle is smaller than about 1 / n**2 of the whole.

A shelling is one vertex after the other by its nature, so this module, which is hardly ever needed,
loops in Python.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.disk import boundary_loop
from padlib.mesh.surface import Faces, Plane


def grid_embedding(faces: Faces) -> Plane:
    """A flat (n, 2) without flips or overlaps, in no useful shape or size, of a disk (m, 3).

    Raises MeshError where the mesh is not a disk.
    """
    faces = np.asarray(faces, dtype=np.int64)
    loop = boundary_loop(faces)
    size = int(faces.max()) + 1
    order, parents = shelling(faces, loop)
    counts = _region_counts(order, parents, size + 1)
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.5, np.sqrt(0.75)]])
    return (counts @ corners / (2 * (size + 1) - 5))[:size]


def shelling(faces: Faces, loop: NDArray[np.int64]) -> tuple[list[int], list[list[int]]]:
    """The order in which a disk's vertices can be put on, and their parents in three trees.

    The order ends with the extra vertex n. Parents (3 lists of n + 1): towards the first vertex, the
    second, and the extra one; -1 at the three roots.
    """
    peel = _Peel(faces, loop)
    top = peel.size
    parents = [[-1] * (top + 1) for _ in range(3)]
    for vertex in loop[2:].tolist():
        parents[2][vertex] = top
    taken = []
    while peel.ready:
        vertex = peel.ready.pop()
        if not peel.removable(vertex):
            continue
        fan = peel.remove(vertex)
        taken.append(vertex)
        parents[0][vertex], parents[1][vertex] = fan[0], fan[-1]
        for covered in fan[1:-1]:
            parents[2][covered] = vertex
    order = [int(loop[0]), int(loop[1]), *reversed(taken), top]
    return order, parents


class _Peel:
    """A disk from which boundary vertices without chords are taken one by one.

    The boundary runs counter-clockwise; its edge loop[0] -> loop[1] stays to the end.
    """

    def __init__(self, faces: Faces, loop: NDArray[np.int64]) -> None:
        self.size = int(faces.max()) + 1
        self.turn = {}  # (v, a) -> b for every triangle v, a, b
        for a, b, c in faces.tolist():
            self.turn[a, b], self.turn[b, c], self.turn[c, a] = c, a, b
        self.near: list[list[int]] = [[] for _ in range(self.size)]
        for a, b in self.turn:
            self.near[a].append(b)
            if (b, a) not in self.turn:
                self.near[b].append(a)
        ring = loop.tolist()
        self.kept = {ring[0], ring[1]}
        self.after = dict(zip(ring, ring[1:] + ring[:1], strict=True))
        self.before = {b: a for a, b in self.after.items()}
        self.gone = [False] * self.size
        self.chords = dict.fromkeys(ring, 0)
        for vertex in ring:
            self.chords[vertex] = len(self._chord_ends(vertex))
        self.ready = [v for v in ring if self.chords[v] == 0 and v not in self.kept]

    def _chord_ends(self, vertex: int) -> list[int]:
        """Boundary vertices joined to a boundary vertex across the disk."""
        sides = (self.after[vertex], self.before[vertex])
        return [w for w in self.near[vertex] if w in self.after and w not in sides]

    def removable(self, vertex: int) -> bool:
        """Whether a vertex is on the boundary, not of its first edge, and without chords."""
        return vertex in self.after and vertex not in self.kept and self.chords[vertex] == 0

    def remove(self, vertex: int) -> list[int]:
        """Take a vertex away. Its neighbours from the one after it to the one before it."""
        first, last = self.after.pop(vertex), self.before.pop(vertex)
        fan = [first]
        while fan[-1] != last:
            fan.append(self.turn[vertex, fan[-1]])
        self.gone[vertex] = True
        for back, ahead in zip(fan[1:], fan[:-1], strict=True):
            self.after[back], self.before[ahead] = ahead, back
        self._recount(fan)
        return fan

    def _recount(self, fan: list[int]) -> None:
        """Chords after the inner vertices of a fan came to the boundary."""
        if len(fan) == 2:
            for end in fan:
                self.chords[end] -= 1
        fresh = fan[1:-1]
        for vertex in fresh:
            self.chords[vertex] = 0
        seen = set()
        for vertex in fresh:
            for other in self._chord_ends(vertex):
                pair = (min(vertex, other), max(vertex, other))
                if pair not in seen:
                    seen.add(pair)
                    self.chords[vertex] += 1
                    self.chords[other] += 1
        self.ready += [v for v in fan if self.removable(v)]


def _region_counts(order: list[int], parents: list[list[int]], size: int) -> NDArray[np.int64]:
    """Triangles in the three regions (n, 3) of every vertex; at a root all in its own."""
    roots = (order[0], order[1], order[-1])
    inner = order[2:-1]
    upward = (inner, inner, inner[::-1])  # a parent before its children in trees 0, 1 and 2
    below = [_subtrees(upward[i], parents[i], roots, i, size) for i in range(3)]
    depth = [_path_sums(upward[i], parents[i], [1] * size, roots[i]) for i in range(3)]
    counts = np.zeros((size, 3), np.int64)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        sums = [_path_sums(upward[t], parents[t], below[i], roots[t]) for t in (j, k)]
        vertices = np.array(sums[0]) + np.array(sums[1]) - np.array(below[i])
        rim = np.array(depth[j]) + np.array(depth[k]) - 1
        counts[:, i] = 2 * vertices - rim - 2
    for i, root in enumerate(roots):
        counts[root] = 0
        counts[root, i] = 2 * size - 5
    return counts


def _subtrees(
    upward: list[int], parent: list[int], roots: tuple[int, int, int], tree: int, size: int
) -> list[int]:
    """Vertices in the subtree of each vertex of a tree, itself included; 1 at the other roots."""
    out = [1] * size
    for vertex in reversed(upward):
        above = parent[vertex]
        if above != roots[tree]:
            out[above] += out[vertex]
    return out


def _path_sums(upward: list[int], parent: list[int], value: list[int], root: int) -> list[int]:
    """Sums of values along each vertex's path to the root of a tree, both ends included."""
    out = list(value)
    for vertex in upward:
        above = parent[vertex]
        out[vertex] = value[vertex] + (value[root] if above == root else out[above])
    return out
