"""The shortest way through a strip of triangles laid flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Point, Vertices

Position = NDArray[np.float64]
Gate = tuple[complex, complex]


class Pivot(NamedTuple):
    """A vertex at which a way bends; portals low up to high (not included) have it as an end.

    came, goes (3,): the places on the way just before and just after.
    """

    vertex: int
    low: int
    high: int
    came: Position
    goes: Position


@dataclass(frozen=True, eq=False)
class Way:
    """The shortest way through a strip of faces, each next to the one before.

    portals: the vertices at the left and right end of the edge between faces i and i + 1; sides: the
    side of face i that it is; shares: where the way crosses it, as the share of the right end.
    """

    faces: list[int]
    portals: list[tuple[int, int]]
    sides: list[int]
    shares: list[float]
    pivots: list[Pivot]

    def far_end(self, portal: int, vertex: int) -> int:
        """The end of a portal that is not vertex."""
        left, right = self.portals[portal]
        return left if right == vertex else right

    def point(self, portal: int) -> Point:
        """The place at which the way crosses a portal, on the face before it."""
        side, t = self.sides[portal], self.shares[portal]
        weights = [0.0, 0.0, 0.0]
        weights[(side + 2) % 3], weights[(side + 1) % 3] = 1.0 - t, t
        return Point(self.faces[portal], (weights[0], weights[1], weights[2]))


def straighten(
    vertices: Vertices,
    faces: Faces,
    across: NDArray[np.int64],
    strip: list[int],
    start: Position,
    end: Position,
) -> Way:
    """The shortest way through a strip of at least two faces (Lee and Preparata 1984).

    vertices (n, 3), faces (m, 3), across (m, 3): face over each side; start and end (3,): positions
    in the first and the last face, not on the portals there.
    """
    rows = np.asarray(strip)
    side = np.argmax(across[rows[:-1]] == rows[1:, None], axis=1)
    left, right = faces[rows[:-1], (side + 2) % 3], faces[rows[:-1], (side + 1) % 3]
    portals = list(zip(left.tolist(), right.tolist(), strict=True))
    flat, first, last = _unfold(vertices, faces, rows, left, right, start, end)
    bends = _pull(flat, portals, first, last)
    spans = [_span(portals, k, portals[k][end_]) for k, end_ in bends]
    names = [portals[k][end_] for k, end_ in bends]
    spots = [first, *(flat[k][end_] for k, end_ in bends), last]
    shares = _shares(flat, portals, names, spans, spots)
    stops = [start, *(vertices[v] for v in names), end]
    pivots = []
    for i, (low, high) in enumerate(spans):
        free = low > (spans[i - 1][1] if i else 0)
        came = _crossing(vertices, portals, shares, low - 1) if free else stops[i]
        free = high < (spans[i + 1][0] if i + 1 < len(spans) else len(portals))
        goes = _crossing(vertices, portals, shares, high) if free else stops[i + 2]
        pivots.append(Pivot(names[i], low, high, came, goes))
    return Way(strip, portals, side.tolist(), shares, pivots)


def _crossing(
    vertices: Vertices, portals: list[tuple[int, int]], shares: list[float], portal: int
) -> Position:
    """Position (3,) at which a way crosses a portal."""
    left, right = portals[portal]
    return (1.0 - shares[portal]) * vertices[left] + shares[portal] * vertices[right]


def _unfold(
    vertices: Vertices,
    faces: Faces,
    strip: NDArray[np.int64],
    left: NDArray[np.int64],
    right: NDArray[np.int64],
    start: Position,
    end: Position,
) -> tuple[list[Gate], complex, complex]:
    """Left and right end of each portal in the plane, and the start and the end."""
    # In the frame of a portal the right end is 0 and the left end 1, so that the way goes down:
    # what lies ahead has a negative imaginary part.
    a, b = vertices[right], vertices[left]
    third = faces[strip[1:-1]].sum(axis=1) - left[:-1] - right[:-1]
    ratios = _in_frame(a[:-1], b[:-1], vertices[third]).conj().tolist()
    before = complex(_in_frame(a[:1], b[:1], start[None])[0])
    after = complex(_in_frame(a[-1:], b[-1:], end[None])[0].conjugate())
    z_right, z_left = 0j, complex(np.linalg.norm(b[0] - a[0]))
    first = before * z_left
    flat = [(z_left, z_right)]
    kept_left = (left[1:] == left[:-1]).tolist()
    for ratio, keep in zip(ratios, kept_left, strict=True):
        tip = z_right + ratio * (z_left - z_right)
        z_left, z_right = (z_left, tip) if keep else (tip, z_right)
        flat.append((z_left, z_right))
    return flat, first, z_right + after * (z_left - z_right)


def _in_frame(a: Position, b: Position, c: Position) -> NDArray[np.complex128]:
    """Positions c (k, 3) in the frames where a is 0 and b is 1, turned to the positive side."""
    # by components: numpy's cross product takes longer than all the rest for so few
    (x, y, z), (u, v, w) = (b - a).T, (c - a).T
    square = x * x + y * y + z * z
    square = np.where(square > 0.0, square, 1.0)
    p, q, r = y * w - z * v, z * u - x * w, x * v - y * u
    return (x * u + y * v + z * w + 1j * np.sqrt(p * p + q * q + r * r)) / square


def _span(portals: list[tuple[int, int]], portal: int, vertex: int) -> tuple[int, int]:
    """First and behind-last of the portals about portal that all have vertex as an end."""
    low = high = portal
    while low > 0 and vertex in portals[low - 1]:
        low -= 1
    while high < len(portals) and vertex in portals[high]:
        high += 1
    return low, high


def _pull(
    flat: list[Gate], portals: list[tuple[int, int]], first: complex, last: complex
) -> list[tuple[int, int]]:
    """Bends of the shortest way: a portal, and 0 or 1 for its left or right end."""
    gates = [*flat, (last, last)]
    bends: list[tuple[int, int]] = []
    apex, (left, right) = first, gates[0]
    i_left = i_right = 0
    k = 1
    while k < len(gates):
        new_left, new_right = gates[k]
        bend = None
        if _turn(apex, right, new_right) >= 0.0:
            if _turn(apex, left, new_right) > 0.0:
                bend = (i_left, 0)
            else:
                right, i_right = new_right, k
        if bend is None and _turn(apex, left, new_left) <= 0.0:
            if _turn(apex, right, new_left) < 0.0:
                bend = (i_right, 1)
            else:
                left, i_left = new_left, k
        k += 1
        if bend is not None:
            bends.append(bend)
            apex = gates[bend[0]][bend[1]]
            i_left = i_right = _span(portals, bend[0], portals[bend[0]][bend[1]])[1]
            left, right = gates[i_left]
            k = i_left + 1
    return bends


def _turn(o: complex, a: complex, b: complex) -> float:
    """Twice the signed area of o, a, b: positive if b lies left of the way from o to a."""
    p, q = a - o, b - o
    return p.real * q.imag - p.imag * q.real


def _shares(
    flat: list[Gate],
    portals: list[tuple[int, int]],
    names: list[int],
    spans: list[tuple[int, int]],
    spots: list[complex],
) -> list[float]:
    """Where the way over the spots crosses each portal; 0 is the left end, 1 the right end."""
    shares = [0.0] * len(flat)
    for vertex, (low, high) in zip(names, spans, strict=True):
        for k in range(low, high):
            shares[k] = 0.0 if portals[k][0] == vertex else 1.0
    begins = [0, *(high for _, high in spans)]
    stops = [*(low for low, _ in spans), len(flat)]
    for a, b, begin, stop in zip(spots[:-1], spots[1:], begins, stops, strict=True):
        if begin < stop:
            shares[begin:stop] = _met(a, b, np.array(flat[begin:stop])).tolist()
    return shares


def _met(a: complex, b: complex, gates: NDArray[np.complex128]) -> NDArray[np.float64]:
    """Where the straight way from a to b meets each gate (k, 2), as the share of the right end."""
    along = (b - a).conjugate()
    over, under = (along * (gates - a)).imag.T
    total = over - under
    met = np.divide(over, total, out=np.full(len(gates), 0.5), where=total > 0.0)
    return np.clip(met, 0.0, 1.0)
