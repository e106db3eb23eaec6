"""Lines that follow valleys of the shell, or run over a summit, from one edge of a panel to another.

A seam is out of sight in a valley, and pile that parts over a bulge closes in one. So a millimetre costs less the
more the surface bends inwards there, and more on bulges, in plain view and beside edges; cheapest ways
(Dijkstra 1959) over vertices and middles of edges are then drawn down into the valley's floor and made smooth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from padlib.body.limb import resampled
from padlib.mesh.areas import vertex_normals
from padlib.mesh.geodesic import prepare
from padlib.mesh.point import nearest_arrays
from padlib.mesh.relief import Relief
from padlib.mesh.surface import Surface, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH = 40.0  # mm about a place over which it is told how the surface bends: the scale of pads and folds
DEEP = 4.0  # by how much a valley as narrow as REACH makes a millimetre cheaper
HIGH, SHOWN = 1.0, 0.5  # how much dearer it is on a bulge as narrow as REACH, and in plain view
BESIDE, NEAR = 6.0, 15.0  # cost of running along an edge, and how many mm from it that is felt
WALL = 1e6  # mm: more than any way is long
STRAIGHT = 0.7  # cosine of the most that a way may turn where it runs over a place, seen from REACH about it
BAND = 80.0  # mm beside a line that it may be drawn over
STEP = 12.0  # mm between the places of a line while it is drawn into a valley
ROUNDS = 40
DRAW = 0.5  # share by which a place goes to the floor
EVEN = 0.15  # share by which it goes to the middle of its neighbours
SURE = 0.5  # bend times REACH from which a valley counts in full


def pace(bends: Relief, view: Array, toll: Array | float = 0.0) -> Array:
    """What a millimetre of seam costs (n,) at each vertex, 1 on a flat that nobody sees.

    view (n,): how much in plain view it is, 0 to 1; toll (n,): what it costs more for other reasons, in
    valleys too.
    """
    deep = np.clip(-bends.least * REACH, 0.0, None)
    high = np.clip(bends.most * REACH, 0.0, 2.0)
    return (1.0 + HIGH * high + SHOWN * view) / (1.0 + DEEP * deep) + toll


@dataclass(frozen=True, eq=False)
class Ways:
    """Cheapest ways across a panel between places of its rim, all over one place inside where that is asked.

    ends (k,): the places, vertices of the panel; cost (k, k); before (k, n): the node before each on the way from
    each end; nodes (n, 3): vertices, then middles of edges, mm; over: the node that all run over, before (n,) then on
    the ways from there. Where there is no way, or it would make a corner there or run back into itself, cost is
    infinite.
    """

    ends: Ints
    cost: Array
    before: Ints
    nodes: Vertices
    over: int | None = None

    def way(self, one: int, other: int) -> Array:
        """Positions (p, 3) of the way between two of the ends, by their numbers."""
        return self.nodes[self.node_way(one, other)]

    def node_way(self, one: int, other: int) -> Ints:
        """Nodes (p,) of the way between two of the ends."""
        start, end = int(self.ends[one]), int(self.ends[other])
        if self.over is None:
            return _down(self.before[one], end, start)[::-1]
        there, back = (_down(self.before, node, self.over) for node in (start, end))
        return np.concatenate([there, back[-2::-1]])


def ways_across(surface: Surface, paces: Array, rim: Ints, ends: Ints) -> Ways:
    """Cheapest ways across a disk between places of its rim.

    surface: of the panel; paces (n,): cost of a millimetre at its vertices; rim (b,): boundary vertices; ends (k,):
    those of them between which ways are sought. Ways touch the rim only where they end, if they can.
    """
    graph, nodes = _priced(surface, paces, rim)
    cost, before = dijkstra(graph, indices=ends, return_predecessors=True)
    own = cost[:, ends] - WALL
    own[own > 0.5 * WALL] = np.inf
    return Ways(np.asarray(ends), own, before.astype(np.int64), nodes)


def ways_over(surface: Surface, paces: Array, rim: Ints, ends: Ints, over: int) -> Ways:
    """Shortest ways across a disk between places of its rim that run over one place, straight on where they do.

    A dome is cured by a seam over its summit, not by one in the valley beside it; were valleys cheaper here, all ways
    would run down into the nearest one. over: a vertex inside; others: as for `ways_across`.
    """
    graph, nodes = _priced(surface, np.ones(len(paces)), rim)
    far, before = dijkstra(graph, indices=over, return_predecessors=True)
    each = np.concatenate(
        [paces, paces[prepare(surface.vertices, surface.faces).ends].mean(axis=1)]
    )
    up = vertex_normals(surface.vertices, surface.faces)[over]
    cost, heads, ways = np.full(len(ends), np.inf), np.zeros((len(ends), 3)), []
    for k, end in enumerate(ends):
        way = _down(before, int(end), over)[::-1] if far[end] < 1.5 * WALL else np.array([over])
        ways.append(way)
        if len(way) > 1:
            steps = np.linalg.norm(np.diff(nodes[way], axis=0), axis=1)
            cost[k] = steps @ (0.5 * (each[way[1:]] + each[way[:-1]]))
            heads[k] = _heading(nodes[way], up)
    pairs = cost[:, None] + cost
    pairs[heads @ heads.T > -STRAIGHT] = np.inf
    for i, j in np.argwhere(np.isfinite(pairs)):
        if len(np.intersect1d(ways[i], ways[j])) > 1:
            pairs[i, j] = np.inf
    return Ways(np.asarray(ends), pairs, before.astype(np.int64), nodes, over)


def _down(before: Ints, node: int, root: int) -> Ints:
    """Nodes (p,) of a way back to where it began."""
    way = [node]
    while way[-1] != root:
        way.append(int(before[way[-1]]))
    return np.array(way)


def _heading(way: Array, up: Array) -> Array:
    """The direction (3,), seen along a normal (3,), in which a way (p, 3) leaves its first place, as it is REACH from
    there; 0 where it goes nowhere."""
    far = np.linalg.norm(way - way[0], axis=1)
    off = way[int(np.argmax(far > REACH)) if far.max() > REACH else -1] - way[0]
    off = off - (off @ up) * up
    return off / max(float(np.linalg.norm(off)), 1e-9)


def _priced(surface: Surface, paces: Array, rim: Ints) -> tuple[csr_array, Vertices]:
    """What every step between nodes of a disk costs, and the nodes (n, 3): vertices, then middles of edges."""
    land = prepare(surface.vertices, surface.faces)
    count = len(surface.vertices)
    links = land.links.tocoo()
    rows, cols = links.coords
    each = np.concatenate([paces, paces[land.ends].mean(axis=1)])
    each = each * (1.0 + BESIDE * np.exp(-((_from_rim(land.links, rim) / NEAR) ** 2)))
    weight = links.data * 0.5 * (each[rows] + each[cols])
    inner = np.ones(len(each), dtype=bool)
    inner[rim] = False
    inner[count:] = ~np.isin(land.ends, rim).all(axis=1)
    # a way is charged WALL for each place of the rim that it comes to: its end, and no other
    weight[~inner[cols]] += WALL
    return csr_array((weight, (rows, cols)), shape=links.shape), land.places


def _from_rim(links: csr_array, rim: Ints) -> Array:
    """Distance (n,) of each node from the rim, up to a few times NEAR."""
    return np.minimum(dijkstra(links, indices=rim, min_only=True, limit=4.0 * NEAR), 4.0 * NEAR)


def drawn_into(surface: Surface, bends: Relief, line: Array, *, deep: bool = True) -> Array:
    """A line (k, 3) mm drawn down into the floor of the valley that it follows, smooth, STEP apart, its ends held.

    surface: on which it lies; bends: of that surface. Where there is no valley, or deep is not asked for, as where it
    only crosses valleys, it only gets smooth.
    """
    near = _beside(surface, line)
    used, faces = np.unique(surface.faces[near], return_inverse=True)
    part = Surface(surface.vertices[used], faces.reshape(-1, 3))
    normal = vertex_normals(surface.vertices, surface.faces)[used]
    least = bends.least[used]
    where = resampled(line, STEP)
    for _ in range(ROUNDS):
        where, face, weight = _on(part, where)
        up = np.einsum("kc,kcx->kx", weight, normal[part.faces[face]])
        side = np.cross(up, np.gradient(where, axis=0))
        side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-12)
        offs = where + STEP * np.array([0.0, -1.0, 1.0])[:, None, None] * side
        _, face, weight = _on(part, offs.reshape(-1, 3))
        here, left, right = np.einsum("kc,kc->k", weight, least[part.faces[face]]).reshape(3, -1)
        bow = left + right - 2.0 * here
        sharp = bow > 1e-9
        off = (left - right) / np.where(sharp, 2.0 * bow, 1.0)
        off = np.clip(np.where(sharp, off, np.sign(left - right)), -1.0, 1.0)
        pull = deep * np.clip(-np.min([here, left, right], axis=0) * REACH / SURE, 0.0, 1.0)
        bend = 0.5 * (where[:-2] + where[2:]) - where[1:-1]
        even = EVEN + (0.5 - EVEN) * (1.0 - pull)
        move = (DRAW * STEP * pull * off)[:, None] * side
        where[1:-1] += move[1:-1] + even[1:-1, None] * bend
        where = resampled(where, STEP)
    return _on(part, where)[0]


def _beside(surface: Surface, line: Array) -> Ints:
    """Faces within BAND of a line."""
    middle = surface.vertices[surface.faces].mean(axis=1)
    return np.flatnonzero(cKDTree(resampled(line, STEP)).query(middle)[0] < BAND)


def _on(surface: Surface, where: Array) -> tuple[Array, Ints, Array]:
    """The nearest places (k, 3) of the surface, their faces and weights."""
    face, weight = nearest_arrays(surface.vertices, surface.faces, where)
    corner = surface.vertices[surface.faces[face]]
    return np.einsum("kc,kcx->kx", weight, corner), face, weight
