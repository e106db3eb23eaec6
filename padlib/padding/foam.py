"""Pads carved from a stack of foam sheets: the outline of each sheet at true scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.errors import InputError
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Surface
from padlib.padding.pillow import Pillow

Array = NDArray[np.float64]

# kg/m3 of upholstery foam: 1.8 lb per cubic foot, the low end of what is best for seats (trade figures, VALUES 5.2)
DENSITY = 28.8
LEAST, MOST = 3.0, 200.0  # mm of a sheet
TINY = 1.0  # mm2: crumbs of outline that nobody cuts
CLOSED = 0.5  # mm: gaps in a shadow narrower than twice this are closed


@dataclass(frozen=True, eq=False)
class Sheet:
    """One sheet of a stack: number from the body outward, height mm of its inner face over the lowest place
    of the pad, outlines (k, 2) mm, outer ones counter-clockwise, holes clockwise, and area mm2."""

    number: int
    height: float
    outlines: tuple[Array, ...]
    area: float


@dataclass(frozen=True, eq=False)
class Stack:
    """A pad as foam sheets to glue and carve.

    thickness: mm of a sheet; sheets; frame (3, 3): rows are right, up and out of the plane that the
    sheets lie in; mass_g: of the sheets as cut, before carving; carved_g: of the carved pad; count: how many of
    it are made, the second turned over.
    """

    name: str
    side: str
    thickness: float
    sheets: tuple[Sheet, ...]
    frame: Array
    mass_g: float
    carved_g: float
    count: int = 1


def foam_stack(pillow: Pillow, thickness: float) -> Stack:
    """The stack of foam sheets that a pad is carved from.

    The sheets lie square to the mean way out of the base. Each outline goes round all of the pad that lies
    within its sheet, so that the pad is inside the stack; the base's hollow is carved into it, too.
    Raises InputError for a thickness out of limits.
    """
    if not LEAST <= thickness <= MOST:
        raise InputError(
            f"foam sheets of {thickness:g} mm were asked for; they must be {LEAST:g} to {MOST:g} mm thick"
        )
    solid = closed_pillow(pillow)
    frame = _frame(pillow.base)
    place = solid.vertices @ frame.T
    low, high = float(place[:, 2].min()), float(place[:, 2].max())
    count = max(int(np.ceil((high - low) / thickness - 1e-9)), 1)
    sheets = []
    for k in range(count):
        start, stop = low + k * thickness, min(low + (k + 1) * thickness, high)
        shape = _shadow(place, solid, start, stop)
        rings = _rings(shape)
        sheets.append(Sheet(k + 1, k * thickness, rings, float(shape.area)))
    cut = sum(sheet.area for sheet in sheets) * thickness
    return Stack(
        pillow.name, pillow.side, thickness, tuple(sheets), frame,
        cut * DENSITY * 1e-6, pillow.volume_l * DENSITY,
    )  # fmt: skip


def closed_pillow(pillow: Pillow) -> Surface:
    """Top and base of a pillow as one closed surface."""
    count = len(pillow.top.vertices)
    to = count + np.arange(len(pillow.base.vertices))
    to[pillow.boundary_base] = pillow.boundary_top
    faces = np.concatenate([pillow.top.faces, to[pillow.base.faces]])
    return Surface(np.concatenate([pillow.top.vertices, pillow.base.vertices]), faces)


def _frame(base: Surface) -> Array:
    """Right, up and out (3, 3) of the plane that a pad's sheets lie in, out away from the body."""
    corner = base.vertices[base.faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]).sum(axis=0)
    out = -normal / np.linalg.norm(normal)  # a base is seen from the body's side
    upright = np.array([0.0, 0.0, 1.0]) if abs(out[2]) < 0.9 else np.array([0.0, -1.0, 0.0])
    up = upright - (upright @ out) * out
    up /= np.linalg.norm(up)
    return np.array([np.cross(up, out), up, out])


def _shadow(place: Array, solid: Surface, start: float, stop: float) -> BaseGeometry:
    """What the part of a solid between two heights covers in the plane: the sections at both, and the shadow of
    its surface between them."""
    hair = 1e-3 * (stop - start)
    parts = [_section(place, solid, z) for z in (start + hair, stop - hair)]
    corner = place[solid.faces]
    low, high = corner[..., 2].min(axis=1), corner[..., 2].max(axis=1)
    within = (low >= start) & (high <= stop)
    turned = np.cross(corner[:, 1, :2] - corner[:, 0, :2], corner[:, 2, :2] - corner[:, 0, :2])
    seen = np.abs(turned) > 2 * TINY * 1e-3
    parts += list(shapely.polygons(corner[within & seen][..., :2]))
    for triangle in corner[~within & seen & (low < stop) & (high > start)]:
        line = _above(_above(triangle, start, 1.0), stop, -1.0)
        if len(line) > 2:
            parts.append(Polygon(line[:, :2]).buffer(0))
    whole = shapely.union_all(parts, grid_size=1e-3)
    return whole.buffer(CLOSED).buffer(-CLOSED)  # slits between shadows are no outline


def _above(line: Array, height: float, sign: float) -> Array:
    """The part (k, 3) of a convex polygon that lies above a height (sign 1) or below it (-1)."""
    out = []
    side = sign * (line[:, 2] - height)
    for k in range(len(line)):
        j = (k + 1) % len(line)
        if side[k] >= 0:
            out.append(line[k])
        if (side[k] < 0) != (side[j] < 0):
            share = side[k] / (side[k] - side[j])
            out.append(line[k] + share * (line[j] - line[k]))
    return np.array(out).reshape(-1, 3)


def _section(place: Array, solid: Surface, z: float) -> BaseGeometry:
    """The section at a height of a closed surface placed in the stack's frame, even-odd."""
    curves = plane_section(place, solid.faces, np.array([0.0, 0.0, z]), np.array([0.0, 0.0, 1.0]))
    out: BaseGeometry = Polygon()
    for curve in curves:
        line = curve.positions(place, solid.faces)[:, :2]
        if curve.closed and len(line) > 2:
            out = out.symmetric_difference(Polygon(line).buffer(0))
    return out


def _rings(shape: BaseGeometry) -> tuple[Array, ...]:
    """Outlines (k, 2) of a region, first points not repeated."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if p.area > TINY]
    out = []
    for part in parts:
        polygon = shapely.geometry.polygon.orient(part)
        for ring in (polygon.exterior, *polygon.interiors):
            out.append(np.asarray(ring.coords)[:-1, :2])
    return tuple(out)
