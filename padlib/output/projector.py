"""A sheet to be thrown onto cloth by a projector: one page, thick lines, a grid to set the scale by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from padlib.output.drawing import PLACE, Drawing, Mark, Part, Stroke, Style, Words, box

THICKER = 3.0  # times as wide as on paper
LEAST_MM = 1.2  # thinner lines are lost in the weave
GRID_MM = 100.0
CROSS_MM = 8.0
CROSS = replace(PLACE, width_mm=LEAST_MM)


def projected(drawing: Drawing) -> Drawing:
    """The drawing with thick lines, over a grid of crosses every 100 mm."""
    parts = [replace(p, marks=tuple(_thick(m) for m in p.marks)) for p in drawing.parts]
    return replace(drawing, parts=(_grid(drawing), *parts))


def _thick(mark: Mark) -> Mark:
    """A mark with a thicker line; fills and words stay."""
    if not isinstance(mark, Stroke):
        return mark
    own = mark.style
    style = Style(
        own.name,
        own.words,
        max(LEAST_MM, THICKER * own.width_mm),
        tuple(1.5 * d for d in own.dashes),
    )
    return replace(mark, style=style)


def _grid(drawing: Drawing) -> Part:
    """Crosses every 100 mm with their distance from the corner every 500 mm."""
    marks: list[Mark] = []
    for x in np.arange(GRID_MM, drawing.width_mm, GRID_MM):
        for y in np.arange(GRID_MM, drawing.height_mm, GRID_MM):
            half = CROSS_MM / 2
            marks.append(Stroke(CROSS, np.array([[x - half, y], [x + half, y]])))
            marks.append(Stroke(CROSS, np.array([[x, y - half], [x, y + half]])))
            if x % 500 == 0 and y % 500 == 0:
                marks.append(Words(f"{x:.0f}, {y:.0f} mm", np.array([x + 2.0, y + 2.0]), 4.0))
    frame = box(0.0, 0.0, drawing.width_mm, drawing.height_mm)
    return Part("grid", "sheet", tuple(marks), frame)
