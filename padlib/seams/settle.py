"""Curves and mesh settled on each other before the curves are drawn in.

A curve that runs close by a vertex would leave needles, which every later solve would pay for. Such a
vertex is moved along the surface onto the curve, so that the curve runs through it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.point import Curve, arrays, points
from padlib.mesh.surface import Faces, Vertices

SHARE = 0.3  # of an edge: nearer crossings draw its end onto the curve


def settle(
    vertices: Vertices,
    faces: Faces,
    curves: Sequence[Curve],
    *,
    locked: NDArray[np.bool_] | None = None,
    share: float = SHARE,
) -> tuple[Vertices, list[Curve]]:
    """Vertices (n, 3) mm, some moved onto curves, and the curves on them.

    faces (m, 3); curves on the mesh; locked (n,): vertices that stay, onto which curves are drawn
    instead. share: of an edge, up to which a vertex is moved; each vertex serves one curve.
    """
    out = np.array(vertices, dtype=np.float64)
    owner = np.full(len(out), -1)
    stays = np.zeros(len(out), dtype=bool) if locked is None else locked.copy()
    settled: list[Curve] = []
    for number, curve in enumerate(curves):
        face, weights = arrays(curve.points)
        on_vertex = (weights > 1 - 1e-9).any(axis=1)
        vertex = faces[face, weights.argmax(axis=1)]
        stays[vertex[on_vertex]] = True
        owner[vertex[on_vertex]] = number
    for number, curve in enumerate(curves):
        settled.append(_settled(out, vertices, faces, curve, number, owner, stays, share))
    return out, settled


def _settled(
    out: Vertices,
    vertices: Vertices,
    faces: Faces,
    curve: Curve,
    number: int,
    owner: NDArray[np.int64],
    stays: NDArray[np.bool_],
    share: float,
) -> Curve:
    """One curve with its near vertices moved in `out` and marked in `owner`."""
    face, weights = arrays(curve.points)
    corner = weights.argmax(axis=1)
    rows = np.arange(len(face))
    vertex = faces[face, corner]
    near = ((weights > 0).sum(axis=1) == 2) & (weights[rows, corner] > 1 - share)
    place = np.einsum("kc,kcx->kx", weights, vertices[faces[face]])
    distance = np.linalg.norm(place - vertices[vertex], axis=1)
    for k in np.flatnonzero(near)[np.argsort(distance[near], kind="stable")]:
        v = vertex[k]
        if owner[v] == -1:
            owner[v] = number
            if not stays[v]:
                out[v] = place[k]
    # Once the curve runs through a vertex, it crosses none of that vertex's edges elsewhere.
    order = np.argsort(-weights, axis=1)
    ends = np.take_along_axis(faces[face], order, axis=1)
    edge = (weights > 0).sum(axis=1) == 2
    first = owner[ends[:, 0]] == number
    second = edge & ~first & (owner[ends[:, 1]] == number)
    drawn = (edge & first) | second
    corner = np.where(second, order[:, 1], order[:, 0])
    vertex = faces[face, corner]
    weights = np.where(drawn[:, None], np.eye(3)[corner], weights)
    at = np.where((weights > 1 - 1e-9).any(axis=1), vertex, -1 - rows)
    keep = np.ones(len(face), dtype=bool)
    keep[1:] = at[1:] != at[:-1]
    if curve.closed and at[0] == at[-1]:
        keep[0] = not keep[1:].any()
    return Curve(tuple(points(face[keep], weights[keep])), curve.closed)
