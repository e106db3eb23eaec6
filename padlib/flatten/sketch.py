"""A coarse copy of a panel, meshed anew for every set of darts that is tried on it.

The panel has a flat without darts. In that plane the outline is thinned, the inside is filled with a
triangular grid, darts are straight lines, and a Delaunay triangulation joins the points; each point
keeps its exact place on the panel in 3D. Some 700 triangles tell the 95th percentile of stretch of
a panel of thousands to a few hundredths of itself, in hundredths of a second.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, QhullError, cKDTree

from padlib.errors import InputError
from padlib.flatten.disk import boundary_edges
from padlib.flatten.slit import face_tree, locate, open_slit
from padlib.flatten.stretch import areas
from padlib.mesh.surface import Faces, Plane, Vertices

CLEAR = 0.55  # of the spacing: how far grid points keep from outline and darts
GAP = 0.02  # of the spacing: how far the legs of a slit are drawn apart to begin with


@dataclass(frozen=True)
class Wedge:
    """A dart as it is sought: from a boundary vertex of the panel straight to a tip on its flat."""

    mouth: int
    tip: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Mesh:
    """A sketch's mesh with its darts slit open: vertices, flat (start), faces, legs (left, right)."""

    vertices: Vertices
    flat: Plane
    faces: Faces
    legs: tuple[tuple[NDArray[np.int64], NDArray[np.int64]], ...]


@dataclass(frozen=True, eq=False)
class Sketch:
    """What does not change between tries.

    vertices, faces, flat: the panel and its flat without darts; loop (b,): its boundary; outline
    (b, 2); kept (k,): places of the loop that the sketch keeps; grid (g, 2), grid_at (g, 3): the
    inner points; spacing: mm; tree: of the panel's faces.
    """

    vertices: Vertices
    faces: Faces
    flat: Plane
    loop: NDArray[np.int64]
    outline: Plane
    kept: NDArray[np.int64]
    grid: Plane
    grid_at: Vertices
    spacing: float
    tree: cKDTree


def sketch(
    vertices: Vertices,
    faces: Faces,
    flat: Plane,
    loop: NDArray[np.int64],
    *,
    corners: NDArray[np.int64] | None = None,
    triangles: int = 700,
) -> Sketch | None:
    """Prepare a sketch of about so many triangles; None where the outline does not allow one.

    vertices (n, 3) mm; faces (m, 3); flat (n, 2) mm, no flips, no overlaps; loop (b,): boundary,
    counter-clockwise; corners: boundary vertices that must be kept.
    """
    spacing = float(np.sqrt(areas(vertices, faces).sum() / (0.433 * triangles)))
    outline = flat[loop]
    forced = np.isin(loop, corners) if corners is not None else np.zeros(len(loop), bool)
    kept = _thinned(outline, forced, spacing)
    grid = grid_within(outline, spacing)
    tree = face_tree(faces, flat)
    made = Sketch(vertices, faces, flat, loop, outline, kept, grid, np.zeros((0, 3)), spacing, tree)
    for _ in range(6):
        missing = _missing_edges(made)
        if not len(missing):
            return _lifted(made)
        more = _halfway(made.kept, missing, len(loop))
        kept = np.union1d(made.kept, more)
        if len(kept) == len(made.kept):
            return None
        made = replace(made, kept=kept)
    return None


def draw(sketch: Sketch, wedges: tuple[Wedge, ...]) -> Mesh | None:
    """The sketch's mesh with these darts slit open; None where they cannot be drawn into it."""
    h = sketch.spacing
    rim = _rim_with(sketch, wedges)
    at = {int(v): i for i, v in enumerate(sketch.loop[rim])}
    plane, space = [sketch.outline[rim]], [sketch.vertices[sketch.loop[rim]]]
    paths, count = [], len(rim)
    far = np.ones(len(sketch.grid), bool)
    for wedge in wedges:
        mouth, tip = sketch.flat[wedge.mouth], np.asarray(wedge.tip)
        steps = max(1, int(np.ceil(np.hypot(*(tip - mouth)) / h - 0.25)))
        points = mouth + np.arange(1, steps + 1)[:, None] / steps * (tip - mouth)
        lifted = _lift(sketch, points)
        if lifted is None:
            return None
        plane.append(points)
        space.append(lifted)
        paths.append(np.concatenate([[at[wedge.mouth]], count + np.arange(steps)]))
        count += steps
        far &= _distance(sketch.grid, mouth[None], tip[None]) > CLEAR * h
    flat = np.concatenate([*plane, sketch.grid[far]])
    vertices = np.concatenate([*space, sketch.grid_at[far]])
    faces = _triangulate(flat, len(rim))
    return None if faces is None else _opened(vertices, flat, faces, paths, h)


