"""Laying the cloth: relief smoothed away, hollows bridged, crossings undone, the body never laid bare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.areas import vertex_normals
from padlib.mesh.crossings import crossings
from padlib.mesh.point import barycentric
from padlib.mesh.surface import Faces, Vertices
from padlib.padding.profile import smoothstep
from padlib.padding.skin import Skin, skin
from padlib.padding.smooth import Heat, unit

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]

RELIEF = 12.0  # mm: skin relief finer than this is smoothed away
SPAN = 15.0  # mm: width of one bridging step
HOLLOW = 20.0  # mm: scale at which a hollow's way out is seen
GATE = 0.5  # mm of a bridging step from which it counts as a hollow in full
SHORT = 0.05  # mm of cloth thickness that may be missing
THIN = 1.0  # mm of cloth below which the skin between the shell's vertices is watched too,
LOW = 0.7  # and share of an edge
NORMALS = 3  # rounds of laying for which a hollow's ways out are kept
ASTRAY = (
    0.6  # cosine to the skin's normal below which cloth has gone along the skin, not away from it
)
CLEARING = 4  # rounds of pushing out
ROUNDS = 6
PULLS = 4  # rounds in which a place is pulled straight, then as many toward each fallback
UNTANGLING = 18  # rounds of repair before a place is given up


@dataclass(frozen=True, eq=False)
class Held:
    """What the cloth is laid over: rest (n, 3) mm, where each vertex lies before it is eased;
    normal (n, 3) unit; inward (n,) mm that it may sink along the normal; outward: mm that it may be
    lifted; cover (n,) from 0 (stays where it is) to 1.
    """

    rest: Vertices
    normal: Array
    inward: Array
    outward: float
    cover: Array

    def kept(self, placed: Vertices) -> Vertices:
        """Positions (n, 3) brought back within the allowed way from rest."""
        away = placed - self.rest
        size = np.linalg.norm(away, axis=1)
        limit = self.outward * np.tanh(size / self.outward)
        away = away * (limit / np.maximum(size, 1e-12))[:, None]
        sunk = np.einsum("ij,ij->i", away, self.normal) + self.inward
        return self.rest + away - np.minimum(sunk, 0.0)[:, None] * self.normal


def fair(
    placed: Vertices, faces: Faces, flow: Heat, held: Held, *, rounds: int = ROUNDS
) -> Vertices:
    """Positions (n, 3) of cloth that lies on `placed`: smooth over relief, bridging what is hollow.

    Relief goes by a low-pass filter that does not shrink (2S - S^2 of a blur S; G. Taubin, "A signal
    processing approach to fair surface design", 1995, has the idea). A hollow is where a blur moves
    a vertex outward, seen along a normal that is itself blurred, so that both walls of a crease move
    out of it together; there the cloth is pulled straight, as a membrane.
    """
    normal = held.normal
    for k in range(rounds):
        once = flow.blur(placed, RELIEF)
        smooth = 2 * once - flow.blur(once, RELIEF)
        placed = placed + held.cover[:, None] * (smooth - placed)
        if k % NORMALS == 0:
            normal = unit(flow.blur(vertex_normals(placed, faces), HOLLOW))
        step = flow.blur(placed, SPAN) - placed
        gate = smoothstep(np.einsum("ij,ij->i", step, normal) / GATE)
        gate = flow.blur(gate, RELIEF) * held.cover
        placed = held.kept(placed + gate[:, None] * step)
    return placed


def cleared(
    placed: Vertices, body: Skin, flow: Heat, least: Array, cover: Array, within: Mask
) -> Vertices:
    """Positions (n, 3) pushed out where they lie nearer than `least` (n,) mm to the body, or inside it.

    Vertices with cover 0 and those not `within` (n,) are left. The push runs out smoothly around, so
    that it leaves no dent. Cloth that is thin beside its triangles, or running out, is also checked the
    other way, for skin that stands out between vertices.
    """
    asked = np.flatnonzero((cover > 0) & within)
    bare = np.flatnonzero((cover > 0) & (cover < 1) & within)
    corner = placed[body.faces[:: max(len(body.faces) // 5000, 1)]]
    edge = float(np.median(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1)))
    for k in range(CLEARING):
        distance, close, normal = body.signed(placed[asked])
        if k == 0:
            bare = np.union1d(bare, asked[distance < max(THIN, LOW * edge)])
            deep = np.setdiff1d(asked[_astray(placed, body)[asked]], bare)
        short = least[asked] - distance
        away = np.where(np.abs(distance)[:, None] > 1e-6, placed[asked] - close, normal)
        away = unit(away) * np.where(distance < -1e-6, -1.0, 1.0)[:, None]
        push = np.zeros_like(placed)
        push[asked] = np.where(short > SHORT, short + SHORT, 0.0)[:, None] * away
        if len(bare) or len(deep):
            shell = skin(placed, body.faces, body)
            out, _, outward = shell.signed(body.vertices[bare])
            push[bare] += np.where(out > SHORT, out + SHORT, 0.0)[:, None] * outward
            deep = _raised(push, shell, body, deep, (cover > 0) & within)
        size = np.linalg.norm(push, axis=1)
        if not size.any():
            break
        around = flow.blur(push, RELIEF)
        placed = placed + np.where((size > 0) | (cover == 0), 0.0, 1.0)[:, None] * around + push
        asked = asked[short > -2 * size.max()]
    return placed


def _astray(placed: Vertices, body: Skin) -> Mask:
    """Which vertices (n,) of the shell have left their own skin more along it than away from it."""
    way = placed - body.vertices
    return np.einsum("ij,ij->i", way, body.corner) < ASTRAY * np.linalg.norm(way, axis=1)


def _raised(push: Array, shell: Skin, body: Skin, asked: Ints, free: Mask) -> Ints:
    """Adds to push (n, 3) what lifts the shell over skin that stands out of it, though its own vertex of
    the shell is far off, as in a crease; returns which of the skin's vertices asked (k,) did.

    The three corners of the nearest triangle move so that its point there comes to lie over the skin.
    """
    out, close, outward = shell.signed(body.vertices[asked])
    bare = out > SHORT
    if not bare.any():
        return asked[:0]
    _, face, _ = shell.tree.squared_distance(shell.vertices, shell.faces, close[bare])
    corner = body.faces[np.asarray(face).ravel()]
    weight = barycentric(shell.vertices[corner], close[bare]) * free[corner]
    part = weight / np.maximum((weight**2).sum(axis=1), 1e-9)[:, None]
    lift = part[:, :, None] * ((out[bare] + SHORT)[:, None] * outward[bare])[:, None]
    longer = np.linalg.norm(lift, axis=2) > np.linalg.norm(push[corner], axis=2)
    push[corner[longer]] = lift[longer]
    return asked[bare]


def untangled(
    placed: Vertices, faces: Faces, flow: Heat, safe: tuple[Vertices, ...], cover: Array
) -> tuple[Vertices, Array, int]:
    """Positions (n, 3) without crossings where cover (n,) > 0, changed only near where there were some.

    safe: positions to fall back to, the best first; the last should be free of crossings. A place
    where the surface runs through itself is first pulled straight, then drawn toward the first of
    `safe`, then the next; where cover is less than 1 (the roots of fingers and toes, too thin to be
    pulled straight) toward `safe` at once. Returns positions, how far (n,) mm each vertex was moved, and how many
    crossings are left.
    """
    start = placed
    within = region = cover > 0
    left = 0
    for attempt in range(UNTANGLING):
        touched = _crossed(placed, faces, region) & within
        if attempt == 0 and touched.any():
            # what the last fallback has of crossings cannot be undone by going back to it
            within = within & ~nearby(
                _crossed(safe[-1], faces, nearby(touched, faces, rings=6)), faces, rings=1
            )
            region = within
            touched &= within
        left = int(touched.sum())
        if not left:
            if region is within or attempt == 0:
                break
            region = within  # the places look clean: look at everything once more
            continue
        soft = _grown(touched, faces, flow, rings=2)
        placed = _eased_once(placed, safe, flow, soft, cover, attempt)
        region = nearby(touched, faces, rings=6)
    else:
        left = int((_crossed(placed, faces, within) & within).sum())
    return placed, np.linalg.norm(placed - start, axis=1), left


def _crossed(placed: Vertices, faces: Faces, region: Mask) -> Mask:
    """Vertices (n,) of all edges and faces that run through each other."""
    edges, hit = crossings(placed, faces, within=region)
    touched = np.zeros(len(placed), dtype=bool)
    touched[edges.ravel()] = True
    touched[faces[hit].ravel()] = True
    return touched


def _eased_once(
    placed: Vertices,
    safe: tuple[Vertices, ...],
    flow: Heat,
    soft: Array,
    cover: Array,
    attempt: int,
) -> Vertices:
    """One round of repair where soft (n,) is above 0."""
    back = safe[min(max(attempt - PULLS, 0) // PULLS, len(safe) - 1)]
    pull = (cover**4)[:, None] if attempt < PULLS else 0.0
    step = pull * (flow.blur(placed, RELIEF) - placed) + (1 - pull) * 0.5 * (back - placed)
    return placed + soft[:, None] * step


def _grown(touched: Mask, faces: Faces, flow: Heat, *, rings: int) -> Array:
    """1 on the touched vertices and `rings` around, running out smoothly."""
    wide = nearby(touched, faces, rings=rings)
    return np.clip(2.5 * flow.blur(wide.astype(np.float64), RELIEF), 0.0, 1.0) * nearby(
        wide, faces, rings=3
    )


def nearby(mask: Mask, faces: Faces, *, rings: int) -> Mask:
    """The mask (n,) grown by a number of rings of faces."""
    mask = mask.copy()
    for _ in range(rings):
        a, b, c = (mask.take(corner) for corner in faces.T)
        mask[faces[a | b | c].ravel()] = True
    return mask
