"""The figure out of the pieces of a scan: sheets, crumbs, what stands apart and what lies inside go.

No step looks at each pair of pieces, so that many copies of a figure take no longer than one of as many triangles.
"""

from __future__ import annotations

from typing import NamedTuple

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_areas
from padlib.mesh.repair import (
    Findings,
    boundary_edges,
    components,
    signed_volume,
    told,
    without_unused,
)
from padlib.mesh.surface import Faces, Surface, Vertices

ISLANDS, FLOOR, LEFT_OUT = 103, 104, 119
# Of the height of the figure: so near its pieces lie, and so wide a band may be lost between two rims that face each
# other (what `solid.make_solid` can join).
REACH, BAND = 0.06, 0.09
FACING = 1.25  # ... of which the distance is no more than this part of that of the pieces
LARGE = (
    0.05  # share of the figure's surface from which on a piece that is left out is told by itself
)
ASKED, FEW = 2000, 250  # places of a piece that are asked how near they lie, and whether inside
WITHIN = 0.9  # share of them that lies inside the others, of a piece that does


class _Piece(NamedTuple):
    """A piece: its places (n, 3), its faces (m, 3) among them, and the places (k, 3) that are asked."""

    places: Vertices
    faces: Faces
    asked: Vertices


def drop_islands(surface: Surface, *, share: float = 0.01) -> tuple[Surface, Findings]:
    """Keep the figure: drop flat sheets, crumbs, things that stand apart and things inside.

    A piece is kept beside the largest one when it has at least `share` of its area, lies near it, or over against it
    across a band that is lost, and does not lie inside larger ones (a severed arm stays; an eyeball goes). A large
    piece that stands apart is told by itself.
    """
    if not len(surface.faces):
        return surface, ()
    piece = components(surface.faces)
    area = np.bincount(piece, face_areas(surface.vertices, surface.faces))
    large = np.flatnonzero(area >= share * area.max())
    sheets = large[_sheets(surface, piece, area)[large]] if len(large) > 1 else large[:0]
    sheets = sheets if len(sheets) < len(large) else large[:0]
    rest = np.setdiff1d(large, sheets)
    rest = rest[np.argsort(-area[rest], kind="stable")]
    kept, apart = np.zeros(1, dtype=np.int64), np.zeros(0, dtype=np.int64)
    if len(rest) > 1:
        enough = rest[area[rest] >= share * area[rest[0]]]
        pieces = [_piece(surface.vertices, f) for f in _faces_of(surface.faces, piece, enough)]
        near = _near(pieces)
        inside = near[_inside([pieces[k] for k in near])]
        kept = np.setdiff1d(near, inside)
        if len(inside):  # what hung on one of those alone stands apart
            kept = kept[_near([pieces[k] for k in kept])]
        apart = np.setdiff1d(np.arange(len(rest)), np.concatenate([kept, inside]))
    found = told(
        ISLANDS,
        len(area) - len(kept) - len(sheets),
        "loose pieces beside or inside the body were dropped",
    )
    found += told(FLOOR, len(sheets), "flat sheets (a floor or a wall) were dropped")
    of = area[rest] / area[rest[0]]
    found += tuple(_left_out(of[k]) for k in apart if of[k] > LARGE)
    stays = np.zeros(len(area), dtype=bool)
    stays[rest[kept]] = True
    whole = surface.faces.compress(stays[piece], axis=0)
    return without_unused(surface.vertices, whole), found


def _faces_of(faces: Faces, piece: NDArray[np.int64], some: NDArray[np.int64]) -> list[Faces]:
    """The faces of each of some pieces, in their order."""
    order = np.argsort(piece, kind="stable")
    first = np.searchsorted(piece[order], some)
    last = np.searchsorted(piece[order], some, side="right")
    return [faces[order[a:b]] for a, b in zip(first, last, strict=True)]


