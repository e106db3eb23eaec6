"""The line along the bottom of an armpit's fold: where it goes on both sides of a hole tells how high it lies inside.

The bottom of the fold is a saddle: across it arm and trunk go down, along it the skin rises to the front and to the
back. Where a hole is small, both ends of that line are scanned, with their slopes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.mesh.areas import vertex_normals
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DOWNWARD = -0.2  # z of a normal from which on skin is a fold's roof
ABOUT = 0.035  # of the height: so far around a hole the line is looked for
END = 0.013  # of the height: over so much of it its direction is taken
BESIDE = 0.009  # of the height: so near to the hole it has to begin
LEAST = 3  # places by which a direction is told
STEPS = 51
# Standard deviation in mm: of the line's ends, and what each mm of sag between them adds (a fold's bottom is flatter
# than the curve: up to 0.5 of its sag higher on the builds of tests/benchmarks/results/scan.md).
ENDS, PER_SAG = 2.0, 0.4


def fold_line(
    vertices: Vertices, faces: Faces, patch: Mask, low: Array, sign: float
) -> tuple[float, float] | None:
    """Height of a fold's lowest place inside a hole, and its standard deviation, mm; None where no two ends are.

    patch (n,): the vertices of the hole's filling; low (3,): about its middle; sign: +1 left, -1 right. The height is
    that of the cubic through both ends of the line, along their directions (C. Hermite).
    """
    tall = float(vertices[:, 2].max())
    inside = vertices[patch]
    reach = 0.5 * float(np.ptp(inside, axis=0).max()) + ABOUT * tall
    points = _line(vertices, faces, patch, low, sign, reach)
    tree = cKDTree(inside)
    ends = [
        _end(points[way * (points[:, 1] - low[1]) > 0.0], tree, low, tall) for way in (-1.0, 1.0)
    ]
    if ends[0] is None or ends[1] is None:
        return None
    (first, into), (last, out) = ends
    if (
        max(into[2], out[2]) > 0.0
    ):  # of another fold, such as a roll of the back: this one sags between its ends
        return None
    apart = float(np.linalg.norm(last - first))
    t = np.linspace(0.0, 1.0, STEPS)
    z = (2 * t**3 - 3 * t**2 + 1) * first[2] + (t**3 - 2 * t**2 + t) * apart * into[2]
    z += (3 * t**2 - 2 * t**3) * last[2] - (t**3 - t**2) * apart * out[2]
    sag = -apart / 8.0 * float(into[2] + out[2])
    return float(z.min()), ENDS + PER_SAG * sag


def _line(
    vertices: Vertices, faces: Faces, patch: Mask, low: Array, sign: float, reach: float
) -> Array:
    """Places (k, 3) of scanned edges where skin that faces down turns from trunk to arm."""
    about = np.linalg.norm(vertices - low, axis=1) < reach
    near = faces[about[faces].all(axis=1)]
    if not len(near):
        return np.zeros((0, 3))
    normal = vertex_normals(vertices, near)
    across = sign * normal[:, 0]
    a, b = np.unique(np.sort(near[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0).T
    turns = (across[a] * across[b] < 0.0) & ~patch[a] & ~patch[b]
    turns &= (normal[a, 2] < DOWNWARD) & (normal[b, 2] < DOWNWARD)
    a, b = a[turns], b[turns]
    share = (across[a] / (across[a] - across[b]))[:, None]
    return vertices[a] + share * (vertices[b] - vertices[a])


def _end(points: Array, hole: cKDTree, low: Array, tall: float) -> tuple[Array, Array] | None:
    """Where the line of some places (k, 3) meets the hole (3,), and its direction (3,) into it; None for neither."""
    if not len(points):
        return None
    away = hole.query(points)[0]
    k = int(np.argmin(away))
    near = points[np.linalg.norm(points - points[k], axis=1) < END * tall]
    if away[k] > BESIDE * tall or len(near) < LEAST:
        return None
    middle = near.mean(axis=0)
    way = np.linalg.svd(near - middle)[2][0]
    way = way * (np.sign(way @ (points[k] - middle)) or 1.0)
    if way @ (low - middle) < 0.0:
        return None
    return middle + way * float(way @ (points[k] - middle)), way
