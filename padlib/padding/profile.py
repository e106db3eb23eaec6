"""Height profiles of pads: how far a pad stands off the body, from crown to rim.

A profile is worked out in a coordinate rho that is 0 at the fullest point and 1 at the rim. It goes on
falling below zero past the rim, and `eased` turns that into an edge that meets the body without a ridge.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

JOIN = 20.0  # mm: radius of the round in which two pads meet


def eased(height: Array, band: float | Array) -> Array:
    """The height where it is positive, eased into zero over -band .. band (C1); sharp for band 0.

    height (n,) mm; band mm, not negative. Between the limits (height + band)^2 / (4 band).
    """
    band = np.broadcast_to(np.asarray(band, dtype=np.float64), np.shape(height))
    wide = np.maximum(band, 1e-12)
    curve = (height + wide) ** 2 / (4 * wide)
    return np.where(height >= band, height, np.where(height <= -band, 0.0, curve))


def dome(rho: Array, depth: float) -> Array:
    """A dome of parabolic section: depth at rho = 0, zero at the rim rho = 1, negative beyond."""
    return depth * (1.0 - np.asarray(rho, dtype=np.float64) ** 2)


def cap(distance: Array, depth: float, radius: float) -> Array:
    """The spherical cap of a depth over a rim of a radius (mm), negative past the rim.

    distance (n,) mm from the middle. The sphere's radius is (radius^2 + depth^2) / (2 depth); past
    the rim the profile goes on with the rim's slope. The cap's volume is
    pi depth (3 radius^2 + depth^2) / 6 (elementary geometry).
    """
    distance = np.asarray(distance, dtype=np.float64)
    ball = (radius**2 + depth**2) / (2 * depth)
    sunk = ball - depth
    inside = np.minimum(distance, radius)
    height = np.sqrt(np.maximum(ball**2 - inside**2, 0.0)) - sunk
    slope = radius / max(sunk, 1e-3 * ball)
    return height - slope * np.maximum(distance - radius, 0.0)


def band(distance: Array, depth: float, half: float) -> Array:
    """A flat-topped band: depth within half (mm) of the middle, falling steeply past the edge.

    The fall is linear at 45 degrees per `depth`, so that easing it gives a rounded shoulder.
    """
    past = np.abs(np.asarray(distance, dtype=np.float64)) - half
    return np.where(past <= 0, depth, depth - past)


def laid(rho: Array, walked: Array, depth: float, blend: float) -> Array:
    """A dome (n,) mm whose edge runs out into the body over a band of `blend` mm on either side of it.

    rho (n,): 0 at the fullest point, 1 at the rim; walked (n,): mm from the fullest point along the body.
    """
    reach = np.maximum(walked, 1e-6) / np.maximum(rho, 1e-6)
    return eased(dome(rho, depth), np.minimum(depth * blend / np.maximum(reach, 1.0), depth))


def stretched(offset: Array, before: float | Array, after: float | Array) -> Array:
    """Offset (n,) over its reach on the side it lies on: -1 at -before, 0 at the middle, 1 at after."""
    return np.where(offset < 0, offset / before, offset / after)


def swollen(s: Array, start: float, end: float, share: float) -> tuple[Array, Array]:
    """A pad along a limb from start to end, fullest at a share of the way: mm (n,) from the fullest
    place, and that as `stretched`. s (n,): mm along the limb."""
    full = start + share * (end - start)
    return s - full, stretched(s - full, full - start, end - full)


def turned_share(angle: Array, wrap: float) -> Array:
    """Angles (n,) round a limb over the angle at which a pad ends, as half chords; degrees."""
    return np.sin(np.radians(angle) / 2) / np.sin(np.radians(wrap) / 2)


def merged(layers: Sequence[Array] | Array, *, join: float = JOIN) -> Array:
    """The smooth union of thicknesses (k, n) mm that lie on one body: not a sum.

    Where one pad is much the thicker the union is that pad; where two cross, the hollow between them is
    rounded, so that two flanks of 45 degrees that meet at a right angle get a round of radius `join` mm
    (a parabola's, at its foot: the quadratic smooth maximum of width 2 join has the second derivative
    1 / join there). Near a rim, where a pad is thinner than that, the round is smaller, and runs out with it.
    """
    stack = np.maximum(np.atleast_2d(np.asarray(layers, dtype=np.float64)), 0.0)
    total = stack[0]
    for layer in stack[1:]:
        most, least = np.maximum(total, layer), np.minimum(total, layer)
        width = np.minimum(2.0 * join, np.sqrt(most * least))
        apart = np.maximum(width - (most - least), 0.0)
        total = most + apart**2 / (4.0 * np.maximum(width, 1e-12))
    return total


def smoothstep(share: Array) -> Array:
    """0 below share 0, 1 above 1, and 3 s^2 - 2 s^3 between (C1)."""
    share = np.clip(share, 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)
