"""The guide as blocks, before any file format: headings, sentences, lists, tables, notes, pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from padlib.output.drawing import Fill, Mark, Stroke, Style, Words, bbox


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is the title."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Text:
    """A paragraph; small for sources; fixed for lines that are copied as they stand."""

    text: str
    small: bool = False
    fixed: bool = False


@dataclass(frozen=True)
class Steps:
    """A numbered list; pictures of each step, or none."""

    items: tuple[str, ...]
    pictures: tuple[tuple[Picture, ...], ...] = ()


@dataclass(frozen=True)
class Table:
    """Rows under a head; numeric: columns that are set to the right; name: of its rows in the CSV."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()


@dataclass(frozen=True)
class Note:
    """A sentence that is seen first (warn) or a caution; head in bold, source in brackets."""

    kind: str
    text: str
    head: str = ""
    source: str = ""


@dataclass(frozen=True, eq=False)
class Picture:
    """Marks of a drawing, mm, to be shown width_mm wide at most and height_mm high; line widths as shown."""

    marks: tuple[Mark, ...]
    caption: tuple[str, ...]
    width_mm: float = 42.0
    height_mm: float = 62.0
    label: str = ""


@dataclass(frozen=True)
class Pictures:
    """Pictures side by side."""

    pictures: tuple[Picture, ...]


Block = Heading | Text | Steps | Table | Note | Pictures


def shown(picture: Picture) -> tuple[list[Mark], float, float]:
    """A picture's marks scaled to its size, lower left at (0, 0), with width and height, mm.

    Words keep at least a readable size; line widths are left as they are.
    """
    low, high = bbox([m for m in picture.marks if not isinstance(m, Words)] or picture.marks)
    span = np.maximum(high - low, 1e-6)
    room = np.array([picture.width_mm, picture.height_mm]) - 2.0
    scale = min(float(min(room / span)), LARGEST)
    by = 1.0 - scale * low
    out: list[Mark] = []
    for m in picture.marks:
        if isinstance(m, Words):
            high_mm = max(scale * m.height_mm, 1.6)
            out.append(Words(m.text, scale * m.at + by, high_mm, m.angle_deg, m.anchor))
        elif isinstance(m, Fill):
            out.append(Fill(m.style, scale * m.points + by))
        else:
            out.append(Stroke(m.style, scale * m.points + by, m.closed))
    size = scale * span + 2.0
    return out, float(size[0]), float(size[1])


LARGEST = 0.25  # small pieces are shown no larger than a quarter of their size
THIN = Style("thin", "outline", 0.25)
DASHED = Style("dashed", "sew line", 0.15, (1.2, 0.8))
BOLD = Style("bold", "the seam of this step", 0.9)


def csv_text(blocks: Sequence[Block]) -> str:
    """All tables of the guide one under the other, for a spreadsheet; RFC 4180, decimal points."""
    lines: list[str] = []
    for table in (b for b in blocks if isinstance(b, Table)):
        lines += [_row([table.name]), _row(table.head), *(_row(r) for r in table.rows), ""]
    return "\r\n".join(lines)


def _row(cells: Sequence[str]) -> str:
    """One line; cells that a spreadsheet would take for a formula get a quote before them."""
    out = []
    for cell in cells:
        text = f"'{cell}" if cell[:1] in "=@+" or (cell[:1] == "-" and not _number(cell)) else cell
        out.append('"' + text.replace('"', '""') + '"' if set(text) & set(',"\r\n') else text)
    return ",".join(out)


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
