"""Curves drawn into a mesh: triangles are subdivided until every curve is a chain of edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError, MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.arrange import ArrangementError, Drawing, arrange, steps_of, triangulate
from padlib.mesh.point import Curve, arrays, snapped
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.topology import Edges, edges

Indices = NDArray[np.int64]
Weights = NDArray[np.float64]

SNAP = 1e-2  # share of an edge or a triangle's height below which places are one


@dataclass(frozen=True, eq=False)
class Inserted:
    """A mesh with curves in it as chains of edges.

    vertices (n', 3): the input's first, unchanged; faces (m', 3), in the order of their parents;
    parent_face (m',): input face of each face; point_face (n',), point_barycentric (n', 3): place
    of each vertex on the input mesh; chains: for each curve its vertices in order; closed: whether
    the last joins the first again (it is not repeated);
    edges (k, 2): edges of the curves, low vertex first, once for each curve that runs there;
    edge_curve (k,): that curve's index. findings: what was noticed.
    """

    vertices: Vertices
    faces: Faces
    parent_face: Indices
    point_face: Indices
    point_barycentric: Weights
    chains: tuple[Indices, ...]
    closed: tuple[bool, ...]
    edges: Indices
    edge_curve: Indices
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class _Nodes:
    """All places where something happens: the mesh's vertices, then nodes on edges, then inside.

    face, weights: a place of each node; carrier (k, 3): the vertices that carry it, -1 for none;
    on_edge (e + 1,): nodes of edge i are vertices + on_edge[i] up to vertices + on_edge[i + 1], in
    order from the edge's low end to its high end; of_point: node of each curve point.
    """

    vertices: int
    face: Indices
    weights: Weights
    carrier: Indices
    on_edge: Indices
    of_point: Indices


@dataclass(frozen=True, eq=False)
class _Lines:
    """The stretches between neighbouring points of the curves, those of no length left out.

    ends (s, 2): nodes; curve (s,); edge (s,): the edge it runs along, or -1; face (s,): the face it
    crosses, or -1.
    """

    ends: Indices
    curve: Indices
    edge: Indices
    face: Indices


def insert(
    vertices: Vertices, faces: Faces, curves: Sequence[Curve], *, snap: float = SNAP
) -> Inserted:
    """Subdivide triangles so that every curve is a chain of mesh edges.

    vertices (n, 3) in mm, faces (m, 3). Curves may cross, touch, overlap, end on each other, start
    and end inside faces, and pass through vertices or along edges. Places nearer to each other than
    snap are made one: as a share of an edge along edges, and of a triangle's height inside. Both
    faces of an edge see the same nodes on it, so the mesh stays conforming; every new vertex lies
    on the input surface, so area and shape are kept.
    Raises InputError if two neighbouring points of a curve share no face or snap is not in (0, 0.1],
    MeshError if the lines of a triangle cannot be arranged.
    """
    if not 0.0 < snap <= 0.1:
        raise InputError(f"snap must be over 0 and at most 0.1, not {snap}; leave it at {SNAP}")
    v = np.asarray(vertices, dtype=np.float64)
    f = np.asarray(faces, dtype=np.int64)
    _check_points(f, curves)
    mesh_edges = edges(f)
    nodes = _nodes(len(v), f, mesh_edges, curves, snap)
    lines = _lines(f, mesh_edges, nodes, curves)
    plan = _Retriangulation(v, f, mesh_edges, nodes, lines, snap)
    return plan.result(curves)


def _check_points(faces: Indices, curves: Sequence[Curve]) -> None:
    """Raise InputError for a point that is not on the mesh."""
    for number, curve in enumerate(curves):
        face, weights = arrays(curve.points)
        bad = (face < 0) | (face >= len(faces)) | ~np.isfinite(weights).all(axis=1)
        bad |= ~(weights.clip(0.0).sum(axis=1) > 0.0)
        if bad.any():
            raise InputError(
                f"curve {number}: point {int(np.argmax(bad))} is not on the mesh of "
                f"{len(faces)} faces; draw the curve on this mesh"
            )


def _nodes(
    count: int, faces: Indices, mesh_edges: Edges, curves: Sequence[Curve], snap: float
) -> _Nodes:
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
    return _Nodes(count, all_face, all_weights, carrier, on_edge, of_point)


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


def _lines(faces: Indices, mesh_edges: Edges, nodes: _Nodes, curves: Sequence[Curve]) -> _Lines:
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
    return _Lines(ends, number, edge, face)


def _where(
    faces: Indices, mesh_edges: Edges, nodes: _Nodes, ends: Indices
) -> tuple[Indices, Indices]:
    """The edge along which, or else the face across which, each pair of nodes is joined; -1 for none."""
    carried = np.sort(nodes.carrier[ends].reshape(-1, 6), axis=1)
    carried[:, 1:][carried[:, 1:] == carried[:, :-1]] = -1
    carried = np.sort(carried, axis=1)
    size = (carried >= 0).sum(axis=1)
    edge, face = np.full(len(ends), -1), np.full(len(ends), -1)
    span = nodes.vertices + 1

    two = size == 2
    keys = mesh_edges.ends[:, 0] * span + mesh_edges.ends[:, 1]
    edge[two] = _look_up(keys, carried[two, 4] * span + carried[two, 5])

    three = np.flatnonzero(size == 3)
    for side in (0, 1):
        own = nodes.face[ends[three, side]]
        same = (np.sort(faces[own], axis=1) == carried[three, 3:]).all(axis=1)
        face[three[same]] = own[same]
    open_ = three[face[three] < 0]
    if len(open_):
        low = np.sort(faces, axis=1)
        pair_key = mesh_edges.ends[:, 0] * span + mesh_edges.ends[:, 1]
        first = _look_up(pair_key, low[:, 0] * span + low[:, 1])
        wanted = _look_up(pair_key, carried[open_, 3] * span + carried[open_, 4])
        order = np.argsort(first * span + low[:, 2], kind="stable")
        found = _look_up((first * span + low[:, 2])[order], wanted * span + carried[open_, 5])
        face[open_] = np.where((found >= 0) & (wanted >= 0), order[found], -1)
    return edge, face


def _look_up(keys: Indices, wanted: Indices) -> Indices:
    """Index of each wanted key in sorted keys, -1 where it is not there."""
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, at, -1)


class _Retriangulation:
    """The triangles that take the place of those that nodes lie on."""

    def __init__(
        self, v: Vertices, f: Faces, mesh_edges: Edges, nodes: _Nodes, lines: _Lines, snap: float
    ) -> None:
        """Sort the touched faces into the plain ones, done at once, and the rest, done singly."""
        self.v, self.f, self.mesh_edges, self.nodes, self.lines = v, f, mesh_edges, nodes, lines
        self.snap = snap
        self.faces: list[Indices] = []
        self.parents: list[Indices] = []
        self.via: dict[tuple[int, int], list[int]] = {}
        self.alias: dict[int, int] = {}
        self.new_face: list[int] = []
        self.new_weights: list[tuple[float, float, float]] = []
        self.next_node = len(nodes.face)
        per_side = np.diff(nodes.on_edge)[mesh_edges.of_face]
        first_inner = nodes.vertices + nodes.on_edge[-1]
        self.inner_of: dict[int, list[int]] = {}
        for node, face in enumerate(nodes.face[first_inner:].tolist(), start=int(first_inner)):
            self.inner_of.setdefault(face, []).append(node)
        inner = np.zeros(len(f), dtype=bool)
        inner[list(self.inner_of)] = True
        total = per_side.sum(axis=1)
        crossing = self._crossing(len(f))
        one = ~inner & (total == 1)
        two = ~inner & (total == 2) & (per_side.max(axis=1) == 1) & crossing
        rest = ((total > 0) | inner) & ~one & ~two
        self._keep(np.flatnonzero((total == 0) & ~inner))
        self._one_node(np.flatnonzero(one), per_side)
        self._two_nodes(np.flatnonzero(two), per_side)
        self._singly(np.flatnonzero(rest))

    def _crossing(self, count: int) -> NDArray[np.bool_]:
        """Faces in which no line ends in a corner, so that all lines join the same two edge nodes."""
        across = self.lines.face >= 0
        corner = (self.lines.ends[across] < self.nodes.vertices).any(axis=1)
        out = np.ones(count, dtype=bool)
        out[self.lines.face[across][corner]] = False
        return out

    def _keep(self, face: Indices) -> None:
        """Faces that nothing touches."""
        self.faces.append(self.f[face])
        self.parents.append(face)

    def _node_on(self, face: Indices, side: Indices) -> Indices:
        """The first node on a side of each face."""
        return self.nodes.vertices + self.nodes.on_edge[self.mesh_edges.of_face[face, side]]

    def _one_node(self, face: Indices, per_side: Indices) -> None:
        """Faces with one node on one side: split from the corner across."""
        side = np.argmax(per_side[face], axis=1)
        a, b, c = (self.f[face, (side + k) % 3] for k in range(3))
        x = self._node_on(face, side)
        self._take(face, (a, b, x), (a, x, c))

    def _two_nodes(self, face: Indices, per_side: Indices) -> None:
        """Faces with a node on each of two sides: cut the corner off, halve the rest well."""
        bare = np.argmin(per_side[face], axis=1)  # the side without a node; the corner a is cut off
        a, b, c = (self.f[face, (bare + k) % 3] for k in range(3))
        x = self._node_on(face, (bare + 2) % 3)  # on a b
        y = self._node_on(face, (bare + 1) % 3)  # on c a
        at = [self._places(node) for node in (x, b, c, y)]
        corner_b = _angle(at[1], at[0], at[2])
        corner_y = _angle(at[3], at[0], at[2])
        turn = corner_b + corner_y > np.pi  # then b y is the better diagonal
        self._take(face, (a, x, y))
        for pick, first, second in (
            (~turn, (x, b, c), (x, c, y)),
            (turn, (x, b, y), (b, c, y)),
        ):
            self._take(face[pick], tuple(n[pick] for n in first), tuple(n[pick] for n in second))

    def _take(self, face: Indices, *triangles: tuple[Indices, ...]) -> None:
        """Add triangles in place of faces."""
        for triangle in triangles:
            self.faces.append(np.column_stack(triangle))
            self.parents.append(face)

    def _places(self, node: Indices) -> NDArray[np.float64]:
        """Positions (k, 3) of nodes."""
        face, weights = self.nodes.face[node], self.nodes.weights[node]
        return np.einsum("kc,kcx->kx", weights, self.v[self.f[face]])

    def _singly(self, face: Indices) -> None:
        """Faces with more in them: one after the other."""
        drawn: dict[int, dict[tuple[int, int], None]] = {}
        across = np.flatnonzero(self.lines.face >= 0)
        where, ends = self.lines.face[across], self.lines.ends[across]
        mine = np.isin(where, face)
        for k, (a, b) in zip(where[mine].tolist(), ends[mine].tolist(), strict=True):
            drawn.setdefault(k, {})[(a, b) if a < b else (b, a)] = None
        found: list[tuple[int, int, int]] = []
        parents: list[int] = []
        for k in face.tolist():
            triangles = self._one_face(k, list(drawn.get(k, ())))
            found.extend(triangles)
            parents.extend([k] * len(triangles))
        self.faces.append(np.array(found, dtype=np.int64).reshape(-1, 3))
        self.parents.append(np.array(parents, dtype=np.int64))

    def _one_face(self, face: int, lines: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
        """Triangles of one face, with a smaller snap where the lines cannot be arranged otherwise."""
        for snap in (self.snap, 0.1 * self.snap, 0.01 * self.snap, 1e-6, 1e-9):
            drawing = self._drawing(face)
            try:
                paths = arrange(drawing, lines, snap)
                triangles = triangulate(drawing, steps_of(drawing, paths.values()))
            except ArrangementError:
                continue
            self._accept(face, drawing, paths)
            return triangles
        raise MeshError(
            f"the lines in face {face} cannot be told apart; repair the mesh there or move a curve"
        )

    def _accept(self, face: int, drawing: Drawing, paths: dict[tuple[int, int], list[int]]) -> None:
        """Keep what one face's drawing made."""
        self.alias.update(drawing.alias)
        self.via.update({line: path for line, path in paths.items() if path != list(line)})
        self.next_node = drawing.next_node
        self.new_face.extend([face] * len(drawing.new))
        self.new_weights.extend(drawing.weights[n] for n in drawing.new)

    def _drawing(self, face: int) -> Drawing:
        """The outline and the inner nodes of one face, with their weights in that face."""
        corners = self.f[face].tolist()
        weights: dict[int, tuple[float, float, float]] = {}
        rim = []
        for k, corner in enumerate(corners):
            weights[corner] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))[k]
            rim.append(corner)
            for node, t in self._along(int(self.mesh_edges.of_face[face, (k + 2) % 3]), corner):
                rim.append(node)
                row = [0.0, 0.0, 0.0]
                row[k], row[(k + 1) % 3] = 1.0 - t, t
                weights[node] = (row[0], row[1], row[2])
        inner = self.inner_of.get(face, [])
        for node in inner:
            w = self.nodes.weights[node].tolist()
            weights[node] = (w[0], w[1], w[2])
        return Drawing(weights, self._flat(corners), rim, list(inner), self.next_node)

    def _along(self, edge: int, start: int) -> list[tuple[int, float]]:
        """Nodes on an edge, seen from its end start, with their share of the way."""
        low, high = self.nodes.on_edge[edge], self.nodes.on_edge[edge + 1]
        node = np.arange(low, high) + self.nodes.vertices
        rows = self.nodes.carrier[node] == self.mesh_edges.ends[edge, 1]
        t = (self.nodes.weights[node] * rows).sum(axis=1)
        pairs = list(zip(node.tolist(), t.tolist(), strict=True))
        if self.mesh_edges.ends[edge, 0] == start:
            return pairs
        return [(n, 1.0 - s) for n, s in reversed(pairs)]

    def _flat(self, corners: list[int]) -> tuple[complex, complex, complex]:
        """The corners of a face laid flat."""
        p = self.v[corners]
        one, two = p[1] - p[0], p[2] - p[0]
        size = float(np.linalg.norm(one)) or 1.0
        x = float(one @ two) / size
        height = float(np.linalg.norm(np.cross(one, two))) / size
        return 0j, complex(size), complex(x, height)

    def result(self, curves: Sequence[Curve]) -> Inserted:
        """Put everything together; nodes that are not used are left out."""
        faces = np.concatenate(self.faces)
        parents = np.concatenate(self.parents)
        order = np.argsort(parents, kind="stable")
        faces, parents = faces[order], parents[order]
        face = np.concatenate((self.nodes.face, np.array(self.new_face, dtype=np.int64)))
        new = np.array(self.new_weights, dtype=np.float64).reshape(-1, 3)
        weights = np.concatenate((self.nodes.weights, new))
        n = self.nodes.vertices
        used = np.zeros(len(face), dtype=bool)
        used[:n] = True
        used[faces] = True
        number = np.cumsum(used) - 1
        extra = np.flatnonzero(used)[n:]
        added = np.einsum("kc,kcx->kx", weights[extra], self.v[self.f[face[extra]]])
        chains, findings = self._chains(curves, number)
        ends, owner = chain_edges(chains, [c.closed for c in curves])
        return Inserted(
            np.concatenate((self.v, added)),
            number[faces],
            parents,
            face[used],
            weights[used],
            tuple(chains),
            tuple(c.closed for c in curves),
            ends,
            owner,
            tuple(findings),
        )

    def _chains(
        self, curves: Sequence[Curve], number: Indices
    ) -> tuple[list[Indices], list[Finding]]:
        """The vertices of each curve in order, and a finding for each that has shrunk to nothing."""
        chains, findings = [], []
        bounds = np.searchsorted(self.lines.curve, np.arange(len(curves) + 1))
        ends, edge = self.lines.ends.tolist(), self.lines.edge.tolist()
        for k, curve in enumerate(curves):
            chain: list[int] = []
            for i in range(bounds[k], bounds[k + 1]):
                for node in self._path(*ends[i], edge[i]):
                    if not chain or chain[-1] != node:
                        chain.append(node)
            if curve.closed and len(chain) > 1 and chain[0] == chain[-1]:
                chain.pop()
            chains.append(number[np.array(chain, dtype=np.int64)])
            if len(chain) < 2:
                words = "a curve is shorter than the mesh can show and was left out"
                findings.append(Finding(152, words, f"curve {k}", Grade.WARNING))
        return chains, findings

    def _path(self, a: int, b: int, edge: int) -> list[int]:
        """All nodes on the way from a to b."""
        if edge >= 0:
            return self._edge_path(a, b, edge)
        line = (a, b) if a < b else (b, a)
        path = self.via.get(line)
        if path is None:
            return [a, b]
        out = [path[0]]
        for x, y in zip(path, path[1:], strict=False):
            out.extend(self._inside_step(x, y)[1:])
        return out if line == (a, b) else out[::-1]

    def _inside_step(self, a: int, b: int) -> list[int]:
        """A step of a face's path, by way of the nodes between if it runs along an edge."""
        if max(a, b) >= self.nodes.vertices + self.nodes.on_edge[-1]:
            return [a, b]
        carried = {x for x in (*self.nodes.carrier[a], *self.nodes.carrier[b]) if x >= 0}
        if len(carried) != 2:
            return [a, b]
        low, high = sorted(carried)
        start, stop = np.searchsorted(self.mesh_edges.ends[:, 0], (low, low + 1))
        edge = start + np.searchsorted(self.mesh_edges.ends[start:stop, 1], high)
        return self._edge_path(a, b, int(edge))

    def _edge_path(self, a: int, b: int, edge: int) -> list[int]:
        """The nodes from a to b along an edge."""
        start, stop = self.nodes.on_edge[edge] + self.nodes.vertices, self.nodes.on_edge[edge + 1]
        row = [
            int(self.mesh_edges.ends[edge, 0]),
            *range(int(start), int(stop) + self.nodes.vertices),
        ]
        row.append(int(self.mesh_edges.ends[edge, 1]))
        i, j = row.index(a), row.index(b)
        return row[i : j + 1] if i < j else row[j : i + 1][::-1]


def _angle(
    tip: NDArray[np.float64], one: NDArray[np.float64], other: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Angle (k,) at tip between the ways to one and other."""
    p, q = one - tip, other - tip
    cross = np.linalg.norm(np.cross(p, q), axis=1)
    return np.arctan2(cross, np.einsum("kx,kx->k", p, q))


def chain_edges(chains: Sequence[Indices], closed: Sequence[bool]) -> tuple[Indices, Indices]:
    """Edges (k, 2), low vertex first, of chains of vertices, and the chain (k,) of each.

    An edge that a chain runs along twice is given once.
    """
    pairs, owner = [np.zeros((0, 2), np.int64)], [np.zeros(0, np.int64)]
    for number, (chain, round_) in enumerate(zip(chains, closed, strict=True)):
        onward = np.roll(chain, -1) if round_ else chain[1:]
        both = np.sort(np.column_stack((chain[: len(onward)], onward)), axis=1)
        both = np.unique(both[both[:, 0] != both[:, 1]], axis=0)
        pairs.append(both)
        owner.append(np.full(len(both), number))
    return np.concatenate(pairs), np.concatenate(owner)
