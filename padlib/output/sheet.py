"""The sheet of a pattern: all pieces one beside the other, with title, legend and test squares."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2

from padlib.findings import Finding, Grade
from padlib.output.drawing import (
    COLOUR,
    CUT,
    DART,
    FOLD,
    FRAME,
    NOTCH,
    PILE,
    PLACE,
    SEW,
    TRIM,
    Drawing,
    Line,
    Mark,
    Part,
    Stroke,
    Style,
    Words,
    arrow,
    bbox,
    box,
    moved,
    piece_part,
)
from padlib.pattern.lettering import clean
from padlib.pattern.piece import Piece

CELL_MM = 8.0  # pieces are placed on a grid of such cells
EDGE_MM = 10.0  # free border of the sheet
INCH = 25.4
RARE = (FOLD, TRIM, PLACE, COLOUR)  # kinds of line that not every pattern has

NOTES = (
    "Print at 100 %, never \u201cfit to page\u201d. Measure a test square before you cut cloth.",
    "Pieces show the pile side: laid face down on the back of the cloth, a piece gives the side",
    "that is named on it; laid face up, its mirror image.",
    "Cut from the back, one layer, the backing only; comb the pile out of every seam.",
)


def pattern_sheet(
    pieces: Sequence[Piece],
    *,
    title: str,
    width_mm: float = 1500.0,
    gap_mm: float = 6.0,
    inch: bool = True,
    notes: Sequence[str] = (),
) -> Drawing:
    """A sheet with all pieces, nothing rotated, none over another.

    pieces; title: of the sheet; width_mm: of the roll (the sheet is as long as it must be);
    gap_mm: between cut lines; inch: whether a 4 inch square is drawn beside the 100 mm one;
    notes: lines under the title. A piece wider than the sheet widens it (finding 902).
    """
    parts = [piece_part(piece) for piece in pieces]
    legend = legend_part(rare_styles(m for part in parts for m in part.marks))
    extras = [title_part(title, notes), legend, square_part(100.0, "100 mm")]
    if inch:
        extras.append(square_part(4 * INCH, "4 inch"))
    order = sorted(range(len(parts)), key=lambda i: (-np.ptp(parts[i].outline[:, 1]), i))
    widest = max(float(np.ptp(p.outline[:, 0])) for p in [*parts, *extras])
    findings = ()
    wide = width_mm
    if widest + 2 * EDGE_MM > width_mm:
        wide = float(np.ceil(widest + 2 * EDGE_MM))
        words = f"a piece is {widest:.0f} mm wide; the sheet was made {wide:.0f} mm wide to hold it"
        findings = (Finding(902, words, clean(title), Grade.WARNING),)
    queue = [*extras, *(parts[i] for i in order)]
    corners, length = place([p.outline for p in queue], wide - 2 * EDGE_MM, gap_mm)
    tall = length + 2 * EDGE_MM
    placed = [
        moved(part, (EDGE_MM + x, tall - EDGE_MM - y) - _top_left(part))
        for part, (x, y) in zip(queue, corners, strict=True)
    ]
    back = {id(queue[len(extras) + k]): i for k, i in enumerate(order)}
    ranked = sorted(zip(queue, placed, strict=True), key=lambda two: back.get(id(two[0]), -1))
    return Drawing(tuple(p for _, p in ranked), wide, tall, clean(title), findings)


def place(
    outlines: Sequence[Line], width: float, gap: float, cell: float = CELL_MM
) -> tuple[list[tuple[float, float]], float]:
    """Where outlines go on a strip: x and y (down from the top) of each one's box, and the length.

    outlines (k, 2) each; width of the strip, gap between outlines, mm. One after the other, each goes
    to the highest free place, then the leftmost, of a grid of cells; hollows are filled.
    """
    columns = int(np.floor(width / cell))
    masks = [_mask(line, gap, cell) for line in outlines]
    rows = sum(len(m) for m in masks)
    taken = np.zeros((rows, max([columns, *(m.shape[1] for m in masks)])))
    out, used = [], 0
    for mask, line in zip(masks, outlines, strict=True):
        high = min(used + len(mask), rows)
        free = np.argwhere(_covered(taken[:high], mask) < 0.5)
        row, column = free[0] if len(free) else (used, 0)
        taken[row : row + len(mask), column : column + mask.shape[1]] += mask
        used = max(used, int(row) + len(mask))
        rest = 0.5 * (np.array(mask.shape[::-1]) * cell - np.ptp(line, axis=0))
        out.append((float(column * cell + rest[0]), float(row * cell + rest[1])))
    length = max(y + float(np.ptp(o[:, 1])) for (_, y), o in zip(out, outlines, strict=True))
    return out, length


def title_part(title: str, notes: Sequence[str] = ()) -> Part:
    """The title block: title, notes of the caller, and how to print and cut."""
    marks: list[Mark] = [Words(clean(title), np.array([0.0, 0.0]), 9.0)]
    y = -8.0
    for line in [*map(clean, notes), *NOTES]:
        y -= 6.0
        marks.append(Words(line, np.array([0.0, y]), 3.2))
    return _framed("title", marks)


def rare_styles(marks: Iterable[Mark]) -> set[str]:
    """Names of the kinds of line among marks that not every pattern has."""
    rare = {style.name for style in RARE}
    return {m.style.name for m in marks if not isinstance(m, Words)} & rare


def legend_part(rare: Collection[str] = ()) -> Part:
    """The kinds of line with a sample of each; rare: names of those that are told only where they are."""
    marks: list[Mark] = [Words("Lines", np.array([0.0, 0.0]), 4.5)]
    rows = (
        (CUT, ("cut here",)),
        (SEW, ("sew here; hems: fold here",)),
        (DART, ("dart: sew its two legs together",)),
        (
            NOTCH,
            (
                "notch: snip no deeper than drawn;",
                "meets its twin of the same name;",
                "one mark for front, two for back",
            ),
        ),
        (FOLD, ("fold here",)),
        (TRIM, ("trim the pile short up to here",)),
        (PLACE, ("something is sewn on here",)),
        (COLOUR, ("the colour changes here",)),
        (PILE, ("the pile lies this way: down the wearer",)),
    )
    y = -9.0
    for style, words in rows:
        if style in RARE and style.name not in rare:
            continue
        marks += _sample(style, y + 1.3)
        for line in words:
            marks.append(Words(line, np.array([30.0, y]), 2.6))
            y -= 4.6
        y -= 2.0
    marks.append(
        Words(
            "A: side \u2192 4 sleeve: seam A, \u201cside\u201d, is sewn to piece 4",
            np.array([0.0, y]),
            2.6,
        )
    )
    return _framed("legend", marks)


def _sample(style: Style, y: float) -> list[Mark]:
    """A sample of a kind of line."""
    if style == NOTCH:
        return [Stroke(style, np.array([[x, y - 2.5], [x, y + 2.5]])) for x in (5.0, 17.0, 22.0)]
    line = np.array([[0.0, y], [26.0, y]])
    return arrow(line) if style == PILE else [Stroke(style, line)]


def square_part(side: float, words: str) -> Part:
    """A test square with its size written in it."""
    marks: list[Mark] = [Stroke(FRAME, box(0.0, 0.0, side, side), closed=True)]
    half = 0.5 * side
    marks.append(Words(f"test square {words}", np.array([half, half + 4.0]), 4.0, anchor="middle"))
    marks.append(
        Words("each side must measure", np.array([half, half - 4.0]), 2.8, anchor="middle")
    )
    marks.append(Words(f"exactly {words}", np.array([half, half - 9.5]), 2.8, anchor="middle"))
    return Part(f"test square {words}", "sheet", tuple(marks), box(0.0, 0.0, side, side))


def _framed(name: str, marks: list[Mark]) -> Part:
    """Marks in a frame."""
    (x0, y0), (x1, y1) = bbox(marks) + np.array([[-5.0, -4.0], [5.0, 4.0]])
    frame = box(x0, y0, x1 - x0, y1 - y0)
    return Part(name, "sheet", (Stroke(FRAME, frame, closed=True), *marks), frame)


def _top_left(part: Part) -> NDArray[np.float64]:
    """Upper left corner (2,) of a part's room."""
    return np.array([part.outline[:, 0].min(), part.outline[:, 1].max()])


