"""Areas, normals and volume of triangles, and their shares at vertices."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Vertices


def face_areas(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Area of each face (m,), in the square of the vertices' unit."""
    return 0.5 * np.linalg.norm(face_crosses(vertices, faces), axis=1)


def face_crosses(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Normal of each face (m, 3), twice its area long."""
    a, b, c = (vertices.take(faces[:, k], axis=0) for k in range(3))
    (x, y, z), (p, q, r) = (
        (b - a).T,
        (c - a).T,
    )  # by columns: several times faster than numpy's cross
    return np.stack([y * r - z * q, z * p - x * r, x * q - y * p], axis=1)


def vertex_areas(faces: Faces, area: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """The area (count,) that each vertex stands for: a third of each of its faces' (m,)."""
    return np.bincount(faces.ravel(), np.repeat(area / 3, 3), minlength=count)


def sums(at: NDArray[np.int64], values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Sum (count, d) of the values (k, d) at each index (k,)."""
    return np.stack([np.bincount(at, column, count) for column in values.T], axis=1)


def vertex_crosses(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Sum (n, 3) of `face_crosses` over the faces around each vertex."""
    cross = face_crosses(vertices, faces)
    return sums(faces.ravel(), np.repeat(cross, 3, axis=0), len(vertices))


def vertex_normals(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Unit normals (n, 3), each the area-weighted mean of the faces around its vertex; 0 where there
    are none."""
    total = vertex_crosses(vertices, faces)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)


def enclosed(vertices: Vertices, faces: Faces) -> float:
    """Signed volume between a surface and the origin: of a closed surface, what it encloses.

    Of two surfaces with the same border the difference is the volume between them (divergence theorem).
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0
