"""The calf pad: a teardrop on the back of the lower leg, fullest high up.

Common practice, no source: it starts a hand below the hollow of the knee, which has to bend.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import calf_line, landmark, on_side, turn, without_arms
from padlib.padding.profile import laid, swollen, turned_share
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

BEHIND = 180.0  # degrees round the leg: the middle of the calf

TABLE = (
    depth("the calf", 120, "makes the legs strike each other in walking"),
    Parameter(
        "top",
        "mm",
        "how far below the middle of the kneecap its upper edge lies",
        20,
        180,
        "higher it would press into the hollow of the knee, lower there is no calf",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far above the ankle bone its lower edge lies",
        15,
        180,
        "lower it would press on the heel's tendon, higher there is no calf",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from the middle of the calf, inward and outward",
        40,
        150,
        "less is a fin and more would meet on the shin",
    ),
    fullest("top", "bottom", 0.15, 0.7),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the calf pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    leg = calf_line(body, side, who)
    ankle = float(leg.coordinates(landmark(body, f"ankle_{side}", who)[None])[0][0])
    s, off, angle = leg.coordinates(body.surface.vertices)
    here = without_arms(body) * on_side(body, side)
    part = (here > 0.5) & (s > 0.2 * ankle) & (s < 0.5 * ankle) & (off < ankle)
    radius = float(np.median(off[part])) if part.any() else 55.0
    use = settled(who, TABLE, parameters, _defaults(body, radius))
    start, end = use["top"], ankle - use["bottom"]
    if end - start < 0.25 * ankle:
        end = start + 0.25 * ankle  # a child's calf is shorter than the limits of both edges
    off, down = swollen(s, start, end, use["fullest"])
    around = turn(angle, BEHIND)
    rho = np.hypot(down, turned_share(around, use["wrap"]))
    walked = np.hypot(off, radius * np.radians(around))
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, radius: float) -> dict[str, float]:
    """Half the calf's radius thick, clear of the hollow of the knee and of the ankle."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return {
        "depth": 0.5 * radius,
        "top": 0.03 * stature,
        "bottom": 0.035 * stature,
        "wrap": 110.0,
        "fullest": 0.35,
        "blend": 0.03 * stature,
    }
