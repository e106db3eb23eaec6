"""The wearer: scan to body, landmarks, measurements, parametric bodies."""

from padlib.body.body import Body
from padlib.body.landmarks import Landmarks, find_landmarks, with_landmarks

__all__ = ["Body", "Landmarks", "find_landmarks", "with_landmarks"]
