"""The hip pad: a flat dome on the side of the hip, for width below the waist.

Common practice, no source: from a hand below the waist to the top of the thigh.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, on_side, trunk_line, turn, without_arms
from padlib.padding.profile import laid, smoothstep, stretched
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, settled

Array = NDArray[np.float64]

OUTSIDE = 90.0  # degrees round the trunk: the outermost line
INSIDE = 0.45  # share of the trunk's radius within which no hip pad lies: the inner thighs
TO_WAIST = 0.11  # of stature: from the hip up to the waist

TABLE = (
    depth("the hip", 200, "keeps the arms from hanging"),
    Parameter(
        "top",
        "mm",
        "how far above the widest point of the hip its upper edge lies",
        30,
        250,
        "it has to be a dome and to end below the ribs, where the trunk bends",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far below the widest point of the hip its lower edge lies",
        30,
        250,
        "it has to be a dome and to end above the middle of the thigh",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from the outermost line, to front and to back",
        20,
        80,
        "less is a fin and more would lie on the belly and the buttock",
    ),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the hip pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    hip = landmark(body, f"hip_{side}", who)
    trunk = trunk_line(body, side, hip[2])
    s, off, angle = trunk.coordinates(body.surface.vertices)
    radius = float(trunk.coordinates(hip[None])[1][0])
    outside = smoothstep((off / radius - INSIDE) / INSIDE)
    here = without_arms(body) * on_side(body, side) * outside
    use = settled(who, TABLE, parameters, _defaults(body, hip))
    around = turn(angle, OUTSIDE)
    rho = np.hypot(stretched(s, use["top"], use["bottom"]), around / use["wrap"])
    walked = np.hypot(s, radius * np.radians(around))
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, hip: Array) -> dict[str, float]:
    """From well below the waist to the top of the thigh."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    waist = TO_WAIST * stature
    if "waist_back" in body.landmarks:
        waist = float(body.at("waist_back")[2] - hip[2])
    return {
        "depth": 0.02 * stature,
        "top": 0.75 * waist,
        "bottom": 0.07 * stature,
        "wrap": 55.0,
        "blend": 0.05 * stature,
    }
