"""Level sets of functions given at the vertices, and plane sections, as exact polylines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.mesh.point import Curve, points
from padlib.mesh.surface import Faces, Vertices

_NEAR_VERTEX = 1e-4  # share of an edge: nearer crossings are put on the vertex itself


def plane_section(
    vertices: Vertices,
    faces: Faces,
    origin: NDArray[np.floating],
    normal: NDArray[np.floating],
    *,
    face_mask: NDArray[np.bool_] | None = None,
) -> list[Curve]:
    """Curves in which a plane cuts the surface, longest first.

    vertices (n, 3), faces (m, 3); origin (3,) in mm; normal (3,), any length; face_mask (m,) leaves
    faces out. Each curve has the side to which the normal points on its left.
    Raises InputError for a normal without length.
    """
    direction = np.asarray(normal, dtype=np.float64)
    size = np.linalg.norm(direction)
    if not size > 0.0:
        raise InputError("the normal of a section plane has no length; give a direction")
    height = (np.asarray(vertices, dtype=np.float64) - origin) @ (direction / size)
    return level_set(vertices, faces, height, face_mask=face_mask)


def level_set(
    vertices: Vertices,
    faces: Faces,
    values: NDArray[np.floating],
    *,
    face_mask: NDArray[np.bool_] | None = None,
) -> list[Curve]:
    """Zero set of the piecewise linear function with the values (n,) at the vertices, longest first.

    A value of exactly 0 counts as positive, so that every curve is a clean line; a crossing within
    1e-4 of an edge's end is put on the vertex. A curve is open where it meets the mesh boundary or
    the border of face_mask (m,). Positive values lie on the left of each curve.
    Raises InputError for values that are not finite or not one a vertex.
    """
    level = np.asarray(values, dtype=np.float64)
    if level.shape != (len(vertices),) or not np.isfinite(level).all():
        raise InputError(
            f"a level set needs one finite value for each of the {len(vertices)} vertices"
        )
    f = np.asarray(faces)
    up = (level >= 0.0)[f]
    count = up.sum(axis=1)
    crossed = (count == 1) | (count == 2)
    if face_mask is not None:
        crossed &= np.asarray(face_mask, dtype=bool)
    face = np.flatnonzero(crossed)
    if not len(face):
        return []
    steps, ends = _steps(f[face], up[face])
    curves = [_curve(f, level, face, ends, chain, closed) for chain, closed in _chains(steps)]
    curves = [c for c in curves if len(c.points) > (2 if c.closed else 1)]
    return sorted(curves, key=lambda c: -c.length(vertices, faces))


def _steps(
    faces: NDArray[np.int64], up: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """How the curve crosses faces (k, 3) with corners up (k, 3).

    Returns the edge (k, 2) at which it enters and leaves each face, numbered, and the side (k, 2) of
    the face, so that the positive corner or corners lie on the left.
    """
    rows = np.arange(len(faces))
    lone_up = up.sum(axis=1) == 1
    lone = np.where(lone_up, np.argmax(up, axis=1), np.argmin(up, axis=1))
    before, after = (lone + 2) % 3, (lone + 1) % 3  # sides opposite these corners hold the lone one
    # The lone corner lies left of the way from side (lone, lone+1) to side (lone+2, lone).
    sides = np.where(lone_up[:, None], np.stack((before, after), 1), np.stack((after, before), 1))
    a = faces[rows[:, None], (sides + 1) % 3]
    b = faces[rows[:, None], (sides + 2) % 3]
    key = np.minimum(a, b) * (int(faces.max()) + 1) + np.maximum(a, b)
    numbers = np.unique(key, return_inverse=True)[1].reshape(-1, 2)
    return numbers, sides


def _chains(steps: NDArray[np.int64]) -> list[tuple[list[int], bool]]:
    """The steps (k, 2) from edge to edge joined to chains: step indices in order, and whether closed."""
    leaving: dict[int, list[int]] = {}
    first_edge, end_edge = steps[:, 0].tolist(), steps[:, 1].tolist()
    for index in range(len(steps) - 1, -1, -1):
        leaving.setdefault(first_edge[index], []).append(index)
    entered = set(end_edge)
    starts = [i for i, e in enumerate(first_edge) if e not in entered]
    used = [False] * len(steps)
    chains = []
    for start in starts + list(range(len(steps))):
        if used[start]:
            continue
        chain = []
        here: int | None = start
        while here is not None and not used[here]:
            used[here] = True
            chain.append(here)
            here = next((i for i in leaving.get(end_edge[here], ()) if not used[i]), None)
        chains.append((chain, end_edge[chain[-1]] == first_edge[start]))
    return chains


def _curve(
    faces: NDArray[np.int64],
    level: NDArray[np.float64],
    face: NDArray[np.int64],
    sides: NDArray[np.int64],
    chain: list[int],
    closed: bool,
) -> Curve:
    """The curve of one chain of steps: a point where it enters each face, and the last way out."""
    step = np.array(chain)
    at = face[step]
    side = sides[step, 0]
    if not closed:
        at, side = np.append(at, at[-1]), np.append(side, sides[step[-1], 1])
    rows = np.arange(len(at))
    i, j = (side + 1) % 3, (side + 2) % 3
    vi, vj = faces[at, i], faces[at, j]
    t = np.abs(level[vi]) / (np.abs(level[vi]) + np.abs(level[vj]))
    t = np.where(t < _NEAR_VERTEX, 0.0, np.where(t > 1.0 - _NEAR_VERTEX, 1.0, t))
    weights = np.zeros((len(at), 3))
    weights[rows, i], weights[rows, j] = 1.0 - t, t
    vertex = np.where(t == 0.0, vi, np.where(t == 1.0, vj, -1))
    same = np.zeros(len(at), dtype=bool)
    same[1:] = (vertex[1:] >= 0) & (vertex[1:] == vertex[:-1])
    if closed and len(at) > 1:
        same[0] = vertex[0] >= 0 and vertex[0] == vertex[-1] and not same[1:].all()
    return Curve(tuple(points(at[~same], weights[~same])), closed)
