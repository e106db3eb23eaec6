"""A lay pushed together: all pieces move at once, without turning, until the lay is no shorter.

Each piece is taken as convex parts. Two parts that come near each other are parted by a line at right
angles to their shortest way; as long as both stay on their sides of it they cannot meet. With these lines
fixed the shortest lay is a linear programme in the moves of all pieces; then the lines are found anew
(the compaction of Li and Milenkovic, 1995, with separating lines in place of no-fit polygons). A round
never makes a lay longer, and never brings two pieces nearer than the gap, or than they were.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray
from scipy.optimize import linprog

Line = NDArray[np.float64]  # (k, 2) mm
STEP_MM = 12.0  # the farthest that a piece moves along or across in one round
ROUNDS = 40
LEAST_MM = 0.02  # of length won in a round, below which the next round looks farther or ends
DOWN = 1e-3  # weight of all pieces' mean place beside the length
TOUCH_MM = 1e-5  # parts nearer than this are parted by one of their own sides
SURE_MM = 1e-4  # what the solver may be off: kept in hand on every line


def compact(
    lines: Sequence[Line], offsets: Line, width: float, gap: float, *, rounds: int = ROUNDS
) -> Line:
    """Offsets (n, 2) of the pushed-together lay; lines (k, 2): each piece as turned, mm, laid at its offset.

    x lies within 0 and width, y begins at 0; the gap is kept between all pieces. Returns the given offsets
    where nothing is won.
    """
    offsets = np.array(offsets, dtype=np.float64)
    parts, owner = _parts(lines)
    low = np.array([line.min(axis=0) for line in lines])
    high = np.array([line.max(axis=0) for line in lines])
    length, idle = _length(high, offsets), 0
    for _ in range(rounds):
        moved = _round(parts, owner, low, high, offsets, width, gap)
        if moved is None:
            break
        now = _length(high, moved)
        if now > length:
            break
        idle = idle + 1 if length - now < LEAST_MM else 0
        offsets, length = moved, now
        if idle == 3:
            break
    return offsets


def _length(high: Line, offsets: Line) -> float:
    return float((high + offsets)[:, 1].max())


def _parts(lines: Sequence[Line]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Convex parts of every piece as shapely polygons (p,), and the piece of each (p,)."""
    parts, owner = [], []
    for k, line in enumerate(lines):
        own = convex_parts(shapely.Polygon(line))
        parts += own
        owner += [k] * len(own)
    return np.array(parts, dtype=object), np.array(owner, dtype=np.int64)


def convex_parts(shape: shapely.Polygon) -> list[shapely.Polygon]:
    """A polygon as convex parts: its triangles, joined across their sides while what comes is convex.

    Joining as Hertel and Mehlhorn (1983): at most four times as many parts as can be.
    """
    whole = shape if shape.is_valid else shapely.buffer(shape, 0)
    parts = [
        shapely.orient_polygons(t)
        for t in shapely.get_parts(shapely.constrained_delaunay_triangles(whole))
        if t.area > 0
    ]
    rings = [[tuple(c) for c in shapely.get_coordinates(p)[:-1].tolist()] for p in parts]
    side: dict[tuple, int] = {}
    root = list(range(len(rings)))

    def find(i: int) -> int:
        while root[i] != i:
            i = root[i]
        return i

    for i, ring in enumerate(rings):
        for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
            side[a, b] = i
    sides = sorted(side, key=lambda s: -np.hypot(s[0][0] - s[1][0], s[0][1] - s[1][1]))
    for a, b in sides:
        if a > b or (b, a) not in side:
            continue
        i, j = find(side[a, b]), find(side[b, a])
        if i == j:
            continue
        joined = _joined(rings[i], rings[j], a, b)
        if joined is not None and _convex(np.array(joined)):
            rings[i], root[j] = joined, i
    return [shapely.Polygon(r) for i, r in enumerate(rings) if find(i) == i]


def _joined(one: list, other: list, a: tuple, b: tuple) -> list | None:
    """The ring of two rings (counter-clockwise) that share the side a to b of the first."""
    i, j = one.index(a), other.index(b)
    if one[(i + 1) % len(one)] != b or other[(j + 1) % len(other)] != a:
        return None
    first = one[i + 1 :] + one[: i + 1]  # from b round to a
    second = other[j + 1 :] + other[: j + 1]  # from a round to b
    return first + second[1:-1]


