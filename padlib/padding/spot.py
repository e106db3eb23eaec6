"""Places that a maker names on a body: landmarks, places beside landmarks, points, places in faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.coordinates import OnLimb, on_limbs, place_on_limb
from padlib.errors import InputError
from padlib.mesh.point import seeker_of
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


Spot = str | tuple[float, float, float] | Beside | InFace | OnLimb


def on_body(body: Body, spots: Sequence[Spot], who: str, *, mirrored: bool = False) -> list[Point]:
    """The points of the skin that spots mean; mirrored: on the other side of the wearer.

    A landmark's mirror image is the landmark of the other side. Raises InputError for a landmark that
    is not there, a point far from the body, and a face that the body does not have.
    """
    surface = body.surface
    where = np.array([_position(body, spot, who, mirrored) for spot in spots]).reshape(-1, 3)
    points = seeker_of(surface).points(where)
    for spot, at, point in zip(spots, where, points, strict=True):
        far = float(np.linalg.norm(point.on(surface.vertices, surface.faces) - at))
        if far > FARTHEST:
            raise InputError(
                f"{who}: the point {_words(spot)} lies {far:.0f} mm from the body; points are in mm, the "
                "wearer stands on z = 0 and faces -y"
            )
    return points


def held(body: Body, places: Sequence[Array]) -> list[Spot]:
    """Places (3,) mm on the skin as spots that follow the wearer: along and around a limb where that is sure, else
    beside the nearest landmark; on a body without landmarks as they are."""
    names = list(body.landmarks)
    at = np.array([body.at(n) for n in names]).reshape(-1, 3)
    out: list[Spot] = []
    for place, limb in zip(np.asarray(places), on_limbs(body, places), strict=True):
        if limb is not None:
            out.append(limb)
        elif names:
            near = int(np.argmin(np.linalg.norm(at - place, axis=1)))
            x, y, z = (place - at[near]).tolist()
            out.append(Beside(names[near], (x, y, z)))
        else:
            out.append((float(place[0]), float(place[1]), float(place[2])))
    return out


def opposite(spot: Spot) -> Spot:
    """The same place on the other side of the wearer.

    Raises InputError for a place in a triangle, which says no side.
    """
    if isinstance(spot, OnLimb):
        return spot.mirrored()
    if isinstance(spot, Beside):
        x, y, z = spot.move
        return Beside(_other_landmark(spot.landmark), (-x, y, z))
    if isinstance(spot, InFace):
        raise InputError("a place in a triangle has no place opposite; give it in another way")
    return _other_landmark(spot) if isinstance(spot, str) else (-spot[0], spot[1], spot[2])


def _other_landmark(name: str) -> str:
    start, _, side = name.rpartition("_")
    return f"{start}_{SWAP[side]}" if side in SWAP else name


def _position(body: Body, spot: Spot, who: str, mirrored: bool) -> Array:
    """Where a spot is (3,), mm, not yet on the skin."""
    if isinstance(spot, str):
        return _landmark(body, spot, who, mirrored)
    if isinstance(spot, Beside):
        move = np.asarray(spot.move) * (FLIP if mirrored else 1.0)
        return _landmark(body, spot.landmark, who, mirrored) + move
    if isinstance(spot, OnLimb):
        try:
            point = place_on_limb(body, spot.mirrored() if mirrored else spot)
        except InputError as why:
            raise InputError(f"{who}: {why}") from None
        return point.on(body.surface.vertices, body.surface.faces)
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
    asked = _other_landmark(name) if mirrored else name
    if asked not in body.landmarks:
        raise InputError(
            f"{who} is placed by the landmark '{asked}', which this body does not have; there are "
            f"{', '.join(sorted(body.landmarks)) or 'none'}"
        )
    at = body.at(asked)
    return at * FLIP if mirrored and asked == name else at


def _words(spot: Spot) -> str:
    if isinstance(spot, OnLimb):
        return f"on '{spot.limb}'"
    if isinstance(spot, tuple):
        return f"[{', '.join(f'{c:g}' for c in spot)}]"
    if isinstance(spot, Beside):
        return f"beside '{spot.landmark}'"
    return f"'{spot}'"
