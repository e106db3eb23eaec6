"""The picture of a measured body, read back as SVG and PNG."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from PIL import Image
from scipy.optimize import lsq_linear

from padlib.body import Body, Measurements, measure, with_landmarks
from padlib.cli import main
from padlib.errors import InputError
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.output.tapes import _stage, shown, spread, tape_picture

CHILD = Path(__file__).resolve().parents[2] / "meshes" / "child.ply"


@pytest.fixture(scope="module")
def child() -> Body:
    """A body with landmarks."""
    whole = read_mesh(CHILD)
    coarse = igl.decimate(whole.vertices, whole.faces, 9000)
    return with_landmarks(Body(Surface(coarse[0], coarse[1].astype(np.int64))))


@pytest.fixture(scope="module")
def told(child: Body) -> Measurements:
    """Its measurements."""
    return measure(child)


def test_every_tape_is_named_with_its_value(child: Body, told: Measurements) -> None:
    """The SVG's words hold each tape line's name once, with its value in cm to a millimetre."""
    root = etree.fromstring(tape_picture(child, told=told, unit="cm", kind="svg"))
    words = [
        " ".join("".join(t.itertext()).split())
        for t in root.iter("{http://www.w3.org/2000/svg}text")
    ]
    names = {n.removesuffix("_left").removesuffix("_right") for n in told.tape_lines}

    for name in names | {"stature", "crotch_height", "waist_depth", "hip_breadth"}:
        assert words.count(f"{name.replace('_', ' ')} {told.values[name] / 10:.1f} cm") == 1


def test_what_may_be_off_has_that_beside_it(child: Body, told: Measurements) -> None:
    """A girth, a depth and a height that a hole makes unsure by 5 mm or more are told so, less is not."""
    unsure = {"waist_girth": 12.4, "waist_depth": 7.0, "crotch_height": 6.0, "hip_girth": 4.9}
    some = replace(told, unsure=unsure)
    root = etree.fromstring(tape_picture(child, told=some, unit="cm", kind="svg"))
    words = {
        " ".join("".join(t.itertext()).split())
        for t in root.iter("{http://www.w3.org/2000/svg}text")
    }
    for name, off in (("waist_girth", "1.2"), ("waist_depth", "0.7"), ("crotch_height", "0.6")):
        label = f"{name.replace('_', ' ')} {told.values[name] / 10:.1f} \u00b1 {off} cm"
        assert label in words
    assert f"hip girth {told.values['hip_girth'] / 10:.1f} cm" in words


def test_a_form_deep_for_its_height_is_shown_whole(child: Body) -> None:
    """Front, side and back of a body a third as tall: no vertex lies outside its picture."""
    short = Body(Surface(child.surface.vertices * [1.0, 1.0, 0.35], child.surface.faces))
    _, _, views, _ = _stage(short)
    for view in views.values():
        places = view.flat(short.surface.vertices)
        assert (places > 0.0).all()
        assert (places < view.size).all()


def test_labels_do_not_cover_each_other(child: Body, told: Measurements) -> None:
    """In the SVG no two labels of a column lie nearer than a line of type."""
    root = etree.fromstring(tape_picture(child, told=told, kind="svg"))
    labels = [
        t for t in root.iter("{http://www.w3.org/2000/svg}text") if " mm" in "".join(t.itertext())
    ]
    columns: dict[int, list[float]] = {}
    for label in labels:
        columns.setdefault(round(float(label.get("x"))), []).append(float(label.get("y")))

    assert len(labels) > 40
    assert len(columns) == 6
    for rows in columns.values():
        assert np.diff(sorted(rows)).min() > 6.5  # points: capitals and tails of 2.35 mm type


def test_png_shows_three_figures_and_their_tapes(child: Body, told: Measurements) -> None:
    """The PNG is wider than tall, mostly white, and has grey figures and red and blue lines in it."""
    pixels = np.asarray(Image.open(io.BytesIO(tape_picture(child, told=told))).convert("RGB"))
    r, g, b = (pixels[:, :, k].astype(int) for k in range(3))
    grey = (np.abs(r - g) < 6) & (np.abs(r - b) < 6) & (r > 60) & (r < 245)
    columns = np.flatnonzero(grey.sum(axis=0) > 0.15 * len(pixels))
    figures = 1 + int((np.diff(columns) > 100).sum())

    assert pixels.shape[1] > 1.5 * pixels.shape[0]
    assert figures == 3
    assert ((r > 140) & (g < 90)).sum() > 2000
    assert ((b > 110) & (r < 90)).sum() > 1000


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_same_body_same_picture(kind: str, child: Body, told: Measurements) -> None:
    """Two runs give the same bytes."""
    one = tape_picture(child, told=told, kind=kind)

    assert one == tape_picture(child, told=told, kind=kind)


def test_units_of_the_table() -> None:
    """812.8 mm is 813 mm, 81.3 cm and 32 inches; another unit is refused."""
    assert [shown(812.8, unit) for unit in ("mm", "cm", "inch")] == ["813", "81.3", "32.00"]
    with pytest.raises(InputError, match="unit must be one of"):
        shown(1.0, "ell")


@pytest.mark.property
@settings(max_examples=40, deadline=None, derandomize=True)
@given(levels=st.lists(st.floats(0, 200), min_size=1, max_size=12))
def test_labels_move_as_little_as_need_be(levels: list[float]) -> None:
    """Spread levels are the least squares answer that scipy finds for the same conditions."""
    falling = np.sort(np.array(levels))[::-1]
    out = spread(falling, 4.0, -1e6, 1e6)
    n = len(falling)
    # unknowns: the first level and the gaps beyond 4 mm
    rows = np.column_stack([np.ones(n), -np.tril(np.ones((n, n)))[:, 1:]])
    target = falling + 4.0 * np.arange(n)
    low = np.concatenate([[-np.inf], np.zeros(n - 1)])
    best = lsq_linear(rows, target, bounds=(low, np.inf), tol=1e-12)

    assert (np.diff(out) <= -4.0 + 1e-9).all()
    assert ((out - falling) ** 2).sum() == pytest.approx(2 * best.cost, abs=1e-3)


def test_labels_stay_in_their_column() -> None:
    """Levels at the top and bottom edges stay between them."""
    out = spread(np.array([99.0, 98.0, 97.0, 2.0, 1.0]), 5.0, 0.0, 100.0)

    assert out.max() <= 100.0
    assert out.min() >= 0.0
    assert (np.diff(out) <= -5.0 + 1e-9).all()


def test_a_picture_of_another_kind(child: Body, tmp_path: Path, capsys) -> None:
    """A name that ends in .gif is refused before the scan is read."""
    status = main(["measure", str(tmp_path / "none.ply"), "--picture", str(tmp_path / "p.gif")])

    assert status == 2
    assert ".png or .svg" in capsys.readouterr().err
    with pytest.raises(InputError, match="png or svg"):
        tape_picture(child, kind="gif")
