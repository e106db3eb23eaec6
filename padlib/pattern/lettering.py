"""Lettering: how wide words are in the one font that every sheet uses.

The font is DejaVu Sans, which comes with matplotlib under a free licence; PDF files embed it, so
that what is measured here is what is printed. Heights are those of capital letters.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib
from reportlab.pdfbase.ttfonts import TTFont

FONT = "DejaVuSans"
CAPITAL = 0.729  # height of a capital letter in ems (OS/2 table of the font: 1493 of 2048 units)
DESCENT = 0.33  # below the base line, in capital heights (g, p, q, y and brackets)
LEADING = 1.75  # from base line to base line, in capital heights


@lru_cache(maxsize=1)
def font() -> TTFont:
    """The font, read once."""
    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"{FONT}.ttf"
    return TTFont(FONT, str(path))


def width_mm(words: str, height_mm: float) -> float:
    """Width in mm of words whose capitals are height_mm high."""
    return float(font().stringWidth(words, height_mm / CAPITAL))


def missing(words: str) -> str:
    """The characters of words, sorted, that the font has no picture for."""
    known = font().face.charToGlyph
    return "".join(sorted({c for c in words if ord(c) not in known and not c.isspace()}))


def clean(words: str) -> str:
    """Words on one line: control characters and runs of blanks become one blank."""
    plain = "".join(c if c.isprintable() else " " for c in str(words))
    return " ".join(plain.split())