def _convex(ring: Line) -> bool:
    """Whether a counter-clockwise ring turns left, or not at all, everywhere."""
    way = np.roll(ring, -1, axis=0) - ring
    after = np.roll(way, -1, axis=0)
    turn = way[:, 0] * after[:, 1] - way[:, 1] * after[:, 0]
    return bool(np.all(turn >= -1e-9 * np.hypot(*way.T) * np.hypot(*after.T)))


def _round(
    parts: NDArray[np.object_],
    owner: NDArray[np.int64],
    low: Line,
    high: Line,
    offsets: Line,
    width: float,
    gap: float,
) -> Line | None:
    """Offsets after one linear programme, None where there is no solution."""
    n = len(offsets)
    placed = _moved(parts, offsets[owner])
    i, j, normal, apart = _lines(placed, owner, gap + 2.0 * np.sqrt(2.0) * STEP_MM)
    # unknowns: x and y moves of each piece, then the length
    rows = np.arange(len(i))
    held = apart - np.minimum(gap, apart) - SURE_MM
    block = sp.csr_array(
        (
            np.concatenate([normal[:, 0], normal[:, 1], -normal[:, 0], -normal[:, 1]]),
            (np.tile(rows, 4), np.concatenate([2 * i, 2 * i + 1, 2 * j, 2 * j + 1])),
        ),
        shape=(len(i), 2 * n + 1),
    )
    top = sp.csr_array(
        (
            np.concatenate([np.ones(n), -np.ones(n)]),
            (np.tile(np.arange(n), 2), np.concatenate([2 * np.arange(n) + 1, np.full(n, 2 * n)])),
        ),
        shape=(n, 2 * n + 1),
    )
    limit = np.concatenate([np.maximum(held, 0.0), -(high + offsets)[:, 1]])
    least = np.maximum(-STEP_MM, np.minimum(0.0, -(low + offsets)))
    most = np.full((n, 2), STEP_MM)
    most[:, 0] = np.minimum(STEP_MM, np.maximum(0.0, width - (high + offsets)[:, 0]))
    bounds = np.vstack([np.column_stack([least.ravel(), most.ravel()]), [[0.0, np.inf]]])
    cost = np.zeros(2 * n + 1)
    cost[1 : 2 * n : 2] = DOWN / n
    cost[-1] = 1.0
    got = linprog(cost, sp.vstack([block, top]).tocsr(), limit, bounds=bounds, method="highs")
    return offsets + got.x[:-1].reshape(n, 2) if got.success else None


def _moved(parts: NDArray[np.object_], by: Line) -> NDArray[np.object_]:
    """Each polygon moved by its own (p, 2)."""
    coords, at = shapely.get_coordinates(parts, return_index=True)
    return shapely.set_coordinates(parts.copy(), coords + by[at])


def _lines(
    placed: NDArray[np.object_], owner: NDArray[np.int64], reach: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], Line, NDArray[np.float64]]:
    """Pairs of pieces (q,) whose parts come within reach, the way (q, 2) from one to the other, their distance."""
    one, other = shapely.STRtree(placed).query(placed, predicate="dwithin", distance=reach)
    keep = owner[one] < owner[other]
    one, other = one[keep], other[keep]
    ways = shapely.get_coordinates(shapely.shortest_line(placed[one], placed[other]))
    ways = ways.reshape(-1, 2, 2)
    normal = ways[:, 1] - ways[:, 0]
    apart = np.hypot(*normal.T)
    far = apart > TOUCH_MM
    normal[far] /= apart[far, None]
    for k in np.flatnonzero(~far):
        normal[k], apart[k] = _best_side(
            shapely.get_coordinates(placed[one[k]])[:-1],
            shapely.get_coordinates(placed[other[k]])[:-1],
        )
    return owner[one], owner[other], normal, apart


def _best_side(one: Line, other: Line) -> tuple[NDArray[np.float64], float]:
    """The outward normal (2,), of the sides of two convex rings, that parts them most, from one to the other."""
    ways = []
    for ring, sign in ((one, 1.0), (other, -1.0)):
        way = np.roll(ring, -1, axis=0) - ring
        way = way[np.hypot(*way.T) > 0]
        normal = np.column_stack([way[:, 1], -way[:, 0]]) / np.hypot(*way.T)[:, None]
        turn = np.sign(shapely.LinearRing(ring).is_ccw - 0.5)
        ways.append(sign * turn * normal)
    ways = np.concatenate(ways)
    apart = (other @ ways.T).min(axis=0) - (one @ ways.T).max(axis=0)
    k = int(np.argmax(apart))
    return ways[k], float(apart[k])
