"""The crotch's height by the whole lower end of the thighs' join, not by its lowest vertex.

The join is flat from front to back: triangles that bridge its fold, or cut it, put the lowest place of them all
millimetres up or down. How broad the join is at each height over it hangs on many triangles.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import FINE
from padlib.body.slices import Slices, edges, slices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# Over what breadth from front to back the join's lower end is taken together, in parts of the height (40 mm of an
# adult), and how far up that is looked for (20 mm)
BROAD, RISE = 0.024, 0.012
BESIDE = np.array([-8.0, -4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0])  # mm aside: cuts
SAMPLES = 17


def evened(vertices: Array, faces: Ints, low: Array, middle: float, top: float) -> Array:
    """The lowest place of the thighs' join (3,), moved to where the parabola through its breadths begins.

    A section from front to back of a saddle of radius R is broad by w at w^2 / 8 R over its lowest place. low (3,): the
    lowest place of the triangles; middle: x, mm, between the legs, where the place is to be; top: the body's height.
    """
    z = np.arange(low[2] + 0.5 * FINE, low[2] + RISE * top, FINE)
    about = (np.abs(vertices - low) < [0.03 * top, np.inf, 0.03 * top]).all(axis=1)
    about = faces[about[faces].any(axis=1)]
    front, back = _ends(slices(vertices, about, low[0] + BESIDE, (1.0, 0.0, 0.0)), z)
    broad = np.maximum.accumulate(back - front)
    wide = np.linspace(0.0, min(BROAD * top, broad[-1]), SAMPLES)
    if wide[-1] <= 0.0:
        return np.array([middle, low[1], low[2]])
    rise = np.interp(wide, np.append(0.0, broad), np.append(low[2], z))
    height = float(np.polyfit(wide**2, rise, 1)[1])
    k = min(int(np.searchsorted(broad, wide[-1])), len(z) - 1)
    y = 0.5 * (front[k] + back[k])
    own = slices(vertices, about, np.array([middle]), (1.0, 0.0, 0.0))
    return np.array([middle, _crossing(own, height, float(y), BROAD * top), height])


def _ends(cut: Slices, z: Array) -> tuple[Array, Array]:
    """y of the foremost and rearmost points of planes from front to back at heights z (k,): of the narrowest plane."""
    bounds = np.searchsorted(cut.level, np.arange(len(cut.levels) + 1))
    sides = np.array(
        [
            [side[:, 1] for side in edges(cut.start[a:b], cut.end[a:b], z, along=2, across=1)]
            for a, b in itertools.pairwise(bounds)
        ]
    )
    sides = np.nan_to_num(sides)
    narrowest = (sides[:, 1] - sides[:, 0]).argmin(axis=0)
    front, back = sides[narrowest, :, np.arange(len(z))].T
    return front, back


def _crossing(cut: Slices, height: float, y: float, reach: float) -> float:
    """y of the skin of a section from front to back at a height, the nearest to a given one; that itself if none is."""
    a, b = cut.start, cut.end
    through = (a[:, 2] < height) != (b[:, 2] < height)
    a, b = a[through], b[through]
    found = a[:, 1] + (height - a[:, 2]) / (b[:, 2] - a[:, 2]) * (b[:, 1] - a[:, 1])
    found = found[np.abs(found - y) < reach]
    return float(found[np.abs(found - y).argmin()]) if len(found) else y
