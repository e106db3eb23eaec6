"""The first pages of a tiled pattern: how to print and join it, page map, which pages hold which piece."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from padlib.output.drawing import CUT, FRAME, Drawing, Fill, Line, Mark, Part, Stroke, Words, box
from padlib.output.paper import Grid, Margins, Page, Paper, foot, page_name, shortened
from padlib.output.sheet import INCH, NOTES, legend_part, rare_styles
from padlib.pattern.lettering import LEADING, width_mm

SMALLEST_CELL_MM = 10.0  # a page map with smaller pages gets a page of its own
LIST_HEAD_MM = 24.0  # of the list of pieces, heading included
ROW_MM = LEADING * 3.0 + 0.8
JOINING = (
    "To join pages: cut off the margin at the left",
    "and upper side along the frame, lay the page",
    "on the dotted strip of its neighbour so that",
    "the halves of the diamonds meet, and stick.",
    "Every page has a scale to check below.",
)
TWICE = "A page that shows two pieces may be printed twice, to join each piece on its own."


def cover_pages(
    drawing: Drawing,
    sheet: Paper,
    margins: Margins,
    grid: Grid,
    shown: dict[tuple[int, int], list[str]],
) -> list[Page]:
    """The first page (how to print, test square, page map) and the list of pieces."""
    left, right = margins.left, sheet.width_mm - margins.right
    top = sheet.height_mm - margins.top
    marks: list[Mark] = [
        Words(shortened(drawing.title, 7.0, right - left), np.array([left, top - 8.0]), 7.0)
    ]
    y = top - 13.0
    for line in NOTES:
        y -= LEADING * 2.6
        marks.append(Words(shortened(line, 2.6, right - left), np.array([left, y]), 2.6))
    marks += _squares(left, y - 106.0)
    legend = legend_part(rare_styles(m for part in drawing.parts for m in part.marks))
    wide = right - left - 106.0
    marks += _shrunk(legend, left + 106.0, y - 6.0, wide)
    tall = float(np.ptp(legend.outline[:, 1])) * min(
        1.0, wide / float(np.ptp(legend.outline[:, 0]))
    )
    for k, line in enumerate(JOINING):
        at = np.array([left + 106.0, y - 15.0 - tall - k * LEADING * 2.6])
        marks.append(Words(shortened(line, 2.6, wide), at, 2.6))
    room = box(left, margins.bottom + 2.0, right - left, y - 118.0 - margins.bottom)
    count = f"{len(shown)} pages of pattern follow"
    rows = _rows(drawing, shown, right - left)
    pages, after = [], _list_pages(drawing, sheet, margins, rows)
    if _map_scale(grid, room) * min(grid.step()) >= SMALLEST_CELL_MM:
        marks += _page_map(drawing, grid, shown, room)
        name = "map"
    else:  # a long sheet: the map has a page of its own
        name = "start"
        whole = box(left, margins.bottom + 2.0, right - left, top - 16.0 - margins.bottom)
        own = [Words("Where each page lies", np.array([left, top - 7.0]), 5.0)]
        own += _page_map(drawing, grid, shown, whole)
        own += foot("map", drawing.title, count, left, right, margins.bottom)
        pages.append(Page("map", sheet.width_mm, sheet.height_mm, tuple(own)))
        if LIST_HEAD_MM + ROW_MM * len(rows) < np.ptp(room[:, 1]):
            marks += _list_marks(rows, left, right, float(room[:, 1].max()))
            after = []
    marks += foot(name, drawing.title, count, left, right, margins.bottom)
    first = Page(name, sheet.width_mm, sheet.height_mm, tuple(marks))
    return [first, *pages, *after]


def _map_scale(grid: Grid, room: Line) -> float:
    """The scale at which all windows fit a room."""
    across, down = grid.step()
    space = room.max(axis=0) - room.min(axis=0)
    return float(min(space[0] / (grid.columns * across), space[1] / (grid.rows * down)))


def _squares(x: float, y: float) -> list[Mark]:
    """The 100 mm test square with one of 3 inches in it."""
    three = 3 * INCH
    return [
        Stroke(FRAME, box(x, y, 100.0, 100.0), closed=True),
        Stroke(FRAME, box(x, y, three, three), closed=True),
        Words(
            "test square", np.array([x + 0.5 * three, y + 0.5 * three + 6.0]), 4.0, anchor="middle"
        ),
        Words(
            "measure before you cut",
            np.array([x + 0.5 * three, y + 0.5 * three - 1.0]),
            2.6,
            anchor="middle",
        ),
        Words("outer side 100 mm", np.array([x + 0.5 * 100, y + 93.0]), 3.0, anchor="middle"),
        Words("inner side 3 inch", np.array([x + 0.5 * three, y + 3.0]), 3.0, anchor="middle"),
    ]


def _shrunk(part: Part, x: float, top: float, width: float) -> list[Mark]:
    """A part scaled down, if it must be, to a width; its upper left corner at (x, top)."""
    low, high = part.outline.min(axis=0), part.outline.max(axis=0)
    scale = min(1.0, width / (high[0] - low[0]))
    return [
        _scaled(m, scale, np.array([x, top]) - scale * np.array([low[0], high[1]]))
        for m in part.marks
    ]


def _scaled(mark: Mark, scale: float, by: Line) -> Mark:
    """A mark scaled about the origin, then moved; line widths stay."""
    if isinstance(mark, Words):
        return Words(
            mark.text, scale * mark.at + by, scale * mark.height_mm, mark.angle_deg, mark.anchor
        )
    if isinstance(mark, Fill):
        return Fill(mark.style, scale * mark.points + by)
    return Stroke(mark.style, scale * mark.points + by, mark.closed)


def _page_map(
    drawing: Drawing, grid: Grid, shown: dict[tuple[int, int], list[str]], room: Line
) -> list[Mark]:
    """All pages small, with the outlines and numbers of the pieces on them."""
    across, down = grid.step()
    wide = grid.columns * across
    space = room.max(axis=0) - room.min(axis=0)
    scale = _map_scale(grid, room)
    corner = np.array([room[:, 0].min() + 0.5 * (space[0] - scale * wide), room[:, 1].max()])
    by = corner - scale * np.array([grid.left, grid.top])
    marks: list[Mark] = []
    size = float(np.clip(0.16 * scale * min(across, down), 1.2, 3.0))
    for row, column in shown:
        own = scale * grid.own(row, column) + by
        marks.append(Stroke(FRAME, box(*own[0], *(own[1] - own[0])), closed=True))
        at = np.array([own[0, 0] + 0.8, own[1, 1] - size - 0.8])
        marks.append(Words(page_name(row, column), at, size))
    for part in drawing.parts:
        if part.kind != "piece":
            continue
        line = scale * part.outline + by
        marks.append(
            Stroke(
                CUT,
                shapely.get_coordinates(shapely.simplify(shapely.linearrings(line), 0.1))[:-1],
                closed=True,
            )
        )
        circle = shapely.maximum_inscribed_circle(shapely.Polygon(line), tolerance=0.5)
        number = part.name.split(" ", 1)[0]
        height = float(np.clip(0.8 * circle.length, 1.8, 6.0))
        marks.append(
            Words(
                number, np.asarray(circle.coords)[0] - [0.0, 0.5 * height], height, anchor="middle"
            )
        )
    return marks


def _rows(
    drawing: Drawing, shown: dict[tuple[int, int], list[str]], room: float
) -> list[tuple[str, str]]:
    """Rows of two columns: each piece and the pages that show any of it."""
    rows: list[tuple[str, str]] = []
    for part in drawing.parts:
        if part.kind == "piece":
            on = [page_name(*cell) for cell, names in shown.items() if part.name in names]
            rows += _wrapped(part.name, on, room)
    return rows


def _list_marks(
    rows: Sequence[tuple[str, str]], left: float, right: float, top: float
) -> list[Mark]:
    """The heading and rows of the list, from `top` down."""
    marks: list[Mark] = [
        Words("Which pages hold which piece", np.array([left, top - 7.0]), 5.0),
        Words(TWICE, np.array([left, top - 14.0]), 2.6),
    ]
    for i, row in enumerate(rows):
        y = top - LIST_HEAD_MM - ROW_MM * i
        for text, x in zip(row, (left, left + 0.45 * (right - left)), strict=True):
            marks += [Words(text, np.array([x, y]), 3.0)] if text else []
    return marks


def _list_pages(
    drawing: Drawing, sheet: Paper, margins: Margins, rows: Sequence[tuple[str, str]]
) -> list[Page]:
    """The list on as many pages of its own as it takes."""
    left, right, top = margins.left, sheet.width_mm - margins.right, sheet.height_mm - margins.top
    most = int((top - LIST_HEAD_MM - 4.0 - margins.bottom) / ROW_MM)
    chunks = [rows[k : k + most] for k in range(0, len(rows), most)]
    out = []
    for k, chunk in enumerate(chunks, 1):
        name = "list" if len(chunks) == 1 else f"list {k}"
        marks = _list_marks(chunk, left, right, top)
        marks += foot(name, drawing.title, "", left, right, margins.bottom)
        out.append(Page(name, sheet.width_mm, sheet.height_mm, tuple(marks)))
    return out


def _wrapped(name: str, pages: Sequence[str], room: float) -> list[tuple[str, str]]:
    """A piece's name and its pages as rows of two columns."""
    out, inset, text = [], 0.45 * room, ""
    for page in pages:
        longer = f"{text}  {page}" if text else page
        if width_mm(longer, 3.0) > room - inset:
            out.append(text)
            longer = page
        text = longer
    head = shortened(name, 3.0, 0.42 * room)
    return [(head if k == 0 else "", line) for k, line in enumerate([*out, text])]
