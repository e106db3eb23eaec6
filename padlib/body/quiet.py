"""Scanner noise: how much there is, and a copy of the surface with it taken out for measuring.

A taut tape rides on the highest grains of a noisy surface and reads long: 0.7 mm of noise adds about 5 mm to a
waist. Landmarks and measurements are therefore taken on a quietened copy; the body itself is not touched.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

QUIET = 0.15  # mm of noise below which a surface is measured as it is
ROUGH = 0.05  # ... and the share of the edge length: on coarse triangles curvature itself looks like grain
PASSES = 10  # pairs of passes
SHRINK, GROW = 0.5, -0.53  # the two steps of Taubin's filter (Taubin 1995, pass band about 0.1)


def neighbours(count: int, faces: Ints) -> csr_matrix:
    """Row-stochastic (n, n) matrix that takes the mean over each vertex's neighbours."""
    a = faces[:, [0, 1, 2, 1, 2, 0]].ravel()
    b = faces[:, [1, 2, 0, 0, 1, 2]].ravel()
    graph = coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)).tocsr()
    graph.data[:] = 1.0
    degree = np.maximum(np.diff(graph.indptr), 1)
    graph.data /= np.repeat(degree, np.diff(graph.indptr))
    return graph


def noise(vertices: Array, faces: Ints, mean: csr_matrix) -> float:
    """Standard deviation in mm of grain that changes from vertex to vertex (robust: the
    median over the area, so that the small triangles of a finely modelled hand or face do not count).

    The second difference over the mesh, along the surface's normal, takes out position, slope and the even
    part of curvature; what is left is grain. For independent grain on an even mesh (valence 6) its deviation
    is 1.25 of the grain's.
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    normal = np.zeros_like(vertices)
    for k in range(3):
        for d in range(3):
            normal[:, d] += np.bincount(faces[:, k], flat[:, d], len(vertices))
    area = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(area, 1e-12)[:, None]
    first = vertices - mean @ vertices
    second = np.abs(np.einsum("ij,ij->i", first - mean @ first, normal))
    order = np.argsort(second, kind="stable")
    middle = np.searchsorted(np.cumsum(area[order]), 0.5 * area.sum())
    return float(1.4826 * second[order[middle]] / 1.25)


def quiet(vertices: Array, faces: Ints) -> tuple[Array, float]:
    """Positions (n, 3) with grain taken out if there is more than QUIET of it, and the grain found (mm).

    Taubin's two-step filter keeps the volume (G. Taubin, 1995); it acts on the wavelength of the mesh's own edges.
    """
    mean = neighbours(len(vertices), faces)
    grain = noise(vertices, faces, mean)
    if grain <= max(QUIET, ROUGH * _edge(vertices, faces)):
        return vertices, grain
    out = vertices
    for _ in range(PASSES):
        for step in (SHRINK, GROW):
            out = out + step * (mean @ out - out)
    return out, grain


def _edge(vertices: Array, faces: Ints) -> float:
    """Length of side in mm of the even triangle of which the surface would need as many by area (median)."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.sort(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))
    middle = area[np.searchsorted(np.cumsum(area), 0.5 * area.sum())]
    return float(np.sqrt(4 / np.sqrt(3) * middle))
