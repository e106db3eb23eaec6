"""The widest flat cut of a scan, such as the waist that an upper half ends at: square to it stands the figure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.holes import rims
from padlib.mesh.surface import Surface

WIDE, DEEP = (
    0.12,
    0.06,
)  # of the longest extent: a cut through a trunk is at least that wide and deep
FLAT = 0.01  # of it: so far its rim strays from a plane (standard deviation)
BEYOND = 0.03  # of it: so far the figure may reach over the plane


def flat_cut(surface: Surface) -> NDArray[np.float64] | None:
    """Unit vector (3,) square to the widest flat cut of a repaired scan, into the figure; None without one."""
    v = surface.vertices
    size, best, widest = float(np.ptp(v, axis=0).max()), None, 0.0
    for loop in rims(surface.faces):
        rim = v[loop]
        middle = rim.mean(axis=0)
        axes = np.linalg.svd(rim - middle, full_matrices=False)[2] if len(rim) > 12 else None
        if axes is None:
            continue
        wide, deep = (float(np.ptp(rim @ axis)) for axis in axes[:2])
        flat = float(np.std(rim @ axes[2])) < FLAT * size
        if not flat or wide < WIDE * size or deep < DEEP * size or wide * deep < widest:
            continue
        low, high = np.quantile((v - middle) @ axes[2], [0.002, 0.998])
        if low > -BEYOND * size or high < BEYOND * size:
            best, widest = axes[2] * (1.0 if high > -low else -1.0), wide * deep
    return best
