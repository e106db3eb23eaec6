"""Lines drawn in one triangle: where they meet, and a triangulation that has them all as edges.

Inside a triangle everything is decided in barycentric coordinates, so that a thin triangle is cut no
worse than a round one; lengths enter only to choose the better of two diagonals.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

Weights = tuple[float, float, float]
Line = tuple[int, int]

_HALF_ROOT_3 = math.sqrt(3.0) / 2.0
_ROUNDING = 1e-14  # area share that rounding alone can make
_FLAT = 1e-12  # area share below which three nodes count as in line


class ArrangementError(Exception):
    """Raised when the lines of a triangle cannot be arranged at this snap; never leaves the room."""


@dataclass
class Drawing:
    """The nodes and lines of one triangle.

    weights: barycentrics of each node; shape: the triangle's corners in the plane, true to length;
    rim: the nodes on its outline, counter-clockwise from corner 0; inner: nodes inside, in order;
    new: nodes that arranging made; alias: nodes that were merged into another.
    """

    weights: dict[int, Weights]
    shape: tuple[complex, complex, complex]
    rim: list[int]
    inner: list[int]
    next_node: int
    new: list[int] = field(default_factory=list)
    alias: dict[int, int] = field(default_factory=dict)
    at: dict[int, complex] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Place every node in an equilateral triangle of side 1."""
        for node in (*self.rim, *self.inner):
            self.place(node)

    def place(self, node: int) -> None:
        """Position of a node in the equilateral triangle, where snapping is measured."""
        _, b1, b2 = self.weights[node]
        self.at[node] = complex(b1 + 0.5 * b2, _HALF_ROOT_3 * b2)

    def together(self, a: int, b: int) -> bool:
        """Whether two nodes lie on one side of the triangle."""
        wa, wb = self.weights[a], self.weights[b]
        return any(wa[k] == 0.0 and wb[k] == 0.0 for k in range(3))

    def nodes(self) -> list[int]:
        """All nodes that were not merged into another."""
        return self.rim + [n for n in self.inner if n not in self.alias] + self.new

    def turn(self, a: int, b: int, c: int) -> float:
        """Twice the area of three nodes as a share of the triangle's; exactly 0 along a side."""
        a0, a1, a2 = self.weights[a]
        b0, b1, b2 = self.weights[b]
        c0, c1, c2 = self.weights[c]
        return a0 * (b1 * c2 - b2 * c1) - b0 * (a1 * c2 - a2 * c1) + c0 * (a1 * b2 - a2 * b1)

    def crosses(self, one: Line, other: Line) -> bool:
        """Whether two lines that share no node cross; lines that run on in one line do not."""
        if one[0] in other or one[1] in other:
            return False
        return _opposite(self.turn(*one, other[0]), self.turn(*one, other[1])) and _opposite(
            self.turn(*other, one[0]), self.turn(*other, one[1])
        )

    def flat_place(self, node: int) -> complex:
        """Position of a node in the triangle laid flat, true to length."""
        b0, b1, b2 = self.weights[node]
        return b0 * self.shape[0] + b1 * self.shape[1] + b2 * self.shape[2]


def _opposite(x: float, y: float) -> bool:
    """Whether two areas have opposite signs, rounding apart."""
    return (x > _ROUNDING and y < -_ROUNDING) or (x < -_ROUNDING and y > _ROUNDING)


def arrange(drawing: Drawing, lines: Iterable[Line], snap: float) -> dict[Line, list[int]]:
    """The path of nodes that stands for each line, from its first node to its last.

    Inner nodes within snap of another node are merged; a line that passes a node within snap goes
    through it; lines that cross get a node there. Afterwards no two steps of the paths cross.
    Raises ArrangementError if that does not come to rest.
    """
    _merge(drawing, snap)
    paths: dict[Line, list[int]] = {}
    for a, b in lines:
        first, last = drawing.alias.get(a, a), drawing.alias.get(b, b)
        paths[a, b] = [first] if first == last else [first, last]
    for _ in range(40 + 8 * len(paths) ** 2):
        for key, path in paths.items():
            paths[key] = _through_near_nodes(drawing, path, snap)
        crossing = _first_crossing(drawing, steps_of(drawing, paths.values()))
        if crossing is None:
            return paths
        _cross(drawing, paths, *crossing, snap)
    raise ArrangementError("lines keep crossing")


def steps_of(drawing: Drawing, paths: Iterable[list[int]]) -> list[Line]:
    """The different steps of paths that run inside the triangle, each low node first."""
    found: dict[Line, None] = {}
    for path in paths:
        for a, b in zip(path, path[1:], strict=False):
            if not drawing.together(a, b):
                found[(a, b) if a < b else (b, a)] = None
    return list(found)


