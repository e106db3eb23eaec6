"""Drawn pads: caps of known volume, mirrored loops, loops that cannot be used."""

import re

import numpy as np
import pytest
import trimesh

from padlib.errors import InputError, SuitError
from padlib.padding import shapes
from padlib.padding.inside import inside_loop
from padlib.padding.pad import Pad
from padlib.padding.shapes.drawn import section
from padlib.padding.shell import build_shell
from padlib.padding.spot import Beside, InFace, on_body
from padlib.suit.file import parse_suit

BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}
PATCH = (
    Beside("hip_left", (0.0, -60.0, 60.0)),
    Beside("hip_left", (20.0, 60.0, 40.0)),
    Beside("hip_left", (0.0, 40.0, -120.0)),
    Beside("hip_left", (0.0, -50.0, -140.0)),
)


def circle(radius, count=60):
    """A regular polygon of the area of a circle, as points."""
    turn = np.arange(count) * 2 * np.pi / count
    out = radius * np.sqrt(2 * np.pi / (count * np.sin(2 * np.pi / count)))
    return tuple((float(out * np.cos(a)), float(out * np.sin(a)), 0.0) for a in turn)


def volume(surface):
    """Volume by trimesh."""
    return trimesh.Trimesh(surface.vertices, surface.faces, process=False).volume


@pytest.mark.parametrize(("depth", "radius"), [(30.0, 120.0), (60.0, 150.0)])
def test_a_round_loop_with_full_crown_is_a_spherical_cap(slab, depth, radius):
    """On a plane: pi d (3 r^2 + d^2) / 6 (elementary geometry) within 1 %, by trimesh."""
    own = {"outline": circle(radius), "depth": depth, "crown": 1.0, "blend": 0.0}
    shell = build_shell(slab, [Pad("cap", "drawn", "both", own)], **BARE)
    expected = np.pi * depth * (3 * radius**2 + depth**2) / 6
    assert volume(shell.surface) - volume(slab.surface) == pytest.approx(expected, rel=0.01)


def test_a_flat_loop_with_a_chamfer_is_a_frustum(slab):
    """Crown 0, straight rim: the frustum pi d (R^2 + R r + r^2) / 3 within 1.5 % (a 10 mm grid)."""
    radius, depth, rim = 150.0, 40.0, 60.0
    own = {
        "outline": circle(radius), "depth": depth, "rim": rim, "crown": 0.0, "profile": "straight", "blend": 0.0,
    }  # fmt: skip
    shell = build_shell(slab, [Pad("slab", "drawn", "both", own)], **BARE)
    inner = radius - rim
    expected = np.pi * depth * (radius**2 + radius * inner + inner**2) / 3
    assert volume(shell.surface) - volume(slab.surface) == pytest.approx(expected, rel=0.015)


def test_how_far_in_is_the_radius_on_a_disk(slab):
    """Inside a round loop on a plane `radial` is distance over radius, by the film's closed form."""
    points = on_body(slab, circle(140.0), "probe")
    inside = inside_loop(slab, points, "probe")
    flat = slab.surface.vertices[:, 2] > -1
    far = np.hypot(*slab.surface.vertices[flat, :2].T) / 140.0
    assert inside.radius == pytest.approx(140.0, rel=5e-3)
    assert inside.area == pytest.approx(np.pi * 140.0**2, rel=2e-3)
    np.testing.assert_allclose(inside.radial[flat], far, atol=0.02)


@pytest.mark.parametrize("profile", ["round", "soft", "straight"])
def test_every_profile_falls_from_its_depth_to_the_rim(profile):
    """Depth in the middle, 0 at the rim, never rising outward, negative past it."""
    radial = np.linspace(0, 1.4, 300)
    for rim in (10.0, 60.0, 300.0):
        for crown in (0.0, 0.4, 1.0):
            use = {"depth": 50.0, "rim": rim, "crown": crown}
            height = section(radial, 100.0, use, profile)
            assert height[0] == pytest.approx(50.0)
            assert np.abs(np.interp(1.0, radial, height)) < 6.0
            assert (np.diff(height) <= 1e-9).all()
            assert height[-1] < 0
    flat = section(
        np.array([0.0, 0.5, 0.8]), 100.0, {"depth": 50.0, "rim": 20.0, "crown": 0.0}, profile
    )
    np.testing.assert_allclose(flat, 50.0)


def test_a_loop_beside_landmarks_is_mirrored(human):
    """Drawn on the left, for both sides: the right pad lies on the mirror image's place, as thick."""
    body = human("plain")
    pad = Pad("patch", "drawn", "both", {"outline": PATCH, "depth": 30.0})
    (_, one, left), (_, two, right) = shapes.layers(body, pad)
    assert (one, two) == ("left", "right")
    x = body.surface.vertices[:, 0]
    assert (x[left > 1] > 0).all()
    assert (x[right > 1] < 0).all()
    crowns = [body.surface.vertices[np.argmax(side)] for side in (left, right)]
    np.testing.assert_allclose(crowns[0] * [-1, 1, 1], crowns[1], atol=25)
    assert left.sum() == pytest.approx(right.sum(), rel=0.1)
    only = shapes.layers(body, Pad("patch", "drawn", "right", {"outline": PATCH, "depth": 30.0}))
    np.testing.assert_array_equal(only[0][2], right)


