"""A dress form's stand: a pole with a wide foot. It tells which way is up better than the form's own shape does.

The foot may be gone: a round plate that stands on the floor looks like a floor, and is cut away as one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import runs

Points = NDArray[np.float64]
Vector = NDArray[np.float64]

# Shares of the height of form and stand:
SLAB = 0.01  # thickness of the slabs that are looked at
POLE, LONG = (
    0.08,
    0.1,
)  # a pole is no thicker and at least so long: a neck is shorter, a thigh thicker
WIDER = 0.6  # of a pole's most breadth: farther from its middle lies the form's lower rim
FOOT = 0.12  # what it stands on is at least so wide and so deep: a hand or a wearer's foot is not
BARE = 0.25  # a pole without a foot is at least so long: an arm raised over the head is not
FORM = 0.3  # the form takes up at least so much
FEW = 3  # points of a slab below which its size is not told
SAME = 0.999  # cosine of 2.6 degrees: found again along itself, a pole is no farther off


class Stand(NamedTuple):
    """The way up a stand's pole, a unit vector (3,); how long the pole is and where the form begins, along that way."""

    up: Vector
    long: float
    form: float


def find_stand(points: Points, turns: list[NDArray[np.float64]]) -> Stand | None:
    """The stand with the longest pole under a form, or None for a figure without one.

    points (n, 3): spread evenly over the figure; turns: rotations (3, 3) one of which stands it about upright, or on
    its head.
    """
    found = [stand for turn in turns if (stand := _sure(points, turn)) is not None]
    return max(found, key=lambda stand: stand.long, default=None)


def _sure(points: Points, turn: NDArray[np.float64]) -> Stand | None:
    """The stand that a turn shows, if the way up its pole shows it, too."""
    first = _along(points, turn)
    if first is None:
        return None
    again = _along(points, _standing(first.up))
    return again if again is not None and again.up @ first.up > SAME else None


def _standing(up: Vector) -> NDArray[np.float64]:
    """A rotation (3, 3) that carries a unit vector to +Z."""
    axes = np.linalg.svd(up[None])[2]
    return np.stack([axes[1], np.cross(up, axes[1]), up])


def _along(points: Points, turn: NDArray[np.float64]) -> Stand | None:
    """The stand of a figure that a rotation (3, 3) stands about upright or on its head."""
    p = points @ turn.T
    low, tall = p[:, 2].min(), float(np.ptp(p[:, 2]))
    count = round(1.0 / SLAB)
    slab = np.minimum((p[:, 2] - low) / (SLAB * tall), count - 1).astype(np.int64)
    ends = np.cumsum(np.bincount(slab, minlength=count))[:-1]
    parts = np.split(p[np.argsort(slab, kind="stable")], ends)
    size = np.array([np.ptp(part[:, :2], axis=0) if len(part) else (0, 0) for part in parts]) / tall
    thin = (size.max(axis=1) < POLE) & ([len(part) >= FEW for part in parts])
    first, last = max(runs(thin), key=np.ptp, default=(0, -1))
    below, above = size[:first], size[last + 1 :]
    sign = 1.0 if len(above) > len(below) else -1.0
    foot, form = (below, above)[:: int(sign)]
    long, wide = (last - first + 1) * SLAB, foot.max(axis=0, initial=0.0).min()
    bare = long > BARE and len(foot) <= 1  # its foot was taken for a floor
    if long < LONG or not (bare or wide > FOOT) or len(form) * SLAB < FORM:
        return None
    middle = np.array([0.5 * (q.min(axis=0) + q.max(axis=0)) for q in parts[first : last + 1]])
    way = np.linalg.svd(middle - middle.mean(axis=0), full_matrices=False)[2][0]
    up = turn.T @ (way * sign * (np.sign(way[2]) or 1.0))
    aside = np.linalg.norm((p - middle[-1 if sign > 0 else 0])[:, :2], axis=1) > WIDER * POLE * tall
    beyond = sign * (p[:, 2] - low - (first + last + 1) * 0.5 * SLAB * tall) > 0.0
    return Stand(up, long * tall, float((points[aside & beyond] @ up).min()))
