"""The guide as HTML, PDF and CSV, read back by lxml, pypdfium2 and the csv module; pictures to agree on."""

from __future__ import annotations

import csv
import io
import json
import struct

import numpy as np
import pypdfium2 as pdfium
import pytest
from lxml import etree
from matplotlib.image import imread

from padlib.lay.pack import lay_pieces
from padlib.output.blocks import (
    Heading,
    Note,
    Picture,
    Pictures,
    Steps,
    Table,
    Text,
    csv_text,
    shown,
)
from padlib.output.blocks_html import html_page
from padlib.output.blocks_pdf import pdf_pages
from padlib.output.drawing import SEW, Stroke, Words
from padlib.output.guide_pictures import lay_picture, piece_picture, step_pictures
from padlib.output.portrait import glb_bytes, sheet_picture, suit_picture

ODD = "“fur” & <pile>, 5 < 6"


@pytest.fixture(scope="module")
def blocks(pieces):
    """A block of every kind, with odd characters."""
    step = step_pictures(("left side", "dart"), pieces)
    return (
        Heading(ODD, 1),
        Text("plain words"),
        Note("caution", "keep from fire", "Fire", "16 CFR 1610"),
        Table("To buy", ("what", "m"), (("=cmd()", "1.5"), (ODD, "-2"), ("-rm", "3")), (1,)),
        Steps(("sew the left side", "hem it"), (step, ())),
        Pictures(tuple(piece_picture(p) for p in pieces)),
    )


def test_page_is_well_formed_and_whole(blocks):
    """lxml reads each SVG; all words are there; nothing is fetched, no script runs."""
    page = html_page(blocks, ODD)
    root = etree.HTML(page)
    text = " ".join(root.itertext())
    for words in (
        ODD,
        "plain words",
        "keep from fire",
        "16 CFR 1610",
        "sew the left side",
        "hem it",
    ):
        assert words in text
    assert "http" not in page
    assert root.findall(".//script") == []
    assert len(root.findall(".//svg")) == len(blocks[4].pictures[0]) + len(blocks[5].pictures)
    assert [c.text for c in root.findall(".//td")] == ["=cmd()", "1.5", ODD, "-2", "-rm", "3"]


def test_pdf_says_the_same(blocks):
    """pypdfium2 finds every word, on A4 pages; bytes repeat."""
    data = pdf_pages(blocks, ODD)
    document = pdfium.PdfDocument(data)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    for words in (ODD, "plain words", "keep from fire", "sew the left side", "hem it", "=cmd()"):
        assert words in text.replace("\r\n", " ")
    assert document[0].get_size() == pytest.approx((595.28, 841.89), abs=0.05)
    assert data == pdf_pages(blocks, ODD)


def test_csv_is_the_tables(blocks):
    """The csv module reads rows back; what a spreadsheet would run is only text."""
    rows = list(csv.reader(io.StringIO(csv_text(blocks), newline="")))
    assert rows[:5] == [["To buy"], ["what", "m"], ["'=cmd()", "1.5"], [ODD, "-2"], ["'-rm", "3"]]


def test_step_shows_both_sides_of_its_seam(by_hand, pieces):
    """The side seam is bold on front and back, each as long as it is; other pieces are left out."""
    front, back = step_pictures(("left side",), pieces[:3])
    assert [p.caption for p in (front, back)] == [
        ("1 front", "left side 600 mm"),
        ("2 back", "left side 600 mm"),
    ]
    for picture in (front, back):
        bold = [m for m in picture.marks if isinstance(m, Stroke) and m.style.name == "bold"]
        length = sum(np.hypot(*np.diff(m.points, axis=0).T).sum() for m in bold)
        assert length == pytest.approx(600.0, abs=1.0)


