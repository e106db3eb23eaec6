"""How much of a surface is in plain view, from depth pictures of it from all around.

Ambient visibility (Zhukov, Iones, Kronin 1998, "An ambient light illumination model"), taken from
depth buffers instead of rays: the same on every run, and a tenth of a second for a whole body.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.areas import vertex_normals
from padlib.mesh.surface import Faces, Vertices

WAYS = 40  # views, spread evenly over the sphere
CELL = 1.6  # of the mean edge: side of a depth picture's cell
STEEP = 0.55  # cosine: views that meet the surface more flatly tell nothing at this fineness
SLACK = 2.5  # of the mean edge: what lies less than that behind the foremost place is still seen


def seen(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Share (n,) of the views from outside, 0 to 1, in which each vertex is in plain view.

    vertices (n, 3) mm; faces (m, 3), outside seen counter-clockwise. A view counts by the cosine at
    which it meets the surface, flat ones not at all: 1 where nothing else is in the way, near 0 in
    an armpit.
    """
    corner = vertices[faces]
    normal = vertex_normals(vertices, faces)
    edge = float(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1).mean())
    got, whole = np.zeros(len(vertices)), np.zeros(len(vertices))
    for way in _ways(WAYS):
        facing = normal @ way
        facing = np.where(facing > STEEP, facing, 0.0)
        whole += facing
        got += facing * _foremost(vertices, way, edge)
    return got / np.maximum(whole, 1e-300)


def _foremost(places: Vertices, way: NDArray[np.float64], edge: float) -> NDArray[np.bool_]:
    """Which places (p,) are the foremost of their cell in the picture taken from the way (3,)."""
    side = np.linalg.svd(way[None])[2][1:]
    cell = np.floor((places @ side.T) / (CELL * edge)).astype(np.int64)
    cell -= cell.min(axis=0)
    key = cell[:, 0] * (cell[:, 1].max() + 1) + cell[:, 1]
    depth = places @ way
    front = np.full(int(key.max()) + 1, -np.inf)
    np.maximum.at(front, key, depth)
    return depth > front[key] - SLACK * edge


def _ways(count: int) -> NDArray[np.float64]:
    """Unit vectors (count, 3) spread evenly over the sphere, along a spiral."""
    k = np.arange(count) + 0.5
    z, turn = 1.0 - 2.0 * k / count, np.pi * (1.0 + np.sqrt(5.0)) * k
    r = np.sqrt(1.0 - z**2)
    return np.column_stack([r * np.cos(turn), r * np.sin(turn), z])
