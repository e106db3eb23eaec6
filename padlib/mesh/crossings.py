"""Where a surface runs through itself: edges that pierce triangles which they do not touch.

Two triangles of a mesh in general position meet exactly when an edge of one pierces the other, so
each (edge, triangle) pair without a common vertex is tested once, candidates coming from a grid.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh import topology
from padlib.mesh.surface import Faces, Surface, Vertices

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

FLAT = 1e-11  # an edge this nearly in a triangle's plane is beside it, not through it
PAIRS_AT_ONCE = 4_000_000  # keeps the arrays of one batch under about 100 MB


def crossings(
    vertices: Vertices, faces: Faces, *, within: Mask | None = None, slack: float = 1e-9
) -> tuple[Ints, Ints]:
    """Edge and triangle of every place where the surface runs through itself.

    vertices (n, 3) mm; faces (m, 3); within (n,) True where it matters: triangles and edges with
    no vertex inside are left out. Returns edges (k, 2) as vertex pairs and triangles (k,) as face
    indices. Edge against triangle after Moeller and Trumbore (1997); `slack` widens the triangle
    by that share, so that touching counts as crossing. An edge in the very plane of a triangle does
    not pierce it.
    """
    faces = np.asarray(faces, dtype=np.int64)
    vertices = np.asarray(vertices, dtype=np.float64)
    number = np.arange(len(faces))
    if within is not None:
        number = np.flatnonzero(np.asarray(within)[faces].any(axis=1))
    kept = faces[number]
    edges = topology.edges(kept).ends
    if len(kept) == 0:
        return edges, number
    pair_edge, pair_face = _candidates(vertices, edges, kept)
    hit = _pierced(vertices, edges[pair_edge], kept[pair_face], slack)
    return edges[pair_edge[hit]], number[pair_face[hit]]


def new_crossings(before: Surface, after: Surface) -> int:
    """At how many places more a surface runs through itself than it did before; 0 if not at more."""
    old, new = (len(crossings(s.vertices, s.faces)[1]) for s in (before, after))
    return max(new - old, 0)


def _boxes(vertices: Vertices, simplices: Ints) -> tuple[Vertices, Vertices]:
    corners = vertices[simplices]
    return corners.min(axis=1), corners.max(axis=1)


def _cells(low: Vertices, high: Vertices, origin: Vertices, size: float) -> tuple[Ints, Ints]:
    """Grid cells that each box touches: (cell key, box index), one row for each meeting."""
    first = np.floor((low - origin) / size).astype(np.int64)
    count = np.floor((high - origin) / size).astype(np.int64) - first + 1
    total = count.prod(axis=1)
    box = np.repeat(np.arange(len(low)), total)
    step = np.arange(len(box)) - np.repeat(np.cumsum(total) - total, total)
    ny, nz = count[box, 1], count[box, 2]
    cell = first[box] + np.stack([step // (ny * nz), (step // nz) % ny, step % nz], axis=1)
    return (cell[:, 0] << 42) | (cell[:, 1] << 21) | cell[:, 2], box


def _candidates(vertices: Vertices, edges: Ints, faces: Faces) -> tuple[Ints, Ints]:
    """Pairs of edge and face that share a grid cell, overlap in their boxes and share no vertex."""
    edge_low, edge_high = _boxes(vertices, edges)
    face_low, face_high = _boxes(vertices, faces)
    size = max(1.2 * float(np.median((face_high - face_low).max(axis=1))), 1e-9)
    origin = face_low.min(axis=0) - size
    edge_key, edge_box = _cells(edge_low, edge_high, origin, size)
    face_key, face_box = _cells(face_low, face_high, origin, size)
    order = np.argsort(face_key, kind="stable")
    face_key, face_box = face_key[order], face_box[order]
    start = np.searchsorted(face_key, edge_key, side="left")
    count = np.searchsorted(face_key, edge_key, side="right") - start
    ends = np.cumsum(count)
    batches = np.searchsorted(
        ends, np.arange(PAIRS_AT_ONCE, ends[-1] + PAIRS_AT_ONCE, PAIRS_AT_ONCE)
    )
    found, begin = [], 0
    for stop in np.minimum(batches + 1, len(count)):
        rows = slice(begin, stop)
        begin = stop
        span = count[rows]
        e = np.repeat(edge_box[rows], span)
        offset = np.arange(len(e)) - np.repeat(np.cumsum(span) - span, span)
        f = face_box[np.repeat(start[rows], span) + offset]
        for axis in range(3):
            near = edge_low[:, axis].take(e) <= face_high[:, axis].take(f)
            near &= face_low[:, axis].take(f) <= edge_high[:, axis].take(e)
            e, f = e[near], f[near]
        apart = np.ones(len(e), dtype=bool)
        for end in edges.T:
            for corner in faces.T:
                apart &= end.take(e) != corner.take(f)
        found.append(e[apart] * len(faces) + f[apart])
    key = np.unique(np.concatenate(found))
    return key // len(faces), key % len(faces)


def _pierced(vertices: Vertices, edges: Ints, faces: Faces, slack: float) -> Mask:
    """Which edges (k, 2) meet their triangle (k, 3)."""
    start = vertices[edges[:, 0]]
    along = vertices[edges[:, 1]] - start
    corner = vertices[faces[:, 0]]
    side_1 = vertices[faces[:, 1]] - corner
    side_2 = vertices[faces[:, 2]] - corner
    cross = np.cross(along, side_2)
    determinant = np.einsum("ij,ij->i", side_1, cross)
    sizes = [np.linalg.norm(arm, axis=1) for arm in (along, side_1, side_2)]
    through = np.abs(determinant) > FLAT * sizes[0] * sizes[1] * sizes[2]
    safe = np.where(through, determinant, 1.0)
    away = start - corner
    u = np.einsum("ij,ij->i", away, cross) / safe
    turned = np.cross(away, side_1)
    v = np.einsum("ij,ij->i", along, turned) / safe
    t = np.einsum("ij,ij->i", side_2, turned) / safe
    inside = (u >= -slack) & (v >= -slack) & (u + v <= 1 + slack)
    return through & inside & (t >= -slack) & (t <= 1 + slack)
