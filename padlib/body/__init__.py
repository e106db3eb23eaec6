"""The wearer: scan to body, landmarks, measurements, parametric bodies."""

from padlib.body.axes import around, limb_axes, limb_frame, project, segment
from padlib.body.body import Body
from padlib.body.landmarks import Landmarks, find_landmarks, with_landmarks
from padlib.body.measure import Measurements, measure

__all__ = [
    "Body",
    "Landmarks",
    "Measurements",
    "around",
    "find_landmarks",
    "limb_axes",
    "limb_frame",
    "measure",
    "project",
    "segment",
    "with_landmarks",
]
