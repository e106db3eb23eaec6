"""The measuring sheet as PDF: a figure with all tape lines, then a picture, words and a box for each."""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from padlib.body.body import Body
from padlib.body.measure import Measurements, measure
from padlib.body.sheet import BEFORE, CARE, LINES, TapeLine
from padlib.errors import InputError
from padlib.output.paper import Paper, paper
from padlib.output.pdf import POINT
from padlib.output.tape_view import View, across, tape_view
from padlib.output.whole import write_whole
from padlib.pattern.lettering import CAPITAL, FONT, LEADING, font, width_mm

MARGIN = 12.0  # mm
FOOT = 9.0
COLUMNS, ROWS = 2, 4
PICTURE = (38.0, 56.0)  # mm
GAP = 4.0
DPI = 170
TAPE = (0.72, 0.11, 0.09)  # dark red; drawn thick, so that it is found in grey print too
NUMBERS = "The figures below show all tapes but the heights; their numbers are those of the boxes that follow."
TURNS, WIDTHS = (0.0, 90.0, 180.0), (0.39, 0.22, 0.39)  # of the cover's figures
UNITS = ("cm", "mm", "inch")
SMALL, PLAIN, LARGE = 1.75, 2.05, 2.7  # heights of capitals, mm


@dataclass(frozen=True)
class _Pen:
    """A canvas in mm with its paper, and the body with its tapes."""

    canvas: Canvas
    sheet: Paper
    body: Body
    told: Measurements

    def words(
        self, text: str, x: float, y: float, height: float, *, grey: float = 0.0, end: bool = False
    ) -> None:
        """A line of text on its base line; end: x is where it ends."""
        self.canvas.setFillGray(grey)
        self.canvas.setFont(FONT, height / CAPITAL)
        (self.canvas.drawRightString if end else self.canvas.drawString)(x, y, text)
        self.canvas.setFillGray(0.0)

    def lines(self, text: str, x: float, y: float, height: float, wide: float) -> float:
        """A paragraph; returns the next base line."""
        for row in wrapped(text, height, wide):
            self.words(row, x, y, height)
            y -= LEADING * height
        return y


def write_measuring_sheet(
    path: str | os.PathLike, body: Body, *, paper_name: str = "a4", unit: str = "cm"
) -> None:
    """Write the measuring sheet as PDF, its pictures drawn on a body with landmarks.

    paper_name: a4 or letter; unit: cm, mm or inch, printed beside every box.
    Raises InputError for another unit or paper, OutputError where the file cannot be written.
    """
    if unit not in UNITS:
        raise InputError(f"unit must be one of {', '.join(UNITS)}, not '{unit}'.")
    write_whole(path, measuring_pdf(body, paper(paper_name), unit))


