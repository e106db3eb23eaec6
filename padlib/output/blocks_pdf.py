"""Blocks as PDF pages to print: text that breaks over pages, vector pictures, the same bytes every run."""

from __future__ import annotations

import html
import io
from collections.abc import Sequence

from reportlab.graphics.shapes import Drawing, Path, PolyLine, String
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    LongTable,
    Paragraph,
    Preformatted,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from padlib.output.blocks import Block, Heading, Note, Picture, Pictures, Steps, Text, shown
from padlib.output.blocks import Table as Rows
from padlib.output.drawing import Fill, Words
from padlib.output.paper import paper
from padlib.pattern.lettering import CAPITAL, FONT, clean, font

MARGIN = 16 * mm
LETTER = 4.7  # points: width of a letter in a table, generously
PLAIN = ParagraphStyle("plain", fontName=FONT, fontSize=9, leading=12.5, spaceAfter=4)
SMALL = ParagraphStyle("small", PLAIN, fontSize=7.5, leading=10, textColor=colors.grey)
CELL = ParagraphStyle("cell", PLAIN, fontSize=7.5, leading=9.5, spaceAfter=0)
RIGHT = ParagraphStyle("right", CELL, alignment=2)
FIXED = ParagraphStyle("fixed", PLAIN, fontSize=8, leading=10)
HEADS = {
    1: ParagraphStyle("h1", PLAIN, fontSize=20, leading=26, spaceAfter=8),
    2: ParagraphStyle("h2", PLAIN, fontSize=13, leading=17, spaceBefore=10, keepWithNext=1),
    3: ParagraphStyle("h3", PLAIN, fontSize=10.5, leading=14, spaceBefore=6, keepWithNext=1),
}


def pdf_pages(blocks: Sequence[Block], title: str, *, paper_name: str = "A4") -> bytes:
    """The blocks on pages of a paper. Raises InputError for a paper that is not known."""
    pdfmetrics.registerFont(font())
    sheet = paper(paper_name)
    out = io.BytesIO()
    page = SimpleDocTemplate(
        out,
        pagesize=(sheet.width_mm * mm, sheet.height_mm * mm),
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=clean(title),
        creator="padlib",
        invariant=1,
    )
    wide = sheet.width_mm * mm - 2 * MARGIN - 12

    def foot(canvas, _) -> None:  # noqa: ANN001
        canvas.setFont(FONT, 7)
        canvas.drawRightString(sheet.width_mm * mm - MARGIN, 8 * mm, f"{canvas.getPageNumber()}")
        canvas.drawString(MARGIN, 8 * mm, clean(title))

    story = [f for block in blocks for f in _flow(block, wide)]
    page.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _flow(block: Block, wide: float) -> list[Flowable]:
    """A block as things that flow over pages; wide: room in points."""
    if isinstance(block, Heading):
        return [Paragraph(_t(block.text), HEADS[block.level])]
    if isinstance(block, Text):
        if block.fixed:
            return [Preformatted(block.text, FIXED)]
        return [Paragraph(_t(block.text), SMALL if block.small else PLAIN)]
    if isinstance(block, Rows):
        return [_table(block, wide), Spacer(1, 6)]
    if isinstance(block, Note):
        head = f"<b>{_t(block.head)}.</b> " if block.head else ""
        source = f" ({_t(block.source)})" if block.source else ""
        return [_boxed(Paragraph(head + _t(block.text) + source, PLAIN), wide)]
    if isinstance(block, Steps):
        out: list[Flowable] = []
        pictures = block.pictures or ((),) * len(block.items)
        for k, (words, own) in enumerate(zip(block.items, pictures, strict=True), 1):
            first = Paragraph(f"{k}. {_t(words)}", PLAIN)
            out.append(KeepTogether([first, *_pictures(own, wide)]) if own else first)
        return out
    return _pictures(block.pictures, wide) if isinstance(block, Pictures) else []


