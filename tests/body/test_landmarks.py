"""Landmarks: where they are on known solids and on a human shape, and what is told when parts are missing."""

import numpy as np
import pytest

from padlib.body import Body, find_landmarks, with_landmarks
from padlib.body.landmarks import NAMES
from padlib.body.pick import hollow, pick
from padlib.body.quiet import quiet
from padlib.errors import InputError
from padlib.mesh.surface import Surface

GRID = 12.0  # mm, of the solid person in conftest.py


def test_a_whole_body_has_every_landmark(base):
    """A human shape has every landmark of the list, each with a confidence, and nothing is missing."""
    found = find_landmarks(base.surface)
    assert tuple(found.points) == NAMES
    assert all(0.3 <= c <= 1.0 for c in found.confidence.values())
    assert not found.findings


def test_landmarks_are_on_the_right_side(base):
    """Left landmarks have x > 0, right ones mirror them on a symmetric body within 8 mm."""
    for name in NAMES:
        if not name.endswith("_left"):
            continue
        left, right = base.body.at(name), base.body.at(name.replace("left", "right"))
        assert left[0] > 0, name
        assert np.abs(left - right * [-1, 1, 1]).max() < 8.0, name


def test_front_is_before_back(base):
    """What lies in front has the smaller y."""
    at = base.body.at
    for front, back in (
        ("chest_front", "chest_back"),
        ("waist_front", "waist_back"),
        ("suprasternal", "cervicale"),
        ("groin_left", "seat_left"),
        ("patella_left", "knee_back_left"),
        ("toe_left", "heel_left"),
    ):
        assert at(front)[1] < at(back)[1], front


def test_landmarks_follow_each_other_upward(base):
    """From sole to crown the landmarks come in the order of anatomy."""
    order = [
        "toe_left",
        "ankle_left",
        "calf_left",
        "patella_left",
        "mid_thigh_left",
        "gluteal_left",
    ]
    order += ["crotch", "seat_left", "iliac_left", "waist_left", "bust_left", "axilla_left"]
    order += ["suprasternal", "cervicale", "crown"]
    z = [base.body.at(name)[2] for name in order]
    assert z == sorted(z)


def test_partings_of_the_solids(solid, solid_person):
    """The crotch of the person of solids is at the bottom of the trunk; the armpits where the arms meet it.

    The underside of an arm meets the flank x = a where its axis has come down so far that the
    arm's lower tangent plane reaches the flank (plane geometry of the arm's radius and slope); the
    grid that the solids are meshed on bridges a gap narrower than itself, so a little lower.
    """
    crotch = solid.body.at("crotch")
    assert solid_person.CROTCH <= crotch[2] <= solid_person.CROTCH_SADDLE + 0.5
    assert abs(crotch[0]) < 1.0
    turn = np.radians(solid_person.ARM_DEG)
    along = (solid_person.TRUNK[0] - 120 + solid_person.ARM * np.cos(turn)) / np.sin(turn)
    z = 1400 - along * np.cos(turn) - solid_person.ARM * np.sin(turn)
    for side in ("left", "right"):
        assert z - GRID / np.tan(turn) - 1 < solid.body.at(f"axilla_{side}")[2] < z + 1


def test_the_solid_trunk_has_no_waist(solid):
    """A trunk without a narrowest level falls back on published shares, and says so."""
    assert 242 in [f.number for f in solid.body.findings]


def test_thighs_that_touch(solid_person):
    """A web between the thighs does not pull the crotch down; it is told."""
    body = with_landmarks(Body(Surface(*solid_person.person(14.0, web=True))))
    assert 244 in [f.number for f in body.findings]
    assert body.at("crotch")[2] == pytest.approx(solid_person.CROTCH, abs=15.0)


