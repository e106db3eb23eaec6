"""Places where a moved surface newly runs through itself, moved as one piece instead: lips, lids, armpits.

Lips that all but touch cross when each is moved a little otherwise. Moved together, by the one similarity nearest to
their movement, they keep apart as they were (S. Umeyama 1991, "Least-squares estimation of transformation parameters").
"""

from __future__ import annotations

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from padlib.body.quiet import neighbours
from padlib.body.warp import skin_laplacian
from padlib.mesh.crossings import crossings
from padlib.mesh.solve import factor
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

REACHES = (
    1.2,
    2.0,
    3.0,
    4.5,
)  # of the patches that move as one, in edges; they fade out over as much again
STEPS = 2  # tries with each
TRIES = 5  # of smoothing out what still crosses


def calmed(before: Surface, after: Surface, mirror: Ints | None = None) -> Surface:
    """The moved surface with as few new crossings as patches that move as one can make.

    before, after: the same triangles; mirror (n,): each vertex's image in x = 0, for a symmetric body.
    """
    known = _crossing(before)
    edge = _edge(before)
    best, least = after, len(_crossing(after) - known)
    now = after
    for reach in np.repeat(REACHES, STEPS):
        new = _crossing(now) - known
        if not new:
            break
        marked = np.zeros(len(now.vertices), dtype=bool)
        marked[now.faces[list(new)]] = True
        if mirror is not None:
            marked |= marked[mirror]
        now = Surface(_as_one(before.vertices, now.vertices, marked, reach * edge), now.faces)
        if mirror is not None:
            v = now.vertices
            now = Surface(0.5 * (v + v[mirror] * [-1.0, 1.0, 1.0]), now.faces)
        count = len(_crossing(now) - known)
        if count < least:
            best, least = now, count
    return best


def untangled(surface: Surface, mirror: Ints | None = None) -> Surface:
    """The surface with the places where it runs through itself smoothed out, wider from try to try."""
    edge = _edge(surface)
    mean = neighbours(len(surface.vertices), surface.faces)
    for turn in range(TRIES):
        faces = _crossing(surface)
        if not faces:
            break
        marked = np.zeros(len(surface.vertices))
        marked[surface.faces[list(faces)]] = 1.0
        if mirror is not None:
            marked = np.maximum(marked, marked[mirror])
        for _ in range(2 + turn):
            marked = np.maximum(marked, mean @ marked > 1e-9)
        v = smoothed(surface.vertices, surface.faces, marked * (1.2 + 0.6 * turn) * edge)
        if mirror is not None:
            v = 0.5 * (v + v[mirror] * [-1.0, 1.0, 1.0])
        surface = Surface(v, surface.faces)
    return surface


def smoothed(v: Array, f: Ints, reach: Array) -> Array:
    """Vertices (n, 3) that bend least while they stay near, by a reach (n,) in mm; where that is nought they stay.

    Waves shorter than 2 pi times the reach go (M. Botsch and others 2010, "Polygon Mesh Processing", chapter 4).
    """
    laplacian = skin_laplacian(v, f)
    area = igl.massmatrix(v, f, igl.MASSMATRIX_TYPE_BARYCENTRIC).diagonal()
    area = np.maximum(area, 0.05 * np.median(area))
    bend = laplacian.T @ sp.diags(reach**4 / area) @ laplacian
    return factor(sp.csc_matrix(sp.diags(area) + bend)).solve(area[:, None] * v)


def _crossing(surface: Surface) -> set[int]:
    """The triangles that others pierce, and those that pierce them."""
    edges, faces = crossings(surface.vertices, surface.faces)
    if not len(faces):
        return set()
    ends = np.isin(surface.faces, edges)
    pairs = {tuple(sorted(e)) for e in edges.tolist()}
    near = np.flatnonzero(ends.sum(axis=1) >= 2)
    out = set(faces.tolist())
    for k in near.tolist():
        a, b, c = sorted(surface.faces[k].tolist())
        if {(a, b), (b, c), (a, c)} & pairs:
            out.add(k)
    return out


def _edge(surface: Surface) -> float:
    """The middle length of an edge, mm."""
    v, f = surface.vertices, surface.faces
    return float(np.median(np.linalg.norm(v[f[:, 0]] - v[f[:, 1]], axis=1)))


def _as_one(before: Array, after: Array, marked: NDArray[np.bool_], reach: float) -> Array:
    """Positions (n, 3) with each cluster of marked vertices, and what is within reach (mm), moved by one similarity."""
    seeds = np.flatnonzero(marked)
    pairs = cKDTree(before[seeds]).query_pairs(2.0 * reach, output_type="ndarray")
    count = len(seeds)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    groups, label = connected_components(graph, directed=False)
    tree = cKDTree(before)
    out = after.copy()
    for g in range(groups):
        own = seeds[label == g]
        near = np.unique(
            np.concatenate(tree.query_ball_point(before[own], 2.0 * reach)).astype(int)
        )
        apart = cKDTree(before[own]).query(before[near])[0]
        t = np.clip(2.0 - apart / reach, 0.0, 1.0)
        weight = (t * t * (3 - 2 * t))[:, None]
        moved = _similar(before[near], after[near], weight)
        out[near] += weight * (moved - after[near])
    return out


def _similar(first: Array, second: Array, weight: Array) -> Array:
    """Points (k, 3) moved by the weighted similarity that brings them nearest to their partners (k, 3)."""
    total = weight.sum()
    a, b = ((weight * p).sum(axis=0) / total for p in (first, second))
    p, q = first - a, second - b
    u, size, vt = np.linalg.svd((weight * q).T @ p)
    sign = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    scale = float(size @ sign) / max(float((weight * p * p).sum()), 1e-9)
    return b + scale * p @ (u * sign @ vt).T
