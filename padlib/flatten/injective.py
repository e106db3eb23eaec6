"""Maps without overlap: a start that always has none, and the tests that tell.

A flat is one-to-one if and only if no triangle is flipped and its boundary does not cross itself
(a locally one-to-one map of a disk whose boundary curve is simple is one-to-one).
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray

from padlib.flatten.disk import boundary_loop, check_disk, rim_lengths
from padlib.flatten.rest import best_scale, rest
from padlib.flatten.shelling import grid_embedding
from padlib.flatten.stretch import flipped
from padlib.mesh.solve import factor
from padlib.mesh.surface import Faces, Plane, Vertices

_SMALLEST, _LARGEST = 0.05, 20.0


def tutte(vertices: Vertices, faces: Faces, *, uniform: bool = False) -> Plane:
    """Flat (n, 2) mm with the boundary on a circle and every inner vertex amid its neighbours.

    Without flips or overlaps in exact arithmetic (Tutte 1963; Floater 2003 for weights): the
    weights are cotangents clipped to be positive, or all one where `uniform`. Doubles can fail on
    long closed tubes: test the answer, or call `embedding`. Raises MeshError where not a disk.
    """
    vertices, faces, loop = check_disk(vertices, faces)
    at_rest = rest(vertices, faces)
    flat = np.zeros((len(vertices), 2))
    flat[loop] = _circle(vertices[loop])
    inner = np.ones(len(vertices), bool)
    inner[loop] = False
    if inner.any():
        graph = _positive_laplacian(vertices, faces, uniform=uniform)
        rows = graph[np.flatnonzero(inner)]
        rhs = -(rows[:, loop] @ flat[loop])
        flat[inner] = factor(rows[:, np.flatnonzero(inner)].tocsc()).solve(rhs)
    return flat * best_scale(at_rest, faces, flat)


def _circle(rim: NDArray[np.float64]) -> Plane:
    """The rim (b, 3) on a circle of its length, counter-clockwise, arcs in proportion."""
    length = rim_lengths(rim)
    length = np.maximum(length, 1e-4 * max(float(length.mean()), np.finfo(float).tiny))
    angle = np.concatenate([[0.0], 2 * np.pi * np.cumsum(length)[:-1] / length.sum()])
    return np.column_stack([np.cos(angle), np.sin(angle)]) * (length.sum() / (2 * np.pi))


def _positive_laplacian(vertices: Vertices, faces: Faces, *, uniform: bool) -> sp.csr_matrix:
    """A graph Laplacian (n, n) with positive weights."""
    size = len(vertices)
    at_rest = rest(vertices, faces)
    corners = faces.T
    i, j, k = corners, corners[[1, 2, 0]], [1, 2, 0]
    cotangent = -2.0 * at_rest.area * (at_rest.gx * at_rest.gx[k] + at_rest.gy * at_rest.gy[k])
    entries = (cotangent.ravel(), (i.ravel(), j.ravel()))
    half = sp.coo_matrix(entries, (size, size)).tocsr()
    weight = half + half.T
    weight.data = np.ones_like(weight.data) if uniform else weight.data
    weight.data = np.clip(weight.data, _SMALLEST, _LARGEST)
    degree = np.asarray(weight.sum(axis=1)).ravel()
    return (sp.diags(degree) - weight).tocsr()


def embedding(vertices: Vertices, faces: Faces) -> Plane:
    """A flat (n, 2) mm without flips or overlaps, of any disk: Tutte's, or where doubles fail
    one on an integer grid.

    Raises MeshError where the mesh is not a disk.
    """
    vertices, faces, _ = check_disk(vertices, faces)
    for uniform in (False, True):
        flat = tutte(vertices, faces, uniform=uniform)
        if np.isfinite(flat).all() and is_injective(vertices, faces, flat):
            return flat
    flat = grid_embedding(faces)
    return flat * best_scale(rest(vertices, faces), faces, flat)


def overlaps(faces: Faces, flat: Plane) -> int:
    """How many pairs of boundary edges of a flat (n, 2) cross or touch; 0 for a simple boundary.

    faces (m, 3), one disk. Edges that share a vertex are not counted. The test is exact up to the
    robust orientation predicate of GEOS (through shapely). Raises MeshError where not a disk.
    """
    return crossings(np.asarray(flat, dtype=np.float64)[boundary_loop(np.asarray(faces))])


def crossings(polygon: NDArray[np.float64]) -> int:
    """How many pairs of edges of a closed polygon (b, 2) cross or touch, neighbours left out."""
    count = len(polygon)
    ends = np.stack([polygon, np.roll(polygon, -1, axis=0)], axis=1)
    lines = shapely.linestrings(ends)
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    apart = (first - second) % count
    return int(((first < second) & (apart != 1) & (apart != count - 1)).sum())


def is_injective(vertices: Vertices, faces: Faces, flat: Plane) -> bool:
    """Whether a flat (n, 2) has neither a flipped triangle nor an overlap with itself."""
    return not flipped(vertices, faces, flat).any() and overlaps(faces, flat) == 0
