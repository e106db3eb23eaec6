"""What marks make of flats: the parts that these come apart into, and lines that are drawn on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from shapely import line_merge
from shapely.geometry import LineString, Polygon

from padlib.findings import Finding
from padlib.flatten.flat import Flat
from padlib.mesh.point import arrays, nearest
from padlib.mesh.topology import boundary_loops, sides
from padlib.pattern.piece import Inner, Line
from padlib.seams.panels import Panel

Ints = NDArray[np.int64]

SHORTEST = 1.0  # mm of line worth drawing
NONE = -1


@dataclass(frozen=True)
class Colour:
    """A mark as pieces see it: its name, the name without its side, cloth, and whether it is set in or a line."""

    name: str
    plain: str
    cloth: str
    inset: bool


@dataclass(frozen=True, eq=False)
class Carved:
    """Flats as pieces are made of them.

    flats: parts in the place of flats that marks part; holes: for each hole in a part a flat whose border is the
    hole, by the part's name; cloth: of the parts that are set in; whole: of each part the panel it is from;
    lines: panel (as it was) and line; tints: of each flat, as it was, the mark of each face; findings.
    """

    flats: tuple[Flat, ...]
    holes: tuple[tuple[str, Flat], ...] = ()
    cloth: Mapping[str, str] = field(default_factory=dict)
    whole: Mapping[str, str] = field(default_factory=dict)
    lines: tuple[tuple[str, Inner], ...] = ()
    tints: Mapping[str, Ints] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def tint_of(flat: Flat, panel: Panel, tint: Ints) -> Ints:
    """The mark (m',) of each face of a flat from that of the faces (m,) of its panel before any dart.

    Cutting darts leaves the surface as it is, so each new face lies in one old one.
    """
    surface = flat.panel.surface
    if len(surface.faces) == len(tint):
        return tint
    middle = surface.vertices[surface.faces].mean(axis=1)
    face, _ = arrays(nearest(panel.surface.vertices, panel.surface.faces, middle))
    return tint[face]


def spread(
    flats: Sequence[Flat], carved: Carved, lines: Sequence[tuple[str, Inner]]
) -> list[tuple[str, Inner]]:
    """Lines on flats, by panel, as they lie on the parts that these came apart into."""
    parts: dict[str, list[Flat]] = {}
    for flat in carved.flats:
        parts.setdefault(carved.whole.get(flat.panel.name, flat.panel.name), []).append(flat)
    out = []
    for panel, line in lines:
        own = parts.get(panel, [])
        if len(own) < 2:
            out.append((panel, line))
            continue
        words = line.words
        points = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
        for flat in own:
            for run in _within(points, flat):
                out.append((flat.panel.name, replace(line, points=run, closed=False, words=words)))
                words = ""
    return out


def _within(points: Line, flat: Flat) -> list[Line]:
    """The stretches of a line (k, 2) on a flat, each at least SHORTEST long."""
    surface = flat.panel.surface
    loops = sorted(
        (Polygon(flat.positions[loop]).buffer(0) for loop in boundary_loops(surface.faces)),
        key=lambda p: -p.area,
    )
    inside = loops[0]
    for hole in loops[1:]:
        inside = inside.difference(hole)
    cut = LineString(points).intersection(inside.buffer(1e-6))
    merged = cut if isinstance(cut, LineString) else line_merge(cut)
    runs = getattr(merged, "geoms", [merged])
    return [
        np.array(run.coords)
        for run in runs
        if isinstance(run, LineString) and run.length > SHORTEST
    ]


def outline(faces: NDArray, inside: NDArray[np.bool_]) -> list[tuple[Ints, bool]]:
    """Lines of vertices between the faces (m,) that are inside and those that are not, and whether each is closed."""
    span = int(faces.max()) + 1
    mine, rest = sides(faces[inside]).reshape(-1, 2), sides(faces[~inside]).reshape(-1, 2)
    return chained(mine[np.isin(mine @ [span, 1], rest @ [1, span])])


def chained(sides: Ints) -> list[tuple[Ints, bool]]:
    """Directed steps (k, 2) joined to lines: vertices in order, and whether the last joins the first again."""
    onward: dict[int, list[int]] = {}
    for a, b in sides.tolist():
        onward.setdefault(a, []).append(b)
    entered = set(sides[:, 1].tolist())
    starts = sorted(set(onward) - entered) + sorted(onward)
    out = []
    for start in starts:
        while onward.get(start):
            line = [start]
            while onward.get(line[-1]):
                line.append(onward[line[-1]].pop())
                if line[-1] == start:
                    break
            closed = line[-1] == start
            out.append((np.array(line[:-1] if closed else line, dtype=np.int64), closed))
    return out
