"""Places that a maker names on a body: landmarks, places beside landmarks, points, places in faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.point import nearest
from padlib.mesh.surface import Point

Array = NDArray[np.float64]

FLIP = np.array([-1.0, 1.0, 1.0])
SWAP = {"left": "right", "right": "left"}
FARTHEST = 60.0  # mm from the body within which a point still means the skin beside it


@dataclass(frozen=True)
class Beside:
    """A place beside a landmark: move (x, y, z) mm from it, then the nearest place of the skin.

    It stays where it belongs when the wearer changes.
    """

    landmark: str
    move: tuple[float, float, float]


@dataclass(frozen=True)
class InFace:
    """A place in a triangle of the body: its number and the weights of its corners."""

    face: int
    weights: tuple[float, float, float]


Spot = str | tuple[float, float, float] | Beside | InFace


def on_body(body: Body, spots: Sequence[Spot], who: str, *, mirrored: bool = False) -> list[Point]:
    """The points of the skin that spots mean; mirrored: on the other side of the wearer.

    A landmark's mirror image is the landmark of the other side. Raises InputError for a landmark that
    is not there, a point far from the body, and a face that the body does not have.
    """
    surface = body.surface
    where = np.array([_position(body, spot, who, mirrored) for spot in spots]).reshape(-1, 3)
    points = nearest(surface.vertices, surface.faces, where)
    for spot, at, point in zip(spots, where, points, strict=True):
        far = float(np.linalg.norm(point.on(surface.vertices, surface.faces) - at))
        if far > FARTHEST:
            raise InputError(
                f"{who}: the point {_words(spot)} lies {far:.0f} mm from the body; points are in mm, the "
                "wearer stands on z = 0 and faces -y"
            )
    return points


def _position(body: Body, spot: Spot, who: str, mirrored: bool) -> Array:
    """Where a spot is (3,), mm, not yet on the skin."""
    if isinstance(spot, str):
        return _landmark(body, spot, who, mirrored)
    if isinstance(spot, Beside):
        move = np.asarray(spot.move) * (FLIP if mirrored else 1.0)
        return _landmark(body, spot.landmark, who, mirrored) + move
    if isinstance(spot, InFace):
        if not 0 <= spot.face < len(body.surface.faces):
            raise InputError(
                f"{who}: the body has no triangle {spot.face}; it has {len(body.surface.faces)}, from 0"
            )
        weights = np.asarray(spot.weights) / sum(spot.weights)
        at = Point(spot.face, (weights[0], weights[1], weights[2]))
        return at.on(body.surface.vertices, body.surface.faces) * (FLIP if mirrored else 1.0)
    return np.asarray(spot, dtype=np.float64) * (FLIP if mirrored else 1.0)


def _landmark(body: Body, name: str, who: str, mirrored: bool) -> Array:
    start, _, side = name.rpartition("_")
    asked = f"{start}_{SWAP[side]}" if mirrored and side in SWAP else name
    if asked not in body.landmarks:
        raise InputError(
            f"{who} is placed by the landmark '{asked}', which this body does not have; there are "
            f"{', '.join(sorted(body.landmarks)) or 'none'}"
        )
    at = body.at(asked)
    return at * FLIP if mirrored and side not in SWAP else at


def _words(spot: Spot) -> str:
    if isinstance(spot, tuple):
        return f"[{', '.join(f'{c:g}' for c in spot)}]"
    if isinstance(spot, Beside):
        return f"beside '{spot.landmark}'"
    return f"'{spot}'"
