"""How triangles hang together: edges, neighbours, boundary loops, components, Euler characteristic.

Side k of a face is the one opposite its corner k, so a barycentric weight k of zero means "on side k".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from padlib.mesh.surface import Faces

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Edges:
    """The edges of a mesh.

    ends (e, 2): vertex indices, low then high, sorted; of_face (m, 3): the edge on each side of each
    face; count (e,): how many faces meet there.
    """

    ends: Indices
    of_face: Indices
    count: Indices


def sides(faces: Faces) -> Indices:
    """The directed sides (m, 3, 2) of faces (m, 3); side k is opposite corner k."""
    f = np.asarray(faces, dtype=np.int64)
    return np.stack((f[:, [1, 2]], f[:, [2, 0]], f[:, [0, 1]]), axis=1)


def edges(faces: Faces) -> Edges:
    """Unique edges of faces (m, 3), with the edge on each side of each face."""
    pairs = np.sort(sides(faces).reshape(-1, 2), axis=1)
    span = int(pairs.max()) + 1 if pairs.size else 1
    keys, inverse, count = np.unique(
        pairs[:, 0] * span + pairs[:, 1], return_inverse=True, return_counts=True
    )
    ends = np.column_stack((keys // span, keys % span))
    return Edges(ends, inverse.reshape(-1, 3).astype(np.int64), count.astype(np.int64))


def edge_numbers(mesh_edges: Edges, pairs: Indices) -> Indices:
    """Which edge each pair of vertices (k, 2) is, either way round; -1 where they are not joined."""
    ends, pairs = mesh_edges.ends, np.sort(pairs, axis=1)
    span = int(max(ends.max(initial=0), pairs.max(initial=0))) + 1
    return look_up(ends @ [span, 1], pairs @ [span, 1])


def look_up(keys: Indices, wanted: Indices) -> Indices:
    """Index of each wanted key in sorted keys, -1 where it is not there."""
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, at, -1)


def neighbours(faces: Faces, *, mesh_edges: Edges | None = None) -> Indices:
    """The face (m, 3) across each side of each face, -1 at the boundary and where more than two meet."""
    e = edges(faces) if mesh_edges is None else mesh_edges
    flat = e.of_face.ravel()
    order = np.argsort(flat, kind="stable")
    pair = np.flatnonzero(np.diff(flat[order]) == 0)
    pair = pair[e.count[flat[order[pair]]] == 2]
    first, second = order[pair], order[pair + 1]
    out = np.full(flat.size, -1, dtype=np.int64)
    out[first], out[second] = second // 3, first // 3
    return out.reshape(-1, 3)


def boundary_sides(faces: Faces, *, mesh_edges: Edges | None = None) -> Indices:
    """Directed boundary sides (k, 2) of faces (m, 3): the face lies to the left of each."""
    return _border(faces, edges(faces) if mesh_edges is None else mesh_edges)


def _border(faces: Faces, e: Edges) -> Indices:
    return sides(faces)[e.count[e.of_face] == 1]


def boundary_loops(faces: Faces) -> list[Indices]:
    """Boundary loops of faces (m, 3), each an array of vertex indices with the surface to the left.

    Every loop starts at its lowest vertex; loops are ordered by that vertex. Where loops touch in
    one vertex they are told apart by the order of their sides.
    """
    return _loops(boundary_sides(faces))


def _loops(border: Indices) -> list[Indices]:
    """The loops that directed boundary sides (k, 2) form, as `boundary_loops`."""
    border = border[np.lexsort((border[:, 1], border[:, 0]))]
    onward: dict[int, list[int]] = {}
    for start, end in border.tolist():
        onward.setdefault(start, []).append(end)
    loops = []
    for start in sorted(onward):
        while onward[start]:
            loops.append(_walk(onward, start))
    return loops


def _walk(onward: dict[int, list[int]], start: int) -> Indices:
    """One loop from start, taking the steps out of onward."""
    loop = [start]
    here = onward[start].pop(0)
    while here != start and onward.get(here):
        loop.append(here)
        here = onward[here].pop(0)
    return np.array(loop, dtype=np.int64)


def face_components(
    faces: Faces, *, cut: NDArray[np.bool_] | None = None, mesh_edges: Edges | None = None
) -> Indices:
    """Component (m,) of each face through shared edges, numbered by lowest face.

    cut (e,): edges of `edges(faces)` that do not connect.
    """
    e = edges(faces) if mesh_edges is None else mesh_edges
    joins = e.count > 1 if cut is None else (e.count > 1) & ~cut
    flat = e.of_face.ravel()
    keep = joins[flat]
    m = len(faces)
    rows, cols = np.repeat(np.arange(m), 3)[keep], m + flat[keep]
    size = m + len(e.ends)
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, cols)), shape=(size, size))
    return by_first(connected_components(graph, directed=False)[1][:m])


def vertex_components(count: int, faces: Faces) -> Indices:
    """Component (count,) of each vertex through edges, numbered by lowest vertex."""
    pairs = sides(faces).reshape(-1, 2)
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), pairs.T), shape=(count, count))
    return by_first(connected_components(graph, directed=False)[1])


def by_first(labels: NDArray[np.integer]) -> Indices:
    """The labels (k,) renumbered 0, 1, ... in the order in which they first appear."""
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[inverse]


def euler(faces: Faces) -> int:
    """Euler characteristic of faces (m, 3): used vertices - edges + faces."""
    return len(np.unique(faces)) - len(edges(faces).ends) + len(faces)


def is_edge_manifold(faces: Faces) -> bool:
    """Whether no edge has more than two faces, and neighbours agree on which side is out."""
    return _edge_manifold(faces, edges(faces))


def _edge_manifold(faces: Faces, e: Edges) -> bool:
    directed = sides(faces).reshape(-1, 2)
    span = int(directed.max()) + 1 if directed.size else 1
    keys = directed[:, 0] * span + directed[:, 1]
    return bool(e.count.max(initial=0) <= 2 and len(np.unique(keys)) == len(keys))


def corner_fans(
    faces: Faces, *, cut: NDArray[np.bool_] | None = None, mesh_edges: Edges | None = None
) -> Indices:
    """The fan (m, 3) of each corner, numbered: corners of one vertex joined through shared edges.

    An edge joins when exactly two faces meet there and it is not in cut (e,).
    """
    e = edges(faces) if mesh_edges is None else mesh_edges
    f = np.asarray(faces, dtype=np.int64)
    opposite = neighbours(f, mesh_edges=e)
    if cut is not None:
        opposite = np.where(cut[e.of_face], -1, opposite)
    face, side = np.nonzero(opposite > np.arange(len(f))[:, None])
    other = opposite[face, side]
    ends = []
    for step in (1, 2):
        here = (side + step) % 3
        there = np.argmax(f[other] == f[face, here][:, None], axis=1)
        ends.append((3 * face + here, 3 * other + there))
    rows, cols = (np.concatenate(part) for part in zip(*ends, strict=True))
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, cols)), shape=(f.size, f.size))
    return connected_components(graph, directed=False)[1].astype(np.int64).reshape(-1, 3)


def is_vertex_manifold(faces: Faces) -> bool:
    """Whether the faces around every vertex form a single fan."""
    return int(corner_fans(faces).max(initial=-1)) + 1 == len(np.unique(faces))


def is_disk(faces: Faces) -> bool:
    """Whether faces (m, 3) are one connected manifold piece with one boundary loop and no handle."""
    if len(faces) == 0:
        return False
    e, used = edges(faces), len(np.unique(faces))
    if not _edge_manifold(faces, e):
        return False
    if int(corner_fans(faces, mesh_edges=e).max()) + 1 != used:
        return False  # faces about some vertex form more than one fan
    one = int(face_components(faces, mesh_edges=e).max()) == 0
    return one and used - len(e.ends) + len(faces) == 1 and len(_loops(_border(faces, e))) == 1
