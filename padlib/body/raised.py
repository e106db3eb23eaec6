"""Arms that reach over the head: a standing cloud of points without them, by which its height and front are told."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

# Shares of the height, arms included:
HIPS = (0.45, 0.6)  # hips and waist are in there
OVER, BESIDE = (
    0.05,
    0.06,
)  # so near to the line up from the hips is a head, so far from it a hand over it
STEP = 0.012  # a hand reaches over the crown by more
LEAST_CROWN = 0.7  # a crown is no lower, however far the arms reach over it; a crotch of a figure on its head is
# Shares of the height to the crown:
SHOULDERS, HEAD = 0.84, 0.09  # from there up a head is no wider to each side


def without_hands(points: Points) -> tuple[float, Points]:
    """Height to the crown, and the points (k, 3) of a standing figure without arms beside and over its head.

    points (n, 3), up along +Z in any unit. Where nothing reaches over the head: all of them and their height.
    """
    low, tall = points[:, 2].min(), float(np.ptp(points[:, 2]))
    z = (points[:, 2] - low) / tall
    hips = points[(z > HIPS[0]) & (z < HIPS[1]), :2]
    if not len(hips):
        return tall, points
    aside = points[:, :2] - np.median(hips, axis=0)
    away = np.linalg.norm(aside, axis=1) / tall
    crown = float(z[away < OVER].max(initial=0.0))
    hands = away[z > crown + STEP]
    if crown < LEAST_CROWN or not len(hands) or hands.min() < BESIDE:
        return tall, points
    arms = (z > SHOULDERS * crown) & (np.abs(aside).max(axis=1) > HEAD * crown * tall)
    return crown * tall, points[(z <= crown) & ~arms]
