"""The surface where a function of space is zero, by marching tetrahedra on the cells near it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.grid import _corners, _marching
from padlib.mesh.surface import Faces, Vertices

Function = Callable[[Vertices], NDArray[np.float64]]
BLOCK = 4  # grid steps in the edge of a block that is either looked at or skipped


def zero_surface(
    value: Function, low: Sequence[float], high: Sequence[float], spacing: float
) -> tuple[Vertices, Faces]:
    """Triangles where `value` is zero in the box from low (3,) to high (3,), mm; inside is negative.

    value: points (n, 3) to (n,), within a factor of about two of the signed distance. Grid planes lie
    at low + k * spacing, so a surface cut by a face of the box at low ends exactly in that face.
    """
    start = np.asarray(low, dtype=np.float64)
    shape = np.ceil((np.asarray(high) - start) / (BLOCK * spacing)).astype(np.int64)
    blocks = np.argwhere(np.ones(shape, dtype=bool))
    middle = start + (blocks + 0.5) * BLOCK * spacing
    near = np.abs(value(middle)) < 2.0 * BLOCK * spacing  # half diagonal 0.87 blocks, with room
    inner = np.stack(np.meshgrid(*[np.arange(BLOCK)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    cells = (blocks[near][:, None] * BLOCK + inner).reshape(-1, 3)
    points, inverse = _corners(cells)
    v, f = _marching(points, inverse.reshape(-1, 8), -value(start + spacing * points))
    return start + spacing * v, f


def onto_zero(
    value: Function, points: Vertices, normals: Vertices, *, steps: int = 3, reach: float = 4.0
) -> Vertices:
    """Points (n, 3) moved along their outward normals (n, 3) onto the zero of `value`.

    By Newton steps, none over `reach` mm.
    """
    p = points.copy()
    for _ in range(steps):
        now = value(p)
        slope = np.maximum((value(p + 0.1 * normals) - now) / 0.1, 0.2)
        p = p - np.clip(now / slope, -reach, reach)[:, None] * normals
    return p
