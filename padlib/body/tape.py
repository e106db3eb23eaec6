"""Tape lines: rings round a part of the body, and lines over its surface, as a taut tape lies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.limb import lengths
from padlib.body.pick import TAPE, smoothed
from padlib.body.slices import Slices, clipped, edges, girth, hull, oblique, slices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


def closed(corners: Array) -> Array:
    """A ring's corners (h, 3) with the first one again at the end."""
    return np.concatenate([corners, corners[:1]])


def nearest_loop(cut: Slices, level: int, near: Array) -> int | None:
    """Number of the loop of flesh whose centroid is nearest to a point (3,), or None."""
    loops = cut.at(level)
    if not len(loops):
        return None
    return int(loops[np.argmin(np.linalg.norm(cut.centre[loops] - near, axis=1))])


def ring(cut: Slices, level: int, near: Array) -> Array:
    """Taut ring (h, 3) round the one loop of flesh whose centroid is nearest to a point (3,)."""
    best = nearest_loop(cut, level, near)
    return np.zeros((0, 3)) if best is None else hull(cut.points(best), cut.normals[level])


def square_ring(vertices: Array, faces: Ints, point: Array, normal: Array) -> Array:
    """Taut ring (h, 3) by the plane through a point (3,), round the loop that lies about the point."""
    cut = oblique(vertices, faces, point[None], normal[None])
    return ring(cut, 0, point)


def level_ring(
    cut: Slices,
    level: int,
    *,
    side: float = 0.0,
    middle: Array | None = None,
    about: float | None = None,
    alone: bool = False,
) -> Array:
    """Taut ring (h, 3) round everything that one level of a sweep cuts.

    With side +1 or -1 only what lies to the left or right of the plane x = middle counts: one leg.
    about: only loops that reach from one side of this x to the other count.
    alone: what lies wholly beside the largest loop (a hand beside the hips) does not count.
    """
    part = slice(*np.searchsorted(cut.level, [level, level + 1]))
    start, end = cut.start[part], cut.end[part]
    keep = np.ones(len(cut.area), dtype=bool)
    if alone and len(start):
        keep &= _not_beside(cut, level)
    if about is not None:
        keep &= (cut.low[:, 0] <= about) & (cut.high[:, 0] >= about)
    chosen = keep[cut.loop[part]]
    start, end = start[chosen], end[chosen]
    if side:
        start, end = clipped(start, end, middle, np.array([-side, 0.0, 0.0]))
    return hull(np.concatenate([start, end]), cut.normals[level])


def _not_beside(cut: Slices, level: int) -> NDArray[np.bool_]:
    """For every loop (l,) whether it is of this level and in line, from the front, with its largest."""
    own = cut.loop_level == level
    largest = int(np.argmax(np.where(own, np.abs(cut.area), -1.0)))
    x = 0.5 * (cut.low[:, 0] + cut.high[:, 0])
    return own & (x >= cut.low[largest, 0]) & (x <= cut.high[largest, 0])


def level_rings(vertices: Array, faces: Ints, z: Array, **kind: object) -> list[Array]:
    """Taut horizontal rings at heights z (k,) ascending, mm."""
    cut = slices(vertices, faces, z)
    return [level_ring(cut, k, **kind) for k in range(len(z))]


def widest(rings: list[Array]) -> Array:
    """The longest of some rings."""
    return max(rings, key=girth)


def taut(points: Array, normal: Array, first: Array, last: Array) -> Array:
    """Line (k, 3) of a tape held taut from first (3,) to last (3,) over coplanar points (p, 3), on their left.

    The points to the left of the chord (seen from the normal's tip) hold the tape out; the others do not touch it.
    """
    chord = last - first
    left = np.cross(normal, chord)
    over = points[(points - first) @ left > 0]
    ends = np.concatenate([first[None], last[None], over])
    corners = hull(ends, normal)
    if not len(corners):
        return np.array([first, last])
    k = int(np.argmin(np.linalg.norm(corners - last, axis=1)))
    corners = np.roll(corners, -k, axis=0)
    stop = int(np.argmin(np.linalg.norm(corners - first, axis=1)))
    return corners[: stop + 1][::-1]


def spine(vertices: Array, faces: Ints, top: Array, bottom: Array, *, step: float = 5.0) -> Array:
    """Line (k, 3) down the back from one point to another, on the profile of the plane through both.

    A tape does not go into what is smaller than its breadth: the profile is taken together over it. Followed from
    triangle to triangle, a rough back was 12 mm longer than a tape down it.
    """
    lean = np.array([top[2] - bottom[2], 0.0, bottom[0] - top[0]])
    normal = lean / np.linalg.norm(lean)
    cut = slices(vertices, faces, [float(top @ normal)], normal)
    z = np.linspace(bottom[2], top[2], max(3, int((top[2] - bottom[2]) / step)))
    _, back = edges(cut.start, cut.end, z[1:-1], along=2, across=1)
    back = back[np.isfinite(back[:, 1])]
    line = np.concatenate([bottom[None], back, top[None]])[::-1]
    line[1:-1, 1] = smoothed(line[:, 1], TAPE)[1:-1]
    return line


def length(line: Array) -> float:
    """Length in mm of an open polyline (k, 3)."""
    return float(lengths(line)[-1]) if len(line) > 1 else 0.0
