"""Locally shortest curves on a triangle mesh, exact: straight across faces, bent only at vertices.

A first way is found along vertices and edge midpoints (Dijkstra); the faces that it crosses are
unfolded into a strip, in which the shortest way is found exactly (string pulling through a funnel,
Lee and Preparata 1984); where it bends at a vertex whose other side leaves less than a half turn,
the strip is led round that other side (Xin and Wang 2007), until no such vertex is left. A curve on
a polyhedron is locally shortest exactly then (Mitchell, Mount and Papadimitriou 1987).
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from padlib.errors import InputError, MeshError
from padlib.mesh.funnel import Pivot, Position, Way, straighten
from padlib.mesh.point import Curve, arrays, points, positions, snapped
from padlib.mesh.surface import Faces, Point, Surface, Vertices, per_surface
from padlib.mesh.topology import edges, neighbours

Indices = NDArray[np.int64]

_NEAR = 1e-9  # weights below this are zero: the point is on the edge or the vertex
_LOOKS = 250  # nodes after which looking everywhere in compiled code is quicker
_AFAR = 25.0  # links in a straight line; such a way takes more looks than that
_HALF_TURN = math.pi - 1e-7  # a side with less than this can be shortened


@dataclass(frozen=True, eq=False)
class Ground:
    """What finding ways on a mesh needs, made once by `prepare`.

    vertices (n, 3), faces (m, 3); across (m, 3): the face over each side, -1 for none; angle (m, 3):
    corner angles; cone (n,): the sum of them around each vertex; ends (e, 2), of_face (m, 3): edges;
    fan_start (n + 1,), fan (3m,): faces of each vertex; places (n + e, 3): the vertices, then the
    midpoints of the edges; links: lengths between those that share a face.
    """

    vertices: Vertices
    faces: Faces
    across: Indices
    angle: NDArray[np.float64]
    cone: NDArray[np.float64]
    ends: Indices
    of_face: Indices
    fan_start: Indices
    fan: Indices
    places: Vertices
    links: csr_array

    def faces_of(self, carrier: Sequence[int]) -> list[int]:
        """Faces that have all the vertices in carrier, lowest first."""
        sets = [set(self.fan[self.fan_start[v] : self.fan_start[v + 1]].tolist()) for v in carrier]
        return sorted(set.intersection(*sets))

    def carrier(self, node: int) -> tuple[int, ...]:
        """The vertices that carry a node of links: itself, or the ends of its edge."""
        count = len(self.vertices)
        return (node,) if node < count else tuple(self.ends[node - count].tolist())


def prepare(vertices: Vertices, faces: Faces) -> Ground:
    """Everything that `geodesic` needs of a mesh of vertices (n, 3), faces (m, 3); reuse it."""
    v = np.asarray(vertices, dtype=np.float64)
    f = np.asarray(faces, dtype=np.int64)
    mesh_edges = edges(f)
    corner = v[f]
    one, two = np.roll(corner, -1, axis=1) - corner, np.roll(corner, -2, axis=1) - corner
    size = np.linalg.norm(np.cross(one, two), axis=2)
    angle = np.arctan2(size, np.einsum("mcx,mcx->mc", one, two))
    cone = np.bincount(f.ravel(), weights=angle.ravel(), minlength=len(v))
    order = np.argsort(f.ravel(), kind="stable")
    start = np.concatenate(([0], np.cumsum(np.bincount(f.ravel(), minlength=len(v)))))
    places = np.concatenate((v, v[mesh_edges.ends].mean(axis=1)))
    links = _links(places, f, mesh_edges.ends, mesh_edges.of_face)
    across = neighbours(f, mesh_edges=mesh_edges)
    ends, of_face = mesh_edges.ends, mesh_edges.of_face
    return Ground(v, f, across, angle, cone, ends, of_face, start, order // 3, places, links)


@per_surface
def ground_of(surface: Surface) -> Ground:
    """What `prepare` gives of a surface, found once for as long as the surface lives."""
    return prepare(surface.vertices, surface.faces)


def _links(places: Vertices, f: Faces, ends: Indices, of_face: Indices) -> csr_array:
    """Lengths between places that share a face: the vertices, then the midpoints of the edges."""
    middle = len(places) - len(ends) + of_face
    pairs = [ends]
    for k in range(3):
        pairs.append(np.column_stack((f[:, k], middle[:, k])))
        pairs.append(np.column_stack((middle[:, k], middle[:, (k + 1) % 3])))
    pair = np.concatenate(pairs)
    length = np.linalg.norm(places[pair[:, 0]] - places[pair[:, 1]], axis=1)
    length = np.maximum(length, 1e-12 * max(float(length.max(initial=0.0)), 1e-300))
    rows, cols = np.concatenate((pair, pair[:, ::-1])).T
    shape = (len(places), len(places))
    return csr_array((np.concatenate((length, length)), (rows, cols)), shape=shape)


def geodesic(
    vertices: Vertices,
    faces: Faces,
    points: Sequence[Point],
    *,
    closed: bool = False,
    ground: Ground | None = None,
) -> Curve:
    """The locally shortest curve on the surface through points, in their order.

    vertices (n, 3) in mm, faces (m, 3); points lie anywhere on the surface. Between two given points
    the curve is straight across faces and cannot be shortened by moving it a little; at a given
    point it may bend. closed: it goes on from the last point to the first. ground: from `prepare`,
    to save time when many curves are wanted on one mesh.
    Each two neighbouring points of the result share a face.
    Raises InputError for fewer than two points, MeshError if two lie on separate parts.
    """
    if len(points) < 2:
        raise InputError(f"a geodesic needs at least two points, not {len(points)}; add one")
    land = prepare(vertices, faces) if ground is None else ground
    through = _clean(land, points)
    legs = list(zip(through, through[1:] + through[:1], strict=True))
    line: list[Point] = []
    for p, q in legs if closed else legs[:-1]:
        line.extend(_leg(land, p, q)[:-1])
    if not closed:
        line.append(through[-1])
    return Curve(tuple(line), closed)


def distance(
    vertices: Vertices, faces: Faces, p: Point, q: Point, *, ground: Ground | None = None
) -> float:
    """Length in mm of the locally shortest curve from p to q."""
    return geodesic(vertices, faces, (p, q), ground=ground).length(vertices, faces)


def _clean(land: Ground, given: Sequence[Point]) -> list[Point]:
    """The points put on the edge or vertex that they are on but for rounding."""
    face, weights = arrays(given)
    if ((face < 0) | (face >= len(land.faces)) | ~np.isfinite(weights).all(axis=1)).any():
        raise InputError("a point of the geodesic is not on this mesh; pick it on this mesh")
    return points(face, snapped(weights, snap=_NEAR))


def _carrier(land: Ground, p: Point) -> tuple[int, ...]:
    """The vertices that carry a point."""
    corners = land.faces[p.face].tolist()
    return tuple(v for v, b in zip(corners, p.barycentric, strict=True) if b > 0.0)


def _leg(land: Ground, p: Point, q: Point) -> list[Point]:
    """The points of the way from p to q, both included."""
    ends = _carrier(land, p), _carrier(land, q)
    both = {*ends[0], *ends[1]}
    if len(both) <= 3 and land.faces_of(sorted(both)):
        return [p, q]
    start, end = positions(land.vertices, land.faces, (p, q))
    strip = _strip(land, p, q, _first_way(land, p, q, start, end))
    for _ in range(20 + 4 * len(strip)):
        strip = _between(land, strip, *ends)
        if len(strip) == 1:
            return [p, q]
        way = straighten(land.vertices, land.faces, land.across, strip, start, end)
        moved = _round_pivots(land, way)
        if moved is None:
            return [p, *_tidy(land, way, *ends), q]
        strip = moved
    raise MeshError("a geodesic did not come to rest; repair the mesh where it runs")


def _between(
    land: Ground, strip: list[int], start: tuple[int, ...], end: tuple[int, ...]
) -> list[int]:
    """The strip from the last face that holds the start to the first after it that holds the end."""
    corners = land.faces[strip]
    low = int(np.flatnonzero(_holding(corners, start) == len(start))[-1])
    holds = _holding(corners[low:], end) == len(end)
    return strip[low : low + int(np.argmax(holds)) + 1]


def _holding(corners: Faces, carrier: tuple[int, ...]) -> Indices:
    """How many of the vertices in carrier each face (m,) has."""
    return sum((corners == v).sum(axis=1) for v in carrier)


def _first_way(land: Ground, p: Point, q: Point, start: Position, end: Position) -> list[int]:
    """Nodes of land.links on the shortest way from p to q over them."""
    near, far = _nodes_by(land, p, start), _nodes_by(land, q, end)
    air = float(np.linalg.norm(end - start))
    way = _near_way(land, near, far, end) if air < _AFAR * _step(land, near[0]) else None
    return _far_way(land, near, far, start, end) if way is None else way


def _step(land: Ground, nodes: Indices) -> float:
    """Mean length in mm of the links about some nodes."""
    start = land.links.indptr
    rows = [land.links.data[start[n] : start[n + 1]] for n in nodes.tolist()]
    return float(np.concatenate(rows).mean())


def _near_way(
    land: Ground,
    near: tuple[Indices, NDArray[np.float64]],
    far: tuple[Indices, NDArray[np.float64]],
    end: Position,
) -> list[int] | None:
    """The way found by looking towards the end first (Hart, Nilsson, Raphael 1968).

    None if it takes more than a few hundred looks.
    """
    indptr, indices, data = land.links.indptr, land.links.indices, land.links.data
    last = dict(zip(far[0].tolist(), far[1].tolist(), strict=True))
    length = dict(zip(near[0].tolist(), near[1].tolist(), strict=True))
    before: dict[int, int] = {}
    to_go = np.linalg.norm(land.places[near[0]] - end, axis=1)
    queue = [(d + g, n) for d, g, n in zip(near[1].tolist(), to_go.tolist(), length, strict=True)]
    heapq.heapify(queue)
    done: set[int] = set()
    best, goal = math.inf, -1
    while queue and len(done) < _LOOKS:
        bound, node = heapq.heappop(queue)
        if bound >= best:
            return _back(before, goal)
        if node in done:
            continue
        done.add(node)
        here = length[node]
        if node in last and here + last[node] < best:
            best, goal = here + last[node], node
        row = slice(indptr[node], indptr[node + 1])
        onward = indices[row]
        away = land.places[onward] - end
        rest = np.sqrt(np.einsum("kx,kx->k", away, away)).tolist()
        for to, step, left in zip(onward.tolist(), data[row].tolist(), rest, strict=True):
            total = here + step
            if total < length.get(to, math.inf):
                length[to], before[to] = total, node
                heapq.heappush(queue, (total + left, to))
    return _back(before, goal) if not queue and goal >= 0 else None


def _back(before: dict[int, int], node: int) -> list[int]:
    """The nodes on the way to node."""
    way = [node]
    while way[-1] in before:
        way.append(before[way[-1]])
    return way[::-1]


def _far_way(
    land: Ground,
    near: tuple[Indices, NDArray[np.float64]],
    far: tuple[Indices, NDArray[np.float64]],
    start: Position,
    end: Position,
) -> list[int]:
    """The way found by looking round about, ever wider (Dijkstra 1959)."""
    air = float(np.linalg.norm(end - start))
    spare = 2.0 * float(near[1].max() + far[1].max())
    for reach in (1.3 * air + spare, 2.5 * air + spare, np.inf):
        found, length = _way_within(land, near, far, start, end, reach)
        if length <= reach:
            break
    if not np.isfinite(length):
        raise MeshError(
            "two points of a curve lie on separate parts of the surface; pick both on one part"
        )
    return found


def _way_within(
    land: Ground,
    near: tuple[Indices, NDArray[np.float64]],
    far: tuple[Indices, NDArray[np.float64]],
    start: Position,
    end: Position,
    reach: float,
) -> tuple[list[int], float]:
    """The shortest way of those no longer than reach, and its length; longer than reach where there is none.

    No such way leaves the ellipsoid of places whose distances from start and end sum up to reach.
    """
    nodes = _in_ellipsoid(land.places, start, end, reach)
    number = np.full(len(land.places), -1)
    number[nodes] = np.arange(len(nodes))
    first, last = number[near[0]] >= 0, number[far[0]] >= 0
    links = land.links if len(nodes) == len(land.places) else land.links[nodes][:, nodes]
    onward = number[near[0][first]].astype(links.indices.dtype)
    indptr = np.append(links.indptr, links.indptr[-1] + len(onward))
    data = np.concatenate((links.data, near[1][first]))
    indices = np.concatenate((links.indices, onward))
    size = len(nodes)
    wide = csr_array((data, indices, indptr), shape=(size + 1, size + 1))
    length, before = dijkstra(wide, indices=size, limit=reach, return_predecessors=True)
    ends = number[far[0][last]]
    total = length[ends] + far[1][last]
    if not np.isfinite(total).any():
        return [], np.inf
    best = int(np.argmin(total))
    way = [int(ends[best])]
    while before[way[-1]] != size:
        way.append(int(before[way[-1]]))
    return nodes[way[::-1]].tolist(), float(total[best])


def _in_ellipsoid(places: Vertices, start: Position, end: Position, reach: float) -> Indices:
    """Numbers of the places (n, 3) whose distances from start and end sum up to no more than reach."""
    if not np.isfinite(reach):
        return np.arange(len(places))
    middle, half = 0.5 * (start + end), 0.5 * reach
    inside = np.ones(len(places), dtype=np.bool_)
    for axis in range(3):
        inside &= np.abs(places[:, axis] - middle[axis]) <= half
    boxed = np.flatnonzero(inside)
    at = places[boxed]
    total = np.linalg.norm(at - start, axis=1) + np.linalg.norm(at - end, axis=1)
    return boxed[total <= reach]


def _nodes_by(land: Ground, p: Point, where: Position) -> tuple[Indices, NDArray[np.float64]]:
    """Nodes of the faces on which a point lies, and their distances from it."""
    faces = land.faces_of(_carrier(land, p))
    count = len(land.vertices)
    nodes = np.unique(np.concatenate((land.faces[faces], count + land.of_face[faces])).ravel())
    length = np.linalg.norm(land.places[nodes] - where, axis=1)
    return nodes, np.maximum(length, 1e-12 * max(float(length.max()), 1e-300))


def _strip(land: Ground, p: Point, q: Point, nodes: list[int]) -> list[int]:
    """Faces from p to q along a way of nodes, each a neighbour of the one before."""
    carriers = [_carrier(land, p), *(land.carrier(n) for n in nodes), _carrier(land, q)]
    strip: list[int] = []
    for one, other in zip(carriers, carriers[1:], strict=False):
        choice = land.faces_of(sorted({*one, *other}))
        if not strip:
            strip.append(choice[0])
        elif strip[-1] not in choice:
            strip.extend(_turn_about(land, one, strip[-1], choice))
    return _without_spurs(strip)


def _turn_about(
    land: Ground, carrier: tuple[int, ...], face: int, goals: Sequence[int]
) -> list[int]:
    """Faces after face, about a vertex or over an edge, up to the first of goals."""
    if len(carrier) == 2:
        return [f for f in land.faces_of(carrier) if f != face][:1]
    ways = [_swing(land, carrier[0], face, goals, step) for step in (1, 2)]
    found = [w for w in ways if w is not None]
    if not found:
        raise MeshError(
            f"the faces around vertex {carrier[0]} do not hang together; repair the mesh there"
        )
    return min(found, key=lambda w: w[1])[0]


def _swing(
    land: Ground, vertex: int, face: int, goals: Sequence[int], step: int
) -> tuple[list[int], float] | None:
    """Faces after face about a vertex up to one of goals, and their angle; None at a border.

    step 1 turns counter-clockwise, 2 clockwise.
    """
    out: list[int] = []
    turned = 0.0
    here = face
    while here not in goals:
        corner = land.faces[here].tolist().index(vertex)
        here = int(land.across[here, (corner + step) % 3])
        if here < 0 or here == face:
            return None
        out.append(here)
        turned += float(land.angle[here, land.faces[here].tolist().index(vertex)])
    return out, turned


def _without_spurs(strip: list[int]) -> list[int]:
    """The strip without going into a face and straight back out."""
    out: list[int] = []
    for face in strip:
        if len(out) > 1 and out[-2] == face:
            out.pop()
        elif not out or out[-1] != face:
            out.append(face)
    return out


def _round_pivots(land: Ground, way: Way) -> list[int] | None:
    """The strip led round the other side of vertices where that is shorter, or None if none is."""
    out: list[int] = []
    done = -1
    for pivot in way.pivots:
        other = _other_side(land, way, pivot) if pivot.low > done else None
        if other is None:
            continue
        out.extend(way.faces[max(done, 0) : pivot.low + 1])
        out.extend(other)
        done = pivot.high
    if done < 0:
        return None
    return _without_spurs(out + way.faces[done:])


def _other_side(land: Ground, way: Way, pivot: Pivot) -> list[int] | None:
    """Faces between the first and last about a pivot, on its other side, if the way is shorter there."""
    vertex, low, high = pivot.vertex, pivot.low, pivot.high
    at, strip = land.vertices[vertex], way.faces
    near = _angle(at, pivot.came, land.vertices[way.far_end(low, vertex)])
    near += _angle(at, pivot.goes, land.vertices[way.far_end(high - 1, vertex)])
    for face in strip[low + 1 : high]:
        near += float(land.angle[face, land.faces[face].tolist().index(vertex)])
    if land.cone[vertex] - near >= _HALF_TURN:
        return None
    corner = land.faces[strip[low]].tolist().index(vertex)
    onward = [
        int(land.across[strip[low], (corner + step) % 3]) == strip[low + 1] for step in (1, 2)
    ]
    if all(onward):
        return None
    found = _swing(land, vertex, strip[low], (strip[high],), 2 if onward[0] else 1)
    return None if found is None else found[0][:-1]


def _angle(tip: Position, one: Position, other: Position) -> float:
    """Angle at tip between the ways to one and other."""
    # Plain floats: numpy takes thirty times as long for a single angle.
    x, y, z = tip.tolist()
    a, b, c = one.tolist()
    d, e, f = other.tolist()
    a, b, c, d, e, f = a - x, b - y, c - z, d - x, e - y, f - z
    cross = math.hypot(b * f - c * e, c * d - a * f, a * e - b * d)
    return math.atan2(cross, a * d + b * e + c * f)


def _tidy(land: Ground, way: Way, start: tuple[int, ...], end: tuple[int, ...]) -> list[Point]:
    """The crossings of the way as points; a vertex that it passes is given once."""
    found: list[Point] = []
    last = start
    for portal in range(len(way.portals)):
        point = way.point(portal)
        carrier = _carrier(land, point)
        if len(carrier) == 1 and carrier in (last, end):
            continue
        found.append(point)
        last = carrier
    return found
