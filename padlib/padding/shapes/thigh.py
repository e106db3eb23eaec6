"""The thigh pad: seen from the front a teardrop on the outside of the thigh, fullest high up.

Common practice, no source: from a little past the groin to just below the knee.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import landmark, leg_line, on_side, turn, without_arms
from padlib.padding.profile import laid, swollen
from padlib.padding.shapes.parameter import BLEND, Parameter, depth, fullest, settled

Array = NDArray[np.float64]

OUTSIDE = 90.0  # degrees round the leg: the outermost line
NARROWING = 0.3  # the tip of the teardrop is this much narrower than its full part

TABLE = (
    depth("the thigh", 200, "keeps the arms from hanging"),
    Parameter(
        "top",
        "mm",
        "how far above the crotch, along the thigh, its upper edge lies",
        -120,
        180,
        "it has to start on the thigh and to end below the waist",
    ),
    Parameter(
        "bottom",
        "mm",
        "how far below the middle of the kneecap its lower edge lies",
        -250,
        120,
        "it has to keep a length to swell in and to leave the calf free",
    ),
    Parameter(
        "wrap",
        "degrees",
        "how far it runs round from the outermost line, to front and to back",
        40,
        150,
        "less is a fin and more would fill the gap between the thighs",
    ),
    fullest("top", "bottom", 0.15, 0.7),
    BLEND,
)


def thickness(
    body: Body, parameters: Mapping[str, float | str], side: str, who: str = "the thigh pad"
) -> Array:
    """Thickness (n,) mm of the pad at each vertex of the body, on one side (left or right).

    Raises InputError for parameters that cannot be used and for missing landmarks.
    """
    thigh = leg_line(body, side, who)
    knee, _, _ = thigh.coordinates(landmark(body, f"patella_{side}", who)[None])
    groin, _, _ = thigh.coordinates(landmark(body, "crotch", who)[None])
    s, off, angle = thigh.coordinates(body.surface.vertices)
    here = without_arms(body) * on_side(body, side)
    radius = _radius(s, off, here, float(groin[0]), float(knee[0]))
    use = settled(who, TABLE, parameters, _defaults(body, radius))
    start, end = float(groin[0]) - use["top"], float(knee[0]) + use["bottom"]
    beyond, down = swollen(s, start, end, use["fullest"])
    tip = np.clip(down, 0.0, 1.0)
    wrap = np.radians(use["wrap"]) * (1.0 - NARROWING * tip**2 * (3 - 2 * tip))
    around = np.radians(turn(angle, OUTSIDE))
    rho = np.hypot(down, np.sin(around / 2) / np.sin(wrap / 2))
    walked = np.hypot(beyond, radius * around)
    return here * laid(rho, walked, use["depth"], use["blend"])


def _radius(s: Array, off: Array, here: Array, groin: float, knee: float) -> float:
    """Median distance of the skin from the thigh's line in the upper half of the thigh, mm."""
    upper = (here > 0.5) & (s > groin + 0.1 * (knee - groin)) & (s < groin + 0.5 * (knee - groin))
    return float(np.median(off[upper])) if upper.any() else 80.0


def _defaults(body: Body, radius: float) -> dict[str, float]:
    """A pad of two thirds of the thigh's radius, from a little past the groin to below the knee."""
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    return {
        "depth": 0.65 * radius,
        "top": 0.03 * stature,
        "bottom": 0.03 * stature,
        "wrap": 112.0,
        "fullest": 0.33,
        "blend": 0.04 * stature,
    }
