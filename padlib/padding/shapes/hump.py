"""The back hump: one dome across the spine, high on the back.

Common practice, no source: it starts below the neck, which has to lean back.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, off_shoulders, trunk_line
from padlib.padding.profile import laid, smoothstep, swollen
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

MIDDLE = True  # one pad across the middle
BEHIND = 75.0  # degrees from the front from which the skin counts as back

TABLE = (
    depth("the back", 250, "pulls the wearer over backward"),
    Parameter(
        "top",
        "mm",
        "how far below the seventh cervical its upper edge lies",
        -20,
        200,
        "higher it would press on the neck and lower it is no hump",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far above the waist its lower edge lies",
        -60,
        250,
        "lower it would keep the back from bending and higher it is no hump",
    ),
    Parameter(
        "width",
        "mm",
        "how wide it is from edge to edge",
        80,
        500,
        "less is a fin and more would press into the armpits",
    ),
    fullest("top", "bottom"),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the hump"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body; it has no sides.

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    neck, waist = landmark(body, "cervicale", who), landmark(body, "waist_back", who)
    points = body.surface.vertices
    _, _, angle = trunk_line(body, "left", (neck[2] + waist[2]) / 2).coordinates(points)
    s = neck[2] - points[:, 2]
    here = off_shoulders(body) * smoothstep((np.abs(angle) - BEHIND) / 30.0)
    use = settled(who, TABLE, parameters, _defaults(body))
    start, end = use["top"], float(neck[2] - waist[2]) - use["bottom"]
    if end - start < 0.3 * (neck[2] - waist[2]):
        end = start + 0.3 * float(neck[2] - waist[2])  # a child's back is short for the limits
    beyond, down = swollen(s, start, end, use["fullest"])
    rho = np.hypot(down, 2 * points[:, 0] / use["width"])
    walked = np.hypot(beyond, points[:, 0])
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body) -> dict[str, float]:
    """Between the shoulder blades, a little narrower than from armpit to armpit."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    pits = [
        abs(body.at(f"axilla_{s}")[0]) for s in ("left", "right") if f"axilla_{s}" in body.landmarks
    ]
    return {
        "depth": 0.045 * stature,
        "top": 0.02 * stature,
        "bottom": 0.04 * stature,
        "width": 1.7 * float(np.mean(pits)) if pits else 0.16 * stature,
        "fullest": 0.42,
        "blend": 0.04 * stature,
    }
