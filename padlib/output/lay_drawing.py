"""A lay as a drawing: the cloth, the pieces on it with their numbers, the way of the pile."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import Polygon
from shapely.ops import polylabel

from padlib.lay.lay import Lay, Placement, placed_outline
from padlib.output.drawing import (
    CUT,
    FRAME,
    TRIM,
    Drawing,
    Line,
    Part,
    Stroke,
    Words,
    arrow,
    box,
)
from padlib.pattern.piece import Piece

WAYS = {
    "one-way": "the pile runs the way of the arrow",
    "two-way": "the cloth looks the same turned end for end",
    "none": "the cloth has no pile",
}
EDGE = 60.0  # mm round the cloth


def lay_drawing(lay: Lay, pieces: Sequence[Piece]) -> Drawing:
    """The lay at true scale in mm as seen from the back of the cloth, y along it, pile toward the lower end."""
    by_number = {p.number: p for p in pieces}
    parts = [_cloth(lay)]
    parts += [_placed(by_number[p.number], p, k) for k, p in enumerate(lay.placements)]
    title = f"lay of {lay.cloth}"
    return Drawing(tuple(parts), lay.width_mm + 2 * EDGE, lay.length_mm + 2 * EDGE, title)


def _cloth(lay: Lay) -> Part:
    frame = box(EDGE, EDGE, lay.width_mm, lay.length_mm)
    words = (
        f"{lay.cloth}: {lay.width_mm:.0f} mm wide, {lay.length_mm / 1000:.2f} m long, "
        f"{lay.used_percent:.0f} % used; {WAYS[lay.pile]}; "
        "seen from the back: pieces lie face down, but where they say face up"
    )
    right = EDGE + lay.width_mm + 0.5 * EDGE
    shaft = np.array([[right, EDGE + lay.length_mm], [right, EDGE]])
    marks = (
        Stroke(FRAME, frame, closed=True),
        *(Stroke(TRIM, box(x + EDGE, y + EDGE, w, h), closed=True) for x, y, w, h in lay.avoid),
        Words(words, np.array([EDGE, EDGE + lay.length_mm + 15.0]), 16.0),
        *arrow(shaft, word="pile"),
    )
    return Part("cloth", "sheet", marks, frame)


def _placed(piece: Piece, place: Placement, copy: int) -> Part:
    line: Line = placed_outline(piece, place) + EDGE
    shape = Polygon(line)
    centre = polylabel(shape, tolerance=5.0)
    words = f"{piece.number} {piece.name}" + ("" if place.mirrored else " (face up)")
    room = shape.exterior.distance(centre)
    size = float(np.clip(2.4 * room / len(words), 5.0, 20.0))
    marks = (
        Stroke(CUT, line, closed=True),
        Words(words, np.array([centre.x, centre.y]), size, anchor="middle"),
    )
    return Part(f"{piece.number}-{copy}", "piece", marks, line)
