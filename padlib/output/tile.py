"""Tiles: a drawing spread over pages, with what is needed to join them again.

The words are those of `padlib.output.paper`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from padlib.output.cover import cover_pages
from padlib.output.drawing import FRAME, GUIDE, Drawing, Fill, Line, Mark, Stroke, Words, box
from padlib.output.paper import Grid, Margins, Page, Paper, best_grid, foot, page_name

DIAMOND_MM = 4.0  # half a diagonal of a joining mark


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
    return (*cover_pages(drawing, sheet, margins, grid, shown), *pages)


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
    marks += foot(
        page_name(row, column),
        title,
        _what(f"page {number} of {count}: ", shown[cell]),
        x0,
        x1,
        y0,
    )
    return marks


def _what(head: str, names: Sequence[str]) -> str:
    """Which pieces a page shows: the name of a single one, the numbers of several."""
    if len(names) == 1:
        return head + names[0]
    return head + "pieces " + ", ".join(name.split(" ", 1)[0] for name in names)


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
