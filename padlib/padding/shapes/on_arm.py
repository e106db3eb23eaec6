"""Where the skin lies along and around the upper arm, for the pads that sit there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import around, project
from padlib.body.body import Body
from padlib.padding.place import arm_course, hanging_arms

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ArmPlaces:
    """Coordinates of the skin on one arm's course.

    course (k, 3): the middle line, neck to elbow; s (n,) mm along it, 0 at the middle of the armhole,
    `elbow` mm at the elbow; off (n,) mm from it; angle (n,) degrees: 0 front, 90 outward and up, 180
    behind; trunk (n,): trunk and legs below the armpits, where no pad of an arm lies; radius: mm.
    """

    course: Array
    start: float
    s: Array
    off: Array
    angle: Array
    trunk: NDArray[np.bool_]
    elbow: float
    radius: float

    def of(self, point: Array) -> float:
        """How far along the course a point (3,) lies, mm."""
        return float(project(self.course, point[None])[0][0]) - self.start


def arm_places(body: Body, side: str, who: str) -> ArmPlaces:
    """The skin along and around an arm. Raises InputError where a landmark is missing."""
    course, at, end = arm_course(body, side, who)
    points = body.surface.vertices
    s, offset = project(course, points)
    s, off, elbow = s - at, np.linalg.norm(offset, axis=1), end - at
    below, arms = hanging_arms(body)
    part = (s > 0.3 * elbow) & (s < 0.8 * elbow) & ~(below & ~arms) & (off < 0.6 * elbow)
    radius = float(np.median(off[part])) if part.any() else 45.0
    return ArmPlaces(course, at, s, off, around(course, points, side), below & ~arms, elbow, radius)
