"""Signed distance to one closed surface, asked often: the search tree and the normals are kept."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.mesh.areas import sums
from padlib.mesh.point import barycentric
from padlib.mesh.surface import Faces, Vertices
from padlib.padding.smooth import unit

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ON_EDGE = 1e-9  # barycentric weight below which the nearest point counts as on the edge across


@dataclass(frozen=True, eq=False)
class Skin:
    """A closed surface, vertices (n, 3) mm and faces (m, 3), that distances are asked from.

    tree: of its faces; face (m, 3), edge (m, 3, 3), corner (n, 3): unit normals of faces, of the side
    across from each corner, and of vertices, weighted by angle; side (m, 3): number of each side.
    """

    vertices: Vertices
    faces: Faces
    tree: igl.AABB
    face: Array
    edge: Array
    corner: Array
    side: Ints

    def signed(self, points: Vertices) -> tuple[Array, Array, Array]:
        """Distance (k,) mm of points (k, 3), negative inside; the nearest points (k, 3); normals (k, 3).

        The sign is that of the angle-weighted pseudonormal (J. A. Baerentzen, H. Aanaes, "Signed distance
        computation using the angle weighted pseudonormal", 2005).
        """
        points = np.ascontiguousarray(points, dtype=np.float64)
        if not len(points):
            return np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3))
        square, face, close = self.tree.squared_distance(self.vertices, self.faces, points)
        face = np.asarray(face).ravel()
        weight = barycentric(self.vertices[self.faces[face]], close)
        zero = weight <= ON_EDGE
        normal = self.face[face].copy()
        on_edge = zero.sum(axis=1) == 1
        normal[on_edge] = self.edge[face[on_edge], zero[on_edge].argmax(axis=1)]
        on_corner = zero.sum(axis=1) == 2
        at = self.faces[face[on_corner], weight[on_corner].argmax(axis=1)]
        normal[on_corner] = self.corner[at]
        side = np.einsum("ij,ij->i", points - close, normal)
        return np.where(side < 0, -1.0, 1.0) * np.sqrt(np.ravel(square)), close, normal


def skin(vertices: Vertices, faces: Faces, like: Skin | None = None) -> Skin:
    """A surface made ready for `Skin.signed`; like: another one with the same faces, for what both share."""
    v = np.ascontiguousarray(vertices, dtype=np.float64)
    f = np.ascontiguousarray(faces, dtype=np.int64)
    tree = igl.AABB()
    tree.init(v, f)
    a, b, c = (v[f[:, k]] for k in range(3))
    face = unit(np.cross(b - a, c - a))
    angle = igl.internal_angles(v, f)
    weighted = (angle[:, :, None] * face[:, None]).reshape(-1, 3)
    corner = sums(f.ravel(), weighted, len(v))
    side = _sides(f) if like is None else like.side
    # of each side the sum of the unit normals of both its faces, brought to length 1
    total = sums(side.ravel(), np.repeat(face, 3, axis=0), int(side.max()) + 1)
    return Skin(v, f, tree, face, unit(total)[side], unit(corner), side)


def _sides(faces: Faces) -> Ints:
    """Numbers (m, 3) of the sides across from each corner, the same for both faces of a side."""
    ends = np.sort(
        np.stack([np.roll(faces, -1, axis=1), np.roll(faces, -2, axis=1)], axis=2), axis=2
    )
    key = ends[..., 0] * (int(faces.max()) + 1) + ends[..., 1]
    return np.unique(key.ravel(), return_inverse=True)[1].reshape(-1, 3)