def halves(sketch: Sketch, first: int, last: int) -> tuple[Mesh, Mesh, Vertices] | None:
    """The sketch cut in two along the straight line between two of its kept places of the loop.

    first, last: places in `kept`. Returns the part that lies left of the way, the part right of it,
    and the line (k, 3) on the panel; None where the line does not run through the inside.
    """
    outline, rim = sketch.outline[sketch.kept], len(sketch.kept)
    a, b = outline[first], outline[last]
    steps = max(2, int(np.ceil(np.hypot(*(b - a)) / sketch.spacing)))
    points = a + np.arange(1, steps)[:, None] / steps * (b - a)
    lifted = _lift(sketch, points) if inside(outline, points).all() else None
    if lifted is None:
        return None
    far = _distance(sketch.grid, a[None], b[None]) > CLEAR * sketch.spacing
    flat = np.concatenate([outline, points, sketch.grid[far]])
    own = sketch.vertices[sketch.loop[sketch.kept]]
    vertices = np.concatenate([own, lifted, sketch.grid_at[far]])
    faces = _triangulate(flat, rim)
    path = np.concatenate([[first], rim + np.arange(steps - 1), [last]])
    part = None if faces is None else _sides(faces, path)
    if part is None:
        return None
    left, right = (_part(vertices, flat, faces[part == side]) for side in (1, 0))
    return left, right, vertices[path]


