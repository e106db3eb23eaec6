"""Paper: how a drawing is spread over pages that a printer can print, and how they are joined again.

Words: the window is the part of the drawing that a page shows; its own area is the window without the
strip at its right and lower side that the next pages show again (the overlap). Rows are lettered from
the top, columns numbered from the left: page B3 is the third of the second row. To join two pages, the
margin is cut off at the left and upper side of one and it is laid on the strip of the other.

Margins of 10 mm and overlaps up to 15 mm, row and column names: common practice, no source (VALUES 4.9).
Paper sizes: ISO 216 and the North American loose sizes (VALUES 4.9, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from padlib.errors import InputError
from padlib.output.drawing import (
    FRAME,
    Drawing,
    Line,
    Mark,
    Stroke,
    Words,
)
from padlib.output.sheet import INCH
from padlib.pattern.lettering import width_mm

SHIFTS = 9  # places of the grid tried in each direction, to print the fewest pages
FOOT_MM = 2.4  # capitals in the margin
SAMPLE_MM = 6.0  # of the outlines, when the fewest pages are looked for


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


def foot(name: str, title: str, count: str, x0: float, x1: float, y0: float) -> list[Mark]:
    """The page's name, title and scale in the lower margin."""
    y = y0 - 9.0
    marks: list[Mark] = [Words(name, np.array([x0, y]), 5.5)]
    left = x0 + max(width_mm(name, 5.5) + 5.0, 20.0)
    room = x1 - 120.0 - left
    marks.append(Words(shortened(title, FOOT_MM, room), np.array([left, y + 3.2]), FOOT_MM))
    marks.append(Words(shortened(count, FOOT_MM, room), np.array([left, y - 0.6]), FOOT_MM))
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


def shortened(words: str, height: float, room: float) -> str:
    """Words cut to a width, with an ellipsis where something is missing."""
    while width_mm(words, height) > room and len(words) > 2:
        words = words[:-2].rstrip() + "\u2026"
    return words