def test_pictures_fit_their_room(pieces):
    """Shown, nothing reaches out of a picture; small pieces are not shown larger than large ones."""
    for piece in pieces:
        marks, width, height = shown(piece_picture(piece))
        assert width <= 42.0 + 1e-9
        assert height <= 62.0 + 1e-9
        points = np.concatenate([m.points for m in marks if not isinstance(m, Words)])
        assert points.min() > 0
        assert np.all(points.max(axis=0) < [width, height])
    tiny = Picture((Stroke(SEW, np.array([[0.0, 0.0], [40.0, 20.0]])),), ("x",))
    assert shown(tiny)[1] == pytest.approx(12.0)


def test_lay_picture_keeps_areas(pieces):
    """Every placed copy is drawn, as large as its piece."""
    lay = lay_pieces(pieces, cloth="fur", width_mm=1500, seconds=0)
    marks = [m for m in lay_picture(lay, pieces).marks if isinstance(m, Stroke)]
    area = sum(abs(_area(m.points)) for m in marks[1:]) / 100
    assert area == pytest.approx(sum(p.count * p.area_cm2 for p in pieces), rel=2e-3)


def _area(ring):
    x, y = ring.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def test_glb_is_the_suit_in_metres(by_hand):
    """Read by hand after glTF 2.0: Y up, facing +Z, the tube's size in metres, a colour each panel."""
    panels = [f.panel for f in by_hand.tube()]
    data = glb_bytes(panels, {"front": (0.2, 0.4, 0.6), "back": (1.0, 0.5, 0.0)})
    magic, version, length = struct.unpack("<4sII", data[:12])
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack("<I4s", data[12:20])
    assert kind == b"JSON"
    told = json.loads(data[20 : 20 + size])
    assert {m["name"] for m in told["materials"]} == {"front", "back"}
    boxes = {}
    for mesh in told["meshes"]:
        accessor = told["accessors"][mesh["primitives"][0]["attributes"]["POSITION"]]
        boxes[mesh["name"]] = np.array([accessor["min"], accessor["max"]])
    # the wearer faces -Y, which is +Z there; height 900 to 1500 mm is Y
    assert boxes["front"][1] == pytest.approx([0.15, 1.5, 0.15], abs=1e-6)
    assert boxes["front"][0] == pytest.approx([-0.15, 0.9, 0.0], abs=1e-6)
    colour = next(m for m in told["materials"] if m["name"] == "front")["pbrMetallicRoughness"]
    assert colour["baseColorFactor"][:3] == pytest.approx([0.2, 0.4, 0.6], abs=0.003)
    assert data == glb_bytes(panels, {"front": (0.2, 0.4, 0.6), "back": (1.0, 0.5, 0.0)})


def test_suit_picture_has_its_colours(by_hand):
    """From the front the tube is blue, from the back orange; each view has its own half."""
    panels = [f.panel for f in by_hand.tube()]
    tones = {"front": (0.1, 0.2, 0.9), "back": (0.9, 0.4, 0.1)}
    picture = imread(io.BytesIO(suit_picture(panels, tones, height=200)))
    wide = picture.shape[1] // 4
    for view, more, less in ((0, 2, 0), (2, 0, 2)):
        part = picture[:, view * wide : (view + 1) * wide, :3]
        painted = part[part.sum(axis=2) < 2.5]
        painted = painted[painted.max(axis=1) > 0.2]
        assert painted[:, more].mean() > 1.5 * painted[:, less].mean()


def test_picture_of_all_pieces(sheet):
    """As large as the sheet at 0.9 pixels a millimetre; every piece leaves ink within its outline."""
    picture = imread(io.BytesIO(sheet_picture(sheet)))[..., 0]
    assert picture.shape == pytest.approx((0.9 * sheet.height_mm, 0.9 * sheet.width_mm), abs=2)
    for part in sheet.parts:
        if part.kind == "piece":
            (x0, y0), (x1, y1) = 0.9 * part.outline.min(axis=0), 0.9 * part.outline.max(axis=0)
            crop = picture[
                int(picture.shape[0] - y1) : int(picture.shape[0] - y0), int(x0) : int(x1)
            ]
            assert (crop < 0.5).sum() > 2 * (x1 - x0)