def _sides(faces: Faces, path: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Of each face 1 if it lies left of a path of edges, else 0; None if that does not part the mesh."""
    count = int(faces.max()) + 1
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    owner = np.tile(np.arange(len(faces)), 3)
    key, back = pairs @ [count, 1], pairs[:, ::-1] @ [count, 1]
    order = np.argsort(key)
    at = order[np.minimum(np.searchsorted(key[order], back), len(order) - 1)]
    way = np.stack([path[:-1], path[1:]], axis=1) @ [count, 1]
    cut = np.isin(key, way) | np.isin(back, way)
    joined = (key[at] == back) & ~cut
    graph = coo_matrix(
        (np.ones(joined.sum()), (owner[joined], owner[at[joined]])), [len(faces)] * 2
    )
    number, part = connected_components(graph, directed=False)
    start = owner[key == way[0]]
    if number != 2 or not np.isin(way, key).all() or not len(start):
        return None
    return (part == part[start[0]]).astype(np.int64)


def _part(vertices: Vertices, flat: Plane, faces: Faces) -> Mesh:
    """Some faces of a mesh with the vertices that they use."""
    used, at = np.unique(faces, return_inverse=True)
    return Mesh(vertices[used], flat[used], at.reshape(-1, 3), ())


def _opened(
    vertices: Vertices, flat: Plane, faces: Faces, paths: list[NDArray[np.int64]], h: float
) -> Mesh | None:
    """Open all slits and draw their legs apart by a hair."""
    legs = []
    for path in paths:
        try:
            slit = open_slit(faces, path, len(flat))
        except InputError:  # Delaunay did not keep the dart's line; the try is dropped
            return None
        faces = slit.faces
        flat, vertices = slit.spread(flat), slit.spread(vertices)
        flat = part_legs(flat, slit.left, slit.right, GAP * h)
        legs.append((slit.left, slit.right))
    return Mesh(vertices, flat, faces, tuple(legs))


def part_legs(flat: Plane, left: NDArray[np.int64], right: NDArray[np.int64], gap: float) -> Plane:
    """The flat with two coinciding legs drawn apart, by `gap` at the mouth and nothing at the tip."""
    out = np.array(flat)
    way = flat[left[-1]] - flat[left[0]]
    aside = np.array([-way[1], way[0]]) / np.hypot(*way)
    share = np.linspace(1.0, 0.0, len(left))[:-1, None] * gap
    out[left[:-1]] += share * aside
    out[right[:-1]] -= share * aside
    return out


def inside(outline: Plane, points: Plane) -> NDArray[np.bool_]:
    """Which points (p, 2) lie in a polygon (b, 2), by counting crossings."""
    a, b = outline, np.roll(outline, -1, axis=0)
    x, y = points[:, :1], points[:, 1:]
    spans = (a[:, 1] > y) != (b[:, 1] > y)
    rise = np.where(a[:, 1] == b[:, 1], 1.0, b[:, 1] - a[:, 1])
    at = a[:, 0] + (y - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
    return (spans & (x < at)).sum(axis=1) % 2 == 1


def _distance(points: Plane, a: Plane, b: Plane) -> NDArray[np.float64]:
    """Distance (p,) of points (p, 2) from the nearest of segments a-b (s, 2)."""
    way = b - a
    off = points[:, None] - a
    size = np.maximum((way**2).sum(axis=1), 1e-300)
    share = np.clip((off * way).sum(axis=2) / size, 0.0, 1.0)
    gap = off - share[:, :, None] * way
    return np.sqrt((gap**2).sum(axis=2).min(axis=1))


def _thinned(outline: Plane, forced: NDArray[np.bool_], spacing: float) -> NDArray[np.int64]:
    """Places of a loop about one spacing apart, the forced ones among them."""
    step = np.hypot(*(np.roll(outline, -1, axis=0) - outline).T)
    kept, since = [], np.inf
    for i in range(len(outline)):
        if forced[i] or since >= 0.9 * spacing:
            kept.append(i)
            since = 0.0
        since += step[i]
    return np.array(kept, dtype=np.int64)


def grid_within(outline: Plane, spacing: float) -> Plane:
    """Points of a triangular grid inside a polygon."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    x = np.arange(low[0], high[0] + spacing, spacing)
    y = np.arange(low[1], high[1] + spacing, spacing * np.sqrt(0.75))
    shift = 0.5 * spacing * (np.arange(len(y)) % 2)
    points = np.stack([(x[None] + shift[:, None]).ravel(), np.repeat(y, len(x))], axis=1)
    return points[inside(outline, points)]


def _triangulate(flat: Plane, rim: int) -> Faces | None:
    """Delaunay triangles inside the polygon of the first `rim` points; None if it is not kept."""
    return triangles_within(flat, rim)[0]


def triangles_within(flat: Plane, rim: int) -> tuple[Faces | None, NDArray[np.int64]]:
    """Delaunay triangles (m, 3) of points (n, 2) inside the polygon of the first `rim` of them, None if they do not
    keep it or leave out a point, and the edges of the polygon that they leave out, by their first points."""
    try:
        faces = Delaunay(flat).simplices.astype(np.int64)
    except QhullError:
        return None, np.zeros(0, dtype=np.int64)
    a, b = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    faces[area < 0] = faces[area < 0][:, ::-1]
    faces = faces[inside(flat[:rim], flat[faces].mean(axis=1)) & (np.abs(area) > 1e-9 * area.max())]
    border = boundary_edges(faces)
    follows = (border < rim).all(axis=1) & (border[:, 1] == (border[:, 0] + 1) % rim)
    lost = np.setdiff1d(np.arange(rim), border[follows, 0])
    whole = not len(lost) and len(border) == rim and len(np.unique(faces)) == len(flat)
    return (faces if whole else None), lost


def _missing_edges(made: Sketch) -> NDArray[np.int64]:
    """Places i of `kept` whose edge to the next is not in the Delaunay triangulation."""
    outline = made.outline[made.kept]
    far = _distance(made.grid, outline, np.roll(outline, -1, axis=0)) > CLEAR * made.spacing
    faces = Delaunay(np.concatenate([outline, made.grid[far]])).simplices
    n = len(outline)
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    have = np.unique(pairs[:, 0] * 10**7 + pairs[:, 1])
    want = np.sort(np.stack([np.arange(n), (np.arange(n) + 1) % n], axis=1), axis=1)
    return np.flatnonzero(~np.isin(want[:, 0] * 10**7 + want[:, 1], have))


def _halfway(kept: NDArray[np.int64], missing: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    """Loop places halfway along the missing edges, where there are any."""
    first, second = kept[missing], kept[(missing + 1) % len(kept)]
    between = (second - first) % size
    return ((first + between // 2) % size)[between > 1]


def _lift(sketch: Sketch, points: Plane) -> Vertices | None:
    """Places (p, 3) on the panel of points (p, 2) of its flat; None if one lies outside."""
    face, weight = locate(sketch.faces, sketch.flat, points, tree=sketch.tree)
    if (face < 0).any():
        return None
    return np.einsum("pk,pkj->pj", weight, sketch.vertices[sketch.faces[face]])


def _lifted(made: Sketch) -> Sketch:
    """The sketch with its grid's places in 3D."""
    outline = made.outline[made.kept]
    far = _distance(made.grid, outline, np.roll(outline, -1, axis=0)) > CLEAR * made.spacing
    grid = made.grid[far]
    face, weight = locate(made.faces, made.flat, grid, tree=made.tree)
    grid, face, weight = grid[face >= 0], face[face >= 0], weight[face >= 0]
    at = np.einsum("pk,pkj->pj", weight, made.vertices[made.faces[face]])
    return replace(made, grid=grid, grid_at=at)


def _rim_with(sketch: Sketch, wedges: tuple[Wedge, ...]) -> NDArray[np.int64]:
    """Places of the loop to keep: the mouths replace kept neighbours that are close to them."""
    mouths = np.flatnonzero(np.isin(sketch.loop, [wedge.mouth for wedge in wedges]))
    if not len(mouths):
        return sketch.kept
    off = sketch.outline[sketch.kept][:, None] - sketch.outline[mouths]
    clear = np.hypot(off[:, :, 0], off[:, :, 1]).min(axis=1) > 0.5 * sketch.spacing
    return np.union1d(sketch.kept[clear], mouths)
