"""How large the whole person is of whom a body is perhaps only a part, and where the soles are or would be."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import SIDES, Parts, runs
from padlib.body.pick import smoothed
from padlib.body.slices import girth, hull

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

CROTCH, AXILLA, CROWN, NECK = 0.481, 0.758, 1.0, 0.862  # shares of stature (ANSUR II, both sexes)
WAIST, SHOULDER = 0.625, 0.825  # ... of the natural waist, and of the root of the neck
HIP_JOINT = 0.045  # of stature above the crotch
CALF_KNEE = 0.72 * 0.527  # calf over the hip joint's height (as in leg_marks)
CROTCH_RANGE = (0.36, 0.53)  # of stature: an infant to the longest legs of ANSUR II, legs apart
FOOT = 1.4  # a foot is so much longer than the thinnest of the leg over it is deep
BUMP = 1.02  # a calf is so much stouter than what lies over and under it
STOUT = 0.6  # a trunk keeps this share of its greatest girth up to the neck
WAISTED = 1.03  # a form has a waist when both sides of it rise by this factor in girth


def scale(
    parts: Parts, crotch: Array | None, axilla: Mapping[str, Array], head: bool
) -> tuple[float, float, bool] | None:
    """Height of the soles (mm, below 0 where they are missing), stature (mm), and whether there are feet.

    From what is there and ANSUR II's mean shares of stature; None for a trunk without limbs that has no waist either.
    """
    top, crown = parts.top, CROWN if head else NECK
    least = top / crown
    if crotch is not None:
        if has_feet(parts, float(crotch[2])):
            high = not head and crotch[2] * crown / top > CROTCH_RANGE[1]
            return 0.0, float(crotch[2] / CROTCH if high else top / crown), True
        base = _base_of_stumps(parts, float(crotch[2]), crown)
        return base, max(top - base if head else (float(crotch[2]) - base) / CROTCH, least), False
    if axilla:
        arms = float(np.mean([p[2] for p in axilla.values()]))
        stature = max((top - arms) / (crown - AXILLA), least)
        return top - crown * stature, stature, False
    form = _form(parts)
    return None if form is None else (*form, False)


def has_feet(parts: Parts, crotch: float) -> bool:
    """Whether a leg ends in a foot: its lowest sections are longer than its thinnest is deep."""
    cut = parts.cut
    for side in SIDES:
        levels = np.flatnonzero((parts.leg[side] >= 0) & (cut.levels < 0.5 * crotch))
        if len(levels) < 5:
            continue
        loops = parts.leg[side][levels]
        size = np.linalg.norm((cut.high - cut.low)[loops, :2], axis=1)
        sole = cut.levels[levels] < 0.06 * crotch
        if sole.any() and size[sole].max() > FOOT * size[~sole].min(initial=np.inf):
            return True
    return False


def _base_of_stumps(parts: Parts, crotch: float, crown: float) -> float:
    """Height of the missing soles under cut-off legs, mm: from the calves if they show, or from the upper body."""
    top = parts.top
    upper = (top - crotch) / (crown - CROTCH)
    bulge = [z for side in SIDES if (z := _calf(parts, side, crotch)) is not None]
    if not bulge:
        return min(top - crown * upper, 0.0)
    hip = crotch + HIP_JOINT * upper
    return float(min((np.mean(bulge) - CALF_KNEE * hip) / (1.0 - CALF_KNEE), 0.0))


def _calf(parts: Parts, side: str, crotch: float) -> float | None:
    """Height of the bulge of a lower leg, mm, or None where it does not show."""
    cut = parts.cut
    levels = np.flatnonzero((parts.leg[side] >= 0) & (cut.levels < 0.75 * crotch))
    if len(levels) < 15:
        return None
    z = cut.levels[levels]
    taut = [girth(hull(cut.points(n), cut.normals[0])) for n in parts.leg[side][levels]]
    taut = smoothed(np.array(taut), 5)
    under = np.minimum.accumulate(taut)
    near = 0.2 * crotch
    over = np.array([taut[(z >= at) & (z < at + near)].min() for at in z])
    rise = taut / np.maximum(under, over)
    k = int(np.argmax(rise))
    return float(z[k]) if rise[k] > BUMP else None


def _form(parts: Parts) -> tuple[float, float] | None:
    """Soles and stature that go with a trunk alone, from its waist and the root of its neck; None without a waist."""
    cut = parts.cut
    levels = np.flatnonzero(parts.core >= 0)
    if len(levels) < 30:
        return None
    z, core = cut.levels[levels], parts.core[levels]
    taut = smoothed(np.array([girth(hull(cut.points(n), cut.normals[0])) for n in core]), 5)
    width = (cut.high - cut.low)[core, 0]
    stout = next(
        run for run in runs(taut > STOUT * taut.max()) if run[0] <= np.argmax(taut) <= run[1]
    )
    trunk = slice(stout[0], stout[1] + 1)
    below = np.maximum.accumulate(taut[trunk])
    above = np.maximum.accumulate(taut[trunk][::-1])[::-1]
    waisted = np.minimum(below, above) / taut[trunk]
    k = stout[0] + int(np.argmax(waisted))
    if waisted.max() < WAISTED:
        return None
    wide = k + int(np.argmax(width[k:]))
    narrow = np.flatnonzero(width[wide:] < 0.6 * width[wide])
    root = z[wide + narrow[0]] if len(narrow) else parts.top
    stature = float((root - z[k]) / (SHOULDER - WAIST))
    return float(z[k] - WAIST * stature), stature
