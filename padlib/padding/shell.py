"""The shell: the outer surface that the cloth must cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.areas import vertex_normals
from padlib.mesh.surface import Faces, Surface, Vertices, frozen
from padlib.padding import shapes
from padlib.padding.dressed import FINE, KEEP, Dressed, cosine, dress
from padlib.padding.fairing import Held, fair, nearby
from padlib.padding.gap import outside_balls
from padlib.padding.mirror import evened
from padlib.padding.pad import Pad
from padlib.padding.profile import JOIN, merged, smoothstep
from padlib.padding.smooth import Heat, unit

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

OPPOSITE = -0.3  # two directions whose cosine is below this face each other
TRIM = 15.0  # mm: scale at which trimming runs out
AFTER = 2  # rounds of smoothing once the pads are on
AROUND = 60.0  # mm round a pad over which its cloth is laid anew
RUNG = 1.5  # widths at which normals are smoothed for pads: 20 mm times a power of this
TOLD = 1.0  # mm of trimming from which a finding is made
SAME = 0.05  # mm
MOST_JOIN = 150.0  # mm


@dataclass(frozen=True, eq=False)
class Shell:
    """Body plus pads plus cloth thickness plus wearing ease, as one closed surface.

    surface: the shell; it has the body's triangles, so a place on the body is the same place on the
    shell. on_body_face (n,), on_body_barycentric (n, 3): the body's point of each vertex.
    thickness (n,): mm of pad at each vertex, trimmed where another limb is near, without cloth and ease.
    findings: what was trimmed or repaired. loose (n, 3): where the cloth lay before it was cleared of the
    body and of itself, from which a next shell starts; moved (n,): mm by which crossings were undone.
    """

    surface: Surface
    on_body_face: Ints
    on_body_barycentric: Array
    thickness: Array
    findings: tuple[Finding, ...] = ()
    loose: Vertices | None = None
    moved: Array | None = None

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
    join: float = JOIN,
) -> Shell:
    """The shell over a body and its pads.

    cloth_thickness: mm between skin or pad and the outside of the cloth's backing. ease: mm added on
    top of that along the normal all over, from neck to wrists and ankles (a girth grows by about
    2 pi times as much; J. Steiner 1840); it may shrink in hollows, the cloth thickness may not.
    bridge: mm by which the cloth may be lifted out of a hollow; 0 follows every hollow. join: mm, the
    radius of the round in which pads meet (`merged`).
    Raises InputError for pads that cannot be placed and for amounts out of limits.
    """
    dressed = dress(body, cloth_thickness=cloth_thickness, ease=ease, bridge=bridge)
    return pad_shell(dressed, pads, join=join)


def pad_shell(
    dressed: Dressed, pads: Sequence[Pad], *, join: float = JOIN, last: Shell | None = None
) -> Shell:
    """The shell over a dressed body and its pads: the second step of `build_shell`, quick to do again.

    last: a shell over the same dressed body with other pads; where its cloth lay within SAME mm of
    where this one's does, it is kept as it came to rest.
    Raises InputError for pads that cannot be placed and for a join out of limits.
    """
    if not 0 <= join <= MOST_JOIN:
        raise InputError(f"'join' is {join} mm but must be from 0 to {MOST_JOIN:g} mm")
    faces, laid = dressed.faces, dressed.laid
    partner = dressed.partner if all(shapes.even(pad) for pad in pads) else None
    layers = pad_layers(dressed.body, pads, dressed.layers)
    pad = np.zeros(len(laid))
    if layers:
        pad = evened(merged([layer for _, _, layer in layers], join=join), partner)
    trimmed, placed = _padded(laid, faces, dressed, pad)
    trimmed = evened(trimmed, partner)
    moved, left, loose = dressed.moved, dressed.left, placed
    if pad.any():
        near, share = _around(placed, faces, pad > 0)
        if dressed.bridge > 0:
            normal = unit(dressed.flow.blur(vertex_normals(placed, faces), FINE))
            sink = 0.25 * dressed.ease * dressed.cover
            held = Held(placed, normal, sink, dressed.bridge, dressed.cover)
            after = fair(placed, faces, dressed.flow, held, rounds=AFTER)
            placed = placed + share[:, None] * (after - placed)
        loose = placed
        if last is not None and last.loose is not None and last.moved is not None:
            same = ~_changed(placed, last.loose, faces)
            placed = np.where(same[:, None], last.surface.vertices, placed)
            moved, near = np.where(same, last.moved, moved), near & ~same
        placed, step, crossed = dressed.settled(placed, near, partner)
        moved, left = np.maximum(moved, step), left + crossed
    face, corner = _own_corner(faces, len(laid))
    findings = (*_trims(dressed.body, layers, pad - trimmed), *_repairs(moved, left))
    return Shell(Surface(placed, faces), face, np.eye(3)[corner], trimmed, findings, loose, moved)


def pad_layers(
    body: Body,
    pads: Sequence[Pad],
    kept: dict[tuple[object, ...], list[tuple[str, str, Array]]] | None = None,
) -> list[tuple[Pad, str, Array]]:
    """Each pad on each of its sides with its thickness (n,) mm, before they are merged.

    kept: thicknesses on this body from earlier calls, to which new ones are added.
    """
    kept = {} if kept is None else kept
    out = []
    for pad in pads:
        key = (pad.name, pad.kind, pad.side, *sorted(pad.parameters.items()))
        if key not in kept:
            kept[key] = shapes.layers(body, pad)
        out += [(replace(pad, name=name), side, layer) for name, side, layer in kept[key]]
    return out


def pad_way(
    vertices: Vertices,
    faces: Faces,
    flow: Heat,
    deepest: float,
    kept: dict[int, Array] | None = None,
) -> Array:
    """Unit directions (n, 3) in which pads grow: normals so smooth that they do not cross in hollows.

    deepest: mm of the thickest pad; normals are blurred over half of it, and 20 mm at least. The blurs
    are of few widths; between two of them the normals change evenly. kept: blurred normals (n, 3) of
    this very surface from earlier calls, to which new ones are added.
    """
    rung = np.log(max(0.5 * deepest / 20.0, 1.0)) / np.log(RUNG)
    low = int(np.floor(rung))
    kept = {} if kept is None else kept
    for k in (low, low + 1) if rung > low else (low,):
        if k not in kept:
            kept[k] = flow.blur(vertex_normals(vertices, faces), 20.0 * RUNG**k, keep=False)
    way = kept[low]
    if rung > low:
        way = way + (rung - low) * (kept[low + 1] - way)
    return unit(way)


def pad_shares(layers: Sequence[Array]) -> Array:
    """Share (k, n) that each of k pads has in the thickness of their union; sums to 1 where there is any."""
    stack = np.asarray(layers)
    top = stack.max(axis=0)
    part = (stack / np.where(top > 0, top, 1.0)) ** 4
    return part / np.maximum(part.sum(axis=0), 1e-12)


def _padded(laid: Vertices, faces: Faces, dressed: Dressed, pad: Array) -> tuple[Array, Vertices]:
    """Pad thickness (n,) trimmed to the room there is, and positions pushed out by it."""
    flow = dressed.flow
    deepest = float(pad.max())
    if deepest <= 0:
        return pad, laid
    way = pad_way(laid, faces, flow, deepest, dressed.ways)
    room, other = outside_balls(laid, way, largest=np.where(pad > 0.5, 2.5 * pad, 0.0))
    facing = cosine(way, other) < OPPOSITE
    share = np.where(facing, np.minimum(1.0, KEEP * room / np.maximum(pad, 1e-9)), 1.0)
    if facing.any():
        share = np.minimum(share, flow.blur(share, TRIM))
        share = np.minimum(1.0, 1.02 * flow.blur(share, TRIM))
    trimmed = pad * share
    return trimmed, laid + trimmed[:, None] * way


def _around(placed: Vertices, faces: Faces, padded: Mask) -> tuple[Mask, Array]:
    """Where cloth is laid anew round pads: a mask (n,), and a share (n,) that runs out before its border.

    The mask also holds what lies right beside the padded cloth without being joined to it.
    """
    corner = placed[faces]
    edge = float(np.median(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1)))
    rings = max(int(np.ceil(AROUND / edge)), 4)
    mask, steps = padded, np.where(padded, float(rings), 0.0)
    for k in range(rings - 1, -1, -1):
        mask = nearby(mask, faces, rings=1)
        steps = np.where(mask, np.maximum(steps, k), steps)
    share = smoothstep(2 * steps / rings)
    low, high = placed[padded].min(axis=0) - 3 * edge, placed[padded].max(axis=0) + 3 * edge
    rest = np.flatnonzero(~mask & ((placed >= low) & (placed <= high)).all(axis=1))
    if len(rest):
        close = cKDTree(placed[padded]).query(placed[rest], distance_upper_bound=3 * edge)[0]
        beside = np.zeros(len(placed), dtype=bool)
        beside[rest[np.isfinite(close)]] = True
        mask = mask | nearby(beside, faces, rings=2)
    return mask, share


def _changed(placed: Vertices, before: Vertices, faces: Faces) -> Mask:
    """Where (n,) cloth lies elsewhere than before, and two rings around."""
    return nearby(np.abs(placed - before).max(axis=1) > SAME, faces, rings=2)


def _own_corner(faces: Faces, count: int) -> tuple[Ints, Ints]:
    """A face (n,) of each vertex and the corner (n,) it has there."""
    place = np.zeros(count, dtype=np.int64)
    place[faces.ravel()[::-1]] = np.arange(faces.size)[::-1]
    return place // 3, place % 3


def _trims(body: Body, layers: Sequence[tuple[Pad, str, Array]], cut: Array) -> list[Finding]:
    """A finding for each pad that was trimmed, with where and how much."""
    found = []
    if not layers or cut.max() <= TOLD:
        return found
    own = np.argmax([layer for _, _, layer in layers], axis=0)
    for k, (pad, side, _) in enumerate(layers):
        lost = np.where(own == k, cut, 0.0)
        if lost.max() <= TOLD:
            continue
        worst = body.surface.vertices[np.argmax(lost)]
        marks = list(body.landmarks)
        near = min(marks, key=lambda m: np.linalg.norm(body.at(m) - worst)) if marks else ""
        where = pad.name if side == "both" else f"{pad.name} ({side})"
        found.append(
            Finding(
                301,
                f"trimmed by up to {lost.max():.0f} mm where it would meet another limb"
                f"{f', near {near}' if near else ''}; less depth or less wrap there keeps its shape",
                where,
                Grade.WARNING,
                int((lost > TOLD).sum()),
            )
        )
    return found


def _repairs(moved: Array, left: int) -> list[Finding]:
    """What was repaired, what is left."""
    found = []
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
    return found
