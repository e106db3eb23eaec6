"""Measuring a scanner's noise and taking it out without shrinking the body."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, identity
from scipy.sparse.linalg import LinearOperator, cg

from padlib.mesh.areas import face_areas, lengths, vertex_normals
from padlib.mesh.repair import (
    boundary_edges,
    directed_edges,
    edge_keys,
    runs,
)
from padlib.mesh.surface import Faces, Surface, Vertices


def neighbour_mean(faces: Faces, count: int) -> csr_matrix:
    """The matrix (n, n) that gives each vertex the plain mean of its neighbours."""
    edges = directed_edges(faces)
    edges = np.concatenate([edges, edges[:, ::-1]])
    order, first = runs(edge_keys(edges, True))
    row, column = edges[order[first]].T
    valence = np.maximum(np.bincount(row, minlength=count), 1)
    return csr_matrix((1.0 / valence[row], (row, column)), shape=(count, count))


class Ground(NamedTuple):
    """What both the measuring and the smoothing of noise go by: the neighbours' mean, a matrix (n, n), and calm normals
    (n, 3).
    """

    mean: csr_matrix
    normal: NDArray[np.float64]


def ground(surface: Surface) -> Ground:
    """What noise is measured and smoothed by, of one surface."""
    mean = neighbour_mean(surface.faces, len(surface.vertices))
    return Ground(mean, _calm_normals(surface.vertices, surface.faces, mean))


def scanner_noise(surface: Surface, under: Ground | None = None) -> float:
    """Standard deviation along the normal of independent noise on the vertices, in their unit.

    With d the height of a vertex over the mean of its n neighbours, noise of variance s^2 that is
    independent from vertex to vertex gives neighbours i, j on an edge with two common neighbours
    the covariance E[d_i d_j] = -s^2 (1/n_i + 1/n_j) + 2 s^2 / (n_i n_j), while a smooth surface
    gives a positive one. Solved for s^2 in small patches; the upper quartile of the patches is
    taken, because patches of coarse triangles hide the noise. 0 when there is no such noise.
    under: the surface's `ground`, where it is there already.
    """
    v, f = surface.vertices, surface.faces
    mean, normal = ground(surface) if under is None else under
    height = np.einsum("ij,ij->i", v - mean @ v, normal)
    valence = np.diff(mean.indptr)
    a, b = directed_edges(f).T
    expected = -(1.0 / valence[a] + 1.0 / valence[b]) + 2.0 / (valence[a] * valence[b])
    seen = np.bincount(a, height[a] * height[b], len(v))
    expected = np.bincount(a, expected, len(v))
    for _ in range(3):
        seen, expected = mean @ seen, mean @ expected
    variance = seen / np.minimum(expected, -1e-12)
    weight = np.bincount(f.ravel(), np.repeat(face_areas(v, f), 3), len(v))
    weight = np.minimum(weight, np.median(weight))
    order = np.argsort(variance, kind="stable")
    place = np.searchsorted(np.cumsum(weight[order]), 0.75 * weight.sum())
    return float(np.sqrt(max(variance[order][min(place, len(v) - 1)], 0.0)))


def _calm_normals(vertices: Vertices, faces: Faces, mean: csr_matrix) -> NDArray[np.float64]:
    """Unit normals (n, 3), averaged over a few rings so that noise does not turn them."""
    normal = vertex_normals(vertices, faces)
    for _ in range(4):
        normal = mean @ normal
    return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)


def smooth(
    surface: Surface,
    noise: float,
    *,
    keep: float,
    most: float = 3.0,
    under: Ground | None = None,
) -> Surface:
    """Take noise of standard deviation `noise` out; waves longer than about `keep` stay.

    Heights u along the normals are found for which  |u|^2 + sum_i (umbrella_i / c_i)^2  is least,
    where the umbrella is a vertex's height over the mean of its neighbours and c_i is what a wave of
    length `keep` gives there (penalised smoothing, E. Whittaker 1923, on a mesh). A wave of length
    w keeps the part 1 / (1 + (keep / w)^4) of its height, so a body does not shrink. No vertex moves
    further than `most` times the noise from where it was measured. under: the surface's `ground`, where it is there.
    """
    v, f = surface.vertices, surface.faces
    mean, normal = ground(surface) if under is None else under
    ends = directed_edges(f)
    length = lengths(*(v.take(ends[:, 0], axis=0) - v.take(ends[:, 1], axis=0)).T)
    edge = np.bincount(ends[:, 0], length, len(v)) / np.bincount(ends[:, 0], minlength=len(v))
    # a wave of length w on triangles of edge e has the umbrella eigenvalue (pi e / w)^2
    weight = 1.0 / np.maximum((np.pi * edge / keep) ** 2, 0.02) ** 2
    weight[np.unique(boundary_edges(f))] = 0.0
    start = np.einsum("ij,ij->i", v - mean @ v, normal)
    row = np.repeat(np.arange(len(v)), np.diff(mean.indptr))
    turn = mean.copy()
    turn.data = mean.data * np.einsum("ij,ij->i", normal[row], normal[mean.indices])
    umbrella = (identity(len(v), format="csr") - turn).tocsr()
    root, column = np.sqrt(weight), umbrella.indices
    row = np.repeat(np.arange(len(v)), np.diff(umbrella.indptr))
    # the system is umbrella^T weight umbrella + 1, scaled to a diagonal of ones; it is never multiplied out
    bent = umbrella.data * root[row]
    scale = 1.0 / np.sqrt(1.0 + np.bincount(column, bent**2, len(v)))
    half = csr_matrix((bent * scale[column], column, umbrella.indptr), shape=umbrella.shape)
    back, own = half.T.tocsr(), scale**2
    system = LinearOperator(half.shape, lambda x: back @ (half @ x) + own * x, dtype=np.float64)
    height, _ = cg(system, -(back @ (root * start)), rtol=1e-3, maxiter=200)
    height = np.clip(scale * height, -most * noise, most * noise)
    return Surface(v + height[:, None] * normal, f)
