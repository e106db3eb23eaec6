"""Choosing a level on a profile: the strongest place, held near where people have it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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
