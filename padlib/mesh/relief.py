"""How a surface bends at a given scale: where it bulges, where it bends inwards, and which way."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]

LEAST_RINGS, MOST_RINGS = 2, 8  # of triangles about a vertex that a quadric is fitted to


@dataclass(frozen=True, eq=False)
class Relief:
    """Principal curvatures at the vertices of a surface, 1/mm, positive where it bulges outwards.

    most, least (n,): the larger and the smaller; across (n, 3): unit direction of the smaller, which runs across a
    valley where that is negative.
    """

    most: Array
    least: Array
    across: Array


def relief(vertices: Vertices, faces: Faces, reach: float) -> Relief:
    """Principal curvatures of quadrics fitted to what lies within about `reach` mm of each vertex.

    vertices (n, 3) mm; faces (m, 3), outside seen counter-clockwise. The fit is that of D. Panozzo, E. Puppo, L. Rocca
    2010, "Efficient multi-scale curvature and crease estimation". Where it fails the surface counts as flat.
    """
    corner = vertices[faces]
    edge = float(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1).mean())
    rings = int(np.clip(round(reach / edge), LEAST_RINGS, MOST_RINGS))
    v = np.ascontiguousarray(vertices, dtype=np.float64)
    f = np.ascontiguousarray(faces, dtype=np.int64)
    one, two, first, second, bad = igl.principal_curvature(v, f, rings)
    swap = first < second
    most, least = np.where(swap, second, first), np.where(swap, first, second)
    across = np.where(swap[:, None], one, two)
    none = ~np.isfinite(most) | ~np.isfinite(least)
    none[list(bad)] = True
    most[none] = least[none] = 0.0
    across[none] = 0.0
    return Relief(most, least, across)
