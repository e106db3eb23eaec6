"""Curves and mesh settled on each other before the curves are drawn in.

A curve that runs close by a vertex would leave needles, which every later solve would pay for. Such a
vertex is moved along the surface onto the curve, so that the curve runs through it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.point import Curve, arrays, barycentric, points
from padlib.mesh.surface import Faces, Vertices

SHARE = 0.3  # of an edge: nearer crossings draw its end onto the curve


def settle(
    vertices: Vertices,
    faces: Faces,
    curves: Sequence[Curve],
    *,
    locked: NDArray[np.bool_] | None = None,
    taken: NDArray[np.bool_] | None = None,
    share: float = SHARE,
) -> tuple[Vertices, list[Curve]]:
    """Vertices (n, 3) mm, some moved onto curves, and the curves on them.

    faces (m, 3); curves on the mesh; locked (n,): vertices that stay, onto which curves are drawn
    instead; taken (n,): vertices that other curves run through, which stay and draw none. share: of an
    edge, up to which a vertex is moved; each vertex serves one curve.
    """
    out = np.array(vertices, dtype=np.float64)
    owner = np.full(len(out), -1) if taken is None else np.where(taken, len(curves), -1)
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
    return out, [_kept_inside(out, vertices, faces, curve) for curve in settled]


def _once(at: NDArray[np.int64], inside: NDArray[np.bool_], closed: bool) -> NDArray[np.bool_]:
    """Which points (k,) stay so that no vertex comes twice in a row, nor with points inside faces between.

    at (k,): the vertex of each point, negative where it is at none; inside (k,): whether it lies inside a face.
    """
    keep = np.ones(len(at), dtype=bool)
    firm = np.flatnonzero(~inside)
    if not len(firm):
        return keep
    pairs = list(zip(firm[:-1].tolist(), firm[1:].tolist(), strict=True))
    for a, b in pairs:
        if at[a] == at[b]:
            keep[a + 1 : b + 1] = False
    if closed and at[firm[0]] == at[firm[-1]] and len(firm) > 1:
        keep[firm[-1] + 1 :] = False
        keep[: firm[0]] = False
        keep[firm[0]] = not keep[firm[1:]].any()
    return keep


def _kept_inside(out: Vertices, vertices: Vertices, faces: Faces, curve: Curve) -> Curve:
    """A curve whose points inside faces stay where they were although corners of these faces moved."""
    face, weights = arrays(curve.points)
    inside = (weights > 0).all(axis=1)
    inside[inside] = (out[faces[face[inside]]] != vertices[faces[face[inside]]]).any(axis=(1, 2))
    if not inside.any():
        return curve
    corners = faces[face[inside]]
    place = np.einsum("kc,kcx->kx", weights[inside], vertices[corners])
    weights[inside] = barycentric(out[corners], place)
    return Curve(tuple(points(face, weights)), curve.closed)


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
    keep = _once(at, (weights > 0).all(axis=1), curve.closed)
    return Curve(tuple(points(face[keep], weights[keep])), curve.closed)
