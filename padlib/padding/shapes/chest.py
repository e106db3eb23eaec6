"""The chest pad: a dome on each side of the breastbone, for a bust or a broad chest.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, off_shoulders, on_side, trunk_line
from padlib.padding.profile import laid, smoothstep, stretched
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

INSIDE = 0.4  # share of the trunk's radius within which no chest pad lies

TABLE = (
    depth("the chest", 200, "keeps the wearer from seeing the floor ahead"),
    Parameter(
        "top",
        "mm",
        "how far above the bust point its upper edge lies",
        25,
        180,
        "it has to be a dome and to end below the collar bone, so that the arms can be raised",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far below the bust point its lower edge lies",
        25,
        200,
        "it has to be a dome and to end above the waist, where the trunk bends",
    ),
    Parameter(
        "inner",
        "mm",
        "how far from the breastbone its inner edge lies",
        -30,
        60,
        "further in it would lie on the other breast, further out it is no chest",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round the side: 0 is the middle of the front, 90 the side",
        35,
        110,
        "less is narrower than a breast and more would lie on the back",
    ),
    fullest("inner edge", "outer edge"),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the chest pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    bust = landmark(body, f"bust_{side}", who)
    trunk = trunk_line(body, side, bust[2])
    s, off, angle = trunk.coordinates(body.surface.vertices)
    _, far, summit = trunk.coordinates(bust[None])
    radius = float(far[0])
    here = off_shoulders(body) * on_side(body, side)
    here = here * smoothstep((off / radius - INSIDE) / INSIDE)
    use = settled(who, TABLE, parameters, _defaults(body, float(summit[0]), radius))
    inner = np.degrees(use["inner"] / radius)
    full = inner + use["fullest"] * (use["wrap"] - inner)
    across = stretched(angle - full, full - inner, use["wrap"] - full)
    rho = np.hypot(stretched(s, use["top"], use["bottom"]), across)
    walked = np.hypot(s, radius * np.radians(angle - full))
    return here * laid(rho, walked, use["depth"], use["blend"])


def _defaults(body: Body, summit: float, radius: float) -> dict[str, float]:
    """Fullest at the bust point; summit: its angle from the middle of the front, degrees."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    inner = float(np.degrees(0.004 * stature / radius))
    wrap = 80.0
    return {
        "depth": 0.022 * stature,
        "top": 0.05 * stature,
        "bottom": 0.045 * stature,
        "inner": 0.004 * stature,
        "wrap": wrap,
        "fullest": (summit - inner) / (wrap - inner),
        "blend": 0.03 * stature,
    }
