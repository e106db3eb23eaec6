"""Drawings: what is on a sheet, as values, before any file format.

Words: a mark is one thing drawn (a stroke, a fill, words); a part is a group of marks that stay
together (a piece, the title, the legend); a drawing is parts on a sheet. All in mm, x to the right,
y up. A drawing can be measured, moved, mirrored and handed to any writer; no writer changes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.pattern.label import NOTCH_TEXT_MM, lines_of, notch_text_at
from padlib.pattern.lettering import DESCENT, width_mm
from padlib.pattern.piece import Inner, Notch, Piece

Line = NDArray[np.float64]  # (k, 2) mm
INNER_TEXT_MM = 2.2  # capitals of the words of inner lines


@dataclass(frozen=True)
class Style:
    """A kind of line, told apart without colour: width in mm, dashes (mm drawn, mm left out, ...)."""

    name: str
    words: str
    width_mm: float
    dashes: tuple[float, ...] = ()


CUT = Style("cut", "cut here", 0.7)
SEW = Style("sew", "sew here", 0.3, (4.0, 2.0))
DART = Style("dart", "dart: sew its two legs together", 0.45, (9.0, 1.6, 1.2, 1.6))
NOTCH = Style("notch", "notch: meets its twin of the same name", 0.9)
PILE = Style("pile", "pile runs this way, down the wearer", 0.5)
FOLD = Style("fold", "fold here", 0.35, (12.0, 1.6, 1.2, 1.6, 1.2, 1.6))
TRIM = Style("trim", "trim the pile short up to here", 0.6, (1.2, 3.4))
PLACE = Style("place", "a part is sewn on here", 0.18)
COLOUR = Style("colour", "the colour changes here", 0.4, (0.8, 1.2, 5.0, 1.2))
FRAME = Style("frame", "frame", 0.25)
GUIDE = Style("guide", "page joins", 0.2, (0.6, 1.4))
STYLES = (CUT, SEW, DART, FOLD, TRIM, PLACE, COLOUR, NOTCH, PILE, FRAME, GUIDE)
INNER = {
    "fold": FOLD,
    "trim": TRIM,
    "place": PLACE,
    "cutout": CUT,
    "sew": SEW,
    "colour": COLOUR,
}  # by a line's purpose


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line: points (k, 2), joined back to the first if closed."""

    style: Style
    points: Line
    closed: bool = False

    def __post_init__(self) -> None:
        """Freeze the points."""
        object.__setattr__(self, "points", _points(self.points))


@dataclass(frozen=True, eq=False)
class Fill:
    """A filled polygon (k, 2), drawn with a style's layer."""

    style: Style
    points: Line

    def __post_init__(self) -> None:
        """Freeze the points."""
        object.__setattr__(self, "points", _points(self.points))


@dataclass(frozen=True, eq=False)
class Words:
    """Text on a base line: at (2,) is its start, middle or end; height_mm that of capitals."""

    text: str
    at: Line
    height_mm: float
    angle_deg: float = 0.0
    anchor: str = "start"

    def __post_init__(self) -> None:
        """Freeze the place."""
        object.__setattr__(self, "at", _points(self.at))


Mark = Stroke | Fill | Words


@dataclass(frozen=True, eq=False)
class Part:
    """Marks that stay together; outline (k, 2) is the room that they take; kind: piece or sheet."""

    name: str
    kind: str
    marks: tuple[Mark, ...]
    outline: Line

    def __post_init__(self) -> None:
        """Freeze the outline."""
        object.__setattr__(self, "outline", _points(self.outline))


@dataclass(frozen=True, eq=False)
class Drawing:
    """Parts on a sheet of width_mm by height_mm, its lower left corner at (0, 0)."""

    parts: tuple[Part, ...]
    width_mm: float
    height_mm: float
    title: str = ""
    findings: tuple[Finding, ...] = ()


def bbox(marks: Iterable[Mark]) -> Line:
    """Lower left and upper right corner (2, 2) of marks, line widths left out, words included."""
    points = np.concatenate([_reach(mark) for mark in marks])
    return np.array([points.min(axis=0), points.max(axis=0)])


