"""Pillows: each pad made up as its own stuffed cushion, a top over a base that is the body's own surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.areas import enclosed
from padlib.mesh.cut import CutPiece, Inserted, insert, split
from padlib.mesh.point import Curve
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Faces, Surface, Vertices, frozen
from padlib.mesh.topology import boundary_loops
from padlib.padding import shapes
from padlib.padding.fairing import untangled
from padlib.padding.outline import even_level
from padlib.padding.pad import Pad
from padlib.padding.profile import smoothstep
from padlib.padding.shell import Shell, pad_layers, pad_shares, pad_way
from padlib.padding.smooth import Heat, heat, unit

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# kg/m3 of polyester fibrefill (which is g per litre). Medium is 12 to 16 oz per cubic foot, taken as 14;
# soft is 80 to 90 % of medium and firm 110 to 120 % (trade figures, VALUES 5.2): middles of those ranges.
FILLING = {"soft": 12.0, "medium": 14.0, "firm": 16.0}

EDGE = 2.0  # mm of pad at which the pillow's outline is drawn
ZIP_MARGIN = 50.0  # mm of base kept shut beyond each end of the zip (common practice, no source)
ZIP_STEP = 10.0  # mm: zips are asked for in whole centimetres
APART = 0.2  # mm between top and base inside the outline, which may run a little outside of the exact level
RELIEF = 12.0  # mm: skin relief finer than this does not show on the top
RIM = 2.5  # times that height of pad from which the top is smoothed in full
ROUNDS = 4
LITRE = 1e6  # mm3


@dataclass(frozen=True, eq=False)
class Pillow:
    """One pad on one side, made up as a cushion.

    name, side: of the pad. top, base: the two panels, both seen from outside the pillow, so that
    together they close; they share one border. boundary_top (k,), boundary_base (k,): its vertices on
    either, vertex for vertex, in the order that has the top on the left. middle: the line down
    the middle of the base, along which the zip lies. volume_l: litres between top and base.
    filling_g: grams of fibrefill for soft, medium and firm. zip_mm: length of the zip.
    """

    name: str
    side: str
    top: Surface
    base: Surface
    boundary_top: Ints
    boundary_base: Ints
    middle: Curve
    volume_l: float
    filling_g: dict[str, float]
    zip_mm: float

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        for name in ("boundary_top", "boundary_base"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.int64))


def make_pillows(
    body: Body,
    shell: Shell,
    pads: Sequence[Pad],
    *,
    edge: float = EDGE,
    zip_mm: float | None = None,
) -> tuple[Pillow, ...]:
    """A pillow for each pad on each of its sides; none for a worn part.

    shell: built from the same body and pads. Where pads overlap, each pillow has its share of the
    thickness, so that they lie over each other as one. edge: mm of pad at which the outline is
    drawn; there the top meets the base. zip_mm: length of the zip, or None for as long as the middle
    of the base allows. Raises InputError for a pad that is nowhere thicker than its edge, and for a
    zip that does not fit.
    """
    layers = pad_layers(body, pads)
    flow = heat(body.surface.vertices, body.surface.faces)
    shares = pad_shares([layer for _, _, layer in layers]) if layers else ()
    return tuple(
        _pillow(body, flow, pad.name, side, share * shell.thickness, edge, zip_mm)
        for (pad, side, _), share in zip(layers, shares, strict=True)
        if not shapes.is_worn(pad)
    )


def _pillow(
    body: Body, flow: Heat, name: str, side: str, own: Array, edge: float, zip_mm: float | None
) -> Pillow:
    """The pillow of a thickness (n,) over the body."""
    who = f"pad '{name}' ({side})"
    surface = body.surface
    curves = even_level(surface.vertices, surface.faces, own - edge)
    if not curves:
        raise InputError(
            f"{who} is nowhere thicker than {edge:g} mm, so no pillow can be made of it; "
            "give it more depth"
        )
    inserted = insert(surface.vertices, surface.faces, curves[:1])
    piece = _inside(inserted, int(np.argmax(own)))
    way = pad_way(surface.vertices, surface.faces, flow, float(own.max()))
    along = unit(_carried(piece, inserted, surface.faces, way))
    height = _carried(piece, inserted, surface.faces, own)
    raised = np.maximum(np.sqrt(np.maximum(height**2 - edge**2, 0.0)), APART)
    border = boundary_loops(piece.faces)[0]
    raised[border] = 0.0
    top = _smoothed(piece, piece.vertices + raised[:, None] * along, raised)
    volume = enclosed(top, piece.faces) - enclosed(piece.vertices, piece.faces)
    base = Surface(piece.vertices, piece.faces[:, ::-1])
    middle, longest = _middle(base)
    return Pillow(
        name, side, Surface(top, piece.faces), base, border, border, middle, volume / LITRE,
        {word: volume / LITRE * density for word, density in FILLING.items()},
        _zip(who, longest, zip_mm),
    )  # fmt: skip


def _inside(inserted: Inserted, crest: int) -> CutPiece:
    """The piece within the outline that holds a vertex of the body."""
    pieces = split(inserted.vertices, inserted.faces, inserted.edges).pieces
    return next(piece for piece in pieces if (piece.parents == crest).any())


def _carried(piece: CutPiece, inserted: Inserted, faces: Faces, values: Array) -> Array:
    """Values (n,) or (n, k) at the body's vertices, carried to the vertices of a piece of it."""
    corners = faces[inserted.point_face[piece.parents]]
    weights = inserted.point_barycentric[piece.parents]
    return np.einsum("ij,ij...->i...", weights, values[corners])


def _smoothed(piece: CutPiece, top: Vertices, raised: Array) -> Vertices:
    """The top (k, 3) without the skin's relief and free of crossings; its border stays."""
    flow = heat(piece.vertices, piece.faces)
    free = smoothstep(raised / (RIM * RELIEF))[:, None]
    for _ in range(ROUNDS):
        once = flow.blur(top, RELIEF)
        top = top + free * (2 * once - flow.blur(once, RELIEF) - top)
    return untangled(top, piece.faces, flow, (piece.vertices,), (raised > 0).astype(float))[0]


def _middle(base: Surface) -> tuple[Curve, float]:
    """The longest line down the middle of a base, and its length in mm.

    It lies in the plane through the base's centre that holds its longest extent and its mean normal.
    """
    corner = base.vertices[base.faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]) / 2
    area = np.linalg.norm(normal, axis=1)
    middles = corner.mean(axis=1)
    centre = area @ middles / area.sum()
    spread = (middles - centre).T @ ((middles - centre) * area[:, None])
    out = normal.sum(axis=0) / np.linalg.norm(normal.sum(axis=0))
    flat = np.eye(3) - np.outer(out, out)
    longest = np.linalg.eigh(flat @ spread @ flat)[1][:, -1]
    curves = plane_section(base.vertices, base.faces, centre, np.cross(longest, out))
    return curves[0], curves[0].length(base.vertices, base.faces)


def _zip(who: str, longest: float, asked: float | None) -> float:
    """Length of the zip in mm. Raises InputError where it does not fit the base's middle."""
    room = longest - 2 * ZIP_MARGIN
    if asked is None:
        return max(np.floor(room / ZIP_STEP) * ZIP_STEP, 0.0)
    if not 0 < asked <= room:
        raise InputError(
            f"{who}: a zip of {asked:g} mm was asked for but the middle of the base has room for "
            f"{max(room, 0):.0f} mm with {ZIP_MARGIN:g} mm left shut at each end; ask for less"
        )
    return float(asked)