def _merge(drawing: Drawing, snap: float) -> None:
    """Merge inner nodes that lie within snap of a node before them."""
    kept = list(drawing.rim)
    for node in drawing.inner:
        here = drawing.at[node]
        near = min(kept, key=lambda k: abs(drawing.at[k] - here))
        if abs(drawing.at[near] - here) < snap:
            drawing.alias[node] = near
        else:
            kept.append(node)


def _through_near_nodes(drawing: Drawing, path: list[int], snap: float) -> list[int]:
    """The path led through every node that lies within snap of it; no node is visited twice."""
    free = set(drawing.nodes()).difference(path)
    out = [path[0]]
    todo = list(reversed(path[1:]))
    while todo:
        a, b = out[-1], todo[-1]
        via = None if drawing.together(a, b) else _nearest_along(drawing, a, b, free, snap)
        if via is None:
            out.append(todo.pop())
        else:
            free.discard(via)
            todo.append(via)
    return out


def _nearest_along(drawing: Drawing, a: int, b: int, free: set[int], snap: float) -> int | None:
    """The free node within snap of the line from a to b that comes first on the way, if any."""
    start = drawing.at[a]
    along = drawing.at[b] - start
    size = abs(along)
    along /= size
    best, best_t = None, math.inf
    for node in sorted(free):
        local = (drawing.at[node] - start) * along.conjugate()
        if abs(local.imag) < snap and 0.0 < local.real < min(size, best_t):
            best, best_t = node, local.real
    return best


def _first_crossing(drawing: Drawing, steps: list[Line]) -> tuple[Line, Line] | None:
    """The first two steps that cross, if any do."""
    for i, (a, b) in enumerate(steps):
        for c, d in steps[:i]:
            if drawing.crosses((a, b), (c, d)):
                return (a, b), (c, d)
    return None


def _cross(
    drawing: Drawing, paths: dict[Line, list[int]], one: Line, other: Line, snap: float
) -> None:
    """Lead both steps through the place where they cross: a node within snap of it, or a new one."""
    before, after = drawing.turn(*other, one[0]), drawing.turn(*other, one[1])
    t = before / (before - after)
    wa, wb = drawing.weights[one[0]], drawing.weights[one[1]]
    raw = [(1.0 - t) * x + t * y for x, y in zip(wa, wb, strict=True)]
    total = sum(raw)
    weights = (raw[0] / total, raw[1] / total, raw[2] / total)
    here = complex(weights[1] + 0.5 * weights[2], _HALF_ROOT_3 * weights[2])
    near = min(drawing.nodes(), key=lambda k: abs(drawing.at[k] - here))
    if abs(drawing.at[near] - here) < snap or min(weights) <= 0.0:
        node = near
    else:
        node = drawing.next_node
        drawing.next_node += 1
        drawing.weights[node] = weights
        drawing.place(node)
        drawing.new.append(node)
    for key, path in paths.items():
        paths[key] = _with_stop(path, (one, other), node)


def _with_stop(path: list[int], steps: tuple[Line, Line], node: int) -> list[int]:
    """The path with node put into each of its steps that is one of steps (either way round)."""
    out = [path[0]]
    for a, b in zip(path, path[1:], strict=False):
        hit = ((a, b) in steps or (b, a) in steps) and node not in (a, b)
        out.extend((node, b) if hit else (b,))
    return out


def triangulate(drawing: Drawing, steps: Iterable[Line]) -> list[tuple[int, int, int]]:
    """Triangles on all nodes of the drawing that have every step as an edge, well shaped.

    The outline is fanned, inner nodes are put in, edges are turned until every step is there
    (Sloan 1993), then turned towards Delaunay (Lawson 1977) where no step stands in the way.
    Raises ArrangementError if that cannot be done.
    """
    net = _Net(drawing)
    for node in drawing.nodes()[len(drawing.rim) :]:
        net.put(node)
    fixed = {(a, b) if a < b else (b, a) for a, b in steps}
    for a, b in sorted(fixed):
        net.force(a, b)
    net.improve(fixed)
    return net.triangles()