def moved(part: Part, offset: Sequence[float]) -> Part:
    """A part at another place: offset (2,) mm is added to everything."""
    by = np.asarray(offset, dtype=np.float64)
    marks = tuple(
        replace(m, at=m.at + by) if isinstance(m, Words) else replace(m, points=m.points + by)
        for m in part.marks
    )
    return replace(part, marks=marks, outline=part.outline + by)


def mirrored(part: Part) -> Part:
    """A part as its mirror image (x to -x); words stay readable, about their own middle."""
    turn = np.array([-1.0, 1.0])
    other = {"start": "end", "end": "start", "middle": "middle"}
    marks = tuple(
        replace(m, at=m.at * turn, angle_deg=-m.angle_deg, anchor=other[m.anchor])
        if isinstance(m, Words)
        else replace(m, points=(m.points * turn)[::-1])
        for m in part.marks
    )
    return replace(part, marks=marks, outline=(part.outline * turn)[::-1])


def piece_part(piece: Piece) -> Part:
    """Everything that is printed of a piece, where its own coordinates put it."""
    marks: list[Mark] = [Stroke(CUT, piece.cut_line, closed=True)]
    if piece.darts and piece.edges:  # the legs have their own kind of line
        marks += [Stroke(SEW, run) for _, run in piece.edges]
    else:
        marks.append(Stroke(SEW, piece.sew_line, closed=True))
    for dart in piece.darts:
        marks += _dart(dart)
    for line in piece.inner:
        marks.append(Stroke(INNER[line.purpose], line.points, line.closed))
        if line.words:
            marks.append(_beside(line))
    named: list[Notch] = []
    for notch in piece.notches:
        marks += notch_strokes(notch)
        if any(n.pair == notch.pair and np.hypot(*(n.at - notch.at)) < 12.0 for n in named):
            continue  # the two mouths of a narrow dart have one name
        named.append(notch)
        at = notch_text_at(notch) - [0.0, 0.5 * NOTCH_TEXT_MM]
        marks.append(Words(notch.pair, at, NOTCH_TEXT_MM, anchor="middle"))
    marks += arrow(piece.pile, word="pile")
    for label in piece.edge_labels:
        turn = np.radians(label.angle_deg)
        drop = 0.5 * label.height_mm * np.array([np.sin(turn), -np.cos(turn)])
        marks.append(Words(label.text, label.at + drop, label.height_mm, label.angle_deg, "middle"))
    marks += [
        Words(w, at, h) for w, at, h in lines_of(piece.labels, piece.label_at, piece.label_mm)
    ]
    return Part(f"{piece.number} {piece.name}", "piece", tuple(marks), piece.cut_line)


