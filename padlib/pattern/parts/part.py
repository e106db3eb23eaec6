"""Parts that no flattening gives: what is asked for, what it is measured from, and what comes of it.

Words: a part is a piece whose outline follows from lengths of the suit's own seams and a few numbers
(strip, disk, guard, loop); a blank is such a piece before it has a number on the sheet; a mark is a
notch on the panels' own seam that says where a part begins and ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from padlib.body.limb import lengths
from padlib.errors import InputError
from padlib.findings import Finding
from padlib.flatten.flat import Flat
from padlib.flatten.together import chains
from padlib.padding.shapes.parameter import Table, settled
from padlib.pattern.parts.site import Site
from padlib.pattern.piece import Inner, Line, Notch

ARC_MM = 2.0  # longest chord of a round part's outline


@dataclass(frozen=True)
class Ask:
    """A part asked for.

    kind: one of KINDS; name: of the part; cloth: what it is cut from; values: numbers given, mm or
    degrees; side: left, right or both; seam, panels: names, where the kind takes them; at (3,): a
    place on the shell, mm, or None.
    """

    kind: str
    name: str
    cloth: str
    values: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    side: str = "both"
    seam: str = ""
    panels: tuple[str, ...] = ()
    at: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Worn:
    """What parts are measured from.

    flats of all panels of the suit; allowance_mm of its pieces; closure_mm: length of the zip or other
    closure, 0 where there is none; joints: arm_left, arm_right, leg_left, leg_right to where the limb
    turns (3,); arm_deg: angle between an arm and the trunk as the body stands; leg_deg: angle between
    the two legs; pads: name to the rim of its cushion, mm.
    """

    flats: tuple[Flat, ...]
    allowance_mm: float = 10.0
    closure_mm: float = 0.0
    joints: Mapping[str, NDArray[np.float64]] = field(default_factory=lambda: MappingProxyType({}))
    arm_deg: float = 30.0
    leg_deg: float = 15.0
    pads: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, eq=False)
class Blank:
    """A part before it is numbered.

    sew_line, cut_line (k, 2) closed, counter-clockwise; edges: words and run (k, 2) of each edge that
    is labelled; inner: folds and the like; notes: lines for its block of words.
    """

    name: str
    cloth: str
    count: int
    sew_line: Line
    cut_line: Line
    edges: tuple[tuple[str, Line], ...] = ()
    inner: tuple[Inner, ...] = ()
    notches: tuple[Notch, ...] = ()
    notes: tuple[str, ...] = ()
    mirrored: bool = False
    side: str = "both"


@dataclass(frozen=True, eq=False)
class Mark:
    """A notch on the panels' own edges: seam, place (3,) on the shell, name, strokes."""

    seam: str
    place: NDArray[np.float64]
    name: str
    count: int = 1


@dataclass(frozen=True)
class Copy:
    """A piece of a panel cut once more from another cloth."""

    panel: str
    name: str
    cloth: str


@dataclass(frozen=True)
class Step:
    """A sentence of work: stage is flat, closure, sleeve, leg, join, hem or last.

    sites: where it is sewn on; into: seams that are left open for it, so that it comes just before them.
    """

    stage: str
    words: str
    sites: tuple[Site, ...] = ()
    into: tuple[str, ...] = ()


@dataclass(frozen=True)
class Notion:
    """Something to buy: how many, how long each in mm (0: no length), what."""

    words: str
    count: int = 1
    length_mm: float = 0.0
    mass_g: float = 0.0


@dataclass(frozen=True, eq=False)
class Made:
    """What one part that was asked for comes to.

    joins: seams of the panels that are sewn to a blank (its name) instead of hemmed; drawn: panel name
    and line on it; numbers: what the report tells of it.
    """

    kind: str
    name: str
    blanks: tuple[Blank, ...] = ()
    copies: tuple[Copy, ...] = ()
    marks: tuple[Mark, ...] = ()
    joins: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    drawn: tuple[tuple[str, Inner], ...] = ()
    steps: tuple[Step, ...] = ()
    notions: tuple[Notion, ...] = ()
    findings: tuple[Finding, ...] = ()
    numbers: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Kind:
    """A kind of part: words, its numbers with limits and defaults, what else it needs, how it is made.

    needs: any of cloth, at, panels that the maker must name.
    """

    words: str
    table: Table
    defaults: Mapping[str, float]
    make: Callable[[Ask, Worn, Mapping[str, float]], Made]
    needs: tuple[str, ...] = ()


