"""How much of the body the suit covers: from the neck to the wrists and the ankles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.padding.place import without_arms
from padlib.padding.profile import smoothstep

Array = NDArray[np.float64]

ADULT = 1700.0  # mm of stature that the widths below are given for
ABOVE_NECK = (40.0, 110.0)  # mm above the neck base: covered in full below, not at all above
PAST_WRIST = (20.0, 60.0)  # mm past the wrist, toward the hand
BELOW_ANKLE = (5.0, 45.0)  # mm below the ankle bone


def cover(body: Body) -> Array:
    """Cover (n,) of each vertex: 1 where the suit lies, 0 on head, hands and feet, smooth between.

    Measured from the landmarks cervicale and suprasternal, wrist and ankle; where one of them is
    missing the body counts as covered to its end.
    """
    points = body.surface.vertices
    scale = float(np.ptp(points[:, 2])) / ADULT
    covered = np.ones(len(points))
    for past, (full, none) in _past_openings(body):
        covered = np.minimum(covered, 1.0 - smoothstep((past / scale - full) / (none - full)))
    return covered


def _past_openings(body: Body) -> list[tuple[Array, tuple[float, float]]]:
    """Distance (n,) mm past each opening, -inf on other parts of the body, with its two limits."""
    points = body.surface.vertices
    marks = body.landmarks
    out = []
    if {"cervicale", "suprasternal"} <= marks.keys():
        back, front = body.at("cervicale"), body.at("suprasternal")
        slope = back - front
        normal = np.array([0.0, -slope[2], slope[1]]) / np.hypot(slope[1], slope[2])
        out.append(((points - (back + front) / 2) @ normal, ABOVE_NECK))
    arms = ~without_arms(body)
    for side in ("left", "right"):
        ankle, wrist, elbow = (f"{name}_{side}" for name in ("ankle", "wrist", "elbow"))
        if {wrist, elbow} <= marks.keys():
            along = body.at(wrist) - body.at(elbow)
            past = (points - body.at(wrist)) @ (along / np.linalg.norm(along))
            mine = arms & (points[:, 0] * body.at(wrist)[0] > 0)
            out.append((np.where(mine, past, -np.inf), PAST_WRIST))
        if ankle in marks:
            mine = ~arms & (points[:, 0] * body.at(ankle)[0] > 0)
            out.append((np.where(mine, body.at(ankle)[2] - points[:, 2], -np.inf), BELOW_ANKLE))
    return out
