"""Arithmetic of rows of three and of triangles, column by column: numpy reduces a short last axis slowly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Vertices

Ints = NDArray[np.int64]


def norms(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Length (...,) of each row (..., 3)."""
    return np.sqrt(dots(x, x))


def dots(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Product (...,) of rows (..., 3) with rows (..., 3)."""
    z = x * y
    return z[..., 0] + z[..., 2] + z[..., 1]  # faster than einsum, and in its order


def largest(x: NDArray) -> NDArray:
    """The largest entry (k,) of each row (k, 3)."""
    return np.maximum(np.maximum(x[:, 0], x[:, 1]), x[:, 2])


def crosses(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Vector product (..., 3) of rows (..., 3)."""
    out = np.empty(np.broadcast_shapes(x.shape, y.shape))
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        out[..., i] = x[..., j] * y[..., k] - x[..., k] * y[..., j]
    return out


def units(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows (..., 3) made unit vectors."""
    return x / np.maximum(norms(x), 1e-300)[..., None]


def corners_of(v: Vertices, f: Faces) -> tuple[Vertices, Vertices, Vertices]:
    """The corners of each face, (m, 3) each; take is several times faster than an index."""
    return v.take(f[:, 0], axis=0), v.take(f[:, 1], axis=0), v.take(f[:, 2], axis=0)


def face_normals(v: Vertices, f: Faces) -> NDArray[np.float64]:
    """Normals (m, 3), twice the area long."""
    a, b, c = corners_of(v, f)
    return crosses(b - a, c - a)


def three_cornered(f: Faces) -> Faces:
    """The faces whose three corners are three vertices."""
    a, b, c = f.T
    return f.compress((a != b) & (b != c) & (c != a), axis=0)


def longest_sides(v: Vertices, f: Faces) -> NDArray[np.float64]:
    """Length (m,) of the longest side of each face."""
    a, b, c = corners_of(v, f)
    return np.maximum(np.maximum(norms(a - b), norms(b - c)), norms(c - a))


def least_angles(v: Vertices, a: Ints, b: Ints, c: Ints) -> NDArray[np.float64]:
    """The least angle (k,) of each triangle of vertices a, b, c (k,), radians."""
    p, q, r = (v.take(corner, axis=0) for corner in (a, b, c))
    x, y, z = units(q - r), units(r - p), units(p - q)
    cosine = np.maximum(np.maximum(-dots(x, z), -dots(y, x)), -dots(z, y))
    return np.arccos(np.clip(cosine, -1, 1))


def shapes(v: Vertices, f: Faces, looks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the area over the square of the longest side (m,): 0.87 for an even triangle; looks: normals (m, 3)."""
    return norms(looks) / np.maximum(longest_sides(v, f) ** 2, 1e-300)


def sum_at(index: Ints, values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Sums (n, 3) of values (k, 3) by their index (k,)."""
    return np.stack([np.bincount(index, values[:, k], minlength=n) for k in range(3)], axis=1)


def sum_at_corners(x: NDArray[np.float64], f: Faces, n: int) -> NDArray[np.float64]:
    """Sums (n, 3) at vertices of what their faces (m, 3) have."""
    corner = f.ravel()
    return np.stack(
        [np.bincount(corner, np.repeat(column, 3), minlength=n) for column in x.T], axis=1
    )


def vertex_normals(v: Vertices, f: Faces) -> NDArray[np.float64]:
    """Unit normals (n, 3), each the sum of its faces' by their area."""
    return units(sum_at_corners(face_normals(v, f), f, len(v)))


def sharpness(
    f: Faces, unit: NDArray[np.float64], normal: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean squared sine (n,) of the angle between the unit normals of a vertex (n, 3) and of its faces (m, 3)."""
    corner = f.T.ravel()
    cosine = np.concatenate([dots(unit, x) for x in corners_of(normal, f)])
    total = np.bincount(corner, 1 - np.clip(cosine, 0, 1) ** 2, minlength=len(normal))
    return total / np.maximum(np.bincount(corner, minlength=len(normal)), 1)
