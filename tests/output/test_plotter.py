"""Plotter and projector files read back: by ezdxf's HPGL interpreter and by pypdfium2."""

from __future__ import annotations

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely
from ezdxf.addons.hpgl2 import api

from padlib.errors import SuitError
from padlib.output.drawing import CUT, STYLES, Stroke
from padlib.output.pdf import write_projector_pdf
from padlib.output.plotter import plotter_bytes
from padlib.output.projector import LEAST_MM, projected
from padlib.suit.file import parse_suit

MM = 72.0 / 25.4
UNIT = 40.0  # plotter units in a millimetre


@pytest.fixture(scope="module")
def plotted(sheet):
    """The polylines of the plotter file by pen colour, mm."""
    document = api.to_dxf(plotter_bytes(sheet))
    lines: dict[int, list[np.ndarray]] = {}
    for e in document.modelspace():
        if e.dxftype() == "POLYLINE":
            points = np.array([v.dxf.location for v in e.vertices])[:, :2]
        elif e.dxftype() == "LWPOLYLINE":
            points = np.array(e.get_points("xy"))
        elif e.dxftype() == "LINE":
            points = np.array([e.dxf.start, e.dxf.end])[:, :2]
        else:
            continue
        lines.setdefault(e.dxf.layer, []).append(points / UNIT)
    return lines


def test_plotter_cut_lines_have_their_area_and_place(plotted, sheet):
    """Each cut line is there, its area within 1e-5 and each point within 0.01 mm of the sheet's."""
    wanted = [
        m.points
        for p in sheet.parts
        for m in p.marks
        if isinstance(m, Stroke) and m.style == CUT and m.closed
    ]
    every = [line for lines in plotted.values() for line in lines]
    for ring in wanted:
        low = ring.min(axis=0)
        near = [
            line
            for line in every
            if len(line) >= len(ring) and np.abs(line.min(axis=0) - low).max() < 0.02
        ]
        found = min(
            near, key=lambda line: abs(shapely.Polygon(line).area - shapely.Polygon(ring).area)
        )
        area = shapely.Polygon(ring).area
        assert shapely.Polygon(found).area == pytest.approx(area, rel=1e-5)
        off = shapely.distance(shapely.points(found), shapely.LinearRing(ring))
        assert off.max() < 0.01


def test_plotter_cuts_with_a_pen_of_its_own(plotted, sheet):
    """One pen for the cut lines, one for all else; the number of cut lines is that of the sheet."""
    cuts = sum(isinstance(m, Stroke) and m.style == CUT for p in sheet.parts for m in p.marks)
    assert len(plotted) == 2
    assert min(len(lines) for lines in plotted.values()) == cuts


def test_plotter_file_is_the_same_every_time(sheet):
    """No date, no chance in it."""
    assert plotter_bytes(sheet) == plotter_bytes(sheet)


def test_projector_page(sheet, tmp_path):
    """One page of the sheet's size; crosses stand 100.0 mm apart, to 0.1 mm."""
    write_projector_pdf(tmp_path / "p.pdf", sheet)
    document = pdfium.PdfDocument(tmp_path / "p.pdf")
    assert len(document) == 1
    page = document[0]
    assert page.get_size() == pytest.approx((sheet.width_mm * MM, sheet.height_mm * MM), abs=0.03)
    thick = projected(sheet)
    assert all(
        m.style.width_mm >= LEAST_MM for p in thick.parts for m in p.marks if isinstance(m, Stroke)
    )
    # a row of crosses is found by the middles of their upright strokes, beside all pieces
    grid = next(p for p in thick.parts if p.name == "grid")
    assert len([m for m in grid.marks if isinstance(m, Stroke)]) == 2 * (
        int((sheet.width_mm - 1e-9) // 100) * int((sheet.height_mm - 1e-9) // 100)
    )
    pieces = shapely.union_all([shapely.Polygon(p.outline).buffer(12) for p in sheet.parts])
    uprights = [
        m.points for m in grid.marks if isinstance(m, Stroke) and np.ptp(m.points[:, 0]) == 0
    ]
    free = [u[0, 0] + 1j * u[:, 1].mean() for u in uprights]
    free = [z for z in free if not pieces.intersects(shapely.Point(z.real, z.imag))]
    px = 300 / 25.4
    for z in free[:3]:
        crop = (
            (z.real - 6) * MM,
            (z.imag + 1.5) * MM,
            (sheet.width_mm - z.real - 6) * MM,
            (sheet.height_mm - z.imag - 3.5) * MM,
        )
        grey = page.render(scale=300 / 72, crop=crop).to_numpy()[..., :3].mean(axis=2)
        dark = np.flatnonzero((grey < 128).mean(axis=0) > 0.8)
        assert dark.mean() / px + z.real - 6 == pytest.approx(z.real, abs=0.1)
        assert len(dark) / px == pytest.approx(LEAST_MM, abs=0.2)


def test_kinds_of_line_differ_without_colour():
    """No two kinds that may stand in a piece have the same dashes and nearly the same width."""
    inside = [s for s in STYLES if s.name not in ("frame", "guide")]
    for i, one in enumerate(inside):
        for two in inside[i + 1 :]:
            assert one.dashes != two.dashes or max(one.width_mm, two.width_mm) > 1.2 * min(
                one.width_mm, two.width_mm
            )


def test_also_in_a_suit_file():
    """[paper] also names what there is; a wrong name is told with its line."""
    assert parse_suit('[paper]\nalso = ["a3", "projector"]').paper["also"] == ("a3", "projector")
    with pytest.raises(SuitError, match="line 2: 'also' cannot hold 'a9'; did you mean"):
        parse_suit('[paper]\nalso = ["a9"]')
