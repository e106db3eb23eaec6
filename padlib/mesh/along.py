"""Places along a curve: by length, nearest to a position, and the stretch between two of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.mesh.point import Curve, faces_at, simplex
from padlib.mesh.surface import Faces, Point, Vertices


def lengths(vertices: Vertices, faces: Faces, curve: Curve) -> NDArray[np.float64]:
    """Length in mm from the curve's first point to each point (k,), and once round if closed (k + 1,)."""
    where = _places(vertices, faces, curve)
    steps = np.linalg.norm(np.diff(where, axis=0), axis=1)
    return np.concatenate(([0.0], np.cumsum(steps)))


def place(vertices: Vertices, faces: Faces, curve: Curve, at: float) -> Point:
    """The point of the curve at a length of `at` mm from its first point.

    On a closed curve lengths go on round and round; on an open one they stop at its ends.
    """
    along = lengths(vertices, faces, curve)
    at = at % along[-1] if curve.closed and along[-1] > 0.0 else min(max(at, 0.0), along[-1])
    k = int(np.clip(np.searchsorted(along, at, side="right") - 1, 0, len(along) - 2))
    step = along[k + 1] - along[k]
    share = (at - along[k]) / step if step > 0.0 else 0.0
    ends = curve.points[k], curve.points[(k + 1) % len(curve.points)]
    if share <= 0.0 or share >= 1.0:
        return ends[int(share >= 1.0)]
    return between(faces, *ends, share)


def between(faces: Faces, p: Point, q: Point, share: float) -> Point:
    """The point at a share of the straight way from p to q, on a face that holds both.

    Raises InputError if no face does.
    """
    common = np.intersect1d(faces_at(faces, p), faces_at(faces, q))
    if not len(common):
        raise InputError("two neighbouring points of a curve share no face; draw the curve again")
    face = int(common[0])
    a, b = _seen_from(faces, p, face), _seen_from(faces, q, face)
    weights = ((1.0 - share) * a + share * b).tolist()
    return Point(face, (weights[0], weights[1], weights[2]))


def nearest_length(
    vertices: Vertices, faces: Faces, curve: Curve, xyz: NDArray[np.floating]
) -> float:
    """Length in mm along the curve at which it comes nearest to a position xyz (3,)."""
    where = _places(vertices, faces, curve)
    step = np.diff(where, axis=0)
    square = np.maximum(np.einsum("kx,kx->k", step, step), np.finfo(float).tiny)
    t = np.clip(np.einsum("kx,kx->k", xyz - where[:-1], step) / square, 0.0, 1.0)
    gap = np.linalg.norm(where[:-1] + t[:, None] * step - xyz, axis=1)
    k = int(np.argmin(gap))
    along = lengths(vertices, faces, curve)
    return float(along[k] + t[k] * (along[k + 1] - along[k]))


def stretch_between(
    vertices: Vertices, faces: Faces, curve: Curve, start: float, stop: float
) -> Curve:
    """The open part of a curve from a length of start mm to one of stop mm.

    On a closed curve a stop before the start means on past the first point; on an open one the part
    is given backwards. Raises InputError if both are the same place of an open curve.
    """
    along = lengths(vertices, faces, curve)
    whole = float(along[-1])
    if curve.closed:
        start %= whole
        stop = start + ((stop - start) % whole or whole)
        marks = np.concatenate((along[:-1], along[:-1] + whole))
    else:
        if stop < start:
            return stretch_between(vertices, faces, curve, stop, start).reversed()
        marks = along
    if not stop > start:
        raise InputError(f"a stretch from {start} mm to {stop} mm of a curve has no length")
    near = 1e-9 * whole
    inner = np.flatnonzero((marks > start + near) & (marks < stop - near))
    points = [curve.points[int(k) % len(curve.points)] for k in inner]
    first = place(vertices, faces, curve, start)
    last = place(vertices, faces, curve, stop)
    return Curve((first, *points, last))


def _places(vertices: Vertices, faces: Faces, curve: Curve) -> NDArray[np.float64]:
    """Positions (k, 3) of the points, the first one again at the end of a closed curve."""
    where = curve.positions(vertices, faces)
    return np.vstack((where, where[:1])) if curve.closed else where


def _seen_from(faces: Faces, point: Point, face: int) -> NDArray[np.float64]:
    """Weights (3,) of a point in a face that holds it."""
    own = np.asarray(faces)[point.face].tolist()
    weight = dict(zip(own, point.barycentric, strict=True))
    kept = simplex(faces, point)
    return np.array([weight[v] if v in kept else 0.0 for v in np.asarray(faces)[face].tolist()])
