"""Filling holes on the mesh itself: a disk for each rim, bent to run on smoothly."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import diags
from scipy.sparse.linalg import spsolve
from scipy.spatial import Delaunay, cKDTree

from padlib.mesh.areas import face_areas
from padlib.mesh.noise import neighbour_mean
from padlib.mesh.repair import (
    boundary_edges,
    components,
    directed_edges,
    edge_keys,
    times,
)
from padlib.mesh.surface import Faces, Surface, Vertices

KEPT, FILLED, CUT = 0, 1, 2  # what a vertex of a closed surface is
CUT_FLAT = 0.06  # a cut rim's spread across its plane, in parts of its length's spread
CUT_STEEP = 0.6  # sine of the angle at which the surface comes out of a cut
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
        free = (times(edge_keys(edges)) == 1).reshape(3, -1).sum(axis=0)
        if not (free >= 2).any():
            break
        faces = faces[free < 2]
    return faces


def fill_holes(
    surface: Surface, *, edge: float, cut: float = np.inf
) -> tuple[Surface, NDArray[np.int8]]:
    """Close every boundary loop with a smooth patch whose triangles grow to about `edge`.

    Each rim is laid on a circle by its own lengths, the disk inside it is triangulated (Delaunay),
    laid into the hole as a membrane and then bent so that it goes on where the surface around left
    off (thin plate: the Laplacian of the Laplacian is zero; M. Botsch and L. Kobbelt, "An intuitive
    framework for real-time freeform modeling", SIGGRAPH 2004).
    A rim wider than `cut` that lies in a plane, with the surface running square to it, is where a
    part of the body ends: its disk stays flat.
    Returns the closed surface and for each vertex (n,) KEPT, FILLED or CUT.
    """
    vertices, faces = surface.vertices, surface.faces
    count = len(vertices)
    new_points, new_faces, kind = [], [], [np.full(count, KEPT, dtype=np.int8)]
    total = count
    for loop in rims(faces):
        inner, patch = _disk(vertices[loop], edge)
        number = np.r_[loop, total + np.arange(len(inner))]
        new_points.append(inner)
        new_faces.append(number[patch])
        total += len(inner)
        flat = np.isfinite(cut) and _is_cut(vertices, faces, loop, cut)
        kind.append(np.full(len(inner), CUT if flat else FILLED, dtype=np.int8))
    made = np.concatenate(kind)
    if not new_faces:
        return surface, made
    points = np.concatenate([vertices, *new_points])
    closed = np.concatenate([faces, *new_faces])
    if (made == FILLED).any():
        points = _bent(points, closed, made == FILLED)
    return Surface(points, closed), made


def _is_cut(vertices: Vertices, faces: Faces, loop: NDArray[np.int64], least: float) -> bool:
    """Whether a rim is wide, lies in a plane, and the surface runs square to that plane."""
    rim = vertices[loop]
    if np.ptp(rim, axis=0).max() < least:
        return False
    away = rim - rim.mean(axis=0)
    _, spread, axes = np.linalg.svd(away, full_matrices=False)
    if spread[2] > CUT_FLAT * spread[0]:
        return False
    on_rim = np.zeros(len(vertices), dtype=bool)
    on_rim[loop] = True
    near = faces[on_rim[faces].sum(axis=1) == 2]
    inner = vertices[near[~on_rim[near]]]
    outer = (vertices[near] * on_rim[near][:, :, None]).sum(axis=1) / 2.0
    way = inner - outer
    rise = np.abs(way @ axes[2]) / np.maximum(np.linalg.norm(way, axis=1), 1e-12)
    return bool(len(rise) and np.median(rise) > CUT_STEEP)


def bridge_pieces(surface: Surface, *, edge: float, reach: float) -> Surface:
    """Join pieces by tubes from rim to rim, such as an arm that a hole has cut off.

    Each piece but the largest is joined at the two rims that lie closest, when these are within
    `reach` on average; pieces without such a rim stay apart. The tubes are bent by `fill_holes`'s
    rule. Each rim must be a simple loop.
    """
    first = len(surface.vertices)
    skipped: set[int] = set()
    while True:
        piece = components(surface.faces)
        area = np.bincount(piece, face_areas(surface.vertices, surface.faces))
        owner = np.zeros(len(surface.vertices), dtype=np.int64)
        owner[surface.faces] = piece[:, None]
        loops = rims(surface.faces)
        main = int(np.argmax(area))
        pair = _closest_rims(surface.vertices, loops, owner, main, skipped)
        if pair is None:
            break
        one, two, apart = pair
        if apart > reach:
            skipped.add(int(two[0]))
            continue
        surface = _with_tube(surface, one, two, edge)
    new = np.arange(len(surface.vertices)) >= first
    if not new.any():
        return surface
    return Surface(_bent(surface.vertices, surface.faces, new), surface.faces)


def _closest_rims(
    vertices: Vertices,
    loops: list[NDArray[np.int64]],
    owner: NDArray[np.int64],
    main: int,
    skipped: set[int],
) -> tuple[NDArray[np.int64], NDArray[np.int64], float] | None:
    """The rim of the main piece and the rim of another that lie closest, and how far apart."""
    least = 0.25 * max((_around(vertices[loop]) for loop in loops), default=0.0)
    large = [loop for loop in loops if _around(vertices[loop]) >= least]
    best = None
    for two in large:
        if owner[two[0]] == main or int(two[0]) in skipped:
            continue
        for one in large:
            if owner[one[0]] != main:
                continue
            p, q = vertices[one], vertices[two]
            apart = (cKDTree(p).query(q)[0].mean() + cKDTree(q).query(p)[0].mean()) / 2.0
            if best is None or apart < best[2]:
                best = (one, two, float(apart))
    return best


def _around(rim: Vertices) -> float:
    """Length of a closed run of points."""
    return float(np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).sum())


def _with_tube(
    surface: Surface, one: NDArray[np.int64], two: NDArray[np.int64], edge: float
) -> Surface:
    """The surface with a membrane between two rims, laid out as a ring in the plane."""
    v = surface.vertices
    outer, inner = _angles(v[one]), -_angles(v[two])
    inner = inner + _best_twist(v[one], outer, v[two], inner)
    apart = float(cKDTree(v[one]).query(v[two])[0].mean())
    count = int(np.clip(round(apart / edge), 1, 30))
    size = 2.0 * np.pi / len(one)
    hole = max(0.3, 1.0 - (count + 1) * 0.87 * size)
    radii = np.linspace(1.0, hole, count + 2)[1:-1]
    rings = []
    for k, radius in enumerate(radii):
        on_ring = round(len(one) + (len(two) - len(one)) * (k + 1) / (count + 1))
        angle = 2.0 * np.pi * (np.arange(on_ring) + 0.5 * k + 0.25) / on_ring
        rings.append(radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    flat = np.concatenate([_on_circle(outer), hole * _on_circle(inner), *rings])
    fixed = np.concatenate([one, two])
    patch = Delaunay(flat).simplices.astype(np.int64)
    within = (patch >= len(one)) & (patch < len(fixed))
    patch = _clockwise(flat, patch[~within.all(axis=1)])
    points = _membrane(v[fixed], patch, len(flat))
    number = np.r_[fixed, len(v) + np.arange(len(points))]
    return Surface(np.concatenate([v, points]), np.concatenate([surface.faces, number[patch]]))


def _angles(rim: Vertices) -> NDArray[np.float64]:
    """Angles (r,) on a circle that share it out as the rim (r, 3) shares out its length."""
    step = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    around = float(step.sum())
    share = step / around if around > 0.0 else np.full(len(rim), 1.0 / len(rim))
    # equal shares mixed in keep points apart where the rim has edges of no length
    share = 0.95 * share + 0.05 / len(rim)
    return 2.0 * np.pi * np.r_[0.0, np.cumsum(share)[:-1]]


def _on_circle(angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (k, 2) of the unit circle."""
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _best_twist(
    one: Vertices, outer: NDArray[np.float64], two: Vertices, inner: NDArray[np.float64]
) -> float:
    """The turn of the inner rim's angles that brings like angles closest in space."""
    at = 2.0 * np.pi * np.arange(90) / 90.0
    p = _at_angles(one, outer, at)
    twists = at
    apart = [np.sum((p - _at_angles(two, inner, at - twist)) ** 2) for twist in twists]
    return float(twists[int(np.argmin(apart))])


def _at_angles(
    rim: Vertices, angle: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Points of a rim at given angles of its circle."""
    full = 2.0 * np.pi
    return np.stack([np.interp(at, angle, rim[:, k], period=full) for k in range(3)], axis=1)


def _disk(rim: Vertices, edge: float) -> tuple[Vertices, Faces]:
    """Inner points (k, 3) of a membrane in a rim (r, 3), and its faces on rim then inner points.

    The faces run against the rim, as the other side of each rim edge must.
    """
    count = len(rim)
    if count == 3:
        return np.zeros((0, 3)), np.array([[0, 2, 1]])
    inner = _rings(count, 2.0 * np.pi * edge / max(_around(rim), 1e-12))
    flat = np.concatenate([_on_circle(_angles(rim)), inner])
    patch = _clockwise(flat, Delaunay(flat).simplices.astype(np.int64))
    return _membrane(rim, patch, len(flat)), patch


def _clockwise(flat: NDArray[np.float64], faces: Faces) -> Faces:
    """Faces of a plane triangulation, all turned clockwise."""
    a, b, c = (flat[faces[:, k]] for k in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    faces[turn > 0] = faces[turn > 0][:, [0, 2, 1]]
    return faces


def _membrane(fixed: Vertices, faces: Faces, total: int) -> Vertices:
    """Places (k, 3) of the points after the fixed ones, each in the mean of its neighbours."""
    count = len(fixed)
    if total == count:
        return np.zeros((0, 3))
    pull = (diags(np.ones(total)) - neighbour_mean(faces, total)).tocsr()[count:]
    return spsolve(pull[:, count:].tocsc(), -(pull[:, :count] @ fixed)).reshape(-1, 3)


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
    v[free] = thin_plate(v, local, free, plain=True)
    for _ in range(rounds):
        v[free] = thin_plate(v, local, free, plain=False)
    out = np.array(vertices)
    out[used[free]] = v[free]
    return out


def thin_plate(
    v: Vertices,
    faces: Faces,
    free: NDArray[np.int64],
    *,
    plain: bool,
    hinge: NDArray[np.bool_] | None = None,
    even: float = 0.0,
) -> NDArray[np.float64]:
    """Places (k, 3) of the free vertices for which the bending of the patch is least.

    plain: by the mesh's own steps, else by lengths as they are; hinge (n,): vertices at which bending costs nothing;
    even: mm over which bending may hardly change, so that it runs on from the surroundings as their slope does (the
    squared gradient of the mean curvature, after H. Moreton and C. Sequin, "Functional optimization for fair surface
    design", SIGGRAPH 1992).
    """
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
    if hinge is not None:
        weight[hinge] = 0.0
    bend = (pull.T @ diags(weight) @ pull).tocsr()
    if even > 0.0:
        curved = diags(weight) @ pull
        told = faces[~edge[faces].any(axis=1)]  # towards a hinge it straightens
        change = -igl.cotmatrix(v, told).tocsr()
        bend = (bend + even**2 * (curved.T @ change @ curved)).tocsr()
    known = np.ones(len(v), dtype=bool)
    known[free] = False
    rows = bend[free]
    known = np.flatnonzero(known)
    return spsolve(rows[:, free].tocsc(), -(rows[:, known] @ v[known])).reshape(-1, 3)
