"""A floor that has grown together with the soles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_crosses
from padlib.mesh.islands import FLOOR, drop_islands
from padlib.mesh.repair import (
    Findings,
    signed_volume,
    split_nonmanifold,
    without_unused,
)
from padlib.mesh.surface import Surface

LEAST_AREA = 0.035  # of a floor, in parts of the square of the height; two soles have 0.017 or less
OUTWARD = (
    0.5  # share of a flat end that looks away from the figure above which it is the figure's own
)
SLAB = 0.012  # thickness of a floor with its noise, in parts of the height


def drop_floor(surface: Surface) -> tuple[Surface, Findings]:
    """Cut away a large flat level part at one end of an axis of the file, if there is one.

    What lies in the same plane inside the soles goes too and is left as holes to be filled.
    """
    cross = face_crosses(surface.vertices, surface.faces)
    for axis in range(3):
        for end in (-1.0, 1.0):
            mine = _floor_faces(surface, cross, axis, end)
            if mine is not None:
                rest = without_unused(surface.vertices, surface.faces[~mine])
                rest, _ = drop_islands(split_nonmanifold(rest)[0])
                words = "a floor that touches the soles was cut away"
                return rest, (Finding(FLOOR, words, grade=Grade.REPAIR),)
    return surface, ()


def _floor_faces(
    surface: Surface, cross: NDArray[np.float64], axis: int, end: float
) -> NDArray[np.bool_] | None:
    """Faces (m,) of a floor across an axis near one of its ends, or None."""
    extents = np.ptp(surface.vertices, axis=0)
    if extents[axis] < 0.45 * extents.max():
        return None
    double = np.linalg.norm(cross, axis=1)
    level = np.abs(cross[:, axis]) > 0.9 * double
    along = end * surface.vertices[surface.faces, axis]
    low = along.max() - 0.06 * extents[axis]
    area = 0.5 * double
    middle = along.mean(axis=1)
    here = level & (middle > low)
    if area[here].sum() < LEAST_AREA * extents[axis] ** 2:
        return None
    order = np.argsort(middle[here])
    height, summed = middle[here][order], np.cumsum(area[here][order])
    before = np.r_[0.0, summed][np.searchsorted(height, height - SLAB * extents[axis])]
    best = int(np.argmax(summed - before))
    if summed[best] - before[best] < LEAST_AREA * extents[axis] ** 2:
        return None
    # everything from a little above the sheet to the end of the axis belongs to it
    mine = (along > height[best] - 1.2 * SLAB * extents[axis]).any(axis=1)
    outward = np.sign(signed_volume(surface.vertices, surface.faces[~mine]))
    if outward * end * 0.5 * cross[mine & here, axis].sum() > OUTWARD * area[mine & here].sum():
        return None  # a floor looks at the figure that stands on it, its own soles look away
    return mine