class _Net:
    """A triangulation of one drawing, as the apex of each directed edge."""

    def __init__(self, drawing: Drawing) -> None:
        """Begin with the outline: the corner triangle, its sides split at their nodes."""
        self.drawing = drawing
        self.apex: dict[Line, int] = {}
        corners = [n for n in drawing.rim if max(drawing.weights[n]) == 1.0]
        self._add(*corners)
        starts = [drawing.rim.index(c) for c in corners] + [len(drawing.rim)]
        for k in range(3):
            here, last = corners[k], corners[(k + 1) % 3]
            for node in drawing.rim[starts[k] + 1 : starts[k + 1]]:
                tip = self.apex[here, last]
                self._drop(here, last, tip)
                self._add(here, node, tip)
                self._add(node, last, tip)
                here = node

    def _add(self, a: int, b: int, c: int) -> None:
        """Add the triangle a, b, c."""
        self.apex[a, b], self.apex[b, c], self.apex[c, a] = c, a, b

    def _drop(self, a: int, b: int, c: int) -> None:
        """Take the triangle a, b, c away."""
        del self.apex[a, b], self.apex[b, c], self.apex[c, a]

    def triangles(self) -> list[tuple[int, int, int]]:
        """All triangles, each once, checked to be the right way up."""
        found = [(a, b, c) for (a, b), c in self.apex.items() if a < b and a < c]
        if any(self.drawing.turn(*t) <= 0.0 for t in found):
            raise ArrangementError("a triangle is upside down or has no area")
        return sorted(found)

    def put(self, node: int) -> None:
        """Put an inner node in: into a triangle, or into an edge if it lies on one."""
        turn = self.drawing.turn
        best, best_low = None, -math.inf
        for (a, b), c in self.apex.items():
            if a < b and a < c:
                low = min(turn(a, b, node), turn(b, c, node), turn(c, a, node))
                if low > best_low:
                    best, best_low = (a, b, c), low
        if best is None or best_low < -_FLAT:
            raise ArrangementError("a node lies outside its triangle")
        a, b, c = best
        while best_low < _FLAT and turn(a, b, node) > best_low:
            a, b, c = b, c, a
        other = self.apex.get((b, a)) if best_low < _FLAT else None
        self._drop(a, b, c)
        parts = [(b, c), (c, a)] if other is not None else [(a, b), (b, c), (c, a)]
        if other is not None:
            self._drop(b, a, other)
            parts += [(a, other), (other, b)]
        for x, y in parts:
            self._add(x, y, node)

    def _turnable(self, a: int, b: int) -> bool:
        """Whether the edge a, b is the diagonal of a strictly convex quadrilateral."""
        c, d = self.apex[a, b], self.apex[b, a]
        turn = self.drawing.turn
        return turn(d, b, c) > _FLAT and turn(c, a, d) > _FLAT

    def _turn(self, a: int, b: int) -> Line:
        """Replace the diagonal a, b by the other one, which is returned."""
        c, d = self.apex[a, b], self.apex[b, a]
        self._drop(a, b, c)
        self._drop(b, a, d)
        self._add(a, d, c)
        self._add(d, b, c)
        return c, d

    def force(self, a: int, b: int) -> None:
        """Turn edges until a, b is one (Sloan 1993)."""
        if (a, b) in self.apex or (b, a) in self.apex:
            return
        crossing = [e for e in self.apex if e[0] < e[1] and self.drawing.crosses(e, (a, b))]
        for _ in range(8 * (len(crossing) + 2) ** 2):
            if not crossing:
                break
            edge = crossing.pop(0)
            if not self._turnable(*edge):
                crossing.append(edge)
                continue
            new = self._turn(*edge)
            if self.drawing.crosses(new, (a, b)):
                crossing.append(new)
        if (a, b) not in self.apex and (b, a) not in self.apex:
            raise ArrangementError("a line could not be made an edge")

    def improve(self, fixed: set[Line]) -> None:
        """Turn edges that are not Delaunay in the triangle laid flat, fixed ones apart."""
        spot = {n: self.drawing.flat_place(n) for n in self.drawing.nodes()}
        todo = [e for e in self.apex if e[0] < e[1] and e[::-1] in self.apex and e not in fixed]
        for _ in range(8 * len(todo) + 8):
            if not todo:
                return
            a, b = todo.pop()
            if (a, b) not in self.apex or not self._bad(spot, a, b) or not self._turnable(a, b):
                continue
            c, d = self._turn(a, b)
            for x, y in ((a, c), (a, d), (b, c), (b, d)):
                edge = (x, y) if x < y else (y, x)
                if edge in self.apex and edge[::-1] in self.apex and edge not in fixed:
                    todo.append(edge)

    def _bad(self, spot: dict[int, complex], a: int, b: int) -> bool:
        """Whether the angles facing the edge a, b sum to more than a half turn."""
        c, d = spot[self.apex[a, b]], spot[self.apex[b, a]]
        over = (spot[b] - c) * (spot[a] - c).conjugate()
        under = (spot[a] - d) * (spot[b] - d).conjugate()
        both = over * under
        return both.imag < -1e-9 * abs(both)
