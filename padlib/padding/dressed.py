"""The body under cloth and ease before any pad: what a change of a pad starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.areas import vertex_normals
from padlib.mesh.surface import Faces, Vertices
from padlib.padding.cover import cover
from padlib.padding.fairing import Held, cleared, fair, untangled
from padlib.padding.gap import outside_balls
from padlib.padding.mirror import evened, mirror_partners
from padlib.padding.skin import Skin, skin
from padlib.padding.smooth import Heat, heat, unit

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

FINE = 8.0  # mm: scale of the directions in which ease is added
KEEP = 0.85  # share of the room to the opposite skin that one side may take
ALIKE = 0.4  # two directions whose cosine is above this are of the same stretch of skin
SETTLING = 3  # times that clearing the body and undoing crossings may alternate
LIMITS = {"cloth_thickness": 30.0, "ease": 100.0, "bridge": 100.0}  # mm, from 0


@dataclass(frozen=True, eq=False)
class Dressed:
    """A body under cloth and ease, with all that does not depend on pads.

    body; skin: its surface, ready to be asked for distances; flow: heat flow on it; cover (n,): 1 where
    the suit lies; partner (n,) or None: mirror images; ease, bridge: mm; least (n,): mm of cloth to
    keep; rest (n, 3): the cloth before it is laid smooth; laid (n, 3): as it lies; moved (n,): mm by
    which crossings were undone; left: vertices at which the cloth still runs through itself; layers:
    thicknesses of pads that were asked for, kept by what the pad says; ways: blurred normals (`pad_way`).
    """

    body: Body
    skin: Skin
    flow: Heat
    cover: Array
    partner: Ints | None
    ease: float
    bridge: float
    least: Array
    rest: Vertices
    laid: Vertices
    moved: Array
    left: int
    layers: dict[tuple[object, ...], list[tuple[str, str, Array]]] = field(default_factory=dict)
    ways: dict[int, Array] = field(default_factory=dict)

    @property
    def faces(self) -> Faces:
        """The triangles (m, 3) of the body."""
        return self.body.surface.faces

    def settled(
        self, placed: Vertices, within: Mask, partner: Ints | None
    ) -> tuple[Vertices, Array, int]:
        """Positions (n, 3) clear of the body and of themselves, how far each was untangled, how many are not.

        Only what lies `within` (n,) is looked at and changed; partner: as for `evened`.
        """
        safe = (self.rest, self.body.surface.vertices)
        return settled(placed, self, safe, within, partner)


@dataclass(frozen=True, eq=False)
class _Ground:
    """The part of a Dressed that settling needs, before there is one."""

    skin: Skin
    flow: Heat
    cover: Array
    least: Array


def dress(
    body: Body, *, cloth_thickness: float = 2.0, ease: float = 10.0, bridge: float = 25.0
) -> Dressed:
    """A body under cloth and ease; the amounts as for `build_shell`.

    Raises InputError for amounts out of limits.
    """
    amounts = {"cloth_thickness": cloth_thickness, "ease": ease, "bridge": bridge}
    check(amounts)
    vertices, faces = body.surface.vertices, body.surface.faces
    flow, partner = heat(vertices, faces), mirror_partners(vertices, faces)
    covered = evened(cover(body), partner)
    rest, laid = _clothed(body, flow, covered, cloth_thickness, ease, bridge)
    rest, laid = evened(rest, partner), evened(laid, partner)
    least = np.minimum(cloth_thickness * covered, np.linalg.norm(rest - vertices, axis=1))
    ground = _Ground(skin(vertices, faces), flow, covered, least)
    everywhere = np.ones(len(vertices), dtype=bool)
    laid, moved, left = settled(laid, ground, (rest, vertices), everywhere, partner)
    return Dressed(
        body, ground.skin, flow, covered, partner, ease, bridge, least, rest, laid, moved, left
    )


def check(amounts: Mapping[str, float]) -> None:
    """Raise InputError where an amount is out of its limits."""
    for name, value in amounts.items():
        if not 0 <= value <= LIMITS[name]:
            raise InputError(f"'{name}' is {value} mm but must be from 0 to {LIMITS[name]:g} mm")


def settled(
    placed: Vertices,
    ground: Dressed | _Ground,
    safe: tuple[Vertices, Vertices],
    within: Mask,
    partner: Ints | None,
) -> tuple[Vertices, Array, int]:
    """Positions (n, 3) clear of the body and of themselves, how far each was untangled, how many are not.

    safe: positions to fall back to, the body last.
    """
    faces, covered = ground.skin.faces, ground.cover
    moved, left = np.zeros(len(placed)), 0
    for _ in range(SETTLING):
        placed = cleared(placed, ground.skin, ground.flow, ground.least, covered, within)
        placed = evened(placed, partner)
        placed, step, left = untangled(placed, faces, ground.flow, safe, covered * within)
        moved = np.maximum(moved, step)
        if not step.any():
            break
    return placed, moved, left


def _clothed(
    body: Body, flow: Heat, covered: Array, cloth: float, ease: float, bridge: float
) -> tuple[Vertices, Vertices]:
    """The body under cloth and ease without pads: as it comes to rest at first, and laid smooth.

    Where two skins lie close (thighs, armpit, cleft) each side takes at most KEEP of the room.
    """
    vertices, faces = body.surface.vertices, body.surface.faces
    normal = unit(flow.blur(vertex_normals(vertices, faces), FINE))
    want = (cloth + ease) * covered
    plain = flow.blur(vertices, FINE)  # without the relief, which would count as skin in the way
    room, other = outside_balls(plain, normal, largest=2.5 * want)
    room[cosine(normal, other) > ALIKE] = np.inf
    offset = np.where(want > 0, _least(want, KEEP * room), 0.0)
    offset = np.minimum(offset, flow.blur(offset, FINE))
    rest = vertices + offset[:, None] * normal
    if bridge == 0:
        return rest, rest
    inward = np.clip(offset - cloth, 0.0, 0.5 * ease)
    return rest, fair(rest, faces, flow, Held(rest, normal, inward, bridge, covered))


def cosine(directions: Array, other: Ints) -> Array:
    """Cosine (n,) between each unit direction (n, 3) and that of its other vertex; 1 where none (-1)."""
    return np.where(other < 0, 1.0, np.einsum("ij,ij->i", directions, directions[other]))


def _least(a: Array, b: Array) -> Array:
    """A smooth lower bound of the lesser of two positive amounts."""
    return a / (1.0 + (a / np.maximum(b, 1e-9)) ** 4) ** 0.25
