"""Cutting disks out of meshes for the tests: along level lines, open along paths, apart at pinches.

Written apart from padlib's own cutting, so that a fault there cannot hide one here. Meshes are
vertices (n, 3) and oriented faces (m, 3).
"""

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components, dijkstra

TURNS = ((0, 1), (1, 2), (2, 0))


def half_edges(faces):
    """Start, end and face of the 3 m half-edges."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return start, end, np.repeat(np.arange(len(faces)), 3)


def graph(vertices, faces):
    """Edge lengths as a symmetric sparse matrix (n, n); edges of no length count a little."""
    start, end, _ = half_edges(faces)
    length = np.linalg.norm(vertices[start] - vertices[end], axis=1)
    length = np.maximum(length, 1e-9 * max(length.max(), 1e-30))
    half = sp.coo_matrix((length, (start, end)), (len(vertices),) * 2).tocsr()
    return half.maximum(half.T)


def twins(faces):
    """Pairs (e, 2) of half-edges that run along one edge in opposite ways."""
    start, end, _ = half_edges(faces)
    size = int(faces.max()) + 1
    keys, back = start * size + end, end * size + start
    order = np.argsort(keys)
    at = np.minimum(np.searchsorted(keys[order], back), len(keys) - 1)
    mate = order[at]
    found = (keys[mate] == back) & (start < end)
    return np.column_stack([np.flatnonzero(found), mate[found]])


def largest_part(faces):
    """The largest edge-connected part of the faces, vertices as they were."""
    pairs = twins(faces) // 3
    links = sp.coo_matrix((np.ones(len(pairs)), pairs.T), (len(faces),) * 2)
    _, part = connected_components(links, directed=False)
    return faces[part == np.bincount(part).argmax()]


def opened(vertices, faces, cut=()):
    """The mesh cut open along edges (k, 2), and apart where it hangs together at a vertex only."""
    start, end, _ = half_edges(faces)
    pairs = twins(faces)
    if len(cut):
        size = len(vertices)
        keys = np.sort(np.stack([start, end], axis=1), axis=1) @ [size, 1]
        pairs = pairs[~np.isin(keys[pairs[:, 0]], np.sort(np.asarray(cut), axis=1) @ [size, 1])]
    after = 3 * (np.arange(3 * len(faces)) // 3) + (np.arange(3 * len(faces)) + 1) % 3
    ends = np.concatenate(
        [
            np.column_stack([pairs[:, 0], after[pairs[:, 1]]]),
            np.column_stack([after[pairs[:, 0]], pairs[:, 1]]),
        ]
    )
    links = sp.coo_matrix((np.ones(len(ends)), ends.T), (3 * len(faces),) * 2)
    count, corner = connected_components(links, directed=False)
    place = np.zeros((count, 3))
    place[corner] = vertices[faces.ravel()]
    return place, corner.reshape(-1, 3).astype(np.int64)


def loops(faces):
    """The boundary loops of a mesh without pinches, as lists of vertices."""
    start, end, _ = half_edges(faces)
    alone = np.ones(len(start), bool)
    alone[twins(faces).ravel()] = False
    after = dict(zip(start[alone].tolist(), end[alone].tolist(), strict=True))
    out = []
    while after:
        first, at = next(iter(after.items()))
        loop = [first]
        del after[first]
        while at != first:
            loop.append(at)
            at = after.pop(at)
        out.append(loop)
    return out


def euler(faces):
    """Vertices less edges plus faces."""
    start, end, _ = half_edges(faces)
    edges = np.unique(np.minimum(start, end) * (int(faces.max()) + 1) + np.maximum(start, end))
    return len(np.unique(faces)) - len(edges) + len(faces)


def path(vertices, faces, sources, targets):
    """The shortest edge path from a source vertex to a target vertex, as edges (k, 2)."""
    far, before, _ = dijkstra(
        graph(vertices, faces), indices=sources, min_only=True, return_predecessors=True
    )
    at = int(targets[np.argmin(far[targets])])
    way = [at]
    while before[way[-1]] >= 0:
        way.append(int(before[way[-1]]))
    return np.column_stack([way[:-1], way[1:]])


def disk(vertices, faces, rng):
    """One disk from any part of a mesh: its largest part, cut from hole to hole, or None.

    A closed part is slit between two random vertices; a part with handles gives None.
    """
    vertices, faces = opened(vertices, largest_part(faces))
    rims = loops(faces)
    if not rims and euler(faces) == 2:
        ends = rng.choice(len(vertices), 2, replace=False)
        vertices, faces = opened(vertices, faces, path(vertices, faces, ends[:1], ends[1:]))
        rims = loops(faces)
    while len(rims) > 1 and euler(faces) == 2 - len(rims):
        others = np.concatenate([np.array(rim) for rim in rims[1:]])
        vertices, faces = opened(vertices, faces, path(vertices, faces, rims[0], others))
        rims = loops(faces)
    return (vertices, faces) if len(rims) == 1 and euler(faces) == 1 else None


def clipped(vertices, faces, level):
    """The part where level (n,) is below zero, cut exactly along its zero line: slivers and all."""
    level = np.where(level == 0, -1e-300, level)
    inside = level < 0
    count = inside[faces].sum(axis=1)
    whole, one, two = faces[count == 3], faces[count == 1], faces[count == 2]
    one = _turned(one, np.argmax(inside[one], axis=1)) if len(one) else one
    two = _turned(two, np.argmax(~inside[two], axis=1)) if len(two) else two
    ends = np.concatenate([one[:, [0, 1]], one[:, [0, 2]], two[:, [1, 0]], two[:, [2, 0]]])
    if not len(ends):
        return vertices, whole
    edges, at = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True)
    at = at.ravel() + len(vertices)
    a, b = edges.T
    share = (level[a] / (level[a] - level[b]))[:, None]
    made = vertices[a] + share * (vertices[b] - vertices[a])
    i, j = len(one), len(two)
    p, q, r, s = at[:i], at[i : 2 * i], at[2 * i : 2 * i + j], at[2 * i + j :]
    parts = [
        whole,
        np.column_stack([one[:, 0], p, q]),
        np.column_stack([r, two[:, 1], two[:, 2]]),
        np.column_stack([r, two[:, 2], s]),
    ]
    return np.vstack([vertices, made]), np.vstack(parts)


def _turned(faces, first):
    """Faces turned so that corner `first` (m,) comes first."""
    return np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1)


def compact(vertices, faces):
    """The mesh without unused vertices."""
    used, at = np.unique(faces, return_inverse=True)
    return vertices[used], at.reshape(-1, 3)
