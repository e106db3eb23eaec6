"""Thighs or arms that touch: how far up a web of flesh or scan hides the true parting.

Where a limb truly joins, the section is at once thick from front to back; a web between limbs that touch (or that
a closed scan has bridged) starts thin and thickens slowly. The true parting is where the join has become thick.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import Parts
from padlib.body.slices import edges, slices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# Measured on nine bodies, clean and with every gap under 40 mm closed; no published source.
CROTCH_THICK = 0.40  # thickness in the middle over depth of the body, at the crotch of a body whose legs are apart
CROTCH_WEB = 0.010  # of height: a web shorter than this is left alone
ARM_THICK = (
    0.93  # thickness of the thinnest place between arm and trunk over the thinner of the two
)
ARM_WEB = 0.032
ARM_LOW = 0.72  # of height, 4 standard deviations under the mean: a higher armpit needs no web to explain it
ARM_MEAN = 0.757  # of height (ANSUR II: 0.757 men, 0.761 women): no armpit is moved up beyond this
ARM_BELOW = 0.008  # of height: where the join is that thick, the armpit itself lies so much lower
UP = 0.13  # of height: how far above the parting a web is looked for
STEP = 2.0  # mm


def crotch_above(vertices: Array, faces: Ints, parts: Parts, crotch: Array) -> Array | None:
    """The true crotch (3,) above a web between the thighs, or None where there is no web.

    The crotch itself is then inside the flesh: the point in front of it, on the surface, stands for it.
    """
    cut = parts.cut
    middle = slices(vertices, faces, [float(crotch[0])], (1.0, 0.0, 0.0))
    z = np.arange(crotch[2] + STEP, crotch[2] + UP * parts.top, STEP)
    front, back = edges(middle.start, middle.end, z, along=2, across=1)
    level = np.clip(np.searchsorted(cut.levels, z), 0, len(cut.levels) - 1)
    core = parts.core[level]
    depth = np.where(core >= 0, cut.high[core, 1] - cut.low[core, 1], np.inf)
    thick = (back[:, 1] - front[:, 1]) / depth
    thin = np.flatnonzero(thick < CROTCH_THICK)
    k = min(int(thin[-1]) + 1, len(z) - 1) if len(thin) else 0
    tall = max(parts.top, 2.0 * crotch[2])  # of a lower half the height is not the wearer's
    if z[k] - crotch[2] < CROTCH_WEB * tall:
        return None
    return front[k] if np.isfinite(front[k]).all() else None


def axilla_above(parts: Parts, axilla: Array, sign: float, middle: float) -> Array | None:
    """The true armpit (3,) above a web between arm and trunk, or None where there is no web.

    sign: +1 left, -1 right; middle: x of the trunk's middle, mm.
    """
    cut = parts.cut
    if axilla[2] > ARM_LOW * parts.top:
        return None
    levels = np.flatnonzero((cut.levels > axilla[2]) & (cut.levels < axilla[2] + UP * parts.top))
    levels = levels[parts.core[levels] >= 0]
    notches = [_notch(parts, int(k), sign, middle) for k in levels]
    thin = np.array([n is not None and n[0] < ARM_THICK for n in notches])
    if not thin.any() or not thin[0]:
        return None
    k = int(np.argmin(np.append(thin, False))) - 1
    z = cut.levels[levels[k]]
    if z - axilla[2] < ARM_WEB * parts.top:
        return None
    top = min(z - ARM_BELOW * parts.top, max(axilla[2], ARM_MEAN * parts.top))
    return np.array([notches[k][1], notches[k][2], top])


def _notch(
    parts: Parts, level: int, sign: float, middle: float
) -> tuple[float, float, float] | None:
    """Thinnest place between trunk and arm in one section: relative thickness, x and y of its middle."""
    cut = parts.cut
    start, end = cut.segments(parts.core[level])
    reach = (
        sign * (cut.high[parts.core[level], 0] if sign > 0 else cut.low[parts.core[level], 0])
        - sign * middle
    )
    out = np.arange(0.05 * parts.top, reach - STEP, STEP)
    if len(out) < 5:
        return None
    x = middle + sign * out
    low, high = edges(start, end, x if sign > 0 else x[::-1], along=0, across=1)
    if sign < 0:
        low, high = low[::-1], high[::-1]
    thick = high[:, 1] - low[:, 1]
    inner, outer = np.maximum.accumulate(thick), np.maximum.accumulate(thick[::-1])[::-1]
    least = np.minimum(inner, outer)
    share = np.where(least > 0, thick / np.where(least > 0, least, 1.0), np.inf)
    share[~np.isfinite(share)] = np.inf
    k = int(np.argmin(share))
    if not np.isfinite(share[k]):
        return None
    return float(share[k]), float(x[k]), float(0.5 * (low[k, 1] + high[k, 1]))
