"""A suit's flats as coarser meshes with the same outlines, on which most rounds of corrections can run.

Vertices of outlines are kept or left out alike on both sides of a seam, legs of darts are kept as such, so that a
coarse suit is sewn as the fine one is. What the rounds move is carried back to the fine flats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from padlib.flatten.disk import boundary_loop
from padlib.flatten.flat import Flat
from padlib.flatten.sketch import grid_within, triangles_within
from padlib.flatten.slit import carry, locate
from padlib.flatten.stretch import areas, stretch
from padlib.flatten.together import with_images
from padlib.mesh.surface import Faces, Plane, Surface, Vertices
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.seams.panels import Edge, Panel

Ints = NDArray[np.int64]

TIMES = 2.0  # as long edges
CLEAR = 0.6  # of the spacing: how far inner vertices keep from the outline
ROUNDS = 8  # of putting vertices back where a triangulation leaves the outline


@dataclass(frozen=True, eq=False)
class Coarse:
    """Coarse flats of all panels, in the order of the fine ones that they came from."""

    flats: tuple[Flat, ...]
    fine: tuple[Flat, ...]

    def moved(self, flats: Sequence[Flat]) -> list[Plane]:
        """Where coarse flats that were moved take the fine flats that are no mirror images, (n, 2) each."""
        out = []
        for begun, now, fine in zip(self.flats, flats, self.fine, strict=True):
            if fine.panel.mirror_of is None:
                off = now.positions - begun.positions
                faces = begun.panel.surface.faces
                out.append(fine.positions + carry(faces, begun.positions, off, fine.positions))
        return out

    def placed(self, place: Vertices) -> Vertices:
        """Where the welded fine vertices lie when the welded coarse ones lie at positions (n, 3)."""
        one, sewn = weld(bundle(self.flats)), weld(bundle(self.fine))
        out = np.empty((sewn.count, 3))
        for begun, at, fine, to in zip(self.flats, one.welded, self.fine, sewn.welded, strict=True):
            surface = begun.panel.surface
            off = place[at] - surface.vertices
            more = carry(surface.faces, begun.positions, off, fine.positions)
            out[to] = fine.panel.surface.vertices + more
        return out

    def spanned(self, place: Vertices) -> Vertices:
        """The same by the flats alone, straight from vertex to vertex: nothing of the panels' own shape is in it."""
        one, sewn = weld(bundle(self.flats)), weld(bundle(self.fine))
        out = np.empty((sewn.count, 3))
        for begun, at, fine, to in zip(self.flats, one.welded, self.fine, sewn.welded, strict=True):
            faces = begun.panel.surface.faces
            out[to] = carry(faces, begun.positions, place[at], fine.positions)
        return out


