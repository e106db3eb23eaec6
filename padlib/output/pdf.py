"""PDF: pages true to scale, the font embedded, the same bytes every time."""

from __future__ import annotations

import io
import os
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from padlib.findings import Finding, Grade
from padlib.output.drawing import Drawing, Fill, Line, Mark, Stroke, Words, bbox
from padlib.output.paper import Margins, Page, paper
from padlib.output.projector import projected
from padlib.output.tile import tile
from padlib.output.whole import write_whole
from padlib.pattern.lettering import CAPITAL, FONT, clean, font, missing

POINT = 72.0 / 25.4  # points in a millimetre
LONGEST_MM = 5080.0  # 14,400 points: the longest page that older readers accept
REACH_MM = 5.0  # lines are drawn so far beyond a page's window, then cut off at it


def write_tiled_pdf(
    path: str | os.PathLike,
    drawing: Drawing,
    paper_name: str,
    *,
    margins: Margins | None = None,
    overlap_mm: float = 10.0,
) -> tuple[Finding, ...]:
    """Write a drawing over pages of a paper (A4, Letter, A3, Tabloid, A0), page map first.

    Returns what the maker should know. Raises InputError for an unknown paper, OutputError where the
    file cannot be written.
    """
    pages = tile(drawing, paper(paper_name), margins=margins, overlap_mm=overlap_mm)
    write_whole(path, pdf_bytes(pages, drawing))
    return _findings(drawing)


def write_roll_pdf(path: str | os.PathLike, drawing: Drawing) -> tuple[Finding, ...]:
    """Write a drawing as one page of its own size, for a roll.

    Returns what the maker should know. Raises OutputError where the file cannot be written.
    """
    window = np.array([[0.0, 0.0], [drawing.width_mm, drawing.height_mm]])
    page = Page("roll", drawing.width_mm, drawing.height_mm, (), window)
    write_whole(path, pdf_bytes([page], drawing))
    return _findings(drawing) + _too_long(drawing)


def write_projector_pdf(path: str | os.PathLike, drawing: Drawing) -> tuple[Finding, ...]:
    """Write a drawing as one page with thick lines and a grid of 100 mm, to be thrown onto cloth.

    Raises OutputError where the file cannot be written.
    """
    thick = projected(drawing)
    window = np.array([[0.0, 0.0], [thick.width_mm, thick.height_mm]])
    page = Page("roll", thick.width_mm, thick.height_mm, (), window)
    write_whole(path, pdf_bytes([page], thick))
    return _findings(drawing) + _too_long(drawing)


def pdf_bytes(pages: Sequence[Page], drawing: Drawing) -> bytes:
    """The file's bytes: each page shows its own marks and its window of the drawing.

    A page with margins shows only the drawing's pieces; the roll shows everything.
    """
    pdfmetrics.registerFont(font())
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1, pageCompression=1, initialFontName=FONT)
    canvas.setTitle(drawing.title)
    canvas.setCreator("padlib")
    marks = {
        kind: [m for p in drawing.parts if p.kind in kind for m in p.marks]
        for kind in (("piece",), ("piece", "sheet"))
    }
    boxes = {
        kind: np.array([bbox([m]) for m in found]).reshape(-1, 2, 2)
        for kind, found in marks.items()
    }
    for page in pages:
        canvas.setPageSize((page.width_mm * POINT, page.height_mm * POINT))
        canvas.bookmarkPage(page.name)
        canvas.addOutlineEntry(page.name, page.name)
        canvas.scale(POINT, POINT)
        canvas.setLineJoin(1)
        if page.window is not None:
            kind = ("piece", "sheet") if page.name == "roll" else ("piece",)
            _draw_window(canvas, page, marks[kind], boxes[kind])
        for mark in page.marks:
            _draw(canvas, mark)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw_window(
    canvas: Canvas, page: Page, marks: Sequence[Mark], boxes: NDArray[np.float64]
) -> None:
    """Draw the part of the drawing that a page shows, cut off at the window."""
    (x0, y0), (x1, y1) = page.window
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(page.at[0], page.at[1], x1 - x0, y1 - y0)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.translate(page.at[0] - x0, page.at[1] - y0)
    wide = page.window + np.array([[-REACH_MM], [REACH_MM]])
    seen = np.all((boxes[:, 1] >= wide[0]) & (boxes[:, 0] <= wide[1]), axis=1)
    for k in np.flatnonzero(seen):
        _draw(canvas, marks[k], wide)
    canvas.restoreState()


