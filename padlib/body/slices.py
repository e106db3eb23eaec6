"""Exact plane sections of a surface, many planes at once, as loops with their sizes.

A section is cut through the triangles, not through vertices: each crossed triangle gives one straight
segment, and the segments of a closed surface chain into loops. Segments run anticlockwise about
the plane's normal around solid flesh, so a loop's signed area (Green's theorem) tells flesh from hollow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull, QhullError

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

BATCH = 20_000_000  # corner-to-plane distances held at once


@dataclass(frozen=True, eq=False)
class Slices:
    """Segments of plane sections, grouped into loops.

    normals (k, 3), levels (k,): the planes normal . p = level, in mm. start, end (s, 3) mm: the ends of each
    segment; level (s,): its plane; loop (s,): its loop, numbered over all planes, in ascending order.
    loop_level (l,), area (l,) signed mm2, centre, low, high (l, 3): the loops' plane, signed
    area, centroid and bounding box; whole (l,): the loop is closed.
    """

    normals: Array
    levels: Array
    start: Array
    end: Array
    level: Ints
    loop: Ints
    loop_level: Ints
    area: Array
    centre: Array
    low: Array
    high: Array
    whole: NDArray[np.bool_]

    def points(self, loop: int) -> Array:
        """Points (p, 3) of one loop, in no order."""
        return self.start[slice(*np.searchsorted(self.loop, [loop, loop + 1]))]

    def segments(self, loop: int) -> tuple[Array, Array]:
        """Ends (p, 3), (p, 3) of the segments of one loop."""
        part = slice(*np.searchsorted(self.loop, [loop, loop + 1]))
        return self.start[part], self.end[part]

    def at(self, level: int) -> Ints:
        """Numbers of the loops of one level that bound flesh, the largest first."""
        found = np.flatnonzero((self.loop_level == level) & (self.area > 0))
        return found[np.argsort(-self.area[found], kind="stable")]


def plane_axes(normal: Array) -> tuple[Array, Array]:
    """Two unit vectors (3,) in the plane of a unit normal, right-handed with it; for +Z they are X and Y."""
    x, y, z = (float(c) for c in normal)
    a = (z, 0.0, -x) if abs(y) < 0.9 else (-y, x, 0.0)
    size = (a[0] ** 2 + a[1] ** 2 + a[2] ** 2) ** 0.5
    a = (a[0] / size, a[1] / size, a[2] / size)
    b = (y * a[2] - z * a[1], z * a[0] - x * a[2], x * a[1] - y * a[0])
    return np.array(a), np.array(b)


def slices(
    vertices: Array,
    faces: Ints,
    levels: Array | Sequence[float],
    normal: Sequence[float] | Array = (0, 0, 1),
) -> Slices:
    """Sections of a mesh by the parallel planes normal . p = level, all at once.

    vertices (n, 3) mm; faces (m, 3); levels (k,) mm, put in ascending order; normal (3,) is made a unit vector.
    """
    axis = np.asarray(normal, dtype=np.float64)
    axis = axis / np.linalg.norm(axis)
    planes = np.sort(np.asarray(levels, dtype=np.float64))
    corner = (vertices @ axis)[faces]
    a, b, c = corner.T  # column by column: numpy reduces rows of three slowly
    first = np.searchsorted(planes, np.minimum(np.minimum(a, b), c), side="right")
    count = np.searchsorted(planes, np.maximum(np.maximum(a, b), c), side="right") - first
    face = np.repeat(np.arange(len(faces)), count)
    step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    level = np.repeat(first, count) + step
    high = corner[face] - planes[level][:, None]
    return _sections(vertices, faces[face], high, level, np.tile(axis, (len(planes), 1)), planes)


def oblique(vertices: Array, faces: Ints, points: Array, normals: Array) -> Slices:
    """Sections of a mesh by planes of any direction, through points (k, 3) with unit normals (k, 3).

    Costs as many distances as there are faces times planes: give it a limb, not a whole body.
    """
    levels = np.einsum("ij,ij->i", points, normals)
    pairs: list[tuple[Ints, Ints, Array]] = []
    step = max(1, BATCH // max(1, len(vertices)))
    for first in range(0, len(points), step):
        part = slice(first, first + step)
        high = vertices @ normals[part].T - levels[part]
        above = high >= 0
        up = above[faces[:, 0]]
        cut = (above[faces[:, 1]] != up) | (above[faces[:, 2]] != up)
        face, level = np.nonzero(cut)
        pairs.append((face, level + first, high[faces[face], level[:, None]]))
    if not pairs:
        pairs.append((np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3))))
    face, level, high = (np.concatenate(group) for group in zip(*pairs, strict=True))
    return _sections(vertices, faces[face], high, level, normals, levels)


def _sections(
    vertices: Array, tri: Ints, high: Array, level: Ints, normals: Array, levels: Array
) -> Slices:
    """Segments and loops from crossed triangles (s, 3) and their corners' distances (s, 3) from the plane."""
    above = high >= 0
    after = above[:, [1, 2, 0]]
    rows = np.arange(len(tri))
    ends, nodes = [], []
    for crossing in (
        above & ~after,
        ~above & after,
    ):  # leaves at a fall, arrives at a rise: anticlockwise
        k = crossing.argmax(axis=1)
        pair = np.column_stack([tri[rows, k], tri[rows, (k + 1) % 3]])
        value = np.column_stack([high[rows, k], high[rows, (k + 1) % 3]])
        flip = pair[:, 0] > pair[:, 1]
        pair[flip], value[flip] = pair[flip][:, ::-1], value[flip][:, ::-1]
        t = value[:, 0] / np.where(value[:, 0] == value[:, 1], 1.0, value[:, 0] - value[:, 1])
        ends.append(vertices[pair[:, 0]] * (1 - t)[:, None] + vertices[pair[:, 1]] * t[:, None])
        nodes.append(pair)
    loop, whole = _chains(np.concatenate(nodes), np.concatenate([level, level]), len(tri))
    return _grouped(normals, levels, ends[0], ends[1], level, loop, whole)


