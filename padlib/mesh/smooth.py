"""Smooth curves on a surface through given points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import spsolve

from padlib.mesh.along import lengths, place
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.point import Curve, nearest, positions
from padlib.mesh.surface import Faces, Point, Vertices

_ROUNDS = 3  # of bending the line evenly and putting it back on the surface


def smooth_path(
    vertices: Vertices,
    faces: Faces,
    points: Sequence[Point],
    *,
    closed: bool = False,
    spacing: float | None = None,
    ground: Ground | None = None,
) -> Curve:
    """A smooth curve on the surface through points, in their order.

    vertices (n, 3) in mm, faces (m, 3). The geodesic through the points is bent until its second
    differences are least, the given points held, and put back on the surface; neighbouring samples,
    spacing mm apart (default: a sixteenth of the mean distance between points, but not under the
    mean edge), are joined by geodesics. closed: it goes on from the last point to the first.
    Raises as `geodesic` does.
    """
    land = prepare(vertices, faces) if ground is None else ground
    samples, held = _sampled(land, points, closed, spacing)
    where = positions(land.vertices, land.faces, samples)
    fixed = where[held]
    for _ in range(_ROUNDS):
        where = _bent(where, held, fixed, closed)
        samples = nearest(land.vertices, land.faces, where)
        where = positions(land.vertices, land.faces, samples)
    for k, p in zip(held.tolist(), points, strict=True):
        samples[k] = p
    return geodesic(vertices, faces, samples, closed=closed, ground=land)


def _sampled(
    land: Ground, points: Sequence[Point], closed: bool, spacing: float | None
) -> tuple[list[Point], NDArray[np.int64]]:
    """Points along the geodesics between points, about spacing apart, and which are the given ones."""
    v, f = land.vertices, land.faces
    onward = [*points[1:], points[0]] if closed else points[1:]
    legs = [geodesic(v, f, (p, q), ground=land) for p, q in zip(points, onward, strict=False)]
    sizes = [float(lengths(v, f, leg)[-1]) for leg in legs]
    if spacing is None:
        edge = float(np.linalg.norm(np.diff(v[land.ends], axis=1), axis=2).mean())
        spacing = max(sum(sizes) / len(sizes) / 16.0, edge)
    samples: list[Point] = []
    held = []
    for p, leg, size in zip(points, legs, sizes, strict=False):
        held.append(len(samples))
        samples.append(p)
        count = max(2, round(size / spacing))
        samples.extend(place(v, f, leg, size * k / count) for k in range(1, count))
    if not closed:
        held.append(len(samples))
        samples.append(points[-1])
    return samples, np.array(held, dtype=np.int64)


def _bent(
    where: NDArray[np.float64],
    held: NDArray[np.int64],
    fixed: NDArray[np.float64],
    closed: bool,
) -> NDArray[np.float64]:
    """The line (k, 3) through fixed (h, 3) at held (h,) of which the second differences are least."""
    k = len(where)
    ones = np.ones(k)
    if closed:
        offsets = [0, 1, 2, 1 - k, 2 - k]
        bands = [ones, -2.0 * ones, ones, -2.0 * ones, ones]
        second = diags_array(bands, offsets=offsets, shape=(k, k))
    else:
        second = diags_array([ones, -2.0 * ones, ones], offsets=[0, 1, 2], shape=(k - 2, k))
    second = csc_array(second)
    free = np.setdiff1d(np.arange(k), held)
    inner, outer = second[:, free], second[:, held]
    out = where.copy()
    out[held] = fixed
    if len(free):
        out[free] = spsolve(csc_array(inner.T @ inner), -(inner.T @ (outer @ fixed))).reshape(-1, 3)
    return out