def coarser(flats: Sequence[Flat]) -> Coarse | None:
    """The flats with edges `TIMES` as long; None where an outline cannot be kept."""
    same, loops = _same_places(flats), {}
    kept = np.zeros(1 + max(int(s.max()) for s in same), dtype=np.bool_)
    spacing = TIMES * _edge(flats)
    for stitch in bundle(flats).stitches:
        for k, run in ((stitch.one, stitch.a), (stitch.two, stitch.b)):
            kept[same[k][run[[0, -1]]]] = True
    seen = np.zeros(len(kept), dtype=np.bool_)
    own = [k for k, flat in enumerate(flats) if flat.panel.mirror_of is None]
    for k in own:
        ends = [v for edge in flats[k].panel.edges for v in edge.run[[0, -1]]]
        kept[same[k][ends]] = True
    for k in own:
        loop = loops[k] = boundary_loop(flats[k].panel.surface.faces)
        _thin(flats[k].positions[loop], same[k][loop], kept, seen, spacing)
    made: dict[int, tuple[Ints, Plane, Faces]] = {}
    for _ in range(ROUNDS):
        missing = False
        for k in own:
            loop = loops[k]
            rim = np.flatnonzero(kept[same[k][loop]])
            drawn, lost = _drawn(flats[k].positions[loop[rim]], spacing)
            if drawn is not None:
                made[k] = loop[rim], *drawn
                continue
            missing = True
            between = (np.roll(rim, -1) - rim) % len(loop)
            more = [i for i in lost if between[i] > 1]
            if not more:
                return None
            halfway = (rim[more] + between[more] // 2) % len(loop)
            kept[same[k][loop[halfway]]] = True
        if not missing:
            thin = [_flat(flats[k], *made[k]) for k in own]
            return Coarse(with_images(thin, [f.panel for f in flats]), tuple(flats))
    return None


def _edge(flats: Sequence[Flat]) -> float:
    """The length of an edge, mm, of even triangles as large as those of flats."""
    each = np.concatenate([areas(f.positions, f.panel.surface.faces) for f in flats])
    return float(np.sqrt(each.mean() / 0.433))


def _same_places(flats: Sequence[Flat]) -> list[Ints]:
    """For each flat a number of each vertex (n,), which is the same for all that are sewn to one another and for mirror
    images of these."""
    sewn = weld(bundle(flats))
    at = {flat.panel.name: k for k, flat in enumerate(flats)}
    ties = [np.zeros((0, 2), dtype=np.int64)]
    for k, flat in enumerate(flats):
        if flat.panel.mirror_of is not None:
            ties.append(np.column_stack([sewn.welded[k], sewn.welded[at[flat.panel.mirror_of]]]))
    one, two = np.concatenate(ties).T
    graph = coo_array((np.ones(len(one)), (one, two)), shape=(sewn.count, sewn.count))
    label = connected_components(graph, directed=False)[1].astype(np.int64)
    return [label[w] for w in sewn.welded]


def _thin(
    outline: Plane,
    number: Ints,
    kept: NDArray[np.bool_],
    seen: NDArray[np.bool_],
    spacing: float,
) -> None:
    """Choose vertices of an outline (b, 2) about a spacing apart, by their numbers (b,): to `kept`, what was looked at
    to `seen`."""
    first = int(np.flatnonzero(kept[number])[0]) if kept[number].any() else 0
    since = np.inf
    step = np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1)
    for i in np.roll(np.arange(len(outline)), -first):
        since += step[i]
        at = number[i]
        if not seen[at] and not kept[at] and since >= 0.9 * spacing:
            kept[at] = True
        seen[at] = True
        if kept[at]:
            since = 0.0


def _drawn(outline: Plane, spacing: float) -> tuple[tuple[Plane, Faces] | None, Ints]:
    """Inner vertices (g, 2) and triangles over outline and them, or None and the edges of the outline that these leave
    out."""
    grid = grid_within(outline, spacing)
    ahead = np.roll(outline, -1, axis=0)
    dense = np.concatenate([outline + s * (ahead - outline) for s in (0.0, 0.25, 0.5, 0.75)])
    grid = grid[cKDTree(dense).query(grid)[0] > CLEAR * spacing]
    faces, lost = triangles_within(np.concatenate([outline, grid]), len(outline))
    return (None if faces is None else (grid, faces)), lost


def _flat(flat: Flat, rim: Ints, grid: Plane, faces: Faces) -> Flat:
    """A coarse flat of some of a flat's outline (b,) and of places (g, 2) inside it."""
    panel, surface = flat.panel, flat.panel.surface
    face, weight = locate(surface.faces, flat.positions, grid)
    lifted = np.einsum("pk,pkj->pj", weight, surface.vertices[surface.faces[face]])
    number = np.full(len(surface.vertices), -1)
    number[rim] = np.arange(len(rim))

    def some(run: Ints) -> Ints:
        return number[run][number[run] >= 0]

    edges = tuple(Edge(e.seam, e.kind, some(e.run), e.partner) for e in panel.edges)
    vertices = np.concatenate([surface.vertices[rim], lifted])
    positions = np.concatenate([flat.positions[rim], grid])
    parents = np.concatenate([panel.parents[rim], np.full(len(grid), -1)])
    darts = tuple(
        replace(d, apex=int(number[d.apex]), left=some(d.left), right=some(d.right))
        for d in flat.darts
    )
    thin = Panel(panel.name, panel.side, Surface(vertices, faces), parents, edges)
    strain = stretch(vertices, faces, positions)
    return replace(flat, panel=thin, positions=positions, stretch=strain, darts=darts)
