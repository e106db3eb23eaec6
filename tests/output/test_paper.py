"""Page arithmetic and furniture, without any file format."""

import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.output.drawing import Words, bbox
from padlib.output.paper import PAPERS, Grid, Margins, page_name, paper, tile_count
from padlib.output.sheet import pattern_sheet
from padlib.output.tile import tile
from padlib.pattern import make_pieces


def test_paper_sizes():
    """A sizes halve each other (ISO 216); Letter and Tabloid are 8.5 x 11 and 11 x 17 inch."""
    a4, a3, a0 = PAPERS["a4"], PAPERS["a3"], PAPERS["a0"]
    assert (a3.width_mm, a3.height_mm) == (a4.height_mm, 2 * a4.width_mm)
    assert a0.width_mm * a0.height_mm == pytest.approx(1e6, rel=1e-3)
    assert PAPERS["letter"].width_mm == pytest.approx(8.5 * 25.4)
    assert PAPERS["letter"].height_mm == pytest.approx(11 * 25.4)
    assert PAPERS["tabloid"].height_mm == pytest.approx(17 * 25.4)


def test_tile_count():
    """A 600 x 900 mm sheet on A4 with 10 mm margins and overlaps takes 4 x 4 pages (VALUES 4.9)."""
    assert tile_count(600.0, 190.0, 10.0) == 4
    assert tile_count(900.0, 277.0, 10.0) == 4
    assert tile_count(190.0, 190.0, 10.0) == 1
    assert tile_count(190.1, 190.0, 10.0) == 2


def test_page_names():
    """Rows are lettered, columns numbered."""
    assert page_name(0, 0) == "A1"
    assert page_name(1, 2) == "B3"
    assert page_name(25, 9) == "Z10"
    assert page_name(26, 0) == "AA1"


def test_windows_overlap_by_the_overlap():
    """Neighbouring windows share a strip, and their own areas tile the sheet without gap."""
    grid = Grid(0.0, 1000.0, 190.0, 270.0, 10.0, 4, 4)
    a, right, below = (shapely.box(*grid.window(*c).ravel()) for c in ((1, 1), (1, 2), (2, 1)))
    assert a.intersection(right).area == pytest.approx(10 * 270)
    assert a.intersection(below).area == pytest.approx(10 * 190)
    own = [shapely.box(*grid.own(r, c).ravel()) for r in range(4) for c in range(4)]
    assert shapely.union_all(own).area == pytest.approx(16 * 180 * 260)


def test_unknown_paper():
    """An unknown paper is refused, and the known ones are named."""
    with pytest.raises(InputError, match="no paper named 'A9'; take one of A4, Letter"):
        paper("A9")


@pytest.mark.parametrize("name", ["A4", "Letter", "A3", "Tabloid", "A0"])
def test_every_bit_of_every_piece_is_on_a_page(sheet, name):
    """The windows cover all pieces, no page is without a piece, and names say where each is."""
    pages = [p for p in tile(sheet, paper(name)) if p.window is not None]
    covered = shapely.union_all([shapely.box(*p.window.ravel()) for p in pages])
    for part in sheet.parts:
        if part.kind == "piece":
            area = shapely.Polygon(part.outline)
            assert covered.buffer(1e-6).contains(area)
            for page in pages:
                meets = area.intersection(shapely.box(*page.window.ravel())).area
                assert part.name in page.pieces or meets < area.area
    for page in pages:
        window = shapely.box(*page.window.ravel())
        assert page.pieces
        assert any(
            shapely.Polygon(p.outline).buffer(1).intersects(window)
            for p in sheet.parts
            if p.name in page.pieces
        )
    assert len({p.name for p in pages}) == len(pages)


@pytest.mark.parametrize("name", ["A4", "Letter", "A3", "Tabloid"])
def test_no_fewer_pages_than_area_and_not_many_more(sheet, name):
    """The page count lies between the pieces' area over a page's own and twice that and a few."""
    pages = [p for p in tile(sheet, paper(name)) if p.window is not None]
    area = sum(shapely.Polygon(p.outline).area for p in sheet.parts if p.kind == "piece")
    (x0, y0), (x1, y1) = pages[0].window
    own = (x1 - x0 - 10) * (y1 - y0 - 10)
    assert area / own <= len(pages) <= 2.0 * area / own + 8


@pytest.mark.parametrize("name", ["A4", "Letter", "A3", "Tabloid", "A0"])
def test_marks_stay_on_the_paper(sheet, name):
    """Nothing is printed nearer than 3 mm to the edge of the paper, and no word lies over another."""
    for page in tile(sheet, paper(name)):
        (x0, y0), (x1, y1) = bbox(page.marks)
        assert x0 >= 3.0
        assert y0 >= 3.0
        assert x1 <= page.width_mm - 3.0
        assert y1 <= page.height_mm - 3.0
        if page.name == "map":  # page names and piece numbers may share a cell of the small map
            continue
        boxes = [shapely.box(*bbox([m]).ravel()) for m in page.marks if isinstance(m, Words)]
        for i, a in enumerate(boxes):
            assert not any(a.intersection(b).area > 0.01 for b in boxes[i + 1 :])


def test_map_lists_every_page_of_a_piece(sheet):
    """The list of pieces names every page that shows any of it."""
    pages = tile(sheet, paper("A4"))
    lists = [
        m.text for p in pages if p.name.startswith("list") for m in p.marks if isinstance(m, Words)
    ]
    said = " ".join(lists).split()
    for page in pages:
        if page.window is not None:
            assert said.count(page.name) == len(page.pieces)


def test_margins_are_kept(sheet):
    """The window of each page fits the paper less its margins exactly."""
    margins = Margins(left=15.0, right=12.0, top=11.0, bottom=18.0)
    page = next(p for p in tile(sheet, paper("A4"), margins=margins) if p.window is not None)
    size = page.window[1] - page.window[0]
    assert size == pytest.approx(np.array([page.width_mm - 27.0, page.height_mm - 29.0]))
    assert page.at == (15.0, 18.0)


def test_long_sheet_has_a_map_page_of_its_own(by_hand):
    """On a long sheet the map fills a page of its own and the first page lists the pieces."""
    pieces = make_pieces(by_hand.tube(height=2600.0), cloth="fur")
    long = pattern_sheet(pieces, title="long", width_mm=600.0)
    pages = tile(long, paper("A4"))
    assert [p.name for p in pages[:3]] == ["start", "map", "A1"]
    said = " ".join(m.text for m in pages[0].marks if isinstance(m, Words)).split()
    for page in pages[2:]:
        assert said.count(page.name) == len(page.pieces)
