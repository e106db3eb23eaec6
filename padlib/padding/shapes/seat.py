"""The seat pad: a flat dome on a buttock, which may run round the side to give hip width.

Common practice, no source: a flat hemisphere on each buttock.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import Line, landmark, on_side, trunk_line, turn, without_arms
from padlib.padding.profile import laid, smoothstep, stretched
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

BEHIND = 180.0  # degrees round the trunk: the middle of the back
INSIDE = 0.45  # share of the trunk's radius within which no seat pad lies
LEAST_FULLEST = 0.36  # the default crown is no nearer to the cleft: it would fall off too steeply
WRAP = 100.0  # degrees from there: a little past the side
TO_WAIST, TO_FOLD = 0.12, 0.075  # of stature: from the seat up to the waist and down to the fold

TABLE = (
    depth("the buttock", 200, "tips the wearer's balance"),
    Parameter(
        "top",
        "mm",
        "how far above the fullest point of the buttock its upper edge lies",
        30,
        220,
        "it has to be a dome and to end below the waist",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far below the fullest point of the buttock its lower edge lies",
        30,
        180,
        "it has to be a dome and to leave the back of the thigh free to bend",
    ),
    Parameter(
        "cleft",
        "mm",
        "how far from the middle of the back its inner edge lies",
        -30,
        60,
        "further in it would cover the other buttock, further out it is a hip pad",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round the side: 0 is the middle of the back, 90 the side",
        35,
        150,
        "less is narrower than a buttock and more would lie on the belly",
    ),
    fullest("inner edge", "outer edge"),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the seat pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    seat = landmark(body, f"seat_{side}", who)
    trunk = trunk_line(body, side, seat[2])
    points = body.surface.vertices
    s, off, angle = trunk.coordinates(points)
    radius = float(trunk.coordinates(seat[None])[1][0])
    outside = smoothstep(
        (off / radius - INSIDE) / INSIDE
    )  # not on the crotch, near the line itself
    here = without_arms(body) * on_side(body, side) * outside
    use = settled(who, TABLE, parameters, _defaults(body, seat, trunk, radius))
    behind = turn(BEHIND - angle, 0.0)  # grows from the middle of the back outward
    inner = np.degrees(use["cleft"] / radius)
    full = inner + use["fullest"] * (use["wrap"] - inner)
    across = stretched(behind - full, full - inner, use["wrap"] - full)
    down = stretched(s, use["top"], use["bottom"])
    rho = np.hypot(down, across)
    walked = np.hypot(s, radius * np.radians(behind - full))
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, seat: Array, trunk: Line, radius: float) -> dict[str, float]:
    """A dome from the gluteal fold to well below the waist, fullest on the buttock's own summit
    or a little further out."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    waist, fold = stature * TO_WAIST, stature * TO_FOLD
    if "waist_back" in body.landmarks:
        waist = float(body.at("waist_back")[2] - seat[2])
    folds = [
        body.at(name)[2] for name in ("gluteal_left", "gluteal_right") if name in body.landmarks
    ]
    if folds:
        fold = float(seat[2] - np.mean(folds))
    summit = abs(float(turn(BEHIND - trunk.coordinates(seat[None])[2], 0.0)[0]))
    inner = float(np.degrees(0.005 * stature / radius))
    return {
        "depth": 0.021 * stature,
        "top": 0.75 * waist,
        "bottom": 0.95 * fold,
        "cleft": 0.005 * stature,
        "wrap": WRAP,
        "fullest": max((summit - inner) / (WRAP - inner), LEAST_FULLEST),
        "blend": 0.06 * stature,
    }
