"""Edges with a purpose: the rim of a flat as runs of seams, its corners and its darts.

Words: the ring is the closed sew line, counter-clockwise, no point repeated; a run is the part of the
ring that belongs to one seam; a wedge is the part of the ring that a dart takes (mouth, apex, mouth);
a corner is a place where the ring turns by more than CORNER_DEG. Places along the ring are counted
in ring positions, which may run past the end of the ring and then wrap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.flatten.flat import Flat
from padlib.pattern.piece import Line
from padlib.seams.panels import Edge, Panel

CORNER_DEG = (
    30.0  # a ring that turns less is a curve: its allowance is rounded, notches may sit there
)
REACH_MM = 3.0  # how far along the ring the turn is measured, so that fine zigzag is no corner


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of the ring that belongs to one seam: ring positions start to stop, both included.

    partner: name of the panel that it is sewn to, or None; allowance_mm beyond it.
    """

    seam: str
    kind: str
    partner: str | None
    start: int
    stop: int
    allowance_mm: float


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
) -> Rim:
    """The rim of a flat: runs, wedges and corners.

    allowances: seam name to mm where it differs; opening_mm: allowance of openings; darts with a
    mouth of at most fold_mm are folded, wider ones cut out. Raises InputError where the edges of
    the panel do not follow one another around it.
    """
    panel = flat.panel
    ring, starts = _ring(panel)
    runs = []
    for edge, start in zip(panel.edges, starts, strict=True):
        usual = opening_mm if edge.kind == "opening" else allowance_mm
        partner = edge.partner[0] if edge.partner else None
        mm = float(allowances.get(edge.seam, usual))
        if edge.kind != "dart":
            runs.append(Run(edge.seam, edge.kind, partner, start, start + len(edge.run) - 1, mm))
    points = flat.positions[ring]
    wedges = _wedges(flat, ring, starts, fold_mm)
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
    reach = min(reach_mm, total / 6)
    s = np.concatenate([[0.0], np.cumsum(step)])[:n]
    ahead, behind = along(points, s + reach) - points, points - along(points, s - reach)
    sine = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turn = np.degrees(np.arctan2(sine, np.einsum("ij,ij->i", behind, ahead)))
    corner = np.abs(turn) > limit_deg
    for i in np.flatnonzero(corner):
        gap = np.abs(s - s[i])
        near = np.minimum(gap, total - gap) < reach
        others = np.abs(turn[near])
        first = np.flatnonzero(near)[np.argmax(others)]
        corner[i] = first == i
    return turn, corner


def along(points: Line, s: NDArray[np.float64]) -> Line:
    """Points (k, 2) at arc lengths s (k,) in mm along a closed polyline (n, 2), wrapping."""
    loop = np.concatenate([points, points[:1]])
    step = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(loop, axis=0).T))])
    at = np.mod(s, step[-1])
    return np.column_stack([np.interp(at, step, loop[:, 0]), np.interp(at, step, loop[:, 1])])


def _no_turns(points: Line) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Turns and corners of a ring before they are known."""
    return np.zeros(len(points)), np.zeros(len(points), dtype=bool)


def _ring(panel: Panel) -> tuple[NDArray[np.int64], list[int]]:
    """The panel's boundary as vertex indices (n,), and where each edge starts on it."""
    if not panel.edges:
        raise InputError(f"panel '{panel.name}' has no edges, so no piece can be made of it.")
    parts, starts, count = [], [], 0
    for edge, after in zip(panel.edges, panel.edges[1:] + panel.edges[:1], strict=True):
        if len(edge.run) < 2 or edge.run[-1] != after.run[0]:
            raise InputError(
                f"panel '{panel.name}': edge '{edge.seam}' does not lead on to edge "
                f"'{after.seam}', so its sew line cannot be drawn; cut the panel again."
            )
        parts.append(edge.run[:-1])
        starts.append(count)
        count += len(edge.run) - 1
    return np.concatenate(parts), starts


def _wedges(
    flat: Flat, ring: NDArray[np.int64], starts: list[int], fold_mm: float
) -> tuple[Wedge, ...]:
    """The darts on the ring, in ring order."""
    places = {int(v): i for i, v in enumerate(ring)}
    found = [_wedge_of(places, len(ring), dart.left, dart.right) for dart in flat.darts]
    if not flat.darts:
        found = _wedges_of_edges(flat.panel.edges, starts)
    out = []
    for start, apex, stop in sorted(found):
        a, b = flat.positions[ring[[start, stop % len(ring)]]]
        out.append(Wedge(start, apex, stop, bool(np.hypot(*(b - a)) <= fold_mm)))
    return tuple(out)


def _wedge_of(
    places: dict[int, int], n: int, left: NDArray[np.int64], right: NDArray[np.int64]
) -> tuple[int, int, int]:
    """Ring positions of a dart from its two legs (mouth to apex), whichever comes first."""
    for first, second in ((left, right), (right, left)):
        start, apex, stop = (places.get(int(v), -1) for v in (first[0], first[-1], second[0]))
        if (apex - start) % n == len(first) - 1 and (stop - apex) % n == len(second) - 1:
            return start, start + len(first) - 1, start + len(first) + len(second) - 2
    raise InputError("a dart's legs do not lie on the edge of its panel; flatten the panel again.")


def _wedges_of_edges(edges: tuple[Edge, ...], starts: list[int]) -> list[tuple[int, int, int]]:
    """Wedges from runs of kind dart, two by two (one leg each), when no darts are listed."""
    darts = [i for i, edge in enumerate(edges) if edge.kind == "dart"]
    out = []
    for i, j in zip(darts[::2], darts[1::2], strict=False):
        apex = starts[i] + len(edges[i].run) - 1
        out.append((starts[i], apex, apex + len(edges[j].run) - 1))
    return out
