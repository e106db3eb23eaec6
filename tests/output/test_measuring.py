"""The measuring sheet, read back with another PDF reader, and the views that it is drawn in."""

from __future__ import annotations

from pathlib import Path

import igl
import numpy as np
import pypdfium2
import pytest

from padlib.body import Body, measure, with_landmarks
from padlib.body.sheet import BEFORE, CARE, LINES
from padlib.errors import InputError
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.output.measuring import write_measuring_sheet
from padlib.output.tape_view import tape_view

CHILD = Path(__file__).resolve().parents[2] / "meshes" / "child.ply"
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


@pytest.fixture(scope="module")
def child() -> Body:
    """A body with landmarks."""
    whole = read_mesh(CHILD)
    coarse = igl.decimate(whole.vertices, whole.faces, 9000)  # pictures are drawn in half the time
    return with_landmarks(Body(Surface(coarse[0], coarse[1].astype(np.int64))))


@pytest.fixture(scope="module", params=["a4", "letter"])
def sheet(request, child: Body, tmp_path_factory) -> tuple[str, pypdfium2.PdfDocument]:
    """The sheet on one paper."""
    path = tmp_path_factory.mktemp("sheet") / "s.pdf"
    write_measuring_sheet(path, child, paper_name=request.param, unit="cm")
    return request.param, pypdfium2.PdfDocument(path)


@pytest.fixture(scope="module")
def few(child: Body) -> Body:
    """The body with the landmarks of its trunk only."""
    trunk = ("waist", "seat", "crotch", "axilla", "chest", "bust")
    return Body(child.surface, {n: p for n, p in child.landmarks.items() if n.startswith(trunk)})


def text_of(document: pypdfium2.PdfDocument) -> str:
    """All words of a document, line breaks taken out."""
    pages = [page.get_textpage().get_text_bounded() for page in document]
    return " ".join(" ".join(pages).split())


def test_every_line_has_title_words_name_and_unit(sheet: tuple) -> None:
    """Whatever the body has a place for stands on the sheet in full, with a box in cm."""
    _, document = sheet
    text = text_of(document)

    for k, line in enumerate(LINES, 1):
        assert f"{k} {line.title}" in text
        assert line.how in text
        assert line.care in text
        assert line.name in text
    assert text.count(" cm ") >= len(LINES)
    for words in (*BEFORE, *CARE):
        assert words in text


def test_pages_have_the_papers_size_and_nothing_leaves_them(sheet: tuple) -> None:
    """Every page is of its paper; all words lie at least 5 mm inside; one shaded picture a box and three on page 1."""
    name, document = sheet
    images = []
    for page in document:
        assert np.array(page.get_size()) * 25.4 / 72 == pytest.approx(PAPERS[name], abs=0.1)
        words = page.get_textpage()
        boxes = np.array([words.get_rect(i) for i in range(words.count_rects())]) * 25.4 / 72
        assert boxes[:, :2].min() > 5
        assert (boxes[:, 2:].max(axis=0) < np.array(PAPERS[name]) - 5).all()
        images.append(sum(o.type == 3 for o in page.get_objects()))

    assert images[0] == 3
    assert sum(images[1:]) == len(LINES)


def test_each_picture_shows_its_tape(sheet: tuple) -> None:
    """Inside of every picture there are at least 60 pixels of the tape's red at 200 dpi."""
    _, document = sheet
    for page in list(document)[1:]:
        pixels = page.render(scale=200 / 72).to_numpy()[:, :, ::-1].astype(int)  # BGR
        red = (pixels[:, :, 0] > 130) & (pixels[:, :, 1] < 90) & (pixels[:, :, 2] < 90)
        tall = page.get_size()[1]
        for item in page.get_objects():
            if item.type != 3:
                continue
            left, low, right, high = (v * 200 / 72 for v in item.get_bounds())
            rows = slice(int(tall * 200 / 72 - high), int(tall * 200 / 72 - low))
            assert red[rows, int(left) : int(right)].sum() > 60


def test_same_body_same_bytes(few: Body, tmp_path: Path) -> None:
    """Two runs give the same file, and another unit another one."""
    files = [tmp_path / f"{k}.pdf" for k in range(3)]
    for path, unit in zip(files, ("inch", "inch", "mm"), strict=True):
        write_measuring_sheet(path, few, unit=unit)

    assert files[0].read_bytes() == files[1].read_bytes() != files[2].read_bytes()


def test_unknown_unit_and_paper(child: Body, tmp_path: Path) -> None:
    """Both are refused before anything is written."""
    with pytest.raises(InputError, match="unit must be one of"):
        write_measuring_sheet(tmp_path / "s.pdf", child, unit="ell")
    with pytest.raises(InputError, match="no paper named"):
        write_measuring_sheet(tmp_path / "s.pdf", child, paper_name="papyrus")
    assert not list(tmp_path.iterdir())


def test_a_body_without_a_part_leaves_its_lines_out(few: Body, tmp_path: Path) -> None:
    """Without landmarks of the arms no box asks for an arm, and the numbers run on without a gap."""
    write_measuring_sheet(tmp_path / "s.pdf", few)
    text = text_of(pypdfium2.PdfDocument(tmp_path / "s.pdf"))
    titles = [line.title for line in LINES if line.name in text]

    assert "arm_length" not in measure(few).values
    assert "arm_length" not in text
    assert "waist_girth" in text
    for k, title in enumerate(titles, 1):
        assert f"{k} {title}" in text


def test_a_view_is_parallel_and_true(child: Body) -> None:
    """Without tilt a step of 100 mm up or across is 100 mm over the scale, and a step away is nothing."""
    view = tape_view(child, turn_deg=30.0, size=(40.0, 60.0), tilt_deg=0.0)
    across = np.array([np.cos(np.pi / 6), np.sin(np.pi / 6), 0.0])
    away = np.array([-np.sin(np.pi / 6), np.cos(np.pi / 6), 0.0])
    points = view.centre + 100.0 * np.array([np.zeros(3), across, [0, 0, 1.0], away])
    flat = view.flat(points)

    assert flat[0] == pytest.approx([20.0, 30.0])
    assert flat[1:] - flat[0] == pytest.approx(
        np.array([[100, 0], [0, 100], [0, 0]]) / view.scale, abs=1e-9
    )


def test_a_ring_round_a_ball_is_seen_in_front() -> None:
    """Of a level great circle of a ball, seen from the front, the half with y < 0 is in sight."""
    v, f = igl.icosahedron()[:2] if hasattr(igl, "icosahedron") else (None, None)
    if v is None:
        pytest.skip("this libigl has no icosahedron")
    for _ in range(3):
        v, f = igl.upsample(v, f, 1)
    v = 500 * v / np.linalg.norm(v, axis=1)[:, None]
    view = tape_view(Body(Surface(v, f)), turn_deg=0.0, size=(40.0, 40.0), tilt_deg=0.0)
    turn = np.linspace(0, 2 * np.pi, 73) + 0.01
    ring = 500 * np.column_stack([np.cos(turn), np.sin(turn), np.zeros(73)])
    middle = 0.5 * (ring[1:, 1] + ring[:-1, 1])
    sure = np.abs(middle) > 60

    assert (view.seen(ring)[sure] == (middle[sure] < 0)).all()
