"""Holes in pieces, into which another piece is sewn, and notches that reach from a sew line to a cut line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.pattern.edge import Rim
from padlib.pattern.piece import Inner, Line, Notch


@dataclass(frozen=True, eq=False)
class Hole:
    """A hole in a piece: what is inside its sew line, what is cut out (the allowance smaller), lines and notches."""

    sewn: Polygon
    cut: BaseGeometry
    lines: tuple[Inner, ...]
    notches: tuple[Notch, ...]


def hole_in(rim: Rim, notches: Sequence[Notch], words: str) -> Hole:
    """The hole whose sew line is a rim; its allowance lies inside it, words stand at its sew line.

    Where the allowance leaves nothing to cut out, the cloth is slit from the middle: the cut is empty then.
    """
    sewn = Polygon(rim.points).buffer(0)
    allowance = max(run.allowance_mm for run in rim.runs)
    cut = sewn.buffer(-allowance, join_style="mitre", mitre_limit=2.0)
    rings = [np.array(p.exterior.coords[:-1]) for p in _polygons(cut)]
    lines = [Inner("sew", rim.points, True, words)]
    lines += [Inner("cutout", ring, True) for ring in rings]
    placed = [reaching(n, *rings) for n in notches]
    return Hole(sewn, cut, tuple(lines), tuple(placed))


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of a shape, none of them empty."""
    parts = getattr(shape, "geoms", [shape])
    return [p for p in parts if isinstance(p, Polygon) and not p.is_empty]


def reaching(notch: Notch, *rings: Line) -> Notch:
    """A notch with its allowance measured to where it meets a cut line (mitres, folded darts, holes)."""
    near, far = 0.5 * notch.allowance_mm, 2.5 * notch.allowance_mm
    ray = shapely.linestrings([notch.at + near * notch.outward, notch.at + far * notch.outward])
    hits = [
        shapely.get_coordinates(shapely.intersection(ray, shapely.linearrings(r))) for r in rings
    ]
    found = np.concatenate([np.zeros((0, 2)), *hits])
    if not len(found):
        return notch
    reach = (found - notch.at) @ notch.outward
    return replace(notch, allowance_mm=float(reach[np.argmin(np.abs(reach - notch.allowance_mm))]))
