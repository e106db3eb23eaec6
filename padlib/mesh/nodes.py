"""The places where curves meet a mesh, sorted: at vertices, on edges, inside faces; and the stretches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.mesh.point import Curve, arrays, snapped
from padlib.mesh.topology import Edges, edge_numbers, look_up

Indices = NDArray[np.int64]
Weights = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Nodes:
    """All places where something happens: the mesh's vertices, then nodes on edges, then inside.

    face, weights: a place of each node; carrier (k, 3): the vertices that carry it, -1 for none;
    on_edge (e + 1,): nodes of edge i are vertices + on_edge[i] up to vertices + on_edge[i + 1], in
    order from the edge's low end to its high end; share (e',): how far along its edge each of them
    is; of_point: node of each curve point.
    """

    vertices: int
    face: Indices
    weights: Weights
    carrier: Indices
    on_edge: Indices
    share: NDArray[np.float64]
    of_point: Indices


@dataclass(frozen=True, eq=False)
class Lines:
    """The stretches between neighbouring points of the curves, those of no length left out.

    ends (s, 2): nodes; curve (s,); edge (s,): the edge it runs along, or -1; face (s,): the face it
    crosses, or -1.
    """

    ends: Indices
    curve: Indices
    edge: Indices
    face: Indices


def sort_points(
    count: int, faces: Indices, mesh_edges: Edges, curves: Sequence[Curve], snap: float
) -> Nodes:
    """Sort the points of all curves into nodes at vertices, on edges and inside faces."""
    every = [arrays(c.points) for c in curves]
    face = np.concatenate([np.zeros(0, np.int64), *(e[0] for e in every)])
    raw = np.concatenate([np.zeros((0, 3)), *(e[1] for e in every)])
    weights = snapped(raw, snap=snap)
    kind = np.count_nonzero(weights, axis=1)
    of_point = np.empty(len(face), dtype=np.int64)
    at = kind == 1
    of_point[at] = faces[face[at], np.argmax(weights[at], axis=1)]

    on = np.flatnonzero(kind == 2)
    edge, t = _on_edges(faces, mesh_edges, face[on], weights[on])
    group, first = _near_groups(edge, t, snap)
    of_point[on] = count + group
    inside = np.flatnonzero(kind == 3)
    of_point[inside] = count + len(first) + np.arange(len(inside))

    used = np.concatenate((on[first], inside))
    at_face, at_weights = _vertex_places(count, faces)
    all_face = np.concatenate((at_face, face[used]))
    all_weights = np.concatenate((at_weights, weights[used]))
    carrier = np.where(all_weights > 0.0, faces[all_face], -1)
    carrier[:count] = np.column_stack((np.arange(count), np.full((count, 2), -1)))
    per_edge = np.bincount(edge[first], minlength=len(mesh_edges.ends))
    on_edge = np.concatenate(([0], np.cumsum(per_edge)))
    return Nodes(count, all_face, all_weights, carrier, on_edge, t[first], of_point)


def _vertex_places(count: int, faces: Indices) -> tuple[Indices, Weights]:
    """A face and weights for each of count vertices; face 0 and no weight where none has it."""
    face, weights = np.zeros(count, dtype=np.int64), np.zeros((count, 3))
    for corner in (2, 1, 0):
        face[faces[:, corner]] = np.arange(len(faces))
        weights[faces[:, corner]] = np.eye(3)[corner]
    return face, weights


def _on_edges(
    faces: Indices, mesh_edges: Edges, face: Indices, weights: Weights
) -> tuple[Indices, NDArray[np.float64]]:
    """Edge of each point on a side of a face, and the share of the edge's high end."""
    side = np.argmin(weights, axis=1)
    edge = mesh_edges.of_face[face, side]
    rows = np.arange(len(face))
    high = faces[face, (side + 1) % 3] == mesh_edges.ends[edge, 1]
    return edge, weights[rows, np.where(high, side + 1, side + 2) % 3]


def _near_groups(edge: Indices, t: NDArray[np.float64], snap: float) -> tuple[Indices, Indices]:
    """Group places on edges that are within snap of the first of their group.

    Returns the group of each place, numbered along the edges, and the first place of each group.
    """
    order = np.lexsort((t, edge))
    e, s = edge[order], t[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (e[1:] != e[:-1]) | (s[1:] - s[:-1] >= snap)
    start = np.flatnonzero(new)
    stop = np.append(start[1:], len(order))[: len(start)]
    for a, b in zip(start.tolist(), stop.tolist(), strict=True):
        if b - a > 2 and s[b - 1] - s[a] >= snap:
            anchor = s[a]
            for k in range(a + 1, b):
                if s[k] - anchor >= snap:
                    new[k], anchor = True, s[k]
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    return group, order[new]


def sort_stretches(
    faces: Indices, mesh_edges: Edges, nodes: Nodes, curves: Sequence[Curve]
) -> Lines:
    """The stretches of all curves, each told whether it runs along an edge or across a face."""
    starts = np.cumsum([0] + [len(c.points) for c in curves])
    pairs, curve = [np.zeros((0, 2), np.int64)], [np.zeros(0, np.int64)]
    for number, c in enumerate(curves):
        along = np.arange(starts[number], starts[number + 1])
        onward = np.roll(along, -1) if c.closed else along[1:]
        pairs.append(np.column_stack((along[: len(onward)], onward)))
        curve.append(np.full(len(onward), number))
    point = np.concatenate(pairs)
    ends, number = nodes.of_point[point], np.concatenate(curve)
    keep = ends[:, 0] != ends[:, 1]
    point, ends, number = point[keep], ends[keep], number[keep]
    edge, face = _where(faces, mesh_edges, nodes, ends)
    lost = np.flatnonzero((edge < 0) & (face < 0))
    if len(lost):
        k = int(lost[0])
        at = int(point[k, 0] - starts[number[k]])
        raise InputError(
            f"curve {number[k]}: points {at} and {at + 1} share no face; "
            "draw the curve with a point on every edge that it crosses"
        )
    return Lines(ends, number, edge, face)


def _where(
    faces: Indices, mesh_edges: Edges, nodes: Nodes, ends: Indices
) -> tuple[Indices, Indices]:
    """The edge along which, or else the face across which, each pair of nodes is joined; -1 for none."""
    carried = np.sort(nodes.carrier[ends].reshape(-1, 6), axis=1)
    carried[:, 1:][carried[:, 1:] == carried[:, :-1]] = -1
    carried = np.sort(carried, axis=1)
    size = (carried >= 0).sum(axis=1)
    edge, face = np.full(len(ends), -1), np.full(len(ends), -1)
    span = nodes.vertices + 1

    two = size == 2
    edge[two] = edge_numbers(mesh_edges, carried[two, 4:])

    three = np.flatnonzero(size == 3)
    for side in (0, 1):
        own = nodes.face[ends[three, side]]
        same = (np.sort(faces[own], axis=1) == carried[three, 3:]).all(axis=1)
        face[three[same]] = own[same]
    open_ = three[face[three] < 0]
    if len(open_):
        low = np.sort(faces, axis=1)
        first = edge_numbers(mesh_edges, low[:, :2])
        wanted = edge_numbers(mesh_edges, carried[open_, 3:5])
        order = np.argsort(first * span + low[:, 2], kind="stable")
        found = look_up((first * span + low[:, 2])[order], wanted * span + carried[open_, 5])
        face[open_] = np.where((found >= 0) & (wanted >= 0), order[found], -1)
    return edge, face
