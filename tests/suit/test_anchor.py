"""Drawn places in coordinates of the body: they mean the same place on other triangles, on a noisy scan, in a pose."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from padlib.body.coordinates import OnLimb, place_on_limb
from padlib.body.landmarks import with_landmarks
from padlib.body.pose import pose_body
from padlib.body.scan import import_scan
from padlib.cli import main
from padlib.errors import SuitError
from padlib.mesh.geodesic import geodesic
from padlib.mesh.point import nearest
from padlib.padding.spot import Beside, held, on_body
from padlib.suit.demo import DEMO_BODY
from padlib.suit.file import parse_suit, read_suit


def at(body, point):
    """Position of a point of a body."""
    return point.on(body.surface.vertices, body.surface.faces)


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    """The built-in body's file, read with triangles of 10 mm; with 14; shaken by 1 mm and read with 12."""
    folder = tmp_path_factory.mktemp("scans")
    mesh = trimesh.load(DEMO_BODY, process=False)
    shaken = mesh.vertices + np.random.default_rng(3).normal(size=mesh.vertices.shape) * 1.0
    trimesh.Trimesh(shaken, mesh.faces, process=False).export(folder / "shaken.ply")
    out = []
    for path, edge in ((DEMO_BODY, 10.0), (DEMO_BODY, 14.0), (folder / "shaken.ply", 12.0)):
        out.append(with_landmarks(import_scan(path, unit="mm", edge_length=edge).body))
    return out


def loops(body):
    """Closed loops drawn on a body, as the places that a maker clicks: round a knee's front, on the belly, on an upper
    arm, on the back."""
    v, f = body.surface.vertices, body.surface.faces
    for name, size, push in (
        ("patella_left", 60.0, (0.0, -80.0, 0.0)),
        ("waist_front", 90.0, (40.0, -60.0, -30.0)),
        ("elbow_right", 40.0, (0.0, 60.0, 60.0)),
        ("cervicale", 90.0, (70.0, 60.0, -170.0)),
    ):
        turn = np.linspace(0.0, 2 * np.pi, 7)[:-1, None]
        ring = body.at(name) + push + size * (np.cos(turn) * [1, 0, 0] + np.sin(turn) * [0, 0, 1])
        yield name, [p.on(v, f) for p in nearest(v, f, ring)]


def drawn(body, points):
    """The loop of shortest ways through points, sampled about every millimetre."""
    v, f = body.surface.vertices, body.surface.faces
    line = geodesic(v, f, points, closed=True).positions(v, f)
    line = np.vstack([line, line[:1]])
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    spots = np.linspace(0.0, s[-1], int(s[-1]))
    return np.stack([np.interp(spots, s, line[:, k]) for k in range(3)], axis=1)


@pytest.mark.parametrize(("other", "most"), [(1, 4.0), (2, 6.0)])
def test_a_drawn_curve_is_within_a_few_millimetres_on_another_mesh_of_the_wearer(
    scans, other, most
):
    """Everywhere along four loops; noise of 1 mm moves the neck's base, and with it the upper back, by 5 mm."""
    first, then = scans[0], scans[other]
    for name, places in loops(first):
        spots = held(first, places)
        before = drawn(first, on_body(first, spots, name))
        after = drawn(then, on_body(then, spots, name))
        away = cKDTree(before).query(after)[0]

        assert sum(isinstance(s, OnLimb) for s in spots) >= 5, name
        assert away.max() < most, name


def test_coordinates_lead_back_to_their_place(scans):
    """Within a tenth of a millimetre on the body that they were taken from."""
    body = scans[0]
    for _, places in loops(body):
        for place, spot in zip(places, held(body, places), strict=True):
            if isinstance(spot, OnLimb):
                assert np.linalg.norm(at(body, place_on_limb(body, spot)) - place) < 0.1


def test_places_follow_an_arm_that_is_held_otherwise(scans):
    """A forearm's places move with the arm, where points in space would be left 60 mm and more behind."""
    body = scans[0]
    posed = pose_body(body, arms_deg=75.0)
    places = next(p for name, p in loops(body) if name == "elbow_right")
    found = nearest(body.surface.vertices, body.surface.faces, np.array(places))
    true = np.array([at(posed, p) for p in found])
    moved = np.array([at(posed, p) for p in on_body(posed, held(body, places), "places")])

    assert np.linalg.norm(true - places, axis=1).min() > 60.0
    assert np.linalg.norm(moved - true, axis=1).max() < 12.0


def test_mirrored_coordinates_are_the_other_sides(scans):
    """On a symmetric body the image in x = 0, within 2 mm."""
    body = scans[0]
    for spot in (OnLimb("arm_left", 0.5, 120.0), OnLimb("trunk", 0.6, 40.0)):
        left = at(body, place_on_limb(body, spot))
        right = at(body, place_on_limb(body, spot.mirrored()))
        assert np.linalg.norm(right - left * [-1, 1, 1]) < 2.0


SUIT = """
[[seam]]
name = "belt"
closed = true
through = [[0, -130, 1090], [140, 0, 1090], [0, 100, 1090], [-140, 0, 1090]]
[[mark]]
name = "patch"
style = "line"
through = ["waist_front",
  [60, -130, 1000], [60, -130, 1040]]
[[pile]]
through = [[100, 100, 1300], [60, 2000, 1200]]
"""


def test_the_command_writes_coordinates_and_tells_what_it_could_not(tmp_path, capsys):
    """A seam's points become places on the trunk and mean the same places; a list over several lines and a point far
    from the body are told and stay."""
    path = tmp_path / "giant.toml"
    path.write_text(SUIT)
    before = read_suit(path)
    assert main(["anchor", str(path)]) == 0
    out, told = capsys.readouterr()
    after = read_suit(path)

    assert [type(s) for s in after.drawn[0].through] == [OnLimb] * 4
    assert after.marks == before.marks
    assert after.strokes[0].through[1] == (60.0, 2000.0, 1200.0)
    assert out == "5 places are now told along and around limbs and trunk, 0 beside a landmark.\n"
    assert "[[mark]] number 1, 'through'" in told
    assert "stroke 'stroke-1': the point [60, 2000, 1200] lies" in told


def test_coordinates_that_cannot_be_are_told():
    """In a sentence with the line."""
    with pytest.raises(SuitError, match=r"line 3: 'limb' is 'tail'; there are arm_left"):
        parse_suit('[[seam]]\nname = "a"\nthrough = [{limb = "tail", along = 0.5, around = 0}]\n')


def test_without_landmarks_near_a_place_it_lies_beside_one(scans):
    """On the face, where no limb leads, a place is told beside a landmark."""
    body = scans[0]
    spot = held(body, [body.at("crown") + [20.0, -90.0, -90.0]])[0]
    assert isinstance(spot, Beside)
