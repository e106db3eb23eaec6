"""Flattening: conformal and isometric maps, stretch, darts, seam matching."""

from padlib.flatten.conformal import conformal
from padlib.flatten.isometric import isometric
from padlib.flatten.stretch import stretch

__all__ = ["conformal", "isometric", "stretch"]