def _covered(taken: NDArray[np.float64], mask: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many taken cells a mask covers at each place where it lies wholly within them.

    By Fourier transforms; scipy.signal, which has the same, takes half a second to import.
    """
    shape = tuple(next_fast_len(n, real=True) for n in taken.shape)
    hits = irfft2(rfft2(taken, shape) * rfft2(mask, shape).conj(), shape)
    return hits[tuple(slice(t - m + 1) for t, m in zip(taken.shape, mask.shape, strict=True))]


def _mask(line: Line, gap: float, cell: float) -> NDArray[np.float64]:
    """Cells (rows from the top, columns) that an outline and half the gap around it touch."""
    area = shapely.Polygon(line).buffer(0.5 * gap, join_style="mitre")
    shapely.prepare(area)
    size = np.ceil((np.ptp(line, axis=0) + gap) / cell).astype(int)
    middle = 0.5 * (line.min(axis=0) + line.max(axis=0))
    x = middle[0] + (np.arange(size[0]) - 0.5 * size[0]) * cell
    y = middle[1] - (np.arange(size[1]) - 0.5 * size[1]) * cell
    cells = shapely.box(x[None, :], y[:, None] - cell, x[None, :] + cell, y[:, None])
    return shapely.intersects(area, cells).astype(np.float64)
