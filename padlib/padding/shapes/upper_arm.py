"""The upper arm pad: a long dome round the arm between shoulder and elbow.

Common practice, no source: the inner side stays thin, where the arm lies against the trunk.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import on_side, turn
from padlib.padding.profile import laid, smoothstep, swollen, turned_share
from padlib.padding.shapes.on_arm import arm_places
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

TABLE = (
    depth("the arm", 100, "keeps the arm from lying against the trunk"),
    Parameter(
        "top",
        "mm",
        "how far below the middle of the armhole, along the arm, its upper edge lies",
        -60,
        100,
        "higher it is a shoulder cap and lower there is no arm left for it",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far above the elbow, along the arm, its lower edge lies",
        20,
        120,
        "lower it would keep the elbow from bending and higher there is no arm left for it",
    ),
    Parameter(
        "toward",
        "degrees",
        "where round the arm it is fullest: 0 is the front, 90 the outside, 180 the back",
        -20,
        200,
        "on the inner side it would lie between arm and trunk",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from there, to either side",
        40,
        150,
        "less is a fin and more would meet itself on the other side",
    ),
    fullest("top", "bottom"),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the upper arm pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    places = arm_places(body, side, who)
    use = settled(who, TABLE, parameters, _defaults(body, places.radius))
    start, end = use["top"], places.elbow - use["bottom"]
    if end - start < 0.3 * places.elbow:
        end = start + 0.3 * places.elbow  # a child's arm is shorter than the limits of both edges
    off, down = swollen(places.s, start, end, use["fullest"])
    turned = turn(places.angle, use["toward"])
    rho = np.hypot(down, turned_share(turned, use["wrap"]))
    walked = np.hypot(off, places.radius * np.radians(turned))
    near = smoothstep((2.2 - places.off / places.radius) / 0.5)  # not on the chest
    here = near * on_side(body, side) * ~places.trunk
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, radius: float) -> dict[str, float]:
    """Half the arm's radius thick, fullest outward in front, clear of the bend of the elbow."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return {
        "depth": 0.5 * radius,
        "top": 0.0,
        "bottom": 0.025 * stature,
        "toward": 60.0,
        "wrap": 115.0,
        "fullest": 0.45,
        "blend": 0.02 * stature,
    }
