"""The belly pad: one dome across the middle of the front, from the ribs to above the crotch.

Common practice, no source: fullest below the waist, as a paunch hangs.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, trunk_line, without_arms
from padlib.padding.profile import laid, smoothstep, swollen
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

MIDDLE = True  # one pad across the middle
INSIDE = 0.35  # share of the trunk's radius within which no belly pad lies: the crotch

TABLE = (
    depth("the belly", 300, "hides the wearer's feet from them on stairs"),
    Parameter(
        "top",
        "mm",
        "how far above the waist its upper edge lies",
        -40,
        250,
        "lower it is no belly and higher it would lie on the breast",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far below the waist its lower edge lies",
        40,
        260,
        "higher it is no belly and lower it would press into the groin when the wearer sits",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from the middle of the front, to either side",
        30,
        120,
        "less is a keel and more would lie on the back",
    ),
    fullest("top", "bottom"),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the belly pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body; it has no sides.

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    waist = landmark(body, "waist_front", who)
    crotch = landmark(body, "crotch", who)
    trunk = trunk_line(body, "left", waist[2])
    s, off, angle = trunk.coordinates(body.surface.vertices)
    radius = float(trunk.coordinates(waist[None])[1][0])
    here = without_arms(body) * smoothstep((off / radius - INSIDE) / 0.25)
    use = settled(who, TABLE, parameters, _defaults(body, float(waist[2] - crotch[2])))
    start, end = -use["top"], use["bottom"]
    beyond, down = swollen(s, start, end, use["fullest"])
    rho = np.hypot(down, angle / use["wrap"])
    walked = np.hypot(beyond, radius * np.radians(angle))
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, trunk: float) -> dict[str, float]:
    """trunk: mm from waist to crotch; down to three fifths of it."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return {
        "depth": 0.04 * stature,
        "top": 0.06 * stature,
        "bottom": 0.6 * trunk,
        "wrap": 80.0,
        "fullest": 0.55,
        "blend": 0.05 * stature,
    }
