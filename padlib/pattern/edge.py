"""Edges with a purpose: the rim of a flat as runs of seams, its corners and its darts.

Words: the ring is the closed sew line, counter-clockwise, no point repeated; a run is the part of the
ring that belongs to one seam; a wedge is the part of the ring that a dart takes (mouth, apex, mouth);
a corner is a place where the ring turns by more than CORNER_DEG. Places along the ring are counted
in ring positions, which may run past the end of the ring and then wrap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.flatten.flat import Flat
from padlib.pattern.piece import Line
from padlib.pattern.purpose import EdgeRule, treated
from padlib.seams.panels import Edge, Panel

CORNER_DEG = (
    30.0  # a ring that turns less is a curve: its allowance is rounded, notches may sit there
)
WIDER = 3.0  # a corner must also turn over a reach so many times as wide
REACH_MM = 3.0  # how far along the ring the turn is measured, so that fine zigzag is no corner


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of the ring that belongs to one seam: ring positions start to stop, both included.

    partner: name of the panel that it is sewn to, or None; allowance_mm beyond it; purpose, corner and
    notch as `padlib.pattern.purpose` has them.
    """

    seam: str
    kind: str
    partner: str | None
    start: int
    stop: int
    allowance_mm: float
    purpose: str = "sewn"
    corner: str = "mitred"
    notch: str = "slit"


@dataclass(frozen=True, eq=False)
class Wedge:
    """A dart on the ring: ring positions of mouth, apex, mouth; folded: its cloth stays in the piece."""

    start: int
    apex: int
    stop: int
    folded: bool


@dataclass(frozen=True, eq=False)
class Rim:
    """The closed sew line of a flat.

    panel; points (n, 2) mm in the plane; places (n, 3) mm on the shell; turn (n,): degrees that the
    ring turns at each point, positive at outward corners; corner (n,): whether it is one.
    """

    panel: Panel
    points: Line
    places: NDArray[np.float64]
    runs: tuple[Run, ...]
    wedges: tuple[Wedge, ...]
    turn: NDArray[np.float64]
    corner: NDArray[np.bool_]

    def take(self, start: int, stop: int) -> Line:
        """Points (k, 2) of the ring from position start to stop, both included, wrapping."""
        return self.points[np.arange(start, stop + 1) % len(self.points)]

    def base(self) -> NDArray[np.int64]:
        """Ring positions (b,) without the insides of folded darts: the outline that is bordered."""
        keep = np.ones(len(self.points), dtype=bool)
        for wedge in self.wedges:
            if wedge.folded:
                keep[np.arange(wedge.start + 1, wedge.stop) % len(keep)] = False
        return np.flatnonzero(keep)


def rim(
    flat: Flat,
    *,
    allowance_mm: float,
    allowances: Mapping[str, float],
    opening_mm: float,
    fold_mm: float,
    rules: Sequence[EdgeRule] = (),
) -> Rim:
    """The rim of a flat: runs, wedges and corners.

    allowances: seam name to mm where it differs; opening_mm: allowance of openings; darts with a
    mouth of at most fold_mm are folded, wider ones cut out; rules: what the maker says of edges. Raises
    InputError where the edges of the panel do not follow one another around it.
    """
    panel = flat.panel
    ring, parts, found = _ring(flat)
    runs = []
    for edge, start, stop in parts:
        partner = edge.partner[0] if edge.partner else None
        got = treated(
            edge.seam, edge.kind, panel.name, rules, allowance_mm=allowance_mm, hem_mm=opening_mm
        )
        mm = float(allowances.get(edge.seam, got.allowance_mm))
        own = (got.purpose, got.corner, got.notch)
        runs.append(Run(edge.seam, edge.kind, partner, start, stop, mm, *own))
    points = flat.positions[ring]
    wedges = tuple(_wedge(points, *places, fold_mm) for places in found)
    bare = Rim(panel, points, panel.surface.vertices[ring], tuple(runs), wedges, *_no_turns(points))
    keep = bare.base()
    turn, corner = bare.turn.copy(), bare.corner.copy()
    turn[keep], corner[keep] = corners(points[keep])
    return Rim(panel, points, bare.places, bare.runs, wedges, turn, corner)


