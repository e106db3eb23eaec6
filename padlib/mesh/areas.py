"""Areas, normals and volume of triangles, and their shares at vertices."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Vertices


def face_areas(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Area of each face (m,), in the square of the vertices' unit."""
    return 0.5 * lengths(*_cross_columns(vertices, faces))


def lengths(
    x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Length (k,) of vectors of columns x, y, z (k,), to the digit that of `np.linalg.norm`, which is slow on rows."""
    return np.sqrt(x * x + y * y + z * z)


def face_crosses(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Normal of each face (m, 3), twice its area long."""
    return np.stack(_cross_columns(vertices, faces), axis=1)


def _cross_columns(vertices: Vertices, faces: Faces) -> list[NDArray[np.float64]]:
    """The three columns (m,) of `face_crosses`, one by one: numpy works slowly on rows of three."""
    a, b, c = (np.ascontiguousarray(corner) for corner in faces.T)
    one, two = [], []
    for column in vertices.T:
        column = np.ascontiguousarray(column)
        start = column.take(a)
        one.append(column.take(b) - start)
        two.append(column.take(c) - start)
    (x, y, z), (p, q, r) = one, two
    return [y * r - z * q, z * p - x * r, x * q - y * p]


def vertex_areas(faces: Faces, area: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """The area (count,) that each vertex stands for: a third of each of its faces' (m,)."""
    return np.bincount(faces.ravel(), np.repeat(area / 3, 3), minlength=count)


def sums(at: NDArray[np.int64], values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Sum (count, d) of the values (k, d) at each index (k,)."""
    return np.stack([np.bincount(at, column, count) for column in values.T], axis=1)


def vertex_crosses(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Sum (n, 3) of `face_crosses` over the faces around each vertex."""
    corner, count = faces.ravel(), len(vertices)
    columns = _cross_columns(vertices, faces)
    return np.stack([np.bincount(corner, np.repeat(c, 3), count) for c in columns], axis=1)


def vertex_normals(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Unit normals (n, 3), each the area-weighted mean of the faces around its vertex; 0 where there
    are none."""
    total = vertex_crosses(vertices, faces)
    return total / np.maximum(lengths(*total.T), 1e-300)[:, None]


def enclosed(vertices: Vertices, faces: Faces) -> float:
    """Signed volume between a surface and the origin: of a closed surface, what it encloses.

    Of two surfaces with the same border the difference is the volume between them (divergence theorem).
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0
