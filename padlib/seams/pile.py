"""The way the pile lies on a panel: toward the ground along the limb, bent to strokes that the maker draws."""

from __future__ import annotations

from collections.abc import Sequence

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.limb import lengths
from padlib.mesh.areas import face_areas, face_crosses, vertex_areas
from padlib.mesh.solve import factor
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]

NEAR = 6.0  # mm from a panel within which a stroke lies on it
STEP = 4.0  # mm between places of a stroke
HOLD = 1e4  # how much more a place under a stroke weighs than one without


def pile_field(
    surface: Surface, usual: Array, strokes: Sequence[tuple[Array, float]]
) -> Array | None:
    """The unit direction (m, 3) of the pile on each face of a panel, None where no stroke comes near it.

    usual (3,): its direction away from strokes; strokes: places (k, 3) in order on the shell, and the reach in mm over
    which the pile turns back: the field u is smooth and drawn to the usual direction u0 by
    u - reach^2 Laplace(u) = u0, so that a stroke's say falls by e with each reach.
    """
    v, f = surface.vertices, surface.faces
    hold, want, reach = np.zeros(len(v)), np.zeros((len(v), 3)), 0.0
    tree = cKDTree(v)
    for line, far in strokes:
        at, way = _sampled(line)
        away, nearest = tree.query(at)
        near = away < NEAR + 0.5 * _edge(surface)
        if near.any():
            reach = max(reach, far)
            np.add.at(want, nearest[near], way[near])
            hold[nearest[near]] = HOLD
    if not reach:
        return None
    normal = face_crosses(v, f)
    at_vertex = np.zeros_like(v)
    for k in range(3):
        np.add.at(at_vertex, f[:, k], normal)
    start = _along(np.broadcast_to(usual, v.shape), at_vertex)
    mass = vertex_areas(f, face_areas(v, f), len(v))
    stiff = -igl.cotmatrix(np.ascontiguousarray(v), np.ascontiguousarray(f))
    matrix = sp.diags_array(mass * (1.0 + hold)) + reach**2 * stiff
    rhs = mass[:, None] * (start + hold[:, None] * _along(want, at_vertex))
    solver = factor(sp.csc_matrix(matrix))
    field = np.stack([solver.solve(np.ascontiguousarray(rhs[:, k])) for k in range(3)], axis=1)
    return _along(field[f].mean(axis=1), normal)


def _edge(surface: Surface) -> float:
    """Mean length of a panel's edges."""
    corner = surface.vertices[surface.faces]
    return float(np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).mean())


def _sampled(line: Array) -> tuple[Array, Array]:
    """Places every STEP mm of a polyline (k, 3), and the unit way along it at each."""
    s = lengths(line)
    at = np.linspace(0.0, s[-1], max(int(s[-1] / STEP) + 1, 2))
    where = np.stack([np.interp(at, s, line[:, k]) for k in range(3)], axis=1)
    return where, _unit(np.gradient(where, axis=0))


def _along(field: Array, normal: Array) -> Array:
    """The part of directions (n, 3) along a surface with the normals (n, 3), as unit vectors."""
    square = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-300)
    return _unit(field - normal * (np.einsum("ij,ij->i", field, normal) / square)[:, None])


def _unit(vectors: Array) -> Array:
    size = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.where(size > 1e-12, vectors / np.maximum(size, 1e-12), 0.0)


def mean_pile(surface: Surface, field: Array) -> tuple[Array, float]:
    """The mean direction (3,) of a field (m, 3) over a panel, and how far the field is from it, mean degrees."""
    area = face_areas(surface.vertices, surface.faces)
    mean = area @ field
    mean /= max(float(np.linalg.norm(mean)), 1e-300)
    there = _along(
        np.broadcast_to(mean, field.shape), face_crosses(surface.vertices, surface.faces)
    )
    cosine = np.clip(np.einsum("ij,ij->i", there, field), -1.0, 1.0)
    return mean, float(area @ np.degrees(np.arccos(cosine)) / area.sum())
