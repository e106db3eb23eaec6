"""Places on a surface and curves through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Point, Surface, Vertices, per_surface


@dataclass(frozen=True)
class Curve:
    """A curve on a surface: a polyline of points of which each two neighbours share a face.

    points: the places, in order; closed: the last one joins the first again (it is not repeated).
    """

    points: tuple[Point, ...]
    closed: bool = False

    def positions(self, vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
        """Positions (k, 3) in mm of the points on vertices (n, 3), faces (m, 3)."""
        return positions(vertices, faces, self.points)

    def length(self, vertices: Vertices, faces: Faces) -> float:
        """Length in mm on vertices (n, 3), faces (m, 3), the closing stretch included."""
        where = self.positions(vertices, faces)
        if self.closed:
            where = np.vstack((where, where[:1]))
        return float(np.linalg.norm(np.diff(where, axis=0), axis=1).sum())

    def reversed(self) -> Curve:
        """The same curve the other way round."""
        return Curve(self.points[::-1], self.closed)


def arrays(points: Sequence[Point]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Faces (k,) and barycentrics (k, 3) of points."""
    face = np.fromiter((p.face for p in points), dtype=np.int64, count=len(points))
    weights = np.array([p.barycentric for p in points], dtype=np.float64).reshape(-1, 3)
    return face, weights


def points(face: NDArray[np.integer], weights: NDArray[np.floating]) -> list[Point]:
    """Points from faces (k,) and barycentrics (k, 3)."""
    pairs = zip(np.asarray(face).tolist(), np.asarray(weights).tolist(), strict=True)
    return [Point(f, (b[0], b[1], b[2])) for f, b in pairs]


def at_vertex(faces: Faces, vertex: int) -> Point:
    """The point at a vertex, on the lowest face that has it; IndexError if no face has."""
    face, corner = np.argwhere(np.asarray(faces) == vertex)[0].tolist()
    weights = [0.0, 0.0, 0.0]
    weights[corner] = 1.0
    return Point(face, (weights[0], weights[1], weights[2]))


def positions(vertices: Vertices, faces: Faces, points: Sequence[Point]) -> NDArray[np.float64]:
    """Positions (k, 3) in mm of points on vertices (n, 3), faces (m, 3)."""
    face, weights = arrays(points)
    corners = np.asarray(vertices, dtype=np.float64)[np.asarray(faces)[face]]
    return np.einsum("kc,kcx->kx", weights, corners)


def nearest(vertices: Vertices, faces: Faces, xyz: NDArray[np.floating]) -> list[Point]:
    """The points of the surface nearest to the positions xyz (k, 3) in mm."""
    return points(*nearest_arrays(vertices, faces, xyz))


