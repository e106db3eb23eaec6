"""Cutting a slit into a panel's mesh: from its edge to a place inside, straight in a flat of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.errors import InputError
from padlib.mesh.surface import Faces, Plane, Vertices, frozen

SNAP = 0.10  # of the edges about: a line that passes a vertex more closely goes through it
TIP_SNAP = 0.75  # a tip with more than this weight on a vertex moves there
TIP_INSET = 0.12  # a tip in a face keeps this weight on each corner


@dataclass(frozen=True, eq=False)
class Line:
    """A straight line of a flat drawn into its mesh.

    vertices (n + a, 3), flat (n + a, 2), faces: the mesh with the a new vertices behind the old;
    path (k,): vertex indices of the line from first to last; origin (m',): old face of each face.
    """

    vertices: Vertices
    flat: Plane
    faces: Faces
    path: NDArray[np.int64]
    origin: NDArray[np.int64]

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "path", frozen(self.path, np.int64))
        object.__setattr__(self, "origin", frozen(self.origin, np.int64))


@dataclass(frozen=True, eq=False)
class Slit:
    """A mesh that was opened along a path.

    faces (m, 3) of the opened mesh; copies (c,): for each new vertex (numbered from n on) the old
    vertex that it doubles; left, right (k,): the two legs from mouth to apex, of the same places:
    left keeps the old indices and its faces lie to the left of the way from mouth to apex.
    """

    faces: Faces
    copies: NDArray[np.int64]
    left: NDArray[np.int64]
    right: NDArray[np.int64]

    def spread(self, values: NDArray) -> NDArray:
        """Values of the old vertices carried over to the opened mesh, doubles included."""
        return np.concatenate([values, values[self.copies]])


def open_slit(faces: Faces, path: NDArray[np.int64], count: int) -> Slit:
    """Open a mesh along a path of its edges.

    faces (m, 3); path (k,) vertex indices, the first on the boundary, all others inside;
    count: number of vertices of the mesh. Raises InputError where the path does not run so.
    """
    faces = np.array(faces, dtype=np.int64)
    path = np.asarray(path, dtype=np.int64)
    near = np.flatnonzero(_named(path[:-1], count)[faces].any(axis=1))
    half = {}
    for f in near:
        a, b, c = (int(v) for v in faces[f])
        half[a, b], half[b, c], half[c, a] = (f, c), (f, a), (f, b)
    on = {frozenset(pair) for pair in zip(path[:-1].tolist(), path[1:].tolist(), strict=True)}
    fans = [_left_fan(half, on, int(a), int(b)) for a, b in zip(path[:-1], path[1:], strict=True)]
    out = faces.copy()
    for k, (v, fan) in enumerate(zip(path[:-1], fans, strict=True)):
        around = near[(faces[near] == v).any(axis=1)]
        away = around[~np.isin(around, fan)]
        if not len(away):
            raise InputError(f"the slit turns back on itself or leaves the mesh at vertex {v}")
        block = out[away]
        block[faces[away] == v] = count + k
        out[away] = block
    right = np.append(count + np.arange(len(path) - 1), path[-1])
    return Slit(frozen(out, np.int64, 3), frozen(path[:-1], np.int64), path, right)


def _left_fan(half: dict, on: set, a: int, b: int) -> list[int]:
    """The faces around vertex a, from the one left of the path's edge a-b on, up to the path again."""
    fan, at = [], b
    while (a, at) in half:
        f, at = half[a, at]
        fan.append(f)
        if frozenset((a, at)) in on:
            break
    if not fan:
        raise InputError(f"vertices {a} and {b} of the slit are not joined by an edge of the mesh")
    return fan


def draw_line(
    vertices: Vertices, faces: Faces, flat: Plane, start: int, tip: NDArray[np.float64]
) -> Line | None:
    """Draw the straight line of a flat from one of its boundary vertices to a point into the mesh.

    vertices (n, 3); faces (m, 3); flat (n, 2) without flips; start: vertex index; tip (2,) on the flat.
    Where the line passes closely by a vertex it goes through it, so that no needle triangles arise.
    The new vertices lie on edges of the mesh (the tip in a face), so the surface is unchanged.
    Returns None where the line runs out of the flat, or along its edge, before it reaches the tip.
    """
    tip_face, weights = locate(faces, flat, np.asarray(tip, dtype=np.float64)[None])
    if tip_face[0] < 0:
        return None
    face, weight = int(tip_face[0]), weights[0]
    corner = int(np.argmax(weight))
    at_vertex = weight[corner] > TIP_SNAP
    if not at_vertex:
        weight = np.maximum(weight, TIP_INSET)
        weight /= weight.sum()
    end = int(faces[face, corner]) if at_vertex else -1
    goal = flat[end] if at_vertex else weight @ flat[faces[face]]
    rim = _named(_rim(faces), len(flat))
    side, along = _side_and_along(faces, flat, rim, start, goal, end)
    crossed = _crossings(faces, side, along)
    through = np.flatnonzero((side == 0) & (along > 0) & (along < 1))
    if crossed is None or rim[through].any() or (at_vertex and rim[end]):
        return None
    return _split(vertices, faces, flat, start, through, along, crossed, face, weight, end)


def face_tree(faces: Faces, flat: Plane) -> cKDTree:
    """A search tree of the middles of a flat's faces, for `locate`."""
    return cKDTree(flat[faces].mean(axis=1))


def locate(
    faces: Faces, flat: Plane, points: Plane, *, near: int = 24, tree: cKDTree | None = None
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The face of a flat that holds each point, -1 outside, and the weights of its corners.

    faces (m, 3); flat (n, 2) without flips; points (p, 2); near: how many faces to look at; tree:
    the `face_tree` of the flat where it is at hand.
    """
    face, weights = _nearest(faces, flat, points, near, tree)
    inside = weights.min(axis=1) > -1e-9
    weights = np.clip(weights, 0.0, None)
    weights /= np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    return np.where(inside, face, -1), weights


def carry(faces: Faces, flat: Plane, values: NDArray, points: Plane) -> NDArray[np.float64]:
    """Values (n, k) of a flat's vertices at points (p, 2), straight on beyond its outline."""
    face, weights = _nearest(faces, flat, points, 12, None)
    return np.einsum("pk,pkj->pj", weights, values[faces[face]])


def _nearest(
    faces: Faces, flat: Plane, points: Plane, near: int, tree: cKDTree | None
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The face that each point lies in or least outside of, and its weights, negative outside."""
    tree = face_tree(faces, flat) if tree is None else tree
    nearest = tree.query(points, k=min(near, len(faces)))[1].reshape(len(points), -1)
    t = flat[faces[nearest]]
    p = points[:, None]
    whole = _cross(t[:, :, 1] - t[:, :, 0], t[:, :, 2] - t[:, :, 0])
    parts = [
        _cross(t[:, :, (k + 2) % 3] - t[:, :, (k + 1) % 3], p - t[:, :, (k + 1) % 3])
        for k in range(3)
    ]
    weights = np.stack(parts, axis=2) / np.where(whole > 0, whole, np.inf)[:, :, None]
    best = np.argmax(np.where(whole > 0, weights.min(axis=2), -np.inf), axis=1)
    rows = np.arange(len(points))
    return nearest[rows, best], weights[rows, best]


def _cross(a: NDArray, b: NDArray) -> NDArray:
    """Third component of the cross product of rows of plane vectors."""
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def _named(numbers: NDArray[np.int64], count: int) -> NDArray[np.bool_]:
    """Which of so many vertices are named."""
    out = np.zeros(count, np.bool_)
    out[numbers] = True
    return out


def _rim(faces: Faces) -> NDArray[np.int64]:
    """Indices of the boundary vertices of a mesh, those of edges that one face alone has."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    n = int(faces.max()) + 1
    key = np.sort(pairs[:, 0] * n + pairs[:, 1])
    new = np.concatenate([[True], key[1:] != key[:-1], [True]])
    once = key[new[:-1] & new[1:]]
    return np.concatenate([once // n, once % n])


def _side_and_along(
    faces: Faces,
    flat: Plane,
    rim: NDArray[np.bool_],
    start: int,
    goal: NDArray[np.float64],
    end: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Signed distance of each vertex from the line, zero where it snaps, and place along it (0 to 1); rim (n,): which
    lie on the boundary."""
    way = goal - flat[start]
    length = np.hypot(*way)
    off = flat - flat[start]
    side, along = _cross(way, off) / length, off @ way / length**2
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    span = np.hypot(*(flat[ends[:, 0]] - flat[ends[:, 1]]).T)
    local = np.bincount(ends[:, 0], span, len(flat)) / np.maximum(
        np.bincount(ends[:, 0], minlength=len(flat)), 1
    )
    snaps = (np.abs(side) < SNAP * local) & (along > 0) & (along < 1 - 0.5 * local / length)
    snaps[rim] = False  # a line that touches the boundary is refused, not bent to it
    side = np.where(snaps, 0.0, side)
    side[start], along[start] = 0.0, 0.0
    if end >= 0:
        side[end], along[end] = 0.0, 1.0
    return side, along


def _crossings(
    faces: Faces, side: NDArray[np.float64], along: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]] | None:
    """Edges (c, 2) that the line crosses, weight of their second end, place along the line.

    None where the line crosses the boundary.
    """
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    pairs = pairs[side[pairs[:, 0]] * side[pairs[:, 1]] < 0]
    share = side[pairs[:, 0]] / (side[pairs[:, 0]] - side[pairs[:, 1]])
    at = along[pairs[:, 0]] * (1 - share) + along[pairs[:, 1]] * share
    on = (at > 0) & (at < 1)
    pairs, share, at = pairs[on], share[on], at[on]
    low = pairs[:, 0] < pairs[:, 1]
    if 2 * low.sum() != len(low):
        return None
    return pairs[low], share[low], at[low]


def _split(
    vertices: Vertices,
    faces: Faces,
    flat: Plane,
    start: int,
    through: NDArray[np.int64],
    along: NDArray[np.float64],
    crossed: tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]],
    tip_face: int,
    tip_weights: NDArray[np.float64],
    end: int,
) -> Line | None:
    """Put the points of the line into the mesh and split the faces that they lie in."""
    pairs, share, at = crossed
    n = len(vertices)
    tip = end if end >= 0 else n + len(pairs)
    ids = np.concatenate([[start], through, n + np.arange(len(pairs)), [tip]])
    order = np.argsort(np.concatenate([[0.0], along[through], at, [1.0]]), kind="stable")
    path = ids[order]
    on_edge = {}
    for k, (a, b) in enumerate(pairs.tolist()):
        on_edge[a, b] = on_edge[b, a] = n + k
    touched = np.flatnonzero(_named(pairs.ravel(), n)[faces].sum(axis=1) > 1).tolist()
    if end < 0:
        touched.append(tip_face)
    rows, source, gone = [], [], []
    for f in sorted(set(touched)):
        new = _parts(faces[f].tolist(), on_edge, tip if f == tip_face and end < 0 else -1)
        if len(new) > 1:
            gone.append(f)
            rows += new
            source += [f] * len(new)
    keep = np.flatnonzero(~_named(np.array(gone, dtype=np.int64), len(faces)))
    out = np.concatenate([faces[keep], np.array(rows, dtype=np.int64).reshape(-1, 3)])
    origin = np.concatenate([keep, np.array(source, dtype=np.int64)])
    parts = [[], []]
    for k, values in enumerate((vertices, flat)):
        new = values[pairs[:, 0]] * (1 - share)[:, None] + values[pairs[:, 1]] * share[:, None]
        parts[k] = [values, new] + (
            [(tip_weights @ values[faces[tip_face]])[None]] if end < 0 else []
        )
    line = Line(np.concatenate(parts[0]), np.concatenate(parts[1]), out, path, origin)
    return line if _is_path(out, path) else None


def _parts(corners: list[int], on_edge: dict, inner: int) -> list[list[int]]:
    """A face cut at the points on its edges and, where inner >= 0, at a point inside."""
    ring = []
    for k in range(3):
        a, b = corners[k], corners[(k + 1) % 3]
        ring.append(a)
        if (a, b) in on_edge:
            ring.append(on_edge[a, b])
    if inner >= 0:
        return [[a, b, inner] for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    if len(ring) == 3:
        return [ring]
    new = set(on_edge.values())
    while ring[0] not in new or (len(ring) == 5 and ring[2] not in new):
        ring = ring[1:] + ring[:1]
    if len(ring) == 4:
        return [[ring[0], ring[1], ring[2]], [ring[0], ring[2], ring[3]]]
    return [ring[:3], [ring[0], ring[2], ring[3]], [ring[0], ring[3], ring[4]]]


def _is_path(faces: Faces, path: NDArray[np.int64]) -> bool:
    """Whether each two neighbours of the path are joined by an edge of the mesh."""
    near = faces[_named(path, int(faces.max()) + 1)[faces].sum(axis=1) > 1]
    pairs = np.concatenate([near[:, [0, 1]], near[:, [1, 2]], near[:, [2, 0]]])
    have = {(a, b) for a, b in pairs.tolist()}
    steps = zip(path[:-1].tolist(), path[1:].tolist(), strict=True)
    return len(set(path.tolist())) == len(path) and all(
        (a, b) in have or (b, a) in have for a, b in steps
    )