def corners(
    points: Line, *, limit_deg: float = CORNER_DEG, reach_mm: float = REACH_MM
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Turn of a closed polyline at each point (n,) in degrees, and which points are corners (n,).

    points (n, 2) counter-clockwise. The turn is taken between chords of reach_mm to both sides; of
    several points of one corner only the sharpest counts.
    """
    n = len(points)
    step = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    total = float(step.sum())
    reach = min(reach_mm, total / 20)
    s = np.concatenate([[0.0], np.cumsum(step)])[:n]
    turn, wide = _turns(points, s, reach), _turns(points, s, WIDER * reach)
    # a jog of a millimetre turns sharply but not for long; a corner still turns farther away
    corner = (np.abs(turn) > limit_deg) & (np.sign(turn) * wide > 0.6 * limit_deg)
    for i in np.flatnonzero(corner):
        gap = np.abs(s - s[i])
        near = np.minimum(gap, total - gap) < reach
        others = np.abs(turn[near])
        first = np.flatnonzero(near)[np.argmax(others)]
        corner[i] = first == i
    return turn, corner


def _turns(points: Line, s: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """Degrees between the chords of length `reach` before and after each point (n,) of a ring."""
    ahead, behind = along(points, s + reach) - points, points - along(points, s - reach)
    sine = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    return np.degrees(np.arctan2(sine, np.einsum("ij,ij->i", behind, ahead)))


def along(points: Line, s: NDArray[np.float64]) -> Line:
    """Points (k, 2) at arc lengths s (k,) in mm along a closed polyline (n, 2), wrapping."""
    loop = np.concatenate([points, points[:1]])
    step = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(loop, axis=0).T))])
    at = np.mod(s, step[-1])
    return np.column_stack([np.interp(at, step, loop[:, 0]), np.interp(at, step, loop[:, 1])])


def _no_turns(points: Line) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Turns and corners of a ring before they are known."""
    return np.zeros(len(points)), np.zeros(len(points), dtype=bool)


def _ring(
    flat: Flat,
) -> tuple[NDArray[np.int64], list[tuple[Edge, int, int]], list[tuple[int, int, int]]]:
    """The sew line as vertex indices (n,), the stretches of its edges, and its darts.

    A stretch is an edge with ring positions start and stop; an edge that darts open into has several.
    A dart is its ring positions of mouth, apex, mouth. Edges of kind dart are not walked: a dart is put
    where its two mouths follow one another, within an edge or between two.
    """
    panel = flat.panel
    edges = [edge for edge in panel.edges if edge.kind != "dart"]
    if not edges:
        raise InputError(f"panel '{panel.name}' has no edges, so no piece can be made of it.")
    legs = _legs(flat)
    ring: list[int] = []
    parts, found = [], []
    for edge, after in zip(edges, edges[1:] + edges[:1], strict=True):
        start = len(ring)
        ring.append(int(edge.run[0]))
        for a, b in zip(edge.run[:-1].tolist(), edge.run[1:].tolist(), strict=True):
            if (a, b) in legs:
                parts.append((edge, start, len(ring) - 1))
                found.append(_put_dart(ring, *legs[a, b]))
                start = len(ring)
            ring.append(b)
        parts.append((edge, start, len(ring) - 1))
        joint = int(edge.run[-1]), int(after.run[0])
        if joint in legs:
            found.append(_put_dart(ring, *legs[joint]))
        elif joint[0] == joint[1]:
            ring.pop()
        else:
            raise InputError(
                f"panel '{panel.name}': edge '{edge.seam}' does not lead on to edge "
                f"'{after.seam}', so its sew line cannot be drawn; cut the panel again."
            )
    if len(found) != len(legs) // 2:
        raise InputError(
            f"panel '{panel.name}': a dart does not open at its edge; flatten it again."
        )
    return np.array(ring, dtype=np.int64), [p for p in parts if p[2] > p[1]], found


def _put_dart(
    ring: list[int], first: NDArray[np.int64], second: NDArray[np.int64]
) -> tuple[int, int, int]:
    """Append the inside of a dart to a ring that ends at its first mouth; its ring positions."""
    start = len(ring) - 1
    ring += first[1:].tolist() + second[1:-1][::-1].tolist()
    return start, start + len(first) - 1, len(ring)


def _legs(flat: Flat) -> dict[tuple[int, int], tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Both legs of each dart, mouth to apex, by the pair of their mouths, in either order."""
    legs = [(dart.left, dart.right) for dart in flat.darts]
    if not legs:
        legs = _legs_of_edges(flat.panel)
    out = {}
    for left, right in legs:
        one, other = np.asarray(left), np.asarray(right)
        out[int(one[0]), int(other[0])] = one, other
        out[int(other[0]), int(one[0])] = other, one
    return out


def _legs_of_edges(panel: Panel) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Legs of darts from edges of kind dart: both legs in one edge, or two edges with one leg each."""
    darts = [edge.run for edge in panel.edges if edge.kind == "dart"]
    out, k = [], 0
    while k < len(darts):
        run = darts[k]
        ends = panel.surface.vertices[run[[0, -1]]]
        if np.linalg.norm(ends[0] - ends[1]) < 1e-6 or k + 1 == len(darts):
            middle = (len(run) - 1) // 2
            out.append((run[: middle + 1], run[middle:][::-1]))
            k += 1
        else:
            out.append((run, darts[k + 1][::-1]))
            k += 2
    return out


def _wedge(points: Line, start: int, apex: int, stop: int, fold_mm: float) -> Wedge:
    """A dart with whether its cloth stays in the piece."""
    a, b = points[start], points[stop % len(points)]
    return Wedge(start, apex, stop, bool(np.hypot(*(b - a)) <= fold_mm))
