"""Small pictures for the guide: a piece, the pieces of a step with their seam marked, a lay."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from padlib.lay.lay import Lay, placed_outline
from padlib.output.blocks import BOLD, DASHED, THIN, Picture
from padlib.output.drawing import DART, PILE, Fill, Line, Mark, Stroke, Words, box
from padlib.pattern.piece import Piece

SAG_MM = 0.8  # of a picture's lines, at true size
NUMBER = 0.05  # height of a piece's number in its picture, of the piece's larger side
MOST = 60  # pieces shown in a step


def plain(line: Line, *, closed: bool = True) -> Line:
    """A line with fewer points, for a picture a twentieth of its size."""
    shape = shapely.LinearRing(line) if closed else shapely.LineString(line)
    points = shapely.get_coordinates(shapely.simplify(shape, SAG_MM))
    return points[:-1] if closed else points


def piece_marks(piece: Piece, seams: Sequence[str] = ()) -> list[Mark]:
    """A piece in outline, its darts and pile, with the edges of some seams drawn bold."""
    marks: list[Mark] = [
        Stroke(THIN, plain(piece.cut_line), closed=True),
        Stroke(DASHED, plain(piece.sew_line), closed=True),
    ]
    dart_style = BOLD if "dart" in seams else DART
    marks += [Stroke(dart_style, plain(d, closed=False)) for d in piece.darts]
    marks += [Stroke(THIN, plain(i.points, closed=False)) for i in piece.inner]
    marks += [Stroke(BOLD, plain(run, closed=False)) for seam, run in piece.edges if seam in seams]
    shaft = np.asarray(piece.pile)
    way = (shaft[1] - shaft[0]) / max(float(np.hypot(*(shaft[1] - shaft[0]))), 1e-9)
    aside, size = np.array([-way[1], way[0]]), 0.25 * float(np.hypot(*(shaft[1] - shaft[0])))
    tip = np.array([shaft[1], shaft[1] - size * way + 0.3 * size * aside])
    marks += [
        Stroke(PILE, shaft),
        Fill(PILE, np.array([*tip, shaft[1] - size * (way + 0.3 * aside)])),
    ]
    spot = np.asarray(
        shapely.maximum_inscribed_circle(shapely.Polygon(piece.sew_line).buffer(0)).coords
    )[0]
    tall = NUMBER * float(np.ptp(piece.cut_line, axis=0).max())
    marks.append(Words(f"{piece.number}", spot + [0.4 * tall, 0.0], tall))
    return marks


def piece_picture(piece: Piece) -> Picture:
    """A piece with what is printed on it."""
    return Picture(
        tuple(piece_marks(piece)),
        (f"{piece.number} {piece.name}", "; ".join(piece.labels[1:])),
        label=piece.name,
    )


def step_pictures(
    seams: Sequence[str],
    pieces: Sequence[Piece],
    parts: Sequence[str] = (),
) -> tuple[Picture, ...]:
    """The pieces that a step sews, the seam bold in each, with its length on it; then those of parts, by name."""
    out = []
    for piece in pieces:
        own = [s for s in dict.fromkeys(seam for seam, _ in piece.edges) if s in seams]
        if piece.kind != "panel" or not (own or ("dart" in seams and piece.darts)):
            continue
        long = {s: sum(_long(run) for seam, run in piece.edges if seam == s) for s in own}
        words = ", ".join(f"{s} {mm:.0f} mm" for s, mm in long.items()) or "darts"
        marks = tuple(piece_marks(piece, (*own, *(("dart",) if "dart" in seams else ()))))
        out.append(Picture(marks, (f"{piece.number} {piece.name}", words), 30.0, 40.0, piece.name))
    own = [p for p in pieces if p.kind == "part" and p.name in parts]
    made = [
        Picture(
            tuple(piece_marks(p)),
            (f"{p.number} {p.name}", "; ".join(p.labels[1:2])),
            30.0,
            40.0,
            p.name,
        )
        for p in own[:MOST]
    ]
    return (*out[:MOST], *made)


def _long(run: Line) -> float:
    """Length of a line, mm."""
    return float(np.hypot(*np.diff(run, axis=0).T).sum())


def lay_picture(lay: Lay, pieces: Sequence[Piece]) -> Picture:
    """A lay, lying on its side where it is long: cloth runs from left (pile's end) to right."""
    by_number = {p.number: p for p in pieces}
    marks: list[Mark] = [Stroke(THIN, box(0.0, 0.0, lay.length_mm, lay.width_mm), closed=True)]
    for place in lay.placements:
        line = placed_outline(by_number[place.number], place)
        line = np.column_stack([line[:, 1], lay.width_mm - line[:, 0]])
        ring = plain(line)
        marks.append(Stroke(THIN, ring, closed=True))
        spot = np.asarray(shapely.maximum_inscribed_circle(shapely.Polygon(ring).buffer(0)).coords)[
            0
        ]
        text = f"{place.number}{'' if place.mirrored else ' up'}"
        marks.append(Words(text, spot - [0.0, 12.0], 30.0, anchor="middle"))
    marks += [
        Stroke(DASHED, box(y, lay.width_mm - x - w, h, w), closed=True) for x, y, w, h in lay.avoid
    ]
    caption = (
        f"{lay.cloth}: {lay.width_mm:.0f} mm wide, {lay.length_mm / 1000:.2f} m long",
        "seen from the back; "
        + ("the pile runs to the left; " if lay.pile == "one-way" else "")
        + "pieces lie face down, those marked up face up",
    )
    return Picture(tuple(marks), caption, 165.0, 95.0, f"lay of {lay.cloth}")
