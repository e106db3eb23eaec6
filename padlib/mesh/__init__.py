"""Surfaces: reading, repair, remeshing, geodesics, cutting exactly along curves, sparse solves."""

from padlib.mesh.cut import cut, insert, prune, split
from padlib.mesh.point import Curve, nearest, positions
from padlib.mesh.section import level_set, plane_section
from padlib.mesh.surface import Point, Surface

__all__ = [
    "Curve",
    "Point",
    "Surface",
    "cut",
    "insert",
    "level_set",
    "nearest",
    "plane_section",
    "positions",
    "prune",
    "split",
]