def _draw(canvas: Canvas, mark: Mark, window: Line | None = None) -> None:
    """Draw one mark."""
    if isinstance(mark, Words):
        _draw_words(canvas, mark)
    elif isinstance(mark, Fill):
        canvas.drawPath(_path(canvas, [mark.points], True), stroke=0, fill=1)
    else:
        _draw_stroke(canvas, mark, window)


def _draw_stroke(canvas: Canvas, mark: Stroke, window: Line | None) -> None:
    """Draw a line, or those stretches of it that come near a window, dashes kept in step."""
    canvas.setLineWidth(mark.style.width_mm)
    canvas.setLineCap(0 if mark.style.dashes else 1)
    for points, start in [(mark.points, 0.0)] if window is None else stretches(mark, window):
        whole = len(points) == len(mark.points) and mark.closed
        if mark.style.dashes:
            canvas.setDash(list(mark.style.dashes), start % sum(mark.style.dashes))
        else:
            canvas.setDash()
        canvas.drawPath(_path(canvas, [points], whole), stroke=1, fill=0)
    canvas.setDash()


def stretches(mark: Stroke, window: Line) -> list[tuple[Line, float]]:
    """The stretches of a line that come into a window (2, 2), each with the arc length at its start."""
    points = np.concatenate([mark.points, mark.points[:1]]) if mark.closed else mark.points
    a, b = points[:-1], points[1:]
    near = np.all((np.maximum(a, b) >= window[0]) & (np.minimum(a, b) <= window[1]), axis=1)
    if near.all():
        return [(mark.points, 0.0)]
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*(b - a).T))])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(np.int8), [0]])))
    return [(points[i : j + 1], float(s[i])) for i, j in zip(edges[::2], edges[1::2], strict=True)]


def _path(canvas: Canvas, lines: Iterable[Line], closed: bool):  # noqa: ANN202
    """A path of polylines."""
    path = canvas.beginPath()
    for line in lines:
        path.moveTo(*line[0])
        for x, y in line[1:]:
            path.lineTo(x, y)
        if closed:
            path.close()
    return path


def _draw_words(canvas: Canvas, mark: Words) -> None:
    """Draw words on their base line."""
    text = clean(mark.text)
    canvas.saveState()
    canvas.translate(*mark.at)
    canvas.rotate(mark.angle_deg)
    canvas.setFont(FONT, mark.height_mm / CAPITAL)
    draw = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }
    draw[mark.anchor](0.0, 0.0, text)
    canvas.restoreState()


def _findings(drawing: Drawing) -> tuple[Finding, ...]:
    """Characters that the font cannot show."""
    texts = [m.text for p in drawing.parts for m in p.marks if isinstance(m, Words)]
    lost = missing("".join([drawing.title, *texts]))
    if not lost:
        return ()
    words = (
        f"the pattern's font has no picture for {' '.join(lost)}; the PDF shows a box in its place"
    )
    return (Finding(900, words, drawing.title, Grade.NOTE, len(lost)),)


def _too_long(drawing: Drawing) -> tuple[Finding, ...]:
    """A sheet longer than older readers accept."""
    longest = max(drawing.width_mm, drawing.height_mm)
    if longest <= LONGEST_MM:
        return ()
    words = (
        f"the roll is {longest:.0f} mm long; some readers show only the first {LONGEST_MM:.0f} mm, "
        "print the tiled pages or a wider roll instead"
    )
    return (Finding(901, words, drawing.title, Grade.WARNING),)
