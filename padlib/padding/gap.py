"""Room outside a body: the largest ball that touches the skin at a point from outside, and what it also touches.

Moving each point of a smooth surface along its normal by less than the radius of that ball keeps the surface
free of self-intersections: no two points come to the same place (the reach of a set, H. Federer 1959).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 12


def outside_balls(points: Array, normals: Array, *, largest: Array | float) -> tuple[Array, Ints]:
    """Radius (n,) mm of the outer touching ball of each point, and the other point (n,) that it touches.

    points (n, 3) mm; normals (n, 3) unit, outward; largest (n,) or number: the ball is not sought beyond
    this radius, and then touches nothing (-1). The ball is shrunk until it holds no point (J. Ma,
    S. Bae, S. Choi, "3D medial axis point approximation using nearest neighbors and the normal field",
    2012).
    """
    tree = cKDTree(points)
    radius = np.broadcast_to(np.asarray(largest, dtype=np.float64), len(points)).copy()
    other = np.full(len(points), -1)
    active = np.flatnonzero(radius > 0)
    for _ in range(ROUNDS):
        if not len(active):
            break
        centre = points[active] + radius[active, None] * normals[active]
        distance, near = tree.query(centre)
        inside = (distance < radius[active] - 1e-3) & (near != active)
        active, near = active[inside], near[inside]
        away = points[near] - points[active]
        ahead = np.einsum("ij,ij->i", away, normals[active])
        fits = ahead > 1e-9
        active, near = active[fits], near[fits]
        radius[active] = np.einsum("ij,ij->i", away[fits], away[fits]) / (2 * ahead[fits])
        other[active] = near
    return radius, other