def _chains(pair: Ints, level: Ints, count: int) -> tuple[Ints, NDArray[np.bool_]]:
    """Loop number of each segment, and whether it is closed, from the edge and level of starts, then of ends."""
    if count == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool)
    span, planes = np.int64(pair.max()) + 1, np.int64(level.max()) + 1
    _, node = np.unique((pair[:, 0] * span + pair[:, 1]) * planes + level, return_inverse=True)
    size = int(node.max()) + 1
    graph = coo_matrix((np.ones(count), (node[:count], node[count:])), shape=(size, size))
    label = connected_components(graph, directed=False)[1]
    loop = label[node[:count]].astype(np.int64)
    whole = np.bincount(label) <= np.bincount(loop, minlength=label.max() + 1)
    return loop, whole[loop]


def _grouped(
    normals: Array,
    levels: Array,
    start: Array,
    end: Array,
    level: Ints,
    loop: Ints,
    whole: NDArray[np.bool_],
) -> Slices:
    """Sort the segments by loop and add up the loops' sizes."""
    order = np.lexsort((loop, level))
    start, end, level, loop, whole = (
        start[order],
        end[order],
        level[order],
        loop[order],
        whole[order],
    )
    first = np.flatnonzero(np.diff(loop, prepend=-1))
    number = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(loop))))
    if not len(first):
        none = np.zeros((0, 3))
        return Slices(
            normals, levels, start, end, level, loop, level, np.zeros(0), none, none, none, whole
        )
    origin = start[first][number]
    a, b = start - origin, end - origin
    cross = 0.5 * np.einsum("ij,ij->i", np.cross(a, b), normals[level])
    area = np.add.reduceat(cross, first)
    moment = np.add.reduceat((a + b) / 3 * cross[:, None], first)
    thin = np.abs(area) < 1e-9
    centre = start[first] + np.where(
        thin[:, None], 0.0, moment / np.where(thin, 1.0, area)[:, None]
    )
    low, high = np.minimum.reduceat(start, first), np.maximum.reduceat(start, first)
    return Slices(
        normals,
        levels,
        start,
        end,
        level,
        number,
        level[first],
        area,
        centre,
        low,
        high,
        whole[first],
    )


def hull(points: Array, normal: Array) -> Array:
    """Corners (h, 3), anticlockwise about the normal, of the hull of coplanar points (p, 3): a taut tape."""
    u, v = plane_axes(np.asarray(normal, dtype=np.float64))
    flat = np.column_stack([points @ u, points @ v])
    try:
        return points[ConvexHull(flat).vertices] if len(points) > 2 else points[:0]
    except QhullError:
        return points[:0]


