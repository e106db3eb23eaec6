"""Filling holes on the mesh itself: a disk for each rim, bent to run on smoothly."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import diags
from scipy.sparse.linalg import spsolve
from scipy.spatial import Delaunay

from padlib.mesh.noise import neighbour_mean
from padlib.mesh.repair import boundary_edges, directed_edges, edge_keys
from padlib.mesh.surface import Faces, Surface, Vertices

GROWTH = 1.3  # each ring of a filling may have triangles this much larger than the one outside it


def rims(faces: Faces) -> list[NDArray[np.int64]]:
    """The closed boundary loops as vertex runs, along the surface's own direction; longest first.

    The surface must have at most one fan at each vertex.
    """
    edges = boundary_edges(faces)
    following = dict(zip(edges[:, 0].tolist(), edges[:, 1].tolist(), strict=True))
    loops = []
    while following:
        start, at = following.popitem()
        loop = [start]
        while at != start:
            loop.append(at)
            at = following.pop(at)
        loops.append(np.array(loop))
    return sorted(loops, key=lambda loop: (-len(loop), int(loop.min())))


def trim_rim(faces: Faces, *, rounds: int = 3) -> Faces:
    """Drop faces that hang on the rim by one edge only (two or three of their edges are free)."""
    for _ in range(rounds):
        edges = directed_edges(faces)
        _, inverse, count = np.unique(edge_keys(edges), return_inverse=True, return_counts=True)
        free = (count[inverse.reshape(-1)] == 1).reshape(3, -1).sum(axis=0)
        if not (free >= 2).any():
            break
        faces = faces[free < 2]
    return faces


def fill_holes(surface: Surface, *, edge: float) -> tuple[Surface, NDArray[np.bool_]]:
    """Close every boundary loop with a smooth patch whose triangles grow to about `edge`.

    Each rim is laid on a circle by its own lengths, the disk inside it is triangulated (Delaunay),
    laid into the hole as a membrane and then bent so that it goes on where the surface around left
    off (thin plate: the Laplacian of the Laplacian is zero; M. Botsch and L. Kobbelt, "An intuitive
    framework for real-time freeform modeling", SIGGRAPH 2004).
    Returns the closed surface and which vertices (n,) are new.
    """
    vertices, faces = surface.vertices, surface.faces
    count = len(vertices)
    new_points, new_faces = [], []
    total = count
    for loop in rims(faces):
        inner, patch = _disk(vertices[loop], edge)
        number = np.r_[loop, total + np.arange(len(inner))]
        new_points.append(inner)
        new_faces.append(number[patch])
        total += len(inner)
    if not new_faces:
        return surface, np.zeros(count, dtype=bool)
    points = np.concatenate([vertices, *new_points])
    closed = np.concatenate([faces, *new_faces])
    new = np.arange(total) >= count
    if new.any():
        points = _bent(points, closed, new)
    return Surface(points, closed), new


def _disk(rim: Vertices, edge: float) -> tuple[Vertices, Faces]:
    """Inner points (k, 3) of a membrane in a rim (r, 3), and its faces on rim then inner points.

    The faces run against the rim, as the other side of each rim edge must.
    """
    count = len(rim)
    step = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    around = float(step.sum())
    if around <= 0.0:
        step, around = np.ones(count), float(count)
    # equal shares mixed in keep points apart where the rim has edges of no length
    angle = 2.0 * np.pi * np.r_[0.0, np.cumsum(0.95 * step / around + 0.05 / count)[:-1]]
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    inner = _rings(count, 2.0 * np.pi * edge / around)
    flat = np.concatenate([circle, inner])
    if count == 3:
        return np.zeros((0, 3)), np.array([[0, 2, 1]])
    patch = Delaunay(flat).simplices.astype(np.int64)
    a, b, c = (flat[patch[:, k]] for k in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    patch[turn > 0] = patch[turn > 0][:, [0, 2, 1]]
    if not len(inner):
        return np.zeros((0, 3)), patch
    mean = neighbour_mean(patch, len(flat))
    pull = diags(np.ones(len(flat))) - mean
    pull = pull.tocsr()[count:]
    return spsolve(pull[:, count:].tocsc(), -(pull[:, :count] @ rim)).reshape(-1, 3), patch


def _rings(count: int, largest: float) -> NDArray[np.float64]:
    """Points (k, 2) on rings inside the unit circle, from its `count` points growing to `largest`."""
    size = 2.0 * np.pi / count
    radius, points, twist = 1.0, [], 0.0
    largest = max(largest, size)
    while True:
        radius -= 0.87 * size
        size = min(size * GROWTH, largest)
        if radius < 0.6 * size:
            break
        on_ring = max(3, round(2.0 * np.pi * radius / size))
        twist += 0.5 + 0.01 * len(points)
        angle = 2.0 * np.pi * (np.arange(on_ring) + twist) / on_ring
        points.append(radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    if count > 5 or points:
        points.append(np.zeros((1, 2)))
    return np.concatenate(points) if points else np.zeros((0, 2))


def _bent(vertices: Vertices, faces: Faces, new: NDArray[np.bool_], *, rounds: int = 3) -> Vertices:
    """The new vertices moved to the thin-plate surface over their surroundings."""
    near = new.copy()
    for _ in range(3):
        near[faces[near[faces].any(axis=1)]] = True
    local = faces[near[faces].all(axis=1)]
    used, inverse = np.unique(local, return_inverse=True)
    local = inverse.reshape(-1, 3)
    v = np.array(vertices[used])
    free = np.flatnonzero(new[used])
    v[free] = _thin_plate(v, local, free, plain=True)
    for _ in range(rounds):
        v[free] = _thin_plate(v, local, free, plain=False)
    out = np.array(vertices)
    out[used[free]] = v[free]
    return out


def _thin_plate(
    v: Vertices, faces: Faces, free: NDArray[np.int64], *, plain: bool
) -> NDArray[np.float64]:
    """Places (k, 3) of the free vertices for which the bending of the patch is least."""
    if plain:
        mean = neighbour_mean(faces, len(v))
        pull = (diags(np.ones(len(v))) - mean).tocsr()
        weight = np.ones(len(v))
    else:
        pull = -igl.cotmatrix(v, faces).tocsr()
        area = igl.massmatrix(v, faces, igl.MASSMATRIX_TYPE_BARYCENTRIC).diagonal()
        weight = 1.0 / np.maximum(area, 1e-3 * np.median(area))
    # the outermost ring has no whole neighbourhood: its rows say nothing
    edge = np.zeros(len(v), dtype=bool)
    edge[np.unique(boundary_edges(faces))] = True
    weight[edge] = 0.0
    bend = (pull.T @ diags(weight) @ pull).tocsr()
    known = np.ones(len(v), dtype=bool)
    known[free] = False
    rows = bend[free]
    known = np.flatnonzero(known)
    return spsolve(rows[:, free].tocsc(), -(rows[:, known] @ v[known])).reshape(-1, 3)