def _piece(vertices: Vertices, faces: Faces) -> _Piece:
    """A piece with places of its own."""
    used, at = np.unique(faces, return_inverse=True)
    places = vertices[used]
    return _Piece(places, at.reshape(-1, 3), places[:: max(1, len(places) // ASKED)])


def _left_out(of: float) -> Finding:
    """The finding for a large piece apart from the figure: its surface as a share of the figure's."""
    words = (
        f"a piece that stands apart, with {of:.0%} of the surface of what was kept, was left out; if it is a part of"
        " the wearer, scan what lies between as well"
    )
    return Finding(LEFT_OUT, words, "scan", Grade.WARNING, 1)


def _sheets(
    surface: Surface, piece: NDArray[np.int64], area: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which pieces are thin flat sheets: their smallest spread is 3 % of the middle one or less."""
    weight = face_areas(surface.vertices, surface.faces)
    centre = surface.vertices[surface.faces].mean(axis=1)
    total = np.maximum(area, np.finfo(float).tiny)
    middle = [np.bincount(piece, weight * centre[:, k]) / total for k in range(3)]
    away = centre - np.column_stack(middle)[piece]
    spread = np.empty((len(area), 3, 3))
    for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):
        spread[:, i, j] = spread[:, j, i] = np.bincount(piece, weight * away[:, i] * away[:, j])
    low, middling, _ = np.linalg.eigvalsh(spread).T
    return low <= 0.03**2 * middling


def _near(pieces: list[_Piece]) -> NDArray[np.int64]:
    """Numbers of the pieces that hang on the first one, or on one that does: near, or across a lost band.

    A piece is asked only how far it lies from those that came in last.
    """
    low = np.array([p.places.min(axis=0) for p in pieces])
    high = np.array([p.places.max(axis=0) for p in pieces])
    far = BAND * float((high.max(axis=0) - low.min(axis=0)).max())
    apart, hung = np.full(len(pieces), np.inf), np.zeros(len(pieces), dtype=bool)
    rims: dict[int, Vertices] = {}
    new = np.zeros(1, dtype=np.int64)
    while len(new):
        hung[new] = True
        left = np.flatnonzero(~hung)
        if not len(left):
            break
        least, most = low[hung].min(axis=0), high[hung].max(axis=0)
        both = (np.maximum(high[left], most) - np.minimum(low[left], least)).max(axis=1)
        came = np.concatenate([pieces[k].places for k in new])
        asked = [pieces[k].asked for k in left]
        apart[left] = np.minimum(apart[left], _distances(came, asked, far))
        near = apart[left] <= REACH * (most - least).max()
        across = np.flatnonzero(~near & (apart[left] <= BAND * both))
        if len(across):
            for k in (*np.flatnonzero(hung), *left[across]):
                if k not in rims:
                    rims[k] = pieces[k].places[np.unique(boundary_edges(pieces[k].faces))]
            facing = np.concatenate([rims[k] for k in np.flatnonzero(hung)])
            rim = _distances(facing, [rims[k] for k in left[across]], np.inf)
            near[across] = rim <= FACING * apart[left[across]]
        new = left[near]
    return np.flatnonzero(hung)


def _distances(places: Vertices, others: list[Vertices], far: float) -> NDArray[np.float64]:
    """How near to the places (n, 3) each of some other runs of places comes; infinite beyond `far`, or without any."""
    out = np.full(len(others), np.inf)
    some = [k for k, other in enumerate(others) if len(other)]
    if len(places) and some:
        first = np.cumsum([0] + [len(others[k]) for k in some[:-1]])
        tree = cKDTree(places)
        away = tree.query(np.concatenate([others[k] for k in some]), distance_upper_bound=far)[0]
        out[some] = np.minimum.reduceat(away, first)
    return out


def _inside(pieces: list[_Piece]) -> NDArray[np.bool_]:
    """Which pieces are closed and lie inside those of the ones before them that do not, (n,).

    The half that comes first is told, then the places of the other half are asked for its winding number, and so on
    in each half: each place meets each piece before it once, and trees of pieces are built for halves alone.
    """
    out = np.zeros(len(pieces), dtype=bool)
    closed = [k > 0 and not len(boundary_edges(p.faces)) for k, p in enumerate(pieces)]
    asked = [p.asked[:: max(1, len(p.asked) // FEW)] for p in pieces]
    winding = [np.zeros(len(places)) for places in asked]
    faces = [p.faces if signed_volume(p.places, p.faces) >= 0 else p.faces[:, ::-1] for p in pieces]

    def told_within(first: int, last: int) -> None:
        if last - first == 1:
            out[first] = closed[first] and (winding[first] > 0.5).mean() > WITHIN
            return
        middle = (first + last) // 2
        told_within(first, middle)
        ask = [k for k in range(middle, last) if closed[k]]
        kept = [k for k in range(first, middle) if not out[k]]
        if ask and kept:
            start = np.cumsum([0] + [len(pieces[k].places) for k in kept[:-1]])
            whole = np.concatenate([faces[k] + s for k, s in zip(kept, start, strict=True)])
            places = np.concatenate([pieces[k].places for k in kept])
            points = np.concatenate([asked[k] for k in ask])
            more = np.asarray(igl.fast_winding_number(places, whole, points)).reshape(-1)
            ends = np.cumsum([len(asked[k]) for k in ask[:-1]])
            for k, part in zip(ask, np.split(more, ends), strict=True):
                winding[k] += part
        told_within(middle, last)

    told_within(0, len(pieces))
    return out
