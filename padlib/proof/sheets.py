"""What sewing back starts from: the flats as sheets of cloth, which edges are sewn, and where each goes.

Sheets know nothing of the space that they came from. What a maker knows besides is which limb a piece
goes round, how high, on which side and which way up: its spot, four plain values for a whole piece.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.axes import around, project
from padlib.flatten.darts import pairs_of_darts
from padlib.flatten.flat import Flat
from padlib.flatten.together import named_pairs
from padlib.mesh.areas import vertex_areas

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LIMIT = 0.05  # strain that a cloth bears of which no more is known


@dataclass(frozen=True, eq=False)
class Sheet:
    """A piece of cloth within its sew line.

    positions (n, 2) mm, pile along -y; faces (m, 3); stiffness: along the pile, across it and in
    shear, the largest 1; openings: boundary runs of vertices that no stitch closes; limits: strain that
    the cloth bears along the pile, across it and in shear.
    """

    name: str
    positions: Array
    faces: Ints
    stiffness: tuple[float, float, float]
    openings: tuple[Ints, ...]
    limits: tuple[float, float, float] = (LIMIT, LIMIT, LIMIT)


@dataclass(frozen=True, eq=False)
class Stitch:
    """Two runs (k,) of vertices that are sewn vertex to vertex, of sheets one and two; dart: both are
    legs of a dart."""

    seam: str
    one: int
    a: Ints
    two: int
    b: Ints
    dart: bool = False


@dataclass(frozen=True, eq=False)
class Bundle:
    """All sheets of a suit, and what is sewn to what; middle: of a half suit, each sheet's vertices that are sewn to
    its own mirror image."""

    sheets: tuple[Sheet, ...]
    stitches: tuple[Stitch, ...]
    middle: tuple[Ints, ...] = ()


@dataclass(frozen=True)
class Spot:
    """Where a whole sheet goes: limb or trunk; its middle's distance along the centre line, mm, and
    angle around it, degrees (0 front, 90 outward); and by how much it is turned in its plane, degrees,
    against lying with -y down the line."""

    limb: str
    along_mm: float
    around_deg: float
    turn_deg: float


def bundle(flats: Sequence[Flat], limit: float = LIMIT) -> Bundle:
    """The flats of a suit as sheets with their stitches; limit: what cloth bears of which no more is
    known, a fraction."""
    stitches = [Stitch(seam, *pair) for seam, pair in named_pairs(flats)]
    for i, flat in enumerate(flats):
        for k, (left, right) in enumerate(pairs_of_darts(flat), 1):
            stitches.append(Stitch(f"dart {k} of {flat.panel.name}", i, left, i, right, dart=True))
    return Bundle(tuple(_sheet(flat, limit) for flat in flats), tuple(stitches))


def _sheet(flat: Flat, limit: float) -> Sheet:
    """A flat without the space that it came from."""
    cloth = flat.cloth
    stiffness, limits = np.ones(3), (limit, limit, limit)
    if cloth is not None:
        stiffness = np.array([cloth.stiffness_along, cloth.stiffness_across, cloth.stiffness_shear])
        # half the angle between the threads is the tensor's entry
        limits = (cloth.stretch_along, cloth.stretch_across, 0.5 * np.radians(cloth.shear_deg))
    openings = tuple(e.run for e in flat.panel.edges if e.kind == "opening")
    share = tuple((stiffness / stiffness.max()).tolist())
    return Sheet(flat.panel.name, flat.positions, flat.panel.surface.faces, share, openings, limits)


def spots(flats: Sequence[Flat], axes: Mapping[str, Array]) -> tuple[Spot, ...]:
    """Where each flat's panel lies on the body, in four plain values; axes: centre lines (k, 3)."""
    return tuple(_spot(flat, axes) for flat in flats)


def side_of(limb: str) -> str:
    """The side of a limb; that of the trunk counts as left."""
    return "right" if limb.endswith("right") else "left"


def hand(limb: str) -> float:
    """Whether angles round a limb grow to the right (1) or to the left (-1), seen from outside with
    the ground below."""
    return -1.0 if side_of(limb) == "right" else 1.0


def down(limb: str) -> float:
    """Whether a limb's centre line runs with the pile (1), or against it (-1) as that of the trunk,
    which runs up."""
    return -1.0 if limb == "trunk" else 1.0


def _spot(flat: Flat, axes: Mapping[str, Array]) -> Spot:
    """The limb that most of a panel is nearest to, and its middle there."""
    at, faces = flat.panel.surface.vertices, flat.panel.surface.faces
    weight = weights(flat.positions, faces)
    weight = weight / weight.sum()
    names = sorted(axes)
    away = [cKDTree(axes[name]).query(at)[0] for name in names]
    limb = names[int(np.bincount(np.argmin(away, axis=0), weight, len(names)).argmax())]
    s, offset = project(axes[limb], at)
    angle = np.radians(around(axes[limb], at, side_of(limb)))
    middle = float(np.arctan2(weight @ np.sin(angle), weight @ np.cos(angle)))
    off = np.angle(np.exp(1j * (angle - middle))) * (weight @ np.linalg.norm(offset, axis=1))
    mean = float(weight @ s)
    # the turn that best carries the sheet onto (round the limb, up it)
    x, y = (flat.positions - weight @ flat.positions).T
    u, v = hand(limb) * off, down(limb) * (mean - s)
    turn = np.arctan2(weight @ (x * v - y * u), weight @ (x * u + y * v))
    return Spot(limb, mean, float(np.degrees(middle)), float(np.degrees(turn)))


def weights(flat: Array, faces: Ints) -> Array:
    """The area (n,) in mm2 that each vertex of a flat (n, 2) stands for."""
    corner = flat[faces]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    area = 0.5 * np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
    return vertex_areas(faces, area, len(flat))