def measuring_pdf(body: Body, sheet: Paper, unit: str) -> bytes:
    """The file's bytes, the same for the same body."""
    pdfmetrics.registerFont(font())
    buffer = io.BytesIO()
    size = (sheet.width_mm * POINT, sheet.height_mm * POINT)
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1, initialFontName=FONT)
    canvas.setTitle("Measuring sheet")
    canvas.setCreator("padlib")
    pen = _Pen(canvas, sheet, body, measure(body))
    lines = [line for line in LINES if _drawn(line, body, pen.told)]
    per_page = COLUMNS * ROWS
    pages = 1 + -(-len(lines) // per_page)
    _cover(pen, lines, unit, pages)
    for k in range(1, pages):
        _page(pen, lines, (k - 1) * per_page, unit, f"{k + 1} of {pages}")
    canvas.save()
    return buffer.getvalue()


def wrapped(text: str, height: float, wide: float) -> list[str]:
    """Words broken into lines no wider than `wide` mm."""
    rows: list[str] = []
    row = ""
    for word in text.split():
        longer = f"{row} {word}".strip()
        if row and width_mm(longer, height) > wide:
            rows.append(row)
            longer = word
        row = longer
    return [*rows, row]


def _drawn(line: TapeLine, body: Body, told: Measurements) -> bool:
    """Whether the body has the place of a tape line."""
    return line.name in told.values and (not line.at or line.at in body.landmarks)


def _begin(pen: _Pen) -> None:
    pen.canvas.scale(POINT, POINT)
    pen.canvas.setLineJoin(1)


def _end(pen: _Pen, page: str) -> None:
    y = FOOT - 3.0
    pen.words("Measuring sheet, padlib", MARGIN, y, SMALL, grey=0.35)
    pen.words(f"page {page}", pen.sheet.width_mm - MARGIN, y, SMALL, grey=0.35, end=True)
    pen.canvas.showPage()


def _cover(pen: _Pen, lines: Sequence[TapeLine], unit: str, pages: int) -> None:
    """Title, who and when, what to do before, cautions, and the body from three sides with every tape."""
    _begin(pen)
    wide = pen.sheet.width_mm - 2 * MARGIN
    y = pen.sheet.height_mm - MARGIN - 6.0
    pen.words("Measuring sheet", MARGIN, y, 6.0)
    pen.words(f"all numbers in {unit}", MARGIN + wide, y, LARGE, end=True)
    y -= 12.0
    for label, x, to in (
        ("Wearer", 0.0, 0.44), ("Measured by", 0.47, 0.78), ("Date", 0.81, 1.0),
    ):  # fmt: skip
        pen.words(label, MARGIN + x * wide, y, PLAIN)
        start = MARGIN + x * wide + width_mm(label, PLAIN) + 2.0
        _rule(pen, start, MARGIN + to * wide, y - 0.8)
    y -= 10.0
    pen.words("Before you start", MARGIN, y, LARGE)
    y -= 5.6
    for k, text in enumerate(BEFORE, 1):
        pen.words(f"{k}.", MARGIN, y, PLAIN)
        y = pen.lines(text, MARGIN + 5.0, y, PLAIN, wide - 5.0) - 0.7
    y = pen.lines(NUMBERS, MARGIN + 5.0, y - 0.2, PLAIN, wide - 5.0) - 3.2
    pen.words("Take care", MARGIN, y, LARGE)
    y -= 5.6
    for text in CARE:
        pen.words("\u2022", MARGIN + 1.0, y, PLAIN)
        y = pen.lines(text, MARGIN + 5.0, y, PLAIN, wide - 5.0) - 0.7
    _figures(pen, lines, y - 1.0)
    _end(pen, f"1 of {pages}")


def _figures(pen: _Pen, lines: Sequence[TapeLine], top: float) -> None:
    """The body from front, side and back, each tape with its number where it is seen best."""
    tall = top - FOOT - 10.0
    wide = pen.sheet.width_mm - 2 * MARGIN
    sizes = [(share * wide, tall) for share in WIDTHS]
    views = [
        tape_view(pen.body, turn_deg=turn, size=size)
        for turn, size in zip(TURNS, sizes, strict=True)
    ]
    scale = max(view.scale for view in views)
    x, y = MARGIN, FOOT + 8.0
    for turn, words, size in zip(TURNS, ("front", "side", "back"), sizes, strict=True):
        view = tape_view(pen.body, turn_deg=turn, size=size, scale=scale)
        _picture(pen, view, x, y)
        labels = []
        for number, line in enumerate(lines, 1):
            traces = _traces(line, view, pen) if _seen_from(line, turn) else []
            labels += [(_trace(pen, trace, view, x, y), str(number)) for trace in traces[:1]]
        _numbers(pen, labels, x + 1.0, x + size[0] - 1.0)
        feet = y + 0.5 * tall - 0.5 * float(np.ptp(pen.body.surface.vertices[:, 2])) / scale
        pen.words(words, x + 0.5 * size[0] - 4.0, max(feet - 7.0, FOOT), PLAIN)
        x += size[0]


def _seen_from(line: TapeLine, turn: float) -> bool:
    """Whether a line is numbered on the figure that is turned so."""
    if line.kind == "height":
        return False  # six rulers beside a figure say less than their own pictures
    return (line.turn_deg if line.turn_deg != 28.0 else 0.0) == turn


def _numbers(
    pen: _Pen, labels: Sequence[tuple[NDArray[np.float64], str]], left: float, right: float
) -> None:
    """Numbers in the figure's margins, each joined to its tape by a thin line, none over another."""
    middle = 0.5 * (left + right)
    for sign, x in ((-1.0, left + 2.0), (1.0, right - 2.0)):
        own = [(at, n) for at, n in labels if (1.0 if at[0] >= middle else -1.0) == sign]
        own.sort(key=lambda row: -row[0][1])
        last = np.inf
        for at, number in own:
            y = min(float(at[1]) - 0.5 * SMALL, last - 3.1)
            last = y
            pen.words(number, x, y, SMALL, end=sign > 0)
            pen.canvas.setLineWidth(0.12)
            pen.canvas.setStrokeGray(0.4)
            start = x + sign * -1.0 * (width_mm(number, SMALL) + 0.8)
            pen.canvas.line(start, y + 0.5 * SMALL, at[0], at[1])
            pen.canvas.setStrokeGray(0.0)


def _page(pen: _Pen, lines: Sequence[TapeLine], first: int, unit: str, page: str) -> None:
    """Up to eight tape lines."""
    _begin(pen)
    tall = (pen.sheet.height_mm - MARGIN - FOOT) / ROWS
    wide = (pen.sheet.width_mm - 2 * MARGIN + GAP) / COLUMNS
    for k, line in enumerate(lines[first : first + COLUMNS * ROWS]):
        x = MARGIN + (k % COLUMNS) * wide
        y = pen.sheet.height_mm - MARGIN - (k // COLUMNS) * tall
        _box(pen, line, first + k + 1, unit, (x, y, wide - GAP, tall - 3.0))
    _end(pen, page)


def _box(
    pen: _Pen, line: TapeLine, number: int, unit: str, room: tuple[float, float, float, float]
) -> None:
    """Picture, title, words and the box for the number of one tape line; room: x, top, width, height in mm."""
    x, top, wide, tall = room
    size = (PICTURE[0], min(PICTURE[1], tall - 2.0))
    view = tape_view(
        pen.body, turn_deg=line.turn_deg, size=size, about=_about(line, pen), tall_mm=line.tall_mm
    )
    _picture(pen, view, x, top - size[1])
    for trace in _traces(line, view, pen):
        _trace(pen, trace, view, x, top - size[1])
    pen.canvas.setLineWidth(0.15)
    pen.canvas.setStrokeGray(0.6)
    pen.canvas.rect(x, top - size[1], *size)
    pen.canvas.setStrokeGray(0.0)
    left, room_wide = x + size[0] + 3.0, wide - size[0] - 3.0
    y = top - LARGE
    for row in wrapped(f"{number}  {line.title}", LARGE, room_wide):
        pen.words(row, left, y, LARGE)
        y -= LEADING * LARGE
    y = pen.lines(line.how, left, y - 0.6, PLAIN, room_wide)
    if line.care:
        y = pen.lines(f"! {line.care}", left, y - 0.8, PLAIN, room_wide)
    low = top - size[1]
    pen.canvas.setLineWidth(0.35)
    pen.canvas.rect(left, low + 3.2, room_wide - 11.0, 8.5)
    pen.words(unit, left + room_wide - 9.0, low + 5.6, LARGE)
    pen.words(line.name, left, low, SMALL, grey=0.35)


def _rule(pen: _Pen, start: float, end: float, y: float) -> None:
    pen.canvas.setLineWidth(0.2)
    pen.canvas.line(start, y, end, y)


def _about(line: TapeLine, pen: _Pen) -> NDArray[np.float64]:
    """The point (3,) of the body that a picture is centred on, mm."""
    own = _own_lines(line, pen.told)
    if own:
        points = own[0]
        return 0.5 * (points.min(axis=0) + points.max(axis=0))
    if line.name == "foot_length":
        return 0.5 * (pen.body.at("heel_left") + pen.body.at("toe_left"))
    if line.kind.startswith("across"):
        ring = pen.told.tape_lines[
            line.name.replace("_breadth", "_girth").replace("_depth", "_girth")
        ]
        return ring.mean(axis=0)
    return pen.body.at(line.at) if line.at else pen.body.surface.vertices.mean(axis=0)


def _own_lines(line: TapeLine, told: Measurements) -> list[NDArray[np.float64]]:
    """The line of a tape, of the left limb where there are two."""
    for key in (line.name, f"{line.name}_left"):
        if key in told.tape_lines:
            return [told.tape_lines[key]]
    return []


@dataclass(frozen=True)
class Trace:
    """A line to be drawn: points (k, 3) in mm; ruler: with arrow heads, before all else; thin: to show a level."""

    points: NDArray[np.float64]
    ruler: bool = False
    thin: bool = False


def _traces(line: TapeLine, view: View, pen: _Pen) -> list[Trace]:
    """What is drawn for a tape line."""
    if line.kind == "height":
        return _height_traces(line, view, pen)
    if line.kind.startswith("across"):
        return [_across_trace(line, pen)]
    return [Trace(points) for points in _own_lines(line, pen.told)]


def _height_traces(line: TapeLine, view: View, pen: _Pen) -> list[Trace]:
    """A ruler beside the body from the floor, and a level line from its tip to the place."""
    place = pen.body.at(line.at)
    level = np.array([place[0], place[1], pen.told.values[line.name]])
    beside = place + view.right * (0.29 * float(pen.body.surface.vertices[:, 2].max()))
    beside = beside - view.right * ((place - view.centre) @ view.right)
    top = np.array([beside[0], beside[1], level[2]])
    ruler = Trace(np.array([[top[0], top[1], 0.0], top]), True)
    return [ruler, Trace(np.array([top, level]), thin=True)]


def _across_trace(line: TapeLine, pen: _Pen) -> Trace:
    """A straight breadth or depth as a ruler."""
    if line.name == "foot_length":
        heel, toe = pen.body.at("heel_left"), pen.body.at("toe_left")
        return Trace(np.array([[toe[0], heel[1], 0.0], [toe[0], toe[1], 0.0]]), True)
    part = line.name.split("_")[0]
    ring = pen.told.tape_lines[f"{part}_girth"]
    return Trace(across(ring, 0 if line.kind.endswith("x") else 1), True)


def _picture(pen: _Pen, view: View, x: float, y: float) -> None:
    """The shaded body."""
    image = ImageReader(Image.fromarray(view.shade(DPI)).convert("L"))
    pen.canvas.drawImage(image, x, y, *view.size)


def _trace(pen: _Pen, trace: Trace, view: View, x: float, y: float) -> NDArray[np.float64]:
    """Draw a tape; returns the place (2,) on the page where a number belongs: its outermost seen point."""
    canvas = pen.canvas
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(x, y, *view.size)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setStrokeColorRGB(*TAPE)
    canvas.setFillColorRGB(*TAPE)
    flat = view.flat(trace.points) + [x, y]
    seen = np.ones(len(flat) - 1, bool) if trace.ruler or trace.thin else view.seen(trace.points)
    canvas.setLineWidth(0.22)
    canvas.setDash([0.7, 0.7])
    _strokes(canvas, flat, ~seen)
    canvas.setDash()
    canvas.setLineCap(1)
    canvas.setLineWidth(0.3 if trace.thin else 0.8)
    _strokes(canvas, flat, seen)
    if trace.ruler:
        for tip, tail in ((flat[0], flat[-1]), (flat[-1], flat[0])):
            _head(canvas, tip, tail)
    canvas.restoreState()
    ends = np.concatenate([flat[:-1][seen], flat[1:][seen]]) if seen.any() else flat
    side = np.abs(ends[:, 0] - (x + 0.5 * view.size[0]))
    return ends[int(np.argmax(side))]


def _strokes(canvas: Canvas, flat: NDArray[np.float64], chosen: NDArray[np.bool_]) -> None:
    """The chosen segments of a polyline (k, 2), as runs."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(np.int8), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        path = canvas.beginPath()
        path.moveTo(*flat[first])
        for point in flat[first + 1 : last + 1]:
            path.lineTo(*point)
        canvas.drawPath(path, stroke=1, fill=0)


def _head(canvas: Canvas, tip: NDArray[np.float64], tail: NDArray[np.float64]) -> None:
    """An arrow head."""
    way = (tip - tail) / max(float(np.linalg.norm(tip - tail)), 1e-9)
    aside = np.array([-way[1], way[0]])
    path = canvas.beginPath()
    path.moveTo(*tip)
    path.lineTo(*(tip - 2.2 * way + 0.9 * aside))
    path.lineTo(*(tip - 2.2 * way - 0.9 * aside))
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)
