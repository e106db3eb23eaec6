"""The triangles that take the place of those through which curves run."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.errors import MeshError
from padlib.mesh.arrange import ArrangementError, Drawing, arrange, steps_of, triangulate
from padlib.mesh.nodes import Lines, Nodes
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.topology import Edges

Indices = NDArray[np.int64]


class Retriangulation:
    """The triangles that take the place of those that nodes lie on."""

    def __init__(
        self, v: Vertices, f: Faces, mesh_edges: Edges, nodes: Nodes, lines: Lines, snap: float
    ) -> None:
        """Sort the touched faces into the plain ones, done at once, and the rest, done singly."""
        self.v, self.f, self.mesh_edges, self.nodes, self.lines = v, f, mesh_edges, nodes, lines
        self.snap = snap
        self.faces: list[Indices] = []
        self.parents: list[Indices] = []
        self.via: dict[tuple[int, int], list[int]] = {}
        self.new_face: list[int] = []
        self.new_weights: list[tuple[float, float, float]] = []
        self.next_node = len(nodes.face)
        self.on_edge, self.share = nodes.on_edge.tolist(), nodes.share.tolist()
        self.low_end = mesh_edges.ends[:, 0].tolist()
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
        self.flat = self._lay_flat(np.flatnonzero(rest))
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
        self.via.update({line: path for line, path in paths.items() if path != list(line)})
        self.next_node = drawing.next_node
        self.new_face.extend([face] * len(drawing.new))
        self.new_weights.extend(drawing.weights[n] for n in drawing.new)

    def _drawing(self, face: int) -> Drawing:
        """The outline and the inner nodes of one face, with their weights in that face."""
        corners, around = self.f[face].tolist(), self.mesh_edges.of_face[face].tolist()
        weights: dict[int, tuple[float, float, float]] = {}
        rim = []
        for k, corner in enumerate(corners):
            weights[corner] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))[k]
            rim.append(corner)
            for node, t in self._along(around[(k + 2) % 3], corner):
                rim.append(node)
                row = [0.0, 0.0, 0.0]
                row[k], row[(k + 1) % 3] = 1.0 - t, t
                weights[node] = (row[0], row[1], row[2])
        inner = self.inner_of.get(face, [])
        for node in inner:
            w = self.nodes.weights[node].tolist()
            weights[node] = (w[0], w[1], w[2])
        return Drawing(weights, self.flat[face], rim, list(inner), self.next_node)

    def _along(self, edge: int, start: int) -> list[tuple[int, float]]:
        """Nodes on an edge, seen from its end start, with their share of the way."""
        low, high = self.on_edge[edge], self.on_edge[edge + 1]
        n = self.nodes.vertices
        if self.low_end[edge] == start:
            return [(n + k, self.share[k]) for k in range(low, high)]
        return [(n + k, 1.0 - self.share[k]) for k in range(high - 1, low - 1, -1)]

    def _lay_flat(self, face: Indices) -> dict[int, tuple[complex, complex, complex]]:
        """The corners of each face laid flat, true to length."""
        p = self.v[self.f[face]]
        one, two = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
        size = np.linalg.norm(one, axis=1)
        size = np.where(size > 0.0, size, 1.0)
        x = np.einsum("kx,kx->k", one, two) / size
        tip = x + 1j * np.linalg.norm(np.cross(one, two), axis=1) / size
        rows = zip(face.tolist(), size.tolist(), tip.tolist(), strict=True)
        return {k: (0j, complex(a), b) for k, a, b in rows}

    def path(self, a: int, b: int, edge: int) -> list[int]:
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
        low, high = self.mesh_edges.ends[edge].tolist()
        n = self.nodes.vertices
        row = [low, *range(n + self.on_edge[edge], n + self.on_edge[edge + 1]), high]
        i, j = row.index(a), row.index(b)
        return row[i : j + 1] if i < j else row[j : i + 1][::-1]


def _angle(
    tip: NDArray[np.float64], one: NDArray[np.float64], other: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Angle (k,) at tip between the ways to one and other."""
    p, q = one - tip, other - tip
    cross = np.linalg.norm(np.cross(p, q), axis=1)
    return np.arctan2(cross, np.einsum("kx,kx->k", p, q))
