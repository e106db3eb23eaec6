"""Paper: how a drawing is spread over pages that a printer can print, and how they are joined again.

Words: the window is the part of the drawing that a page shows; its own area is the window without the
strip at its right and lower side that the next pages show again (the overlap). Rows are lettered from
the top, columns numbered from the left: page B3 is the third of the second row. To join two pages, the
margin is cut off at the left and upper side of one and it is laid on the strip of the other.

Margins of 10 mm and overlaps up to 15 mm, row and column names: common practice, no source (VALUES 4.9).
Paper sizes: ISO 216 and the North American loose sizes (VALUES 4.9, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from padlib.errors import InputError
from padlib.output.drawing import (
    CUT,
    FRAME,
    GUIDE,
    Drawing,
    Fill,
    Line,
    Mark,
    Part,
    Stroke,
    Words,
    box,
)
from padlib.output.sheet import INCH, NOTES, legend_part
from padlib.pattern.lettering import LEADING, width_mm

SHIFTS = 9  # places of the grid tried in each direction, to print the fewest pages
FOOT_MM = 2.4  # capitals in the margin
SAMPLE_MM = 6.0  # of the outlines, when the fewest pages are looked for
DIAMOND_MM = 4.0  # half a diagonal of a joining mark
JOINING = (
    "To join pages: cut off the margin at the left",
    "and upper side along the frame, lay the page",
    "on the dotted strip of its neighbour so that",
    "the halves of the diamonds meet, and stick.",
    "Every page has a scale to check below.",
)
TWICE = "A page that shows two pieces may be printed twice, to join each piece on its own."


@dataclass(frozen=True)
class Paper:
    """A size of paper, upright, mm."""

    name: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Margins:
    """What a printer leaves white, and where the page's name stands, mm."""

    left: float = 10.0
    right: float = 10.0
    top: float = 10.0
    bottom: float = 16.0


PAPERS = {
    p.name.lower(): p
    for p in (
        Paper("A4", 210.0, 297.0),
        Paper("Letter", 215.9, 279.4),
        Paper("A3", 297.0, 420.0),
        Paper("Tabloid", 279.4, 431.8),
        Paper("A0", 841.0, 1189.0),
    )
}


@dataclass(frozen=True)
class Grid:
    """Windows of one size that cover a drawing.

    left, top: of the first window in the drawing, mm; width, height: of a window; overlap_mm.
    """

    left: float
    top: float
    width: float
    height: float
    overlap_mm: float
    columns: int
    rows: int

    def step(self) -> tuple[float, float]:
        """From one window to the next, across and down."""
        return self.width - self.overlap_mm, self.height - self.overlap_mm

    def window(self, row: int, column: int) -> Line:
        """Lower left and upper right corner (2, 2) of a window."""
        across, down = self.step()
        x, y = self.left + column * across, self.top - row * down
        return np.array([[x, y - self.height], [x + self.width, y]])

    def own(self, row: int, column: int) -> Line:
        """Corners (2, 2) of a window without the strips that the next pages show again."""
        (x, _), (_, y) = self.window(row, column)
        across, down = self.step()
        return np.array([[x, y - down], [x + across, y]])


@dataclass(frozen=True, eq=False)
class Page:
    """One page: marks in page coordinates (lower left corner 0, 0), and a window of the drawing.

    window (2, 2): what of the drawing is shown, or None; at (2,): where its lower left corner goes;
    pieces: names of the pieces that the page shows.
    """

    name: str
    width_mm: float
    height_mm: float
    marks: tuple[Mark, ...]
    window: Line | None = None
    at: tuple[float, float] = (0.0, 0.0)
    pieces: tuple[str, ...] = ()


def paper(name: str) -> Paper:
    """A paper by its name, whatever its case. Raises InputError naming those that there are."""
    if name.lower() not in PAPERS:
        known = ", ".join(p.name for p in PAPERS.values())
        raise InputError(f"there is no paper named '{name}'; take one of {known}.")
    return PAPERS[name.lower()]


