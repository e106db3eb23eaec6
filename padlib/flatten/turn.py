"""A flat turned so that its pile runs down the page."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import MeshError
from padlib.mesh.surface import Faces, Plane, Vertices

_NO_WAY = 1e-9


def turn_to_pile(
    vertices: Vertices, faces: Faces, flat: Plane, direction: NDArray[np.float64]
) -> Plane:
    """The flat (n, 2) mm turned so that the pile runs along -y, its box's lower left at (0, 0).

    direction (m, 3) or (3,): which way the nap lies on each triangle; only the part along the
    surface counts, and its image in the flat, averaged by area, is turned to -y. A flat on which
    the pile has no mean direction is only moved, not turned. Raises MeshError where direction has
    another shape.
    """
    faces = np.asarray(faces, dtype=np.int64)
    flat = np.asarray(flat, dtype=np.float64)
    flat = flat @ turning(mean_pile(vertices, faces, flat, direction))
    return flat - flat.min(axis=0)


def turning(mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """The matrix (2, 2) by which a flat is multiplied to turn the direction (2,) to -y.

    The identity where `mean` is no direction.
    """
    size = float(np.hypot(*mean))
    if not size > _NO_WAY:
        return np.eye(2)
    sine, cosine = -mean[0] / size, -mean[1] / size
    return np.array([[cosine, sine], [-sine, cosine]])


def mean_pile(
    vertices: Vertices, faces: Faces, flat: Plane, direction: ArrayLike
) -> NDArray[np.float64]:
    """Mean (2,) over the area of the unit images in a flat (n, 2) of 3D directions (m, 3)."""
    return pile_row(vertices, faces, flat, direction) @ np.asarray(flat, dtype=np.float64)


def pile_row(
    vertices: Vertices, faces: Faces, flat: Plane, direction: ArrayLike
) -> NDArray[np.float64]:
    """What each vertex (n,) counts in `mean_pile`: the mean is this row times the flat (n, 2).

    direction (m, 3) or (3,). Raises MeshError where direction has another shape.
    """
    direction = np.asarray(direction, dtype=np.float64)
    if direction.shape not in ((3,), (len(faces), 3)):
        raise MeshError(f"the pile needs a direction for each triangle, not {direction.shape}")
    corner = np.asarray(vertices, dtype=np.float64)[faces]
    first, second = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    normal = np.cross(first, second)
    double = np.linalg.norm(normal, axis=1)
    way = np.broadcast_to(direction, (len(faces), 3))
    told = np.linalg.norm(way, axis=1)
    # coordinates of the direction's part along the surface in the two edges: Cramer's rule
    along = np.einsum("ij,ij->i", np.cross(way, second), normal)
    beside = np.einsum("ij,ij->i", np.cross(first, way), normal)
    flat = np.asarray(flat, dtype=np.float64)[faces]
    image = along[:, None] * (flat[:, 1] - flat[:, 0]) + beside[:, None] * (flat[:, 2] - flat[:, 0])
    size = np.linalg.norm(image, axis=1)
    # a direction that stands on the surface says little about the way along it
    flatness = np.hypot(*_tangent(way, first, normal, double)) / np.where(told > 0, told, 1.0)
    weight = double * flatness / np.where(size > 0, size, 1.0)
    weight /= max(float(double.sum()), np.finfo(float).tiny)
    parts = np.stack([-weight * (along + beside), weight * along, weight * beside], axis=1)
    return np.bincount(np.asarray(faces).ravel(), parts.ravel(), len(vertices))


def _tangent(way: NDArray, first: NDArray, normal: NDArray, double: NDArray) -> NDArray:
    """Components (2, m) of directions along a triangle's first edge and across it."""
    safe = np.maximum(double, np.finfo(float).tiny)[:, None]
    x = first / np.maximum(np.linalg.norm(first, axis=1)[:, None], np.finfo(float).tiny)
    y = np.cross(normal / safe, x)
    return np.stack([np.einsum("ij,ij->i", way, x), np.einsum("ij,ij->i", way, y)])
