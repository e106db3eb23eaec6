"""Summits and crests of a surface that stand out between the vertices of the triangles that are to cover it.

And the bottoms of folds, such as the crotch, over which flat triangles lie as a bridge does.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.mesh.repair import edge_keys, runs
from padlib.mesh.surface import Faces, Vertices

NEAR = 0.5  # edge lengths within which only the highest of several summits counts
THIN = 0.2  # a place with a smaller share of a corner lies near the side opposite to it
HELD = 0.25  # ... and within which of a vertex on another summit none gets its own
FAR = 0.45  # edge lengths that a vertex may go to a summit; where there is none, the summit gets a new one

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


def settled(
    v: Vertices,
    f: Faces,
    pinned: Mask,
    fine: Vertices,
    fine_faces: Faces,
    asked: Mask,
    edge: float,
    least: NDArray[np.float64],
) -> tuple[Vertices, Faces, Mask, Mask]:
    """The mesh with vertices on those summits of the surface it covers that stand out over its flat triangles.

    v (n, 3), f (m, 3): the mesh, edges about `edge` long; pinned (n,): vertices that stay; fine (p, 3), fine_faces:
    the surface; asked (p,): those of its vertices that come into question. A summit is a vertex of the surface that
    stands out or lies deep by its own `least` (p,) or more, and by no less than those beside it. A vertex near it is
    moved there, else its triangle is parted. Returns vertices, faces, pinned with those on summits, and (p,) what is
    to be asked next.
    """
    face, height = _heights(v, f, fine, asked, edge)
    top = _summits(fine, fine_faces, height, least, NEAR * edge)
    corner = f[face[top]]
    away = np.linalg.norm(v[corner] - fine[top][:, None], axis=2)
    held = (pinned[corner] & (away < HELD * edge)).any(axis=1)
    top, corner, away = top[~held], corner[~held], away[~held]
    away[pinned[corner]] = np.inf
    rows, k = np.arange(len(top)), away.argmin(axis=1)
    near = away[rows, k] < FAR * edge
    moving, first = np.unique(corner[rows, k][near], return_index=True)
    v, pinned = v.copy(), pinned.copy()
    v[moving], pinned[moving] = fine[top[near][first]], True
    taken = np.isin(f, moving).any(axis=1)
    f, new = _with_corners(v, f, taken, face[top[~near]], fine[top[~near]])
    v = np.concatenate([v, new])
    pinned = np.concatenate([pinned, np.ones(len(new), dtype=bool)])
    return v, f, pinned, height > 0.5 * least


def _with_corners(
    v: Vertices, f: Faces, taken: Mask, face: Ints, places: Vertices
) -> tuple[Faces, Vertices]:
    """Faces parted by new corners over them, numbered from the last vertex on, and their places (k, 3).

    taken (m,): faces that stay; face (p,): over which face each place (p, 3) lies, first come, first served. A place
    near a side parts both triangles beside it, one in the middle its own triangle in three.
    """
    a, b, c = (v[f[face, k]] for k in range(3))
    share = igl.barycentric_coordinates(places, a, b, c) if len(face) else np.zeros((0, 3))
    side = (share.argmin(axis=1) + 1) % 3  # of the face: from this corner to the next
    key = edge_keys(np.column_stack([f.ravel(), np.roll(f, -1, axis=1).ravel()]))
    order, first = runs(key)
    size = np.diff(np.r_[first, len(order)])
    other = np.full(len(key), -1)
    pair = first[size == 2]
    other[order[pair]], other[order[pair + 1]] = order[pair + 1] // 3, order[pair] // 3
    taken, parts, new = taken.copy(), [f], []
    gone = np.zeros(len(f), dtype=bool)
    for k, (at, thin) in enumerate(
        zip(face.tolist(), (share.min(axis=1) < THIN).tolist(), strict=True)
    ):
        mates = [at, int(other[3 * at + side[k]])] if thin else [at]
        if min(mates) < 0 or taken[mates].any():
            continue
        number = len(v) + len(new)
        new.append(places[k])
        taken[mates] = gone[mates] = True
        one, two = f[at, side[k]], f[at, (side[k] + 1) % 3]
        for mate in mates:
            for corner in range(3):
                ends = f[mate, corner], f[mate, (corner + 1) % 3]
                if not (thin and {*ends} == {one, two}):
                    parts.append(np.array([[*ends, number]]))
    parts[0] = f[~gone]
    return np.concatenate(parts), np.array(new).reshape(-1, 3)


def _heights(
    v: Vertices, f: Faces, fine: Vertices, asked: Mask, edge: float
) -> tuple[Ints, NDArray[np.float64]]:
    """The triangle (p,) beside each vertex of the surface, and how far (p,) it stands out over it or lies under it."""
    who = np.flatnonzero(asked)
    squared, near, _ = igl.point_mesh_squared_distance(fine[who], v, f)
    height, face = np.zeros(len(fine)), np.zeros(len(fine), dtype=np.int64)
    height[who] = np.where(squared < edge**2, np.sqrt(squared), 0.0)
    face[who] = near
    return face, height


def _summits(
    fine: Vertices,
    faces: Faces,
    height: NDArray[np.float64],
    least: NDArray[np.float64],
    reach: float,
) -> Ints:
    """The vertices (k,) that stand out most among their neighbours, the highest first, none within reach of another."""
    a, b = faces.T.ravel(), faces[:, [1, 2, 0]].T.ravel()
    high = (height[a] > 0.0) | (height[b] > 0.0)
    a, b = a[high], b[high]
    beside = np.zeros(len(fine))
    np.maximum.at(beside, a, height[b])
    np.maximum.at(beside, b, height[a])
    top = np.flatnonzero((height >= least) & (height >= beside))
    top = top[np.argsort(-height[top], kind="stable")]
    return top[_apart(fine[top], reach)]


def _apart(points: Vertices, reach: float) -> Ints:
    """Numbers of the points (k, 3), first come, first served, of which no two lie within reach."""
    tree, free, out = cKDTree(points) if len(points) else None, np.ones(len(points), dtype=bool), []
    for k in range(len(points)):
        if free[k]:
            out.append(k)
            free[tree.query_ball_point(points[k], reach)] = False
    return np.array(out, dtype=np.int64)