def tile_count(length: float, printable: float, overlap: float) -> int:
    """How many windows cover a length when neighbours share an overlap, all mm."""
    return max(1, int(np.ceil((length - overlap) / (printable - overlap) - 1e-9)))


def page_name(row: int, column: int) -> str:
    """Row letter (A, ..., Z, AA, ...) and column number (from 1)."""
    letters, k = "", row + 1
    while k:
        k, rest = divmod(k - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{column + 1}"


def best_grid(
    drawing: Drawing, sheet: Paper, margins: Margins, overlap: float
) -> tuple[Paper, Grid]:
    """The paper, upright or lying, and the grid that shows all pieces on the fewest pages."""
    points = _samples(drawing)
    best = None
    for page in (sheet, Paper(sheet.name, sheet.height_mm, sheet.width_mm)):
        width = page.width_mm - margins.left - margins.right
        height = page.height_mm - margins.top - margins.bottom
        across, down = width - overlap, height - overlap
        low, high = points.min(axis=0), points.max(axis=0)
        for i in range(SHIFTS):
            for j in range(SHIFTS):
                left = low[0] - 0.5 - across * i / SHIFTS
                top = high[1] + 0.5 + down * j / SHIFTS
                cells = np.floor((points - [left, top]) / [across, -down]).astype(np.int64)
                pages = len(np.unique(cells[:, 0] * 100_000 + cells[:, 1]))
                if best is None or pages < best[0]:
                    columns, rows = (int(c) + 1 for c in cells.max(axis=0))
                    best = pages, page, Grid(left, top, width, height, overlap, columns, rows)
    return best[1], best[2]


def tile(
    drawing: Drawing,
    sheet: Paper,
    *,
    margins: Margins | None = None,
    overlap_mm: float = 10.0,
) -> tuple[Page, ...]:
    """A drawing's pieces over as few pages as can be: first the page map, then row by row.

    Pages that show nothing of a piece are left out. The drawing's own title, legend and test squares
    are left out too, because the first page has them.
    """
    margins = margins or Margins()
    page, grid = best_grid(drawing, sheet, margins, overlap_mm)
    pieces = [part for part in drawing.parts if part.kind == "piece"]
    areas = [shapely.Polygon(part.outline).buffer(0.5) for part in pieces]
    shown: dict[tuple[int, int], list[str]] = {}
    for row in range(grid.rows):
        for column in range(grid.columns):
            (x0, y0), (x1, y1) = grid.own(row, column)
            own = shapely.box(x0, y0, x1, y1)
            names = [p.name for p, area in zip(pieces, areas, strict=True) if area.intersects(own)]
            if names:
                shown[row, column] = names
    pages = [
        Page(
            page_name(*cell),
            page.width_mm,
            page.height_mm,
            tuple(_furniture(cell, shown, page, margins, grid, drawing.title, k, len(shown))),
            grid.window(*cell),
            (margins.left, margins.bottom),
            tuple(names),
        )
        for k, (cell, names) in enumerate(shown.items(), 1)
    ]
    return (*_covers(drawing, sheet, margins, grid, shown), *pages)


def _samples(drawing: Drawing) -> Line:
    """Points (p, 2) of all pieces, edge and inside, close enough to count pages by."""
    parts = []
    for part in drawing.parts:
        if part.kind != "piece":
            continue
        ring = np.concatenate([part.outline, part.outline[:1]])
        s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
        at = np.concatenate([np.linspace(0.0, s[-1], int(s[-1] / SAMPLE_MM) + 2), s])
        parts.append(np.column_stack([np.interp(at, s, ring[:, 0]), np.interp(at, s, ring[:, 1])]))
        low, high = ring.min(axis=0), ring.max(axis=0)
        x, y = (np.arange(low[c], high[c], 5 * SAMPLE_MM) for c in (0, 1))
        inside = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
        parts.append(inside[shapely.contains_xy(shapely.Polygon(ring), inside[:, 0], inside[:, 1])])
    if not parts:
        raise InputError("the drawing holds no piece, so there is nothing to print.")
    return np.concatenate(parts)


def _furniture(
    cell: tuple[int, int],
    shown: dict[tuple[int, int], list[str]],
    page: Paper,
    margins: Margins,
    grid: Grid,
    title: str,
    number: int,
    count: int,
) -> list[Mark]:
    """Frame, joining marks, page name and scale of one page, in page coordinates."""
    row, column = cell
    x0, y0 = margins.left, margins.bottom
    x1, y1 = x0 + grid.width, y0 + grid.height
    marks: list[Mark] = [Stroke(FRAME, box(x0, y0, grid.width, grid.height), closed=True)]
    over = grid.overlap_mm
    middle = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
    if (row, column + 1) in shown:
        marks.append(Stroke(GUIDE, np.array([[x1 - over, y0], [x1 - over, y1]])))
        marks += _half_diamonds(
            np.array([x1 - over, middle[1]]), np.array([-1.0, 0.0]), 0.25 * grid.height
        )
        text = f"lay {page_name(row, column + 1)} on this strip"
        marks.append(Words(text, np.array([x1 - 1.6, middle[1]]), 1.8, 90.0, "middle"))
    if (row + 1, column) in shown:
        marks.append(Stroke(GUIDE, np.array([[x0, y0 + over], [x1, y0 + over]])))
        marks += _half_diamonds(
            np.array([middle[0], y0 + over]), np.array([0.0, 1.0]), 0.25 * grid.width
        )
        text = f"lay {page_name(row + 1, column)} on this strip"
        marks.append(Words(text, np.array([middle[0], y0 + 1.6]), 1.8, 0.0, "middle"))
    if (row, column - 1) in shown:
        marks += _half_diamonds(np.array([x0, middle[1]]), np.array([1.0, 0.0]), 0.25 * grid.height)
        marks.append(
            Words(
                "cut the margin off along this line",
                np.array([x0 - 1.6, middle[1]]),
                1.8,
                90.0,
                "middle",
            )
        )
    if (row - 1, column) in shown:
        marks += _half_diamonds(np.array([middle[0], y1]), np.array([0.0, -1.0]), 0.25 * grid.width)
        marks.append(
            Words(
                "cut the margin off along this line",
                np.array([middle[0], y1 + 1.6]),
                1.8,
                0.0,
                "middle",
            )
        )
    marks += _foot(
        page_name(row, column),
        title,
        f"page {number} of {count}: {', '.join(shown[cell])}",
        x0,
        x1,
        y0,
    )
    return marks


def _half_diamonds(at: Line, way: Line, reach: float) -> list[Mark]:
    """Half a filled diamond on a joining line, twice, `reach` to both sides of its middle.

    way (2,): into the page. The other half is on the page that is joined there.
    """
    along = np.array([-way[1], way[0]])
    middles = [at + reach * along, at - reach * along]
    return [
        Fill(
            GUIDE, np.array([m + DIAMOND_MM * along, m + DIAMOND_MM * way, m - DIAMOND_MM * along])
        )
        for m in middles
    ]


def _foot(name: str, title: str, count: str, x0: float, x1: float, y0: float) -> list[Mark]:
    """The page's name, title and scale in the lower margin."""
    y = y0 - 9.0
    marks: list[Mark] = [Words(name, np.array([x0, y]), 5.5)]
    left = x0 + max(width_mm(name, 5.5) + 5.0, 20.0)
    room = x1 - 120.0 - left
    marks.append(Words(_shortened(title, FOOT_MM, room), np.array([left, y + 3.2]), FOOT_MM))
    marks.append(Words(_shortened(count, FOOT_MM, room), np.array([left, y - 0.6]), FOOT_MM))
    return marks + scale_bar(x1 - 4 * INCH - 3.0, y + 2.2)


def scale_bar(x: float, y: float) -> list[Mark]:
    """A line with 100 mm marked above it and 4 inches below it, to be checked with a ruler."""
    marks: list[Mark] = [Stroke(FRAME, np.array([[x, y], [x + 4 * INCH, y]]))]
    for k in range(11):
        high = 2.6 if k % 5 == 0 else 1.5
        marks.append(Stroke(FRAME, np.array([[x + 10 * k, y], [x + 10 * k, y + high]])))
    for k in range(9):
        low = 2.6 if k % 2 == 0 else 1.5
        marks.append(Stroke(FRAME, np.array([[x + k * INCH / 2, y], [x + k * INCH / 2, y - low]])))
    marks.append(Words("100 mm", np.array([x - 1.5, y + 0.5]), 1.8, anchor="end"))
    marks.append(Words("4 inch", np.array([x - 1.5, y - 2.6]), 1.8, anchor="end"))
    return marks


def _covers(
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
        Words(_shortened(drawing.title, 7.0, right - left), np.array([left, top - 8.0]), 7.0)
    ]
    y = top - 13.0
    for line in NOTES:
        y -= LEADING * 2.6
        marks.append(Words(_shortened(line, 2.6, right - left), np.array([left, y]), 2.6))
    marks += _squares(left, y - 106.0)
    legend = legend_part()
    wide = right - left - 106.0
    marks += _shrunk(legend, left + 106.0, y - 6.0, wide)
    tall = float(np.ptp(legend.outline[:, 1])) * min(
        1.0, wide / float(np.ptp(legend.outline[:, 0]))
    )
    for k, line in enumerate(JOINING):
        at = np.array([left + 106.0, y - 15.0 - tall - k * LEADING * 2.6])
        marks.append(Words(_shortened(line, 2.6, wide), at, 2.6))
    room = box(left, margins.bottom + 2.0, right - left, y - 118.0 - margins.bottom)
    marks += _page_map(drawing, grid, shown, room)
    marks += _foot(
        "map", drawing.title, f"{len(shown)} pages of pattern follow", left, right, margins.bottom
    )
    first = Page("map", sheet.width_mm, sheet.height_mm, tuple(marks))
    return [first, *_lists(drawing, sheet, margins, shown)]


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
    wide, tall = grid.columns * across, grid.rows * down
    space = room.max(axis=0) - room.min(axis=0)
    scale = float(min(space[0] / wide, space[1] / tall))
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


def _lists(
    drawing: Drawing, sheet: Paper, margins: Margins, shown: dict[tuple[int, int], list[str]]
) -> list[Page]:
    """Which pages hold which piece, on as many pages as it takes."""
    left, right, top = margins.left, sheet.width_mm - margins.right, sheet.height_mm - margins.top
    lines: list[tuple[str, str]] = []
    for part in drawing.parts:
        if part.kind == "piece":
            on = [page_name(*cell) for cell, names in shown.items() if part.name in names]
            lines += _wrapped(part.name, on, right - left)
    step = LEADING * 3.0 + 0.8
    per_page = int((top - 28.0 - margins.bottom) / step)
    chunks = [lines[k : k + per_page] for k in range(0, len(lines), per_page)]
    out = []
    for k, chunk in enumerate(chunks, 1):
        marks: list[Mark] = [
            Words("Which pages hold which piece", np.array([left, top - 7.0]), 5.0)
        ]
        for i, row in enumerate(chunk):
            y = top - 24.0 - step * i
            marks += [
                Words(text, np.array([x, y]), 3.0)
                for text, x in zip(row, (left, left + 0.45 * (right - left)), strict=True)
                if text
            ]
        name = "list" if len(chunks) == 1 else f"list {k}"
        marks.append(Words(TWICE, np.array([left, top - 14.0]), 2.6))
        marks += _foot(name, drawing.title, "", left, right, margins.bottom)
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
    head = _shortened(name, 3.0, 0.42 * room)
    return [(head if k == 0 else "", line) for k, line in enumerate([*out, text])]


def _shortened(words: str, height: float, room: float) -> str:
    """Words cut to a width, with an ellipsis where something is missing."""
    while width_mm(words, height) > room and len(words) > 2:
        words = words[:-2].rstrip() + "\u2026"
    return words