def nearest_arrays(
    vertices: Vertices, faces: Faces, xyz: NDArray[np.floating]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Faces (k,) and barycentrics (k, 3) of the points nearest to the positions xyz (k, 3) in mm."""
    return Seeker(vertices, faces).arrays(xyz)


class Seeker:
    """Nearest points on one mesh of vertices (n, 3) mm, faces (m, 3): what that needs is built once."""

    def __init__(self, vertices: Vertices, faces: Faces) -> None:
        """Build the tree of boxes."""
        self.vertices = np.ascontiguousarray(vertices, dtype=np.float64)
        self.faces = np.ascontiguousarray(faces, dtype=np.int64)
        self._tree = igl.AABB()
        self._tree.init(self.vertices, self.faces)

    def arrays(self, xyz: NDArray[np.floating]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Faces (k,) and barycentrics (k, 3) of the points nearest to the positions xyz (k, 3) in mm."""
        queries = np.ascontiguousarray(np.atleast_2d(xyz), dtype=np.float64)
        _, face, where = self._tree.squared_distance(self.vertices, self.faces, queries)
        face = np.asarray(face).astype(np.int64).ravel()
        corners = self.vertices[self.faces[face]]
        return face, barycentric(corners, np.asarray(where).reshape(-1, 3))

    def points(self, xyz: NDArray[np.floating]) -> list[Point]:
        """The points of the surface nearest to the positions xyz (k, 3) in mm."""
        return points(*self.arrays(xyz))


@per_surface
def seeker_of(surface: Surface) -> Seeker:
    """The seeker of a surface, built once for as long as the surface lives."""
    return Seeker(surface.vertices, surface.faces)


def barycentric(corners: NDArray[np.floating], where: NDArray[np.floating]) -> NDArray[np.float64]:
    """Weights (k, 3) of positions where (k, 3) in triangles corners (k, 3, 3), clipped to >= 0.

    A triangle without area gives the weights along its longest side.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    square = np.einsum("kx,kx->k", normal, normal)
    flat = square <= 1e-24 * np.square(np.ptp(corners, axis=1).max(axis=1)) ** 2
    safe = np.where(flat, 1.0, square)
    w1 = np.einsum("kx,kx->k", np.cross(where - a, c - a), normal) / safe
    w2 = np.einsum("kx,kx->k", np.cross(b - a, where - a), normal) / safe
    weights = np.column_stack((1.0 - w1 - w2, w1, w2))
    if flat.any():
        weights[flat] = _along_longest(corners[flat], where[flat])
    weights = np.clip(weights, 0.0, None)
    return weights / weights.sum(axis=1, keepdims=True)


def _along_longest(
    corners: NDArray[np.floating], where: NDArray[np.floating]
) -> NDArray[np.float64]:
    """Weights (k, 3) of positions along the longest side of triangles without area."""
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    start = np.argmax(lengths, axis=1)
    rows = np.arange(len(corners))
    along = corners[rows, (start + 1) % 3] - corners[rows, start]
    square = np.maximum(np.einsum("kx,kx->k", along, along), np.finfo(float).tiny)
    t = np.clip(np.einsum("kx,kx->k", where - corners[rows, start], along) / square, 0.0, 1.0)
    weights = np.zeros((len(corners), 3))
    weights[rows, start], weights[rows, (start + 1) % 3] = 1.0 - t, t
    return weights


def snapped(weights: NDArray[np.floating], *, snap: float) -> NDArray[np.float64]:
    """Barycentrics (k, 3) with every weight below snap set to 0 and the rest summing to 1.

    A point nearer to an edge than snap (as a share of the triangle's height) moves onto the edge,
    and then onto the edge's end if it is nearer to it than snap (as a share of the edge). Seen from
    the two faces of an edge, a point on it moves the same way.
    """
    clean = np.clip(np.asarray(weights, dtype=np.float64), 0.0, None)
    clean /= clean.sum(axis=1, keepdims=True)
    biggest = np.argmax(clean, axis=1)
    small = clean < snap
    small[np.arange(len(clean)), biggest] = False
    clean = np.where(small, 0.0, clean)
    return clean / clean.sum(axis=1, keepdims=True)


def simplex(faces: Faces, point: Point) -> frozenset[int]:
    """The vertices that carry a point: one at a vertex, two on an edge, three inside a face."""
    corners = np.asarray(faces)[point.face].tolist()
    return frozenset(v for v, b in zip(corners, point.barycentric, strict=True) if b > 0.0)


def faces_at(faces: Faces, point: Point) -> NDArray[np.int64]:
    """Indices of all faces in which a point lies: one inside a face, two on an edge, a fan at a vertex."""
    carried = list(simplex(faces, point))
    return np.flatnonzero(np.isin(faces, carried).sum(axis=1) == len(carried))


def share_face(faces: Faces, p: Point, q: Point) -> bool:
    """Whether some face holds both points, so that the straight line between them is on the surface."""
    union = list(simplex(faces, p) | simplex(faces, q))
    return len(union) <= 3 and bool((np.isin(faces, union).sum(axis=1) == len(union)).any())
