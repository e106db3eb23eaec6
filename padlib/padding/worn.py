"""Parts that are worn with the suit: a hand, foot, head or tail as a mesh, put on the body."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.surface import Faces, Surface
from padlib.mesh.topology import boundary_loops
from padlib.padding.cover import cover
from padlib.padding.place import OUTWARD, hanging_arms, landmark, limb_middle
from padlib.padding.sculpt import mirror, stands_off

Array = NDArray[np.float64]

RINGS = 2
LEAST = 1.0  # mm: what stands off the skin by less needs no room
DOWN = np.array([0.0, 0.0, -1.0])
PART_SIDES = {"hand": True, "foot": True, "head": False, "tail": False}


@dataclass(frozen=True, eq=False)
class Worn:
    """A part on the body: name, part (hand, foot, head, tail), side, its surface in mm, and its rim (k, 3),
    the longest border of an open mesh, or None."""

    name: str
    part: str
    side: str
    surface: Surface
    rim: Array | None


@dataclass(frozen=True)
class Laid:
    """How a part is put on: scale, turn in degrees about the vertical, move (3,) mm, and whether its own
    origin goes to the part's landmark and its downward axis along the limb (else it lies as it is)."""

    scale: float = 1.0
    turn: float = 0.0
    move: tuple[float, float, float] = (0.0, 0.0, 0.0)
    by_landmark: bool = True


def put_on(body: Body, mesh: Surface, name: str, part: str, side: str, laid: Laid) -> Worn:
    """A part's mesh, in mm and made for the left side or the middle, on one side of a body.

    By landmark the mesh's origin goes to the middle of the wrist, to the floor under the ankle, to the middle of
    the neck's base, or to the middle between the seats; a hand's -z axis goes along the forearm. The right one is the
    mirror image.
    Raises InputError where a landmark is missing.
    """
    turn = np.radians(laid.turn)
    spin = np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
    )
    own = Surface(laid.scale * mesh.vertices @ spin.T, mesh.faces)
    move = np.asarray(laid.move) * ([-1.0, 1.0, 1.0] if side == "right" else 1.0)
    if side == "right":
        own = mirror(own)
    points = own.vertices
    if laid.by_landmark:
        origin, along = ANCHORS[part](body, side, f"part '{name}'")
        points = points @ _rotation(DOWN, along).T + origin
    placed = Surface(points + move, own.faces)
    loops = boundary_loops(placed.faces)
    rim = None
    if len(loops):
        rim = placed.vertices[max(loops, key=lambda loop: _length(placed.vertices[loop]))]
    return Worn(name, part, side, placed, rim)


def room_for(body: Body, worn: Worn) -> Array:
    """How much (n,) mm the shell has to stand off the skin for a part, where the suit covers it."""
    points = body.surface.vertices
    off = _grown(stands_off(body, worn.surface, LEAST), body.surface.faces) * cover(body)
    _, arms = hanging_arms(body)
    side = OUTWARD.get(worn.side)
    mine = np.ones(len(points), dtype=bool) if side is None else points[:, 0] * side > 0
    if worn.part == "hand":
        return off * (arms & mine)
    return off * (~arms & mine)


def _grown(off: Array, faces: Faces) -> Array:
    """Room (n,) grown by RINGS of faces, so that the step at a rim comes to lie beyond it."""
    for _ in range(RINGS):
        most = off[faces].max(axis=1)
        off = off.copy()
        np.maximum.at(off, faces.ravel(), np.repeat(most, 3))
    return off


def rim_rise(body: Body, worn: Worn) -> float | None:
    """How far (mm) a part's rim lies above the opening it belongs to: wrist and ankle along the limb, the neck's base
    upward. None for parts without a rim, and for tails, which have no opening of their own."""
    if worn.rim is None or worn.part == "tail":
        return None
    middle = worn.rim.mean(axis=0)
    who = f"part '{worn.name}'"
    if worn.part == "hand":
        origin, along = _wrist(body, worn.side, who)
        return float(-(middle - origin) @ along)
    if worn.part == "foot":
        return float(middle[2] - landmark(body, f"ankle_{worn.side}", who)[2])
    return float(middle[2] - _neck(body, worn.side, who)[0][2])


def rises(
    body: Body, parts: Mapping[str, tuple[Worn, ...]], overlap: Mapping[str, float]
) -> dict[str, float]:
    """Rise of each opening (neck_rise, wrist_rise, ankle_rise) that lets the suit take the rims of worn parts.

    overlap: part's name to mm by which sleeve or leg lies over its rim; under a head the suit goes up by as much.
    Of two sides the lower opening counts, so that both rims are covered.
    """
    out: dict[str, float] = {}
    for name, each in parts.items():
        for worn in each:
            rise = rim_rise(body, worn)
            if rise is None:
                continue
            key = {"hand": "wrist_rise", "foot": "ankle_rise", "head": "neck_rise"}[worn.part]
            rise = rise + overlap[name] if worn.part == "head" else rise - overlap[name]
            out[key] = (
                min(out.get(key, rise), rise)
                if worn.part != "head"
                else max(out.get(key, rise), rise)
            )
    return out


def _wrist(body: Body, side: str, who: str) -> tuple[Array, Array]:
    wrist, elbow = (landmark(body, f"{n}_{side}", who) for n in ("wrist", "elbow"))
    along = (wrist - elbow) / np.linalg.norm(wrist - elbow)
    return limb_middle(body, wrist, along), along


def _floor(body: Body, side: str, who: str) -> tuple[Array, Array]:
    ankle = landmark(body, f"ankle_{side}", who)
    floor = float(body.surface.vertices[:, 2].min())
    middle = limb_middle(body, ankle + [0.0, 0.0, 0.6 * (ankle[2] - floor)], DOWN)
    return np.array([middle[0], middle[1], floor]), DOWN


def _neck(body: Body, side: str, who: str) -> tuple[Array, Array]:
    return (landmark(body, "cervicale", who) + landmark(body, "suprasternal", who)) / 2, DOWN


def _seat(body: Body, side: str, who: str) -> tuple[Array, Array]:
    return (landmark(body, "seat_left", who) + landmark(body, "seat_right", who)) / 2, DOWN


ANCHORS: Mapping[str, Callable[[Body, str, str], tuple[Array, Array]]] = {
    "hand": _wrist,
    "foot": _floor,
    "head": _neck,
    "tail": _seat,
}


def _rotation(start: Array, end: Array) -> Array:
    """The rotation (3, 3) that takes one unit direction to another the shortest way (O. Rodrigues 1840)."""
    axis = np.cross(start, end)
    cosine = float(start @ end)
    if cosine < -1 + 1e-9:
        raise InputError("a part cannot be turned upside down; turn its mesh by hand")
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + k + k @ k / (1 + cosine)


def _length(line: Array) -> float:
    return float(np.linalg.norm(np.diff(np.vstack([line, line[:1]]), axis=0), axis=1).sum())
