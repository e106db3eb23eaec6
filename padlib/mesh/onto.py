"""Curves of a mesh on a mesh that divides its triangles: the same places, with a point on every new edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.mesh.insert import Inserted
from padlib.mesh.point import Curve, arrays
from padlib.mesh.surface import Faces, Point

Indices = NDArray[np.int64]
Weights = NDArray[np.float64]

LEAST = 1e-9  # weights below it are none, and stretches of a line shorter than that share of it


@dataclass(frozen=True, eq=False)
class Divided:
    """A mesh whose triangles divide those of another.

    before (m, 3): the other's faces; faces (m', 3), in the order of their parents; parent (m',): the face of the other
    that each lies in; face (n',), weights (n', 3): where each vertex lies on the other.
    """

    before: Faces
    faces: Faces
    parent: Indices
    face: Indices
    weights: Weights

    def curves(self, drawn: Sequence[Curve]) -> list[Curve]:
        """Curves of the mesh before, on this one. Raises InputError where two neighbouring points share no face."""
        first = np.searchsorted(self.parent, np.arange(len(self.before) + 1))
        return [self._curve(number, curve, first) for number, curve in enumerate(drawn)]

    def corners(self, faces: Indices) -> Weights:
        """The corners (k, 3, 3) of faces (k,) in the weights of the face before that each lies in."""
        vertex = self.faces[faces]
        own, there = self.before[self.face[vertex]], self.before[self.parent[faces]]
        same = own[:, :, :, None] == there[:, None, None, :]
        return np.einsum("kcij,kci->kcj", same.astype(np.float64), self.weights[vertex])

    def _curve(self, number: int, curve: Curve, first: Indices) -> Curve:
        """One curve, point by point and stretch by stretch."""
        face, place = arrays(curve.points)
        count = len(face)
        out: list[Point] = []
        for k in range(count if curve.closed else count - 1):
            ends = k, (k + 1) % count
            where = self._shared(face[list(ends)], place[list(ends)])
            if where is None:
                raise InputError(
                    f"curve {number}: points {ends[0]} and {ends[1]} share no face; "
                    "draw the curve with a point on every edge that it crosses"
                )
            at, pair = where
            inside = np.arange(first[at], first[at + 1])
            if len(inside) == 1:
                turned = pair @ (self.before[at][:, None] == self.faces[inside[0]])
                steps = [_point(int(inside[0]), weights) for weights in turned]
            else:
                steps = self._stretch(inside, pair)
            out += steps if not out else steps[1:]
        return Curve(tuple(out[:-1] if curve.closed else out), curve.closed)

    def _shared(self, face: Indices, weights: Weights) -> tuple[int, Weights] | None:
        """A face before that holds two points, and their weights (2, 3) in it."""
        held = weights > LEAST
        own = self.before[face]
        for a in (0, 1):
            inside = own[1 - a][:, None] == own[a][None, :]
            if inside.any(axis=1)[held[1 - a]].all():
                pair = weights.copy()
                pair[1 - a] = weights[1 - a] @ inside
                return int(face[a]), pair
        wanted = np.unique(own[held])
        found = np.flatnonzero(np.isin(self.before, wanted).sum(axis=1) == len(wanted))
        if not len(found):
            return None
        there = self.before[found[0]]
        return int(found[0]), np.stack(
            [w @ (o[:, None] == there) for w, o in zip(weights, own, strict=True)]
        )

    def _stretch(self, inside: Indices, pair: Weights) -> list[Point]:
        """The points from the first to the last of a straight line (2, 3) within a face before.

        inside: the faces of this mesh that lie in it. The line goes on in the face that follows it farthest.
        """
        corners = self.corners(inside)
        begin, end = (
            np.linalg.solve(np.swapaxes(corners, 1, 2), np.tile(p, (len(inside), 1))[:, :, None])[
                :, :, 0
            ]
            for p in pair
        )
        enter, leave = _clipped(begin, end)
        at, out = 0.0, []
        while True:
            open_ = enter <= at + LEAST
            k = int(np.argmax(np.where(open_, leave, -1.0)))
            if not out:
                out.append(_point(int(inside[k]), begin[k]))
            if leave[k] <= at + LEAST or leave[k] >= 1.0 - LEAST:
                out.append(_point(int(inside[k]), end[k]))
                return out
            at = float(leave[k])
            out.append(_point(int(inside[k]), (1.0 - at) * begin[k] + at * end[k]))


def _clipped(begin: Weights, end: Weights) -> tuple[Weights, Weights]:
    """From where to where (k,), as shares of a line, it lies in each triangle; begin, end (k, 3): its ends' weights."""
    low, high = begin + LEAST, end + LEAST
    along = low - high
    with np.errstate(divide="ignore", invalid="ignore"):
        share = low / along
    enter = np.where(along < 0.0, share, np.where((along == 0.0) & (low < 0.0), np.inf, 0.0)).max(
        axis=1
    )
    leave = np.where(along > 0.0, share, 1.0).min(axis=1)
    enter, leave = np.maximum(enter, 0.0), np.minimum(leave, 1.0)
    outside = enter > leave
    return np.where(outside, np.inf, enter), np.where(outside, -1.0, leave)


def _point(face: int, weights: Weights) -> Point:
    clean = np.where(weights > LEAST, weights, 0.0)
    a, b, c = (clean / clean.sum()).tolist()
    return Point(face, (a, b, c))


def divided(before: Faces, first: Inserted, second: Inserted) -> Divided:
    """A mesh into which curves were drawn in two turns, against the mesh before both.

    first: of `before`; second: of the first's vertices and faces.
    """
    once = Divided(
        before, first.faces, first.parent_face, first.point_face, first.point_barycentric
    )
    at = second.point_face
    weights = np.einsum("nc,ncj->nj", second.point_barycentric, once.corners(at))
    face = first.parent_face[at]
    return Divided(before, second.faces, first.parent_face[second.parent_face], face, weights)