def values_of(ask: Ask, kind: Kind) -> dict[str, float]:
    """All numbers of a part, those given within their limits. Raises InputError in one sentence."""
    return settled(f"part '{ask.name}'", kind.table, ask.values, kind.defaults)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Line:
    """Corners (4, 2) counter-clockwise."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def strip(
    ask: Ask,
    name: str,
    size: tuple[float, float],
    *,
    beyond: tuple[float, float, float, float],
    words: tuple[str, str, str, str],
    count: int = 1,
    folds: Sequence[float] = (),
    notes: Sequence[str] = (),
    quarters: bool = False,
) -> Blank:
    """A rectangular blank, pile down the page.

    size: width (along x) and height of its sew line, mm; beyond: allowance at lower, right, upper and
    left edge; words: what each edge is sewn to, "" for none; folds: heights of fold lines across it;
    quarters: notches at the quarters of its upper edge, to be spread evenly on a round seam.
    """
    wide, high = size
    sew = rectangle(0.0, 0.0, wide, high)
    below, right, above, left = beyond
    cut = rectangle(-left, -below, wide + right, high + above)
    runs = [sew[[0, 1]], sew[[1, 2]], sew[[2, 3]], sew[[3, 0]]]
    edges = tuple((w, run) for w, run in zip(words, runs, strict=True) if w)
    ends = np.array([-left, wide + right])
    inner = tuple(Inner("fold", np.column_stack([ends, [y, y]])) for y in folds)
    notches: tuple[Notch, ...] = ()
    if quarters and above > 0:
        up = np.array([0.0, 1.0])
        at = [np.array([wide * k / 4, high]) for k in (1, 2, 3)]
        notches = tuple(Notch(p, up, 1, f"{k}/4", above) for k, p in enumerate(at, 1))
    return Blank(name, ask.cloth, count, sew, cut, edges, inner, notches, tuple(notes))


def round_line(radius: float, *, at: Sequence[float] = (0.0, 0.0)) -> Line:
    """A circle (k, 2), counter-clockwise, whose polygon has the circle's own perimeter."""
    count = 4 * max(8, int(np.ceil(2 * np.pi * radius / ARC_MM / 4)))
    turn = 2 * np.pi * np.arange(count) / count
    grown = radius * (np.pi / count) / np.sin(np.pi / count)
    return np.asarray(at) + grown * np.column_stack([np.cos(turn), np.sin(turn)])


def opening_of(worn: Worn, seam: str) -> float:
    """Length on paper of an opening or seam, mm, over all panels that have it on one side of it."""
    return float(
        sum(np.hypot(*np.diff(line, axis=0).T).sum() for _, line, _ in runs_of(worn, seam))
    )


def runs_of(worn: Worn, seam: str) -> list[tuple[str, Line, NDArray[np.float64]]]:
    """Panel, paper line (k, 2) and shell line (k, 3) of each edge of a seam; of twins only one."""
    out = []
    for flat in worn.flats:
        for k, edge in enumerate(flat.panel.edges):
            if edge.seam != seam or edge.kind == "dart":
                continue
            if edge.partner is not None and edge.partner < (flat.panel.name, k):
                continue
            vertices = flat.panel.surface.vertices
            for run in chains(flat.panel, edge):  # a dart's mouth parts an edge
                out.append((flat.panel.name, flat.positions[run], vertices[run]))
    return out


def sides_of(worn: Worn, family: str) -> dict[str, str]:
    """Seams of a family by side: wrist gives {left: wrist-left, right: wrist-right}; else {"": name}."""
    names = {e.seam for f in worn.flats for e in f.panel.edges if e.kind != "dart"}
    if family in names:
        return {"": family}
    return {s: f"{family}-{s}" for s in ("left", "right") if f"{family}-{s}" in names}


def need_seam(worn: Worn, ask: Ask, family: str) -> dict[str, str]:
    """`sides_of`, only the sides asked for; raises InputError where the suit has no such seam."""
    found = sides_of(worn, family)
    found = {s: n for s, n in found.items() if ask.side == "both" or s in ("", ask.side)}
    if not found:
        names = {e.seam for f in worn.flats for e in f.panel.edges if e.kind != "dart"}
        raise InputError(
            f"part '{ask.name}' needs a seam named '{family}', but the suit has "
            f"{', '.join(sorted(names))}."
        )
    return found


def stitched(lines: Sequence[NDArray[np.float64]], near: float = 0.5) -> NDArray[np.float64]:
    """Polylines (k, 3) that meet end to end as one, in order; the longest chain that they make."""
    left = [np.asarray(line) for line in lines]
    left.sort(key=lambda line: -len(line))
    chain = left.pop(0)
    grown = True
    while left and grown:
        grown = False
        for i, line in enumerate(left):
            for way in (line, line[::-1]):
                if np.linalg.norm(chain[-1] - way[0]) < near:
                    chain, grown = np.concatenate([chain, way[1:]]), True
                elif np.linalg.norm(way[-1] - chain[0]) < near:
                    chain, grown = np.concatenate([way, chain[1:]]), True
                if grown:
                    break
            if grown:
                left.pop(i)
                break
    return chain


def beside(
    line: NDArray[np.float64], at: NDArray[np.float64], reach: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places `reach` mm along a polyline (k, 3) to both sides of its point nearest to `at`."""
    closed = bool(np.linalg.norm(line[0] - line[-1]) < 0.5)
    s = lengths(line)
    middle = s[int(np.argmin(np.linalg.norm(line - at, axis=1)))]
    out = []
    for way in (-reach, reach):
        t = (middle + way) % s[-1] if closed else np.clip(middle + way, 0.0, s[-1])
        out.append(np.array([np.interp(t, s, line[:, c]) for c in range(3)]))
    return out[0], out[1]


def part_of(
    line: NDArray[np.float64], at: NDArray[np.float64], reach: float
) -> NDArray[np.float64]:
    """What lies within an arc length of the point nearest to `at` on a polyline (k, 3), in 1 mm steps (p, 3)."""
    steps = np.linspace(0.0, reach, max(2, int(np.ceil(reach))))
    each = [beside(line, at, float(t)) for t in steps]
    return np.array([a for a, _ in each[::-1]] + [b for _, b in each[1:]])
