"""Words as outlines, in the font of every sheet, for writers that know no text."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from padlib.output.drawing import Line, Words
from padlib.pattern.lettering import CAPITAL, FONT, clean


@lru_cache(maxsize=1)
def _face() -> FontProperties:
    """The font by its file, so that it is not looked for again for each word."""
    return FontProperties(fname=Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"{FONT}.ttf")


@lru_cache(maxsize=4096)
def _outlines(text: str) -> tuple[Line, ...]:
    """Closed outlines (k, 2) of words whose capitals are 1 mm high, from (0, 0) to the right."""
    path = TextPath((0, 0), text, size=1.0 / CAPITAL, prop=_face())
    return tuple(p for p in path.to_polygons(closed_only=False) if len(p) > 1)


def letter_lines(words: Words) -> list[Line]:
    """Closed outlines (k, 2) of words where they stand, mm."""
    lines = _outlines(clean(words.text))
    wide = max((float(line[:, 0].max()) for line in lines), default=0.0)
    start = {"start": 0.0, "middle": -0.5 * wide, "end": -wide}[words.anchor]
    turn = np.radians(words.angle_deg)
    way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return [words.at + words.height_mm * (line + [start, 0.0]) @ way for line in lines]
