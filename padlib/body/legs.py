"""Two legs in a level section of a cloud of points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Points = NDArray[np.float64]


def leg_centres(points: Points, low: float, tall: float, at: float) -> Points | None:
    """Centres (2, 2) of the two like pieces at a level, or None when it does not show two."""
    slab = points[np.abs(points[:, 2] - low - at * tall) < 0.012 * tall, :2]
    if len(slab) < 20:
        return None
    cell = np.floor((slab - slab.min(axis=0)) / (0.012 * tall)).astype(np.int64)
    if cell.max() > 400:
        return None
    taken = np.zeros(cell.max(axis=0) + 1, dtype=bool)
    taken[cell[:, 0], cell[:, 1]] = True
    piece, _ = ndimage.label(taken, structure=np.ones((3, 3)))
    mine = piece[cell[:, 0], cell[:, 1]]
    size = np.bincount(mine)[1:]
    large = np.flatnonzero(size > 0.12 * size.sum()) + 1
    if len(large) != 2 or size[large - 1].min() < 0.4 * size[large - 1].max():
        return None
    return np.stack([slab[mine == k].mean(axis=0) for k in large])
