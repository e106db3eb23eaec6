"""Surfaces: reading, repair, remeshing, geodesics, cutting exactly along curves, sparse solves."""

from padlib.mesh.cut import cut, insert, prune, split
from padlib.mesh.geodesic import geodesic
from padlib.mesh.point import Curve, nearest, positions
from padlib.mesh.section import level_set, plane_section
from padlib.mesh.smooth import smooth_path
from padlib.mesh.surface import Point, Surface

__all__ = [
    "Curve",
    "Point",
    "Surface",
    "cut",
    "geodesic",
    "insert",
    "level_set",
    "nearest",
    "plane_section",
    "positions",
    "prune",
    "smooth_path",
    "split",
]
