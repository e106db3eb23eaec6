"""What a panel's mesh must be: one disk. Its boundary loop, and one sentence where it is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import MeshError
from padlib.mesh.surface import Faces, Vertices, frozen, per_arrays


def as_mesh(vertices: ArrayLike, faces: ArrayLike) -> tuple[Vertices, Faces]:
    """Vertices (n, 3) and faces (m, 3) as arrays of the right kind.

    Raises MeshError where a shape is wrong, a coordinate is not finite, an index is out of range,
    a triangle names a vertex twice, or there is no triangle.
    """
    vertices = np.asarray(vertices, dtype=np.float64)
    faces = np.asarray(faces, dtype=np.int64)
    if vertices.ndim != 2 or vertices.shape[1] != 3:
        raise MeshError(f"vertices must be an array (n, 3) in mm, not of shape {vertices.shape}")
    if faces.ndim != 2 or faces.shape[1] != 3:
        raise MeshError(f"faces must be an array (m, 3) of indices, not of shape {faces.shape}")
    if len(faces) == 0:
        raise MeshError("the panel has no triangles; give a mesh with at least one")
    if not np.isfinite(vertices).all():
        bad = int(np.flatnonzero(~np.isfinite(vertices).all(axis=1))[0])
        raise MeshError(f"vertex {bad} of the panel is not finite; repair the mesh first")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise MeshError(f"faces name vertices outside 0 to {len(vertices) - 1}; repair the mesh")
    a, b, c = faces.T
    twice = (a == b) | (b == c) | (c == a)
    if twice.any():
        bad = int(np.flatnonzero(twice)[0])
        raise MeshError(f"triangle {bad} names one vertex twice; repair the mesh first")
    return vertices, faces


@dataclass(frozen=True)
class _Sides:
    """The directed edges of faces, sorted so that the two sides of an edge lie next to each other.

    size: vertex count; edge (3m,): lower end * size + higher end; up (3m,): whether the side runs from
    the lower end to the higher one.
    """

    size: int
    edge: NDArray[np.int64]
    up: NDArray[np.bool_]

    def count(self) -> int:
        """How many edges there are."""
        return 1 + int(np.count_nonzero(self.edge[1:] != self.edge[:-1]))

    def single(self) -> NDArray[np.int64]:
        """The directed edges (b, 2) that have one side only."""
        new = np.ones(len(self.edge) + 1, bool)
        np.not_equal(self.edge[1:], self.edge[:-1], out=new[1:-1])
        alone = np.flatnonzero(new[1:] & new[:-1])
        ends = np.stack([self.edge[alone] // self.size, self.edge[alone] % self.size])
        return np.where(self.up[alone], ends, ends[::-1]).T


def _sides(faces: Faces) -> _Sides:
    """The sides of oriented faces (m, 3).

    Raises MeshError where an edge has more than two triangles or neighbours run it the same way.
    """
    size = int(faces.max()) + 1
    start = np.ascontiguousarray(faces.T)
    end = start[[1, 2, 0]]
    key = 2 * (np.minimum(start, end) * size + np.maximum(start, end)) + (start < end)
    key = np.sort(key.ravel())
    if (key[1:] == key[:-1]).any():
        raise MeshError(
            "neighbouring triangles of the panel face opposite ways, or an edge has more than two "
            "triangles; orient and repair the mesh first"
        )
    return _Sides(size, key >> 1, (key & 1).astype(bool))


def boundary_edges(faces: Faces) -> NDArray[np.int64]:
    """Directed boundary edges (b, 2) of oriented faces (m, 3), as their triangles run them.

    Raises MeshError where an edge has more than two triangles or neighbours run it the same way.
    """
    return _sides(faces).single()


@per_arrays
def boundary_loop(faces: Faces) -> NDArray[np.int64]:
    """The boundary (b,) of a disk as vertex indices, counter-clockwise seen from outside.

    It starts at the smallest index. Raises MeshError with one sentence where faces (m, 3) are not
    one disk: closed, in several parts, with several openings, pinched at a vertex, or with handles.
    """
    sides = _sides(faces)
    edges = sides.single()
    if len(edges) == 0:
        raise MeshError("the panel is closed, so it cannot lie flat; cut it open along a seam")
    if len(np.unique(edges[:, 0])) != len(edges):
        raise MeshError("the panel's boundary touches itself at a vertex; cut it apart there")
    loop = _follow(edges)
    if len(loop) != len(edges):
        raise MeshError("the panel has more than one opening; cut it from one to the other")
    used = int(np.count_nonzero(np.bincount(faces.ravel(), minlength=sides.size)))
    _check_euler(used - sides.count() + len(faces))
    return loop


def rim_lengths(rim: NDArray[np.float64]) -> NDArray[np.float64]:
    """Length (b,) of the edge that starts at each corner of a closed polygon (b, d)."""
    return np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)


def _follow(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """The loop through the smallest vertex."""
    after = dict(zip(edges[:, 0].tolist(), edges[:, 1].tolist(), strict=True))
    first = min(after)
    loop, at = [first], after.get(first)
    while at is not None and at != first and len(loop) < len(edges):
        loop.append(at)
        at = after.get(at)
    return frozen(loop, np.int64)


def _check_euler(euler: int) -> None:
    """One boundary loop and Euler number 1: a disk."""
    if euler > 1:
        raise MeshError("the panel is in several parts; flatten each part by itself")
    if euler < 1:
        raise MeshError("the panel has a handle or a pinched vertex; cut it until it is one disk")


def check_disk(vertices: ArrayLike, faces: ArrayLike) -> tuple[Vertices, Faces, NDArray[np.int64]]:
    """Vertices, faces and the boundary loop (b,) of a disk.

    Raises MeshError with one sentence where the mesh is not a disk or a vertex has no triangle.
    """
    vertices, faces = as_mesh(vertices, faces)
    loop = boundary_loop(faces)
    used = np.zeros(len(vertices), bool)
    used[faces] = True
    if not used.all():
        raise MeshError(
            f"{int((~used).sum())} vertices of the panel belong to no triangle; drop them first"
        )
    return vertices, faces, loop
