"""Drawings as values: measured, moved, mirrored, before any file format."""

import numpy as np
import pytest
import shapely

from padlib.output.drawing import (
    CUT,
    STYLES,
    Fill,
    Part,
    Stroke,
    Words,
    bbox,
    box,
    mirrored,
    moved,
    notch_depth,
    notch_lines,
    piece_part,
)
from padlib.output.sheet import pattern_sheet, place
from padlib.pattern.lettering import width_mm


def test_bbox_holds_turned_words():
    """Words turned by 90 degrees reach up by their width and left by their height."""
    (x0, y0), (x1, y1) = bbox([Words("Hem", np.array([5.0, 7.0]), 10.0, 90.0)])
    assert y1 - y0 == pytest.approx(width_mm("Hem", 10.0))
    assert x0 == pytest.approx(-5.0)
    assert x1 > 5.0
    assert y0 == pytest.approx(7.0)


def test_capital_height():
    """A word's height is that of its capitals: 10 mm letters are set at 10 / 0.729 mm (DejaVu Sans)."""
    assert width_mm("M", 10.0) == pytest.approx(0.863 * 10 / 0.729, rel=1e-3)


def test_moving_and_mirroring_back_is_nothing(pieces):
    """A part moved there and back, and mirrored twice, is as it was."""
    part = piece_part(pieces[0])
    back = moved(mirrored(mirrored(moved(part, (30.0, -4.0)))), (-30.0, 4.0))
    for one, other in zip(part.marks, back.marks, strict=True):
        if isinstance(one, Words):
            assert other.at == pytest.approx(one.at)
            assert (other.angle_deg, other.anchor) == (one.angle_deg, one.anchor)
        else:
            assert other.points == pytest.approx(one.points)


def test_marks_cannot_be_changed(pieces):
    """A drawing's arrays are read-only, also those that came from a piece."""
    part = piece_part(pieces[0])
    with pytest.raises(ValueError, match="read-only"):
        part.marks[0].points[0, 0] = 1.0


def test_styles_differ_without_colour():
    """No two kinds of line share both width and dashes, and lines to cut and to sew differ in dashes."""
    seen = {(s.width_mm, s.dashes) for s in STYLES}
    assert len(seen) == len(STYLES)
    assert len({s.dashes for s in STYLES if s.name in ("cut", "sew", "dart")}) == 3


def test_notches_are_no_deeper_than_half_the_allowance(pieces):
    """A notch of a 10 mm allowance is 5 mm deep and starts on the cut line; double ones stand 5 mm apart."""
    for piece in pieces:
        ring = shapely.LinearRing(piece.cut_line)
        for notch in piece.notches:
            assert notch_depth(notch) <= 0.5 * notch.allowance_mm
            lines = notch_lines(notch)
            assert len(lines) == notch.count
            for line in lines:
                # beside the middle of a double notch the cut line has curved away a little
                assert ring.distance(shapely.Point(line[0])) < 0.1


def test_pieces_on_the_sheet_do_not_touch(sheet):
    """All parts lie on the sheet, at least the gap apart."""
    areas = [shapely.Polygon(p.outline) for p in sheet.parts]
    whole = shapely.box(0, 0, sheet.width_mm, sheet.height_mm)
    assert all(whole.contains(a) for a in areas)
    for i, a in enumerate(areas):
        for b in areas[i + 1 :]:
            assert a.distance(b) >= 6.0 - 1e-6


def test_pieces_are_not_turned(pieces, sheet):
    """A piece on the sheet is the piece moved, nothing else."""
    placed = {p.name: p for p in sheet.parts}
    for piece in pieces:
        off = placed[f"{piece.number} {piece.name}"].outline - piece.cut_line
        assert np.ptp(off, axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_placing_fills_hollows():
    """A small piece goes into the hollow of a large one instead of behind it."""
    cup = np.array(
        [[0, 0], [400, 0], [400, 300], [320, 300], [320, 80], [80, 80], [80, 300], [0, 300]],
        dtype=float,
    )
    small = box(0.0, 0.0, 120.0, 100.0)
    _, length = place([cup, small], 410.0, 6.0)
    assert length == pytest.approx(300.0, abs=8.0)


def test_random_pieces_do_not_overlap():
    """On 20 random sheets no two outlines are nearer than the gap."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        turn = np.linspace(0, 2 * np.pi, 40)[:-1]
        lines = []
        for _ in range(12):
            r = rng.uniform(40, 160) * (
                1 + 0.4 * np.cos(rng.integers(2, 5) * turn + rng.uniform(0, 6))
            )
            lines.append(
                np.column_stack([r * np.cos(turn), rng.uniform(0.5, 2) * r * np.sin(turn)])
            )
        at, _ = place(lines, 900.0, 8.0)
        put = [
            shapely.Polygon((line - [line[:, 0].min(), line[:, 1].max()]) + [x, -y])
            for line, (x, y) in zip(lines, at, strict=True)
        ]
        assert min(a.distance(b) for i, a in enumerate(put) for b in put[i + 1 :]) >= 8.0 - 1e-6


def test_wide_piece_widens_the_sheet(pieces):
    """A piece wider than the roll widens the sheet, and the drawing says so."""
    drawing = pattern_sheet(pieces, title="narrow", width_mm=300.0)
    assert drawing.width_mm > 480.0
    assert [f.number for f in drawing.findings] == [902]


def test_a_part_of_fills_is_measured():
    """Fills count for a part's reach like strokes."""
    part = Part(
        "x", "sheet", (Fill(CUT, box(0, 0, 1, 1)), Stroke(CUT, box(2, 2, 3, 3))), box(0, 0, 5, 5)
    )
    assert bbox(part.marks).tolist() == [[0, 0], [5, 5]]
