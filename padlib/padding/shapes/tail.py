"""The tail root: a dome across the spine above the seat, on which a tail sits.

Common practice, no source: it carries the tail's base away from the cleft, so that the wearer can sit.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, trunk_line, without_arms
from padlib.padding.profile import laid, smoothstep
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, settled

Array = NDArray[np.float64]

MIDDLE = True  # one pad across the middle
BEHIND = 80.0  # degrees from the front from which the skin counts as back
TO_WAIST = 0.12  # of stature: from the seat up to the waist

TABLE = (
    depth("the small of the back", 250, "pulls the wearer over backward"),
    Parameter(
        "height",
        "mm",
        "how far above the fullest point of the buttocks its middle lies",
        0,
        200,
        "lower it would be sat on and higher it is no tail",
    ),
    Parameter(
        "length",
        "mm",
        "how long it is from its upper to its lower edge",
        50,
        300,
        "less will not carry a tail and more would be sat on",
    ),
    Parameter(
        "width",
        "mm",
        "how wide it is from edge to edge",
        50,
        350,
        "less will not carry a tail and more would lie on the hips",
    ),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the tail root"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body; it has no sides.

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    seat = (landmark(body, "seat_left", who) + landmark(body, "seat_right", who)) / 2
    points = body.surface.vertices
    use = settled(who, TABLE, parameters, _defaults(body, float(seat[2])))
    s = seat[2] + use["height"] - points[:, 2]
    _, _, angle = trunk_line(body, "left", float(seat[2])).coordinates(points)
    here = without_arms(body) * smoothstep((np.abs(angle) - BEHIND) / 30.0)
    rho = np.hypot(2 * s / use["length"], 2 * points[:, 0] / use["width"])
    walked = np.hypot(s, points[:, 0])
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, seat: float) -> dict[str, float]:
    """On the sacrum, halfway from seat to waist."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    waist = TO_WAIST * stature
    if "waist_back" in body.landmarks:
        waist = float(body.at("waist_back")[2]) - seat
    return {
        "depth": 0.035 * stature,
        "height": 0.5 * waist,
        "length": 0.07 * stature,
        "width": 0.065 * stature,
        "blend": 0.02 * stature,
    }
