"""SVG: one file in millimetres, a group for each kind of line, and in it a group for each piece."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from html import escape

from padlib.findings import Finding
from padlib.output.drawing import STYLES, Drawing, Fill, Line, Mark, Style, Words
from padlib.output.whole import write_whole
from padlib.pattern.lettering import CAPITAL, clean

_BARRED = re.compile(
    "[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
)  # XML 1.0, section 2.2


def write_svg(path: str | os.PathLike, drawing: Drawing) -> tuple[Finding, ...]:
    """Write a drawing as SVG at true size. Raises OutputError where the file cannot be written."""
    write_whole(path, svg_text(drawing).encode("utf-8"))
    return ()


def svg_text(drawing: Drawing) -> str:
    """The file's text: width, height and all coordinates in mm, y down as SVG has it."""
    width, height = _number(drawing.width_mm), _number(drawing.height_mm)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f"<title>{_text(drawing.title)}</title>",
    ]
    for style in STYLES:
        body = list(_layer(drawing, style))
        if body:
            lines += [_open_layer(style), *body, "</g>"]
    body = list(_words_layer(drawing))
    if body:
        lines += [
            '<g id="words" fill="#000" stroke="none" font-family="\'DejaVu Sans\', sans-serif">',
            *body,
            "</g>",
        ]
    return "\n".join([*lines, "</svg>", ""])


def _open_layer(style: Style) -> str:
    """The group of one kind of line."""
    dashes = f' stroke-dasharray="{" ".join(map(_number, style.dashes))}"' if style.dashes else ""
    cap = "butt" if style.dashes else "round"
    return (
        f'<g id="{style.name}" fill="none" stroke="#000" stroke-width="{_number(style.width_mm)}" '
        f'stroke-linejoin="round" stroke-linecap="{cap}"{dashes}>'
    )


def _layer(drawing: Drawing, style: Style) -> Iterator[str]:
    """The lines of one kind, part by part."""
    for part in drawing.parts:
        marks = [m for m in part.marks if not isinstance(m, Words) and m.style == style]
        if marks:
            yield f'<g class="{part.kind}" data-part="{_text(part.name)}">'
            yield from (_mark(m, drawing.height_mm) for m in marks)
            yield "</g>"


def _words_layer(drawing: Drawing) -> Iterator[str]:
    """All words, part by part."""
    for part in drawing.parts:
        marks = [m for m in part.marks if isinstance(m, Words)]
        if marks:
            yield f'<g class="{part.kind}" data-part="{_text(part.name)}">'
            yield from (_words(m, drawing.height_mm) for m in marks)
            yield "</g>"


def _mark(mark: Mark, height: float) -> str:
    """A line or a filled polygon."""
    filled = isinstance(mark, Fill)
    data = _path(mark.points, height) + ("Z" if filled or mark.closed else "")
    return f'<path d="{data}"' + (' fill="#000" stroke="none"/>' if filled else "/>")


def _path(points: Line, height: float) -> str:
    """Path data of a polyline, y turned down."""
    return "M" + "L".join(f"{_number(x)},{_number(height - y)}" for x, y in points)


def _words(mark: Words, height: float) -> str:
    """Words on their base line."""
    x, y = _number(mark.at[0]), _number(height - mark.at[1])
    turn = f' transform="rotate({_number(-mark.angle_deg)} {x} {y})"' if mark.angle_deg else ""
    anchor = f' text-anchor="{mark.anchor}"' if mark.anchor != "start" else ""
    size = _number(mark.height_mm / CAPITAL)
    return (
        f'<text x="{x}" y="{y}" font-size="{size}"{anchor}{turn}>{_text(clean(mark.text))}</text>'
    )


def _text(words: str) -> str:
    """Words with what XML would take as its own escaped, and what it bars left out."""
    return escape(_BARRED.sub("", words), quote=True)


def _number(value: float) -> str:
    """A number to 0.0001, without needless zeros."""
    text = f"{float(value):.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
