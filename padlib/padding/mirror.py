"""Bodies that are their own mirror image in x = 0, and how to keep what is made on them so."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FLIP = np.array([-1.0, 1.0, 1.0])
EXACT = 1e-4  # mm within which a vertex has to meet its mirror image


def mirror_partners(vertices: Vertices, faces: Faces) -> Ints | None:
    """The vertex (n,) that each vertex of a surface is the mirror image of; None if it is not symmetric.

    Symmetric is: each vertex has its own partner within EXACT, and the partners of each triangle
    are a triangle.
    """
    distance, partner = cKDTree(vertices).query(vertices * FLIP)
    if distance.max(initial=0.0) > EXACT or (partner[partner] != np.arange(len(vertices))).any():
        return None
    mine, theirs = (_keys(np.sort(side, axis=1)) for side in (faces, partner[faces]))
    return partner if np.array_equal(mine, theirs) else None


def _keys(faces: Faces) -> Faces:
    """Triangles (m, 3) with sorted corners, in order."""
    return faces[np.lexsort(faces.T)]


def evened(values: Array, partner: Ints | None) -> Array:
    """Positions (n, 3) or amounts (n,) made symmetric: each the mean of itself and its mirror image."""
    if partner is None:
        return values
    image = values[partner] * FLIP if values.ndim == 2 else values[partner]
    return (values + image) / 2
