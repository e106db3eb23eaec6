"""The shell: the outer surface that the cloth must cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Faces, Surface, Vertices, frozen
from padlib.padding import shapes
from padlib.padding.cover import cover
from padlib.padding.fairing import Held, cleared, fair, untangled
from padlib.padding.gap import outside_balls
from padlib.padding.mirror import evened, mirror_partners
from padlib.padding.pad import Pad
from padlib.padding.profile import SHARPNESS, merged
from padlib.padding.smooth import Heat, heat, unit, vertex_normals

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FINE = 8.0  # mm: scale of the directions in which ease is added
KEEP = 0.85  # share of the room to the opposite skin that one side may take
OPPOSITE = -0.3  # two directions whose cosine is below this face each other
ALIKE = 0.4  # two directions whose cosine is above this are of the same stretch of skin
TRIM = 15.0  # mm: scale at which trimming runs out
AFTER = 3  # rounds of smoothing once the pads are on
SETTLING = 3  # times that clearing the body and undoing crossings may alternate
TOLD = 1.0  # mm of trimming from which a finding is made


@dataclass(frozen=True, eq=False)
class Shell:
    """Body plus pads plus cloth thickness plus wearing ease, as one closed surface.

    surface: the shell; it has the body's triangles, so a place on the body is the same place on the
    shell. on_body_face (n,), on_body_barycentric (n, 3): the body's point of each vertex.
    thickness (n,): mm of pad at each vertex, trimmed where another limb is near, without cloth and ease.
    findings: what was trimmed or repaired.
    """

    surface: Surface
    on_body_face: Ints
    on_body_barycentric: Array
    thickness: Array
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "on_body_face", frozen(self.on_body_face, np.int64))
        object.__setattr__(
            self, "on_body_barycentric", frozen(self.on_body_barycentric, np.float64, 3)
        )
        object.__setattr__(self, "thickness", frozen(self.thickness, np.float64))


def build_shell(
    body: Body,
    pads: Sequence[Pad],
    *,
    cloth_thickness: float = 2.0,
    ease: float = 10.0,
    bridge: float = 25.0,
) -> Shell:
    """The shell over a body and its pads.

    cloth_thickness: mm between skin or pad and the outside of the cloth's backing. ease: mm added on
    top of that along the normal all over, from neck to wrists and ankles (a girth grows by about
    2 pi times as much; J. Steiner 1840); it may shrink in hollows, the cloth thickness may not.
    bridge: mm by which the cloth may be lifted out of a hollow; 0 follows every hollow.
    Raises InputError for pads that cannot be placed and for amounts out of limits.
    """
    for name, value, most in (
        ("cloth_thickness", cloth_thickness, 30),
        ("ease", ease, 100),
        ("bridge", bridge, 100),
    ):
        if not 0 <= value <= most:
            raise InputError(f"'{name}' is {value} mm but must be from 0 to {most} mm")
    vertices, faces = body.surface.vertices, body.surface.faces
    flow = heat(vertices, faces)
    both = all(pad.side == "both" for pad in pads)
    partner = mirror_partners(vertices, faces) if both else None
    covered = evened(cover(body), partner)
    layers = [layer for _, _, layer in pad_layers(body, pads)] or [np.zeros(len(vertices))]
    pad = evened(merged(layers), partner)
    rest, laid = _clothed(body, flow, covered, cloth_thickness, ease, bridge)
    rest = evened(rest, partner)
    trimmed, placed = _padded(evened(laid, partner), faces, flow, pad)
    if bridge > 0 and pad.any():
        normal = unit(flow.blur(vertex_normals(placed, faces), FINE))
        held = Held(placed, normal, 0.25 * ease * covered, bridge, covered)
        placed = fair(placed, faces, flow, held, rounds=AFTER)
    least = np.minimum(cloth_thickness * covered, np.linalg.norm(rest - vertices, axis=1))
    over = _Over(faces, flow, least, covered, (rest, vertices), partner)
    placed, moved, left = _settled(placed, over)
    trimmed = evened(trimmed, partner)
    face, corner = _own_corner(faces, len(vertices))
    findings = _findings(pads, pad - trimmed, moved, left)
    return Shell(Surface(placed, faces), face, np.eye(3)[corner], trimmed, findings)


def pad_layers(body: Body, pads: Sequence[Pad]) -> list[tuple[Pad, str, Array]]:
    """Each pad on each of its sides with its thickness (n,) mm, before they are merged."""
    return [
        (pad, side, shapes.thickness(body, pad, side)) for pad in pads for side in shapes.sides(pad)
    ]


def pad_way(vertices: Vertices, faces: Faces, flow: Heat, deepest: float) -> Array:
    """Unit directions (n, 3) in which pads grow: normals so smooth that they do not cross in hollows.

    deepest: mm of the thickest pad; normals are blurred over half of it, and 20 mm at least.
    """
    return unit(flow.blur(vertex_normals(vertices, faces), max(20.0, 0.5 * deepest)))


def pad_shares(layers: Sequence[Array]) -> Array:
    """Share (k, n) that each of k pads has in the thickness of their union; sums to 1 where there is any."""
    total = merged(layers)
    part = np.asarray(layers) / np.where(total > 0, total, 1.0)
    return part**SHARPNESS


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
    room[_cosine(normal, other) > ALIKE] = np.inf
    offset = np.where(want > 0, _least(want, KEEP * room), 0.0)
    offset = np.minimum(offset, flow.blur(offset, FINE))
    rest = vertices + offset[:, None] * normal
    if bridge == 0:
        return rest, rest
    inward = np.clip(offset - cloth, 0.0, 0.5 * ease)
    return rest, fair(rest, faces, flow, Held(rest, normal, inward, bridge, covered))


def _padded(laid: Vertices, faces: Faces, flow: Heat, pad: Array) -> tuple[Array, Vertices]:
    """Pad thickness (n,) trimmed to the room there is, and positions pushed out by it."""
    deepest = float(pad.max())
    if deepest <= 0:
        return pad, laid
    way = pad_way(laid, faces, flow, deepest)
    room, other = outside_balls(laid, way, largest=np.where(pad > 0.5, 2.5 * pad, 0.0))
    facing = _cosine(way, other) < OPPOSITE
    share = np.where(facing, np.minimum(1.0, KEEP * room / np.maximum(pad, 1e-9)), 1.0)
    if facing.any():
        share = np.minimum(share, flow.blur(share, TRIM))
        share = np.minimum(1.0, 1.02 * flow.blur(share, TRIM))
    trimmed = pad * share
    return trimmed, laid + trimmed[:, None] * way


def _cosine(directions: Array, other: Ints) -> Array:
    """Cosine (n,) between each unit direction (n, 3) and that of its other vertex; 1 where none (-1)."""
    return np.where(other < 0, 1.0, np.einsum("ij,ij->i", directions, directions[other]))


@dataclass(frozen=True, eq=False)
class _Over:
    """What the cloth settles over: the body's faces and heat flow, the least (n,) mm of cloth and the
    cover (n,) of each vertex, positions to fall back to (the body last), mirror partners or None.
    """

    faces: Faces
    flow: Heat
    least: Array
    covered: Array
    safe: tuple[Vertices, Vertices]
    partner: Ints | None


def _settled(placed: Vertices, over: _Over) -> tuple[Vertices, Array, int]:
    """Positions (n, 3) clear of the body and of themselves, how far each was untangled, how many are not."""
    moved = np.zeros(len(placed))
    left = 0
    for _ in range(SETTLING):
        placed = cleared(placed, over.safe[-1], over.faces, over.flow, over.least, over.covered)
        placed = evened(placed, over.partner)
        placed, step, left = untangled(placed, over.faces, over.flow, over.safe, over.covered)
        moved = np.maximum(moved, step)
        if not step.any():
            break
    return placed, moved, left


def _least(a: Array, b: Array) -> Array:
    """A smooth lower bound of the lesser of two positive amounts."""
    return a / (1.0 + (a / np.maximum(b, 1e-9)) ** 4) ** 0.25


def _own_corner(faces: Faces, count: int) -> tuple[Ints, Ints]:
    """A face (n,) of each vertex and the corner (n,) it has there."""
    place = np.zeros(count, dtype=np.int64)
    place[faces.ravel()[::-1]] = np.arange(faces.size)[::-1]
    return place // 3, place % 3


def _findings(pads: Sequence[Pad], cut: Array, moved: Array, left: int) -> tuple[Finding, ...]:
    """What was trimmed, what was repaired, what is left."""
    found = []
    names = ", ".join(pad.name for pad in pads)
    if cut.size and cut.max() > TOLD:
        found.append(
            Finding(
                301,
                f"trimmed by up to {cut.max():.0f} mm where it would meet another limb; "
                "less depth or less wrap there keeps its shape",
                names,
                Grade.WARNING,
                int((cut > TOLD).sum()),
            )
        )
    if moved.max() > TOLD:
        found.append(
            Finding(
                302,
                f"the cloth was pulled straight by up to {moved.max():.0f} mm in a hollow where it would "
                "have run through itself",
                "shell",
                Grade.REPAIR,
                int((moved > TOLD).sum()),
            )
        )
    if left:
        found.append(
            Finding(
                303,
                f"the shell still runs through itself at {left} vertices; look there before cutting",
                "shell",
                Grade.WARNING,
                left,
            )
        )
    return tuple(found)
