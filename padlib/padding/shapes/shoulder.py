"""The shoulder cap: a dome over the point of the shoulder, from the root of the neck down the arm.

Common practice, no source: an arm can only be raised as far as the cap lets it, so it stays short
toward the neck.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, on_side, turn
from padlib.padding.profile import laid, smoothstep, stretched, turned_share
from padlib.padding.shapes.on_arm import arm_places
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, settled

Array = NDArray[np.float64]

UP = 90.0  # degrees round the arm: its upper, outer line

TABLE = (
    depth("the point of the shoulder", 150, "would hit the head when the arm is raised"),
    Parameter(
        "inner",
        "mm",
        "how far from the point of the shoulder toward the neck its edge lies",
        20,
        140,
        "less is no cap and more would press on the neck when the arm is raised",
    ),
    Parameter(
        "outer",
        "mm",
        "how far from the point of the shoulder down the arm its edge lies",
        30,
        200,
        "less is no cap and more would lie on the elbow",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from the top of the shoulder, to front and to back",
        30,
        95,
        "less is a ridge and more would press into the armpit",
    ),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the shoulder cap"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    places = arm_places(body, side, who)
    point = float(places.of(landmark(body, f"acromion_{side}", who)))
    s = places.s - point
    use = settled(who, TABLE, parameters, _defaults(body))
    around = turn(places.angle, UP)
    along = stretched(s, use["inner"], use["outer"])
    rho = np.hypot(along, turned_share(around, use["wrap"]))
    walked = np.hypot(s, places.radius * np.radians(around))
    near = smoothstep((2.4 - places.off / places.radius) / 0.6)  # not on the chest below
    here = near * on_side(body, side) * ~places.trunk
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body) -> dict[str, float]:
    """Over the round of the shoulder."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return {
        "depth": 0.022 * stature,
        "inner": 0.04 * stature,
        "outer": 0.075 * stature,
        "wrap": 75.0,
        "blend": 0.025 * stature,
    }