def test_a_loop_across_the_middle_is_one_pad(human):
    """It has no sides, and asking for one is told."""
    body = human("plain")
    waist = body.at("waist_front")
    loop = tuple(
        tuple(waist + np.array(move)) for move in ((-80, 0, 0), (0, 0, 70), (80, 0, 0), (0, 0, -90))
    )
    pad = Pad("bib", "drawn", "both", {"outline": loop, "depth": 25.0})
    assert [side for _, side, _ in shapes.layers(body, pad)] == ["both"]
    with pytest.raises(InputError, match="lies across the middle, so side cannot be 'left'"):
        shapes.layers(body, Pad("bib", "drawn", "left", pad.parameters))


def test_a_place_in_a_face_is_that_place(human):
    """Face and weights give the point of the body itself."""
    body = human("plain")
    spot = InFace(77, (1.0, 1.0, 2.0))
    found = on_body(body, [spot], "probe")[0].on(body.surface.vertices, body.surface.faces)
    corners = body.surface.vertices[body.surface.faces[77]]
    np.testing.assert_allclose(found, np.array([0.25, 0.25, 0.5]) @ corners, atol=1e-9)


def ring(body, side):
    """Points round a knee."""
    middle = (body.at(f"patella_{side}") + body.at(f"knee_back_{side}")) / 2
    turns = ((60, 0, 0), (0, 60, 0), (-60, 0, 0), (0, -60, 0))
    return tuple(tuple(float(c) for c in middle + np.array(turn)) for turn in turns)


def test_loops_that_cannot_be_used_are_told(human):
    """Crossing itself, round a limb, too deep, far off, no landmark, unknown face: one sentence each."""
    body = human("plain")

    def told(outline, **own):
        pad = Pad("patch", "drawn", "both", {"outline": outline, "depth": 20.0} | own)
        with pytest.raises(InputError, match="pad 'patch'") as caught:
            shapes.layers(body, pad)
        return str(caught.value)

    crossed = (PATCH[0], PATCH[2], PATCH[1], PATCH[3])
    assert "crosses or touches itself" in told(crossed)
    assert "runs round a limb" in told(ring(body, "left"))
    assert "at most" in told(PATCH, depth=290.0)
    assert "mm from the body" in told((*PATCH, (900.0, 0.0, 100.0)))
    assert "'hipp_left', which this body does not have" in told((*PATCH, "hipp_left"))
    assert "no triangle 99999999" in told((*PATCH, InFace(99999999, (1.0, 0.0, 0.0))))
    assert "at least three places" in told(PATCH[:2])
    assert "must be one of round, soft, straight" in told(PATCH, profile="steep")
    assert "'crown' is 2 but must be a number from 0 to 1 share" in told(PATCH, crown=2)


WRONG = [
    ("outline = 3", "'outline' must be a list of places on the body."),
    ("outline = [[1, 2]]", "'outline' needs points as [x, y, z] in mm, not [1, 2]."),
    ("outline = [{near = 'hip_left'}]", "a place in 'outline' is a landmark, [x, y, z], {near"),
    ("outline = [{face = 1, weights = [0, -1, 0]}]", "must not be negative, nor all 0."),
    ("outline = ['a', 'b', 'c']\nprofile = 4", "'profile' must be text in quotes, not 4."),
    ("outline = ['a', 'b', 'c']\nprofile = 'x'", "'profile' is 'x' but must be one of round"),
    ("outline = ['a', 'b', 'c']\ndeph = 4", "has no parameter 'deph' (given as 4); did you mean"),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_a_suit_file_says_what_is_wrong_with_an_outline(text, words):
    """One sentence with the line."""
    with pytest.raises(SuitError, match=r"line \d+: .*" + re.escape(words)):
        parse_suit(f"[[pad]]\nname = 'patch'\nkind = 'drawn'\n{text}\n")


def test_a_suit_file_reads_all_kinds_of_places():
    """Landmarks, points, places beside landmarks and in faces."""
    suit = parse_suit(
        "[[pad]]\nkind = 'drawn'\noutline = ['hip_left', [1, 2, 3], {near = 'hip_left', move = [0, 1, 2]}, "
        "{face = 5, weights = [0, 1, 1]}]"
    )
    assert suit.pads[0].parameters["outline"] == (
        "hip_left", (1.0, 2.0, 3.0), Beside("hip_left", (0.0, 1.0, 2.0)), InFace(5, (0.0, 1.0, 1.0)),
    )  # fmt: skip