@pytest.mark.parametrize(
    ("without", "gone", "kept"),
    [
        ({"arms": False}, ["wrist_left", "axilla_left", "acromion_right"], ["crotch", "crown"]),
        ({"head": False}, ["crown", "cervicale", "suprasternal"], ["crotch", "wrist_left"]),
        ({"legs": False}, ["crotch", "patella_left", "ankle_right"], ["wrist_left", "waist_left"]),
    ],
)
def test_missing_parts_are_told_not_guessed(solid_person, without, gone, kept):
    """A body without arms, head or legs gets a finding and none of their landmarks."""
    body = with_landmarks(Body(Surface(*solid_person.person(14.0, **without))))
    assert 240 in [f.number for f in body.findings]
    assert not set(gone) & set(body.landmarks)
    assert set(kept) <= set(body.landmarks)


def test_no_figure_at_all_is_one_sentence(solid_person):
    """A lump without arms and legs is refused in one sentence."""
    lump = Surface(*solid_person.person(14.0, arms=False, legs=False))
    with pytest.raises(InputError, match="neither two legs nor two arms"):
        find_landmarks(lump)


def test_an_override_lands_on_the_surface(base):
    """A given place is put on the nearest surface point; the others stay as found."""
    place = base.body.at("waist_left") + [25.0, 0, 0]
    moved = with_landmarks(Body(base.surface), {"waist_left": place})
    assert np.linalg.norm(moved.at("waist_left") - base.body.at("waist_left")) < 5.0
    assert moved.landmarks["crotch"] == base.body.landmarks["crotch"]


@pytest.mark.parametrize(
    ("name", "place", "words"),
    [
        ("wast_left", (0, 0, 0), "waist_left"),
        ("crotch", (0, 0), "three numbers"),
        ("crotch", (0, 0, float("nan")), "three numbers"),
        ("crotch", "here", "three numbers"),
    ],
)
def test_a_wrong_override_is_one_sentence(base, name, place, words):
    """An unknown name gives the nearest right one; a place that is no point is told."""
    with pytest.raises(InputError, match=words):
        with_landmarks(Body(base.surface), {name: place})


def test_landmarks_that_are_given_are_kept(base):
    """A body that brings its own landmark keeps it."""
    mine = {"cervicale": base.body.landmarks["waist_back"]}
    again = with_landmarks(Body(base.surface, landmarks=mine))
    assert again.landmarks["cervicale"] == mine["cervicale"]


def test_a_clean_surface_is_left_alone_and_noise_is_taken_out(base, fine, rough):
    """Clean surfaces come back unchanged; of 0.7 mm noise less than half stays, without shrinking."""
    for clean in (base, fine):
        assert quiet(clean.surface.vertices, clean.surface.faces)[0] is clean.surface.vertices
    grainy, faces = rough.noisy(fine.surface.vertices, fine.surface.faces, 0.7)
    still, grain = quiet(grainy, faces)
    low = grainy - fine.surface.vertices
    left = still - fine.surface.vertices - low.mean(axis=0)
    assert grain == pytest.approx(0.7, abs=0.15)
    assert left.std() < 0.5 * low.std()
    assert abs(np.ptp(still[:, 0]) - np.ptp(fine.surface.vertices[:, 0])) < 1.5


def test_a_flat_profile_gives_the_published_place():
    """pick: nothing marked gives the prior, a marked peak gives itself, nothing known gives the prior."""
    at = np.linspace(0, 100, 201)
    assert pick(at, 0 * at, near=40, spread=10, weight=1)[0] == pytest.approx(40, abs=1e-6)
    peak = 50 * np.exp(-(((at - 60) / 3) ** 2))
    assert pick(at, peak, near=40, spread=10, weight=1)[0] == pytest.approx(60, abs=0.5)
    assert pick(at, at * np.nan, near=40, spread=10, weight=1) == (40, 0.0)


def test_hollow_is_the_distance_from_the_chord():
    """hollow: distance from a chord, positive on its left, zero for a chord of no length."""
    points = np.array([[5.0, 2.0], [5.0, -3.0]])
    out = hollow(points, np.array([0.0, 0]), np.array([10.0, 0]))
    np.testing.assert_allclose(out, [2.0, -3.0])
    assert not hollow(points, points[0], points[0]).any()
