"""Landmarks that a body file carries, and what becomes of them when it is read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from padlib.body import Body, measure, with_landmarks
from padlib.body.carried import own_places, read_carried, read_unscanned
from padlib.body.fit import fit_body
from padlib.body.scan import import_scan
from padlib.mesh.surface import Surface
from padlib.output.mesh import ply_bytes


def written(body: Body, path: Path) -> Path:
    """A body as a file with the landmarks that it must carry."""
    path.write_bytes(
        ply_bytes(
            body.surface.vertices, body.surface.faces, landmarks=own_places(body), gap=body.gap
        )
    )
    return path


@pytest.fixture(scope="module")
def moved(solid_person) -> Body:
    """A person whose waist a maker put 40 mm lower, with 30 mm more round it."""
    body = Body(Surface(*solid_person.person(18.0)))
    found = with_landmarks(body)
    sides = {n: tuple(found.at(n) - [0, 0, 40.0]) for n in ("waist_left", "waist_right")}
    body = with_landmarks(body, sides)
    return fit_body(body, {"waist_girth": measure(body).values["waist_girth"] + 30}).body


def test_a_body_read_again_measures_the_same(moved: Body, tmp_path: Path) -> None:
    """Written and imported, the waist is where it was put, within 1 mm, and no girth of trunk or leg is 2 mm off.

    What was not scanned of it, here the crown, is told again.
    """
    v = moved.surface.vertices
    top = v[np.argmax(v[:, 2])]
    filled = replace(moved, gap=np.maximum(40.0 - np.linalg.norm(v - top, axis=1), 0.0))
    again = import_scan(written(filled, tmp_path / "moved.ply"), unit="mm", up="+z", facing="-y")
    before, after = measure(moved).values, measure(with_landmarks(again.body)).values

    assert 250 in {f.number for f in again.repairs}
    assert again.body.at("waist_left")[2] == pytest.approx(moved.at("waist_left")[2], abs=1.0)
    for name in ("waist_girth", "hip_girth", "bust_girth", "thigh_girth", "calf_girth"):
        assert after[name] == pytest.approx(before[name], abs=2.0), name
    assert after["waist_height"] == pytest.approx(before["waist_height"], abs=1.0)
    z = again.body.surface.vertices[:, 2]
    assert again.body.gap[np.argmax(z)] == pytest.approx(40.0, abs=12.0)
    assert np.all(again.body.gap[z < top[2] - 60.0] == 0.0)


def test_only_what_the_shape_does_not_say_is_carried(moved: Body, solid_person) -> None:
    """The moved waist is in the file; a body with landmarks as they are found carries none."""
    plain = with_landmarks(Body(Surface(*solid_person.person(18.0))))

    assert {"waist_left", "waist_right"} <= set(own_places(moved)) <= set(moved.landmarks)
    assert own_places(plain) == {}


def test_places_of_another_shape_are_not_believed(moved: Body, tmp_path: Path) -> None:
    """A file whose body was made half as wide since: the old places are told and found anew."""
    path = tmp_path / "slim.ply"
    slim = moved.surface.vertices * [0.8, 1.0, 1.0]
    path.write_bytes(ply_bytes(slim, moved.surface.faces, landmarks=own_places(moved)))
    scan = import_scan(path, unit="mm", up="+z", facing="-y")

    assert 251 in {f.number for f in scan.repairs}
    assert "waist_left" not in scan.body.landmarks or np.isclose(
        measure(with_landmarks(scan.body)).values["stature"], np.ptp(slim[:, 2]), atol=1.0
    )


@pytest.mark.parametrize(
    "line",
    [
        "comment landmark waist_left nan 0 0",
        "comment landmark waist_left 1 2",
        "comment landmark no_such_name 1 2 3",
        "comment landmark waist_left 1e400 2 3",
        "comment landmarks waist_left 1 2 3",
    ],
)
def test_comments_that_are_no_landmarks(line: str, tmp_path: Path) -> None:
    """Whatever else stands in a comment is passed over."""
    path = tmp_path / "x.ply"
    path.write_text(f"ply\nformat ascii 1.0\n{line}\nend_header\ncomment landmark crotch 1 2 3\n")

    assert read_carried(path) == {}


def test_what_was_not_scanned_is_carried(solid_person, tmp_path: Path) -> None:
    """A body's distances from what was scanned, written and read: the same, at the same vertices."""
    v, f = solid_person.person(18.0)
    gap = np.maximum(40.0 - np.linalg.norm(v - v[np.argmax(v[:, 2])], axis=1), 0.0)
    path = tmp_path / "filled.ply"
    path.write_bytes(ply_bytes(v, f, gap=gap))
    places, told = read_unscanned(path)
    np.testing.assert_array_equal(places, v)
    np.testing.assert_allclose(told, gap, atol=1e-5)


def test_a_file_that_does_not_say_what_was_scanned(solid_person, tmp_path: Path) -> None:
    """No property, a file cut short and one with a distance below nought: nothing is told."""
    v, f = solid_person.person(18.0)
    path = tmp_path / "some.ply"
    path.write_bytes(ply_bytes(v, f))
    assert read_unscanned(path) is None
    whole = ply_bytes(v, f, gap=np.ones(len(v)))
    path.write_bytes(whole[: len(whole) // 3])
    assert read_unscanned(path) is None
    path.write_bytes(ply_bytes(v, f, gap=np.full(len(v), -1.0)))
    assert read_unscanned(path) is None
