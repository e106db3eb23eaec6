"""Edges turned in the four-sided patch of their two triangles, for even triangles (padlib.mesh.remesh)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.collapse import TURN
from padlib.mesh.columns import (
    crosses,
    dots,
    face_normals,
    least_angles,
    norms,
    units,
    vertex_normals,
)
from padlib.mesh.edge_list import Edges, disjoint
from padlib.mesh.surface import Faces, Vertices

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


def flip(v: Vertices, f: Faces, gain_of, rounds: int, few: float = 0.0) -> Faces:
    """Turn edges where that gains, in rounds of edges that share no vertex of their two faces."""
    for _ in range(rounds):
        edges = Edges(f, len(v))
        gain = np.where(edges.border, 0.0, gain_of(v, edges))
        wanted = np.flatnonzero(gain > 0)
        wanted = wanted[_flip_is_sound(v, f, edges, wanted)]
        if len(wanted) == 0:
            break
        wanted = wanted[np.argsort(-gain[wanted], kind="stable")]
        chosen = disjoint(edges, wanted, len(v))
        f = f.copy()
        a, b = edges.ends[chosen].T
        c, d = edges.opposite[chosen].T
        f[edges.faces[chosen, 0]] = np.stack([a, d, c], axis=1)
        f[edges.faces[chosen, 1]] = np.stack([d, b, c], axis=1)
        if len(chosen) < few * len(f):
            break
    return f


def valence_gain(v: Vertices, edges: Edges) -> NDArray[np.float64]:
    """By how much a flip brings the four valences nearer to six (four on the boundary)."""
    border = edges.on_border(len(v))
    excess = (edges.valence(len(v)) - np.where(border, 4, 6)).astype(float)
    (a, b), (c, d) = edges.ends.T, edges.opposite.T
    return (
        2.0 * (excess[a] + excess[b] - excess[c] - excess[d]) - 4.0
    )  # of the four excesses' squares


def angle_gain(v: Vertices, edges: Edges) -> NDArray[np.float64]:
    """By how much the two angles opposite an edge exceed a half turn together (Delaunay)."""
    a, b = (v.take(edges.ends[:, side], axis=0) for side in (0, 1))
    total = np.zeros(len(edges.ends))
    for side in (0, 1):
        o = v.take(edges.opposite[:, side], axis=0)
        p, q = a - o, b - o
        total += np.arctan2(norms(crosses(p, q)), dots(p, q))
    return np.where(total > np.pi + 1e-3, total - np.pi, 0.0)


def _flip_is_sound(v: Vertices, f: Faces, edges: Edges, wanted: Ints) -> Mask:
    """Whether each flip makes a new edge, of two good faces that lie as the old ones did."""
    n = len(v)
    a, b = edges.ends.take(wanted, axis=0).T
    c, d = edges.opposite.take(wanted, axis=0).T
    key = np.minimum(c, d) * n + np.maximum(c, d)
    at = np.minimum(np.searchsorted(edges.keys, key), len(edges.keys) - 1)
    new = (edges.keys[at] != key) & (c != d)
    both = f.take(edges.faces.take(wanted, axis=0).ravel(), axis=0)
    old = units(face_normals(v, both)).reshape(-1, 2, 3)
    one = units(face_normals(v, np.stack([a, d, c], axis=1)))
    two = units(face_normals(v, np.stack([d, b, c], axis=1)))
    least = np.full(len(wanted), np.inf)
    for x in (one, two):
        least = np.minimum(least, np.einsum("kec,kc->ke", old, x).min(axis=1))
    # where an old face is folded over, what counts is how the surface looks about it
    bent = np.flatnonzero(dots(old[:, 0], old[:, 1]) < TURN)
    if len(bent):
        about = vertex_normals(v, f)
        about = units(about[a[bent]] + about[b[bent]] + about[c[bent]] + about[d[bent]])
        folded = np.einsum("kec,kc->ke", old[bent], about).min(axis=1) < 0
        flat = np.minimum(dots(one[bent], about), dots(two[bent], about))
        least[bent] = np.where(folded, flat, least[bent])
    before = np.minimum(least_angles(v, a, b, c), least_angles(v, b, a, d))
    after = np.minimum(least_angles(v, a, d, c), least_angles(v, d, b, c))
    fair = (after > np.deg2rad(25)) | (after > before)
    return new & (least > 0.7) & fair
