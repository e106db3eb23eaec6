"""Choosing a level on a profile: the strongest place, held near where people have it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TAPE = 5  # levels of the sweep, 20 mm of an adult: about a tape's breadth, over which a profile is taken together


def pick(
    at: Array, value: Array, *, near: float, spread: float, weight: float, soft: float = 0.25
) -> tuple[float, float]:
    """Where value - weight ((at - near) / spread)^2 is greatest, and how far it leads over the place `near` itself.

    at (k,) ascending; value (k,), NaN where unknown; near, spread in the unit of at; weight in the unit of value.
    A flat profile thus gives `near`, a marked one its own peak. The place is the mean under exp(score / (soft
    weight)), so that two equal peaks give one answer between them and a small change of the surface a small change
    of the answer. Returns (`near`, 0) when nothing is known.
    """
    score = value - weight * ((at - near) / spread) ** 2
    good = np.flatnonzero(np.isfinite(score))
    if not len(good):
        return near, 0.0
    score, at, value = score[good], at[good], value[good]
    share = mass(score, soft * weight)
    home = int(np.argmin(np.abs(at - near)))
    return float(share @ at), float(share @ value - value[home])


def sway(
    at: Array, value: Array, *, near: float, spread: float, weight: float, soft: float = 0.25
) -> float:
    """How far the place that `pick` gives goes for each unit of at by which the whole profile leans, per unit of value.

    The variance of the place under its shares over soft weight, which is the derivative of their mean: a profile that
    is as good over a long way goes far for a little.
    """
    score = value - weight * ((at - near) / spread) ** 2
    good = np.isfinite(score)
    if not good.any():
        return 0.0
    share, at = mass(score[good], soft * weight), at[good]
    return float(share @ (at - share @ at) ** 2) / (soft * weight)


def top(at: Array, value: Array, *, near: float, spread: float, weight: float) -> float:
    """As `pick` for one broad bulge: the top of the parabola through all samples by least squares.

    Where a profile is nearly as high over centimetres, its highest place goes where noise lifts it; all levels together
    hardly move. Held within the samples; the place that `pick` gives where the profile has no top.
    """
    good = np.isfinite(value)
    off = (at[good] - near) / spread
    if good.sum() < 3:
        return near
    bend, slope, _ = np.polyfit(off, value[good] - weight * off**2, 2)
    if bend >= -0.25 * weight:
        return pick(at, value, near=near, spread=spread, weight=weight)[0]
    return float(np.clip(near - 0.5 * spread * slope / bend, at[good].min(), at[good].max()))


def mass(score: Array, soft: float) -> Array:
    """Weights (k,) of sum 1 that gather where the score is greatest, as sharply as `soft` is small."""
    share = np.exp((score - score.max()) / soft)
    return share / share.sum()


def vertex(at: Array, score: Array, k: int) -> float:
    """Place of the top of the parabola through the samples beside k; at[k] at an end or a gap."""
    if k == 0 or k == len(at) - 1 or not np.all(np.isfinite(score[k - 1 : k + 2])):
        return float(at[k])
    left, top, right = score[k - 1 : k + 2]
    bend = left - 2 * top + right
    if bend >= 0:
        return float(at[k])
    return float(
        at[k] + np.clip(0.5 * (left - right) / bend, -0.5, 0.5) * (at[k + 1] - at[k - 1]) / 2
    )


def on_profile(profile: Array, z: Array, at: float) -> Array:
    """Point (3,) of a profile (k, 3), sampled at heights z (k,) ascending, at a height; NaN beyond its ends.

    A place that the profile does not reach is not there: it is never taken from the nearest end.
    """
    good = np.flatnonzero(np.isfinite(profile[:, 0]))
    if len(good) < 2:
        return np.full(3, np.nan)
    first, last = z[good[0]], z[good[-1]]
    slack = 1.5 * (z[-1] - z[0]) / (len(z) - 1)
    if not first - slack <= at <= last + slack:
        return np.full(3, np.nan)
    return np.array([*(np.interp(at, z[good], profile[good, k]) for k in (0, 1)), at])


def bow(profile: Array) -> Array:
    """`hollow` of a planar profile (k, 2) against the chord of its first and last known points; NaN where unknown."""
    good = np.flatnonzero(np.isfinite(profile).all(axis=1))
    if len(good) < 3:
        return np.full(len(profile), np.nan)
    return hollow(profile, profile[good[0]], profile[good[-1]])


def most(values: Array) -> float:
    """The greatest known value, or 0 where none is known."""
    known = values[np.isfinite(values)]
    return float(known.max()) if len(known) else 0.0


def hollow(points: Array, first: Array, last: Array) -> Array:
    """Signed distance (k,) of planar points (k, 2) from the chord first -> last, positive on its left."""
    along = last - first
    length = np.linalg.norm(along)
    if length == 0:
        return np.zeros(len(points))
    offset = points - first
    return (along[0] * offset[:, 1] - along[1] * offset[:, 0]) / length


def smoothed(values: Array, width: int) -> Array:
    """Running mean (k,) over `width` samples (odd), the ends held."""
    if width < 3 or len(values) < 3:
        return values
    half = width // 2
    padded = np.concatenate([np.repeat(values[:1], half), values, np.repeat(values[-1:], half)])
    return np.convolve(padded, np.full(2 * half + 1, 1.0 / (2 * half + 1)), mode="valid")