def _boxed(inside: Flowable, wide: float) -> Flowable:
    """A paragraph with a bar beside it."""
    bar = [("LINEBEFORE", (0, 0), (0, -1), 2.5, colors.black), ("LEFTPADDING", (0, 0), (-1, -1), 8)]
    return Table([[inside]], colWidths=[wide], style=TableStyle(bar))


def _widths(rows: Sequence[Sequence[str]], wide: float) -> list[float]:
    """Widths of columns: room for each one's longest word first, the rest shared out by the longest texts."""
    columns = list(zip(*rows, strict=True))
    words = [max(len(w) for text in c for w in text.split(" ")) + 3 for c in columns]
    texts = [min(max(map(len, c)), 40) + 3 for c in columns]
    least = min(1.0, wide / (LETTER * sum(words))) * LETTER
    rest = wide - least * sum(words)
    more = [max(t - w, 0) + 0.01 for t, w in zip(texts, words, strict=True)]
    return [least * w + rest * m / sum(more) for w, m in zip(words, more, strict=True)]


def _table(rows: Rows, wide: float) -> Flowable:
    """A table whose head is repeated on each page."""

    def cell(i: int, text: str, bold: bool) -> Paragraph:
        words = f"<b>{_t(text)}</b>" if bold else _t(text)
        return Paragraph(words, RIGHT if i in rows.numeric else CELL)

    body = [[cell(i, h, True) for i, h in enumerate(rows.head)]]
    body += [[cell(i, v, False) for i, v in enumerate(row)] for row in rows.rows]
    widths = _widths([rows.head, *rows.rows], wide)
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.grey),
            ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 1.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
        ]
    )
    return LongTable(body, colWidths=widths, repeatRows=1, style=style)


def _pictures(pictures: Sequence[Picture], wide: float) -> list[Flowable]:
    """Pictures in rows, as many side by side as there is room for."""
    out: list[Flowable] = []
    row: list[tuple[Drawing, Picture]] = []
    for picture in pictures:
        drawn = _drawing(picture)
        room = max(drawn.width, 32 * mm) + 6
        if row and sum(max(d.width, 32 * mm) + 6 for d, _ in row) + room > wide:
            out.append(_row(row))
            row = []
        row.append((drawn, picture))
    return [*out, _row(row), Spacer(1, 4)] if row else out


def _row(row: Sequence[tuple[Drawing, Picture]]) -> Flowable:
    """One row of pictures with their captions below."""
    widths = [max(d.width, 32 * mm) + 6 for d, _ in row]
    words = [
        Paragraph("<br/>".join([f"<b>{_t(p.caption[0])}</b>", *map(_t, p.caption[1:])]), CELL)
        for _, p in row
    ]
    style = TableStyle([("VALIGN", (0, 0), (-1, 0), "BOTTOM"), ("VALIGN", (0, 1), (-1, 1), "TOP")])
    return Table([[d for d, _ in row], words], colWidths=widths, style=style, hAlign="LEFT")


def _drawing(picture: Picture) -> Drawing:
    """A picture as vector graphics."""
    marks, width, height = shown(picture)
    out = Drawing(width * mm, height * mm)
    for m in marks:
        if isinstance(m, Words):
            text = String(m.at[0] * mm, m.at[1] * mm, clean(m.text), fontName=FONT)
            text.fontSize, text.textAnchor = m.height_mm / CAPITAL * mm, m.anchor
            out.add(text)
            continue
        points = m.points * mm
        if isinstance(m, Fill) or m.closed:
            shape = Path(strokeWidth=0.0 if isinstance(m, Fill) else m.style.width_mm * mm)
            shape.fillColor = colors.black if isinstance(m, Fill) else None
            shape.moveTo(*map(float, points[0]))
            for x, y in points[1:]:
                shape.lineTo(float(x), float(y))
            shape.closePath()
        else:
            shape = PolyLine(points.ravel().tolist(), strokeWidth=m.style.width_mm * mm)
        if m.style.dashes:
            shape.strokeDashArray = [d * mm for d in m.style.dashes]
        out.add(shape)
    return out


def _t(text: str) -> str:
    """Words that the paragraph writer takes as they are."""
    return html.escape(clean(text), quote=False)