def _beside(line: Inner) -> Words:
    """The words of an inner line: above its lowest point, inside where it is closed, else beside it."""
    points = line.points
    if line.closed or len(points) > 8:
        low = points[int(np.argmin(points[:, 1]))]
        return Words(line.words, low + [0.0, 2.0], INNER_TEXT_MM, anchor="middle")
    middle = 0.5 * (points[len(points) // 2 - 1] + points[len(points) // 2])
    way = points[-1] - points[0]
    angle = (float(np.degrees(np.arctan2(way[1], way[0]))) + 90.0) % 180.0 - 90.0
    up = np.array([-np.sin(np.radians(angle)), np.cos(np.radians(angle))])
    return Words(line.words, middle + 1.2 * up, INNER_TEXT_MM, angle, "middle")


def notch_depth(notch: Notch) -> float:
    """How deep a notch is drawn, mm: half the allowance, 3 to 5 mm (common practice, VALUES 4.6)."""
    return min(5.0, max(3.0, 0.5 * notch.allowance_mm), 0.6 * notch.allowance_mm)


def notch_lines(notch: Notch) -> list[Line]:
    """The marks of a notch, each (k, 2) from the cut line inwards; two of them stand 5 mm apart.

    slit: a line; v: two sides of a wedge; t: a line with a bar at its inner end; castle: three sides of
    a box; check: one slanting side and one straight; u: a bow.
    """
    along = np.array([-notch.outward[1], notch.outward[0]])
    outer = notch.at + notch.outward * notch.allowance_mm
    deep = notch_depth(notch)
    half = min(0.5 * deep, 1.8)
    aside = 5.0 * (np.arange(notch.count) - 0.5 * (notch.count - 1))
    bow = np.radians(np.linspace(180.0, 0.0, 9))
    shapes = {
        "slit": [[(0.0, 0.0), (0.0, deep)]],
        "v": [[(-half, 0.0), (0.0, deep), (half, 0.0)]],
        "t": [[(0.0, 0.0), (0.0, deep)], [(-half, deep), (half, deep)]],
        "castle": [[(-half, 0.0), (-half, deep), (half, deep), (half, 0.0)]],
        "check": [[(0.0, 0.0), (0.0, deep), (half, 0.0)]],
        "u": [
            [
                (-half, 0.0),
                *((half * np.cos(t), deep - half + half * np.sin(t)) for t in bow),
                (half, 0.0),
            ]
        ],
    }[notch.style]
    return [
        np.array([outer + (a + x) * along - y * notch.outward for x, y in shape])
        for a in aside
        for shape in shapes
    ]


def notch_strokes(notch: Notch) -> list[Mark]:
    """The strokes of a notch."""
    return [Stroke(NOTCH, line) for line in notch_lines(notch)]


def arrow(shaft: Line, *, word: str = "") -> list[Mark]:
    """An arrow from tail to head (2, 2), with a word along it where there is room."""
    tail, head = np.asarray(shaft, dtype=np.float64)
    way = (head - tail) / max(float(np.hypot(*(head - tail))), 1e-9)
    aside = np.array([-way[1], way[0]])
    size = min(7.0, 0.4 * float(np.hypot(*(head - tail))))
    barbs = head - size * way
    out: list[Mark] = [
        Stroke(PILE, np.array([tail, barbs])),
        Fill(PILE, np.array([head, barbs + 0.36 * size * aside, barbs - 0.36 * size * aside])),
    ]
    if word and np.hypot(*(head - tail)) > 2.0 * width_mm(word, 2.4):
        angle = (np.degrees(np.arctan2(*way[::-1])) + 90.0) % 180.0 - 90.0
        angle = 90.0 if angle < -89.5 else angle
        up = np.array([-np.sin(np.radians(angle)), np.cos(np.radians(angle))])
        out.append(Words(word, 0.5 * (tail + barbs) + 1.3 * up, 2.4, float(angle), "middle"))
    return out


def box(x: float, y: float, width: float, height: float) -> Line:
    """A rectangle (4, 2) from its lower left corner."""
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])


def _dart(dart: Line) -> list[Mark]:
    """A dart's legs and a small ring about its apex."""
    middle = len(dart) // 2 if len(dart) == 3 else int(np.argmax(_far(dart)))
    turn = np.linspace(0.0, 2 * np.pi, 25)[:-1]
    ring = dart[middle] + 1.6 * np.column_stack([np.cos(turn), np.sin(turn)])
    return [Stroke(DART, dart), Stroke(NOTCH, ring, closed=True)]


def _far(line: Line) -> NDArray[np.float64]:
    """Distance of each point of a line from the middle of its two ends."""
    return np.hypot(*(line - 0.5 * (line[0] + line[-1])).T)


def _points(points: Line) -> Line:
    """A read-only copy."""
    out = np.array(points, dtype=np.float64)
    out.setflags(write=False)
    return out


def _reach(mark: Mark) -> Line:
    """Points (k, 2) that span a mark."""
    if not isinstance(mark, Words):
        return mark.points
    wide = width_mm(mark.text, mark.height_mm)
    start = {"start": 0.0, "middle": -0.5 * wide, "end": -wide}[mark.anchor]
    corners = box(start, -DESCENT * mark.height_mm, wide, (1 + DESCENT) * mark.height_mm)
    turn = np.radians(mark.angle_deg)
    way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return mark.at + corners @ way