def girth(corners: Array) -> float:
    """Length in mm of the closed polyline through the corners (h, 3)."""
    if len(corners) < 2:
        return 0.0
    return float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).sum())


def clipped(start: Array, end: Array, point: Array, normal: Array) -> tuple[Array, Array]:
    """Segments (s, 3) cut off at a plane; what lies on the normal's side is dropped."""
    a, b = (start - point) @ normal, (end - point) @ normal
    keep = (a <= 0) | (b <= 0)
    start, end, a, b = start[keep], end[keep], a[keep], b[keep]
    span = np.where(np.abs(b - a) < 1e-12, 1.0, b - a)
    cut = start + (end - start) * (-a / span)[:, None]
    return np.where((a > 0)[:, None], cut, start), np.where((b > 0)[:, None], cut, end)


def edges(
    start: Array, end: Array, levels: Array, *, along: int, across: int
) -> tuple[Array, Array]:
    """The two sides of a planar figure at each level: points (k, 3) of least and of greatest `across`.

    start, end (s, 3): segments of the figure; levels (k,) ascending values of coordinate `along`. A level that
    nothing crosses gives NaN. Exact: the points lie on the segments, not at their ends.
    """
    a, b = start[:, along], end[:, along]
    first = np.searchsorted(levels, np.minimum(a, b), side="left")
    count = np.searchsorted(levels, np.maximum(a, b), side="right") - first
    segment = np.repeat(np.arange(len(start)), count)
    level = (
        np.repeat(first, count)
        + np.arange(count.sum())
        - np.repeat(np.cumsum(count) - count, count)
    )
    span = b[segment] - a[segment]
    t = np.where(span == 0, 0.0, (levels[level] - a[segment]) / np.where(span == 0, 1.0, span))
    point = start[segment] * (1 - t)[:, None] + end[segment] * t[:, None]
    return extreme(point, level, -point[:, across], len(levels)), extreme(
        point, level, point[:, across], len(levels)
    )


def extreme(points: Array, group: Ints, value: Array, count: int) -> Array:
    """The point (3,) of the greatest value in each group 0..count-1, as (count, 3); NaN for an empty group."""
    out = np.full((count, 3), np.nan)
    order = np.lexsort((value, group))
    out[group[order]] = points[order]  # the last, greatest, one of each group stays
    return out


def crest(start: Array, end: Array, group: Ints, way: Array, count: int, *, flat: float) -> Array:
    """As `extreme` along a unit vector `way` (3,), for segments (s, 3); aside of it the place hangs on no one point.

    Where a section is flat on top its highest point jumps along the flat with every other triangle. What lies within
    about `flat` mm of it is therefore taken together, by length (Simpson's rule on each segment). Returns (count, 3).
    """
    top = np.full(count, -np.inf)
    np.maximum.at(top, group, start @ way)
    np.maximum.at(top, group, end @ way)
    long = np.linalg.norm(end - start, axis=1)
    weight, total = np.zeros(count), np.zeros((count, 3))
    for points, part in ((start, 1.0), (0.5 * (start + end), 4.0), (end, 1.0)):
        mine = part * long * np.exp(np.maximum(points @ way - top[group], -40.0 * flat) / flat)
        weight += np.bincount(group, mine, count)
        total += np.stack([np.bincount(group, mine * c, count) for c in points.T], axis=1)
    out = np.full((count, 3), np.nan)
    known = weight > 0.0
    out[known] = total[known] / weight[known, None]
    out[known] += (top[known] - out[known] @ way)[:, None] * way
    return out


def chain(start: Array, end: Array) -> Array:
    """One closed loop's segments (s, 3), (s, 3) put in order: its corners (s, 3)."""
    _, key = np.unique(np.concatenate([start, end]), axis=0, return_inverse=True)
    key, count = key.ravel(), len(start)
    after = np.full(int(key.max()) + 1, -1)
    after[key[:count]] = np.arange(count)
    order, at = [0], int(after[key[count]])
    while at > 0 and len(order) < count:
        order.append(at)
        at = int(after[key[count + at]])
    return start[order]
