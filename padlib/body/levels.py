"""Where heights, and lengths down the trunk that hang on them, ask the levels of a body to go."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.measure import HEIGHTS
from padlib.body.plausible import ORDERED
from padlib.errors import InputError

Array = NDArray[np.float64]

BACK = "back_waist_length"
ENDS = {  # lengths that are steered by heights: the upper and the lower
    BACK: ("cervicale_height", "waist_height"),
    "body_rise": ("waist_height", "crotch_height"),
    "trunk_length": ("cervicale_height", "crotch_height"),
}
DROPS = tuple(ENDS)
CROTCH = "total_crotch_length"  # steered by the waist's height, the crotch's, or the seat's depth
# how far the chest goes back for each mm of back length; most in one round
BOW_GAIN, BOW_MM = 1.7, 12.0
LEAST_STEP = 0.35  # heights may come so near to each other, as a share of their distance before
LEAST_STEP_MM = 25.0  # ... and any that stay so far apart may


def check_levels(given: Mapping[str, float], start: Mapping[str, float]) -> None:
    """Refuse heights that would change places or all but meet. Raises InputError."""
    for low, high in ORDERED:
        if low not in HEIGHTS or not all(n in given and n in start for n in (low, high)):
            continue
        before, after = start[high] - start[low], given[high] - given[low]
        if before > 1.0 and after < LEAST_STEP * before and after < LEAST_STEP_MM:
            raise InputError(
                f"{low} {given[low]:g} mm and {high} {given[high]:g} mm do not fit together: on the body they lie "
                f"{before:.0f} mm apart; measure both again."
            )


def levels(
    values: Mapping[str, float], given: Mapping[str, float], stature: float | None
) -> tuple[Array, Array]:
    """Heights (k,) ascending and how far up (k,) the surface must go there, mm."""
    miss = {n: given[n] - values[n] for n in HEIGHTS if n in given and n in values}
    if stature is not None and "stature" in values:
        miss["stature"] = stature - values["stature"]
    miss = _with_drops(miss, values, given)
    if CROTCH in given and CROTCH in values and not by_depth(given):
        lacks = 0.5 * (given[CROTCH] - values[CROTCH])
        waist = {"waist_height", "back_waist_length", "body_rise"} & set(given)
        miss.setdefault("crotch_height", -lacks if waist else 0.0)
        miss.setdefault("waist_height", 0.0 if waist else lacks)
    return _profile(miss, values)


def _profile(miss: Mapping[str, float], values: Mapping[str, float]) -> tuple[Array, Array]:
    """Heights (k,) ascending from the floor and how far up (k,) each must go, mm."""
    rows = sorted((values[name], up) for name, up in miss.items())
    z, up = (np.array(column) for column in zip((0.0, 0.0), *rows, strict=True))
    return z, up


def _with_drops(
    miss: Mapping[str, float], values: Mapping[str, float], given: Mapping[str, float]
) -> dict[str, float]:
    """What heights lack (mm), with the ends of given drops: those move least that way which meets them all."""
    drops = [n for n in DROPS if n in given and n in values]
    if _back_held(given):
        drops = [n for n in drops if n != BACK]
    ends = sorted({end for n in drops for end in ENDS[n]} & values.keys())
    drops = [n for n in drops if set(ENDS[n]) <= set(ends)]
    if not drops:
        return dict(miss)
    along = np.interp([values[n] for n in ends], *_profile(miss, values))
    rows, lacks = [], []
    for n in drops:
        high, low = (ends.index(end) for end in ENDS[n])
        rows.append(np.eye(len(ends))[high] - np.eye(len(ends))[low])
        lacks.append(given[n] - values[n] - (along[high] - along[low]))
    for k, n in enumerate(ends):
        if n in miss:
            rows.append(np.eye(len(ends))[k])
            lacks.append(0.0)
    more = np.linalg.lstsq(np.array(rows), np.array(lacks), rcond=None)[0]
    return {**miss, **dict(zip(ends, (along + more).tolist(), strict=True))}


def bow(values: Mapping[str, float], given: Mapping[str, float]) -> float:
    """How far the chest goes back (mm) to give the back its length where both its ends are given."""
    if not _back_held(given) or BACK not in values:
        return 0.0
    return float(np.clip(BOW_GAIN * (given[BACK] - values[BACK]), -BOW_MM, BOW_MM))


def _back_held(given: Mapping[str, float]) -> bool:
    """Whether the back's length is given, and how far apart its ends lie follows from what else is given."""
    if BACK not in given:
        return False
    known = [{end, "floor"} for end in set().union(*ENDS.values()) if end in given]
    known += [set(ends) for n, ends in ENDS.items() if n in given and n != BACK]
    reached, low = {ENDS[BACK][0]}, ENDS[BACK][1]
    for _ in known:
        reached = reached.union(*(link for link in known if link & reached))
    return low in reached


def by_depth(given: Mapping[str, float]) -> bool:
    """Whether only the depth of the seat is left to give the line through the crotch its length."""
    waist = any(n in given for n in ("waist_height", "back_waist_length", "body_rise"))
    crotch = any(n in given for n in ("crotch_height", "trunk_length", "body_rise"))
    return CROTCH in given and waist and crotch
