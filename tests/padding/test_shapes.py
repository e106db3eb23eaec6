"""Thigh and seat pads: where they lie, how thick they are, what they say to wrong parameters."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padlib.errors import InputError
from padlib.mesh.section import plane_section
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.place import leg_line
from padlib.padding.profile import laid

FAMILY = [kind for kind, module in shapes.KINDS.items() if not hasattr(module, "layers")]
"""The kinds that are placed by landmarks alone."""


def thickness(body, kind, side="left", **parameters):
    """Thickness of a pad of a kind."""
    return shapes.thickness(body, Pad("probe", kind, side, parameters), side)


def test_a_thigh_pad_reaches_from_groin_to_below_the_knee(human):
    """By default it starts above the crotch, ends below the kneecap, and is fullest in its upper third."""
    body = human("plain")
    height = body.surface.vertices[:, 2]
    pad = thickness(body, "thigh")
    covered = height[pad > 2.0]
    crotch, knee = body.at("crotch")[2], body.at("patella_left")[2]
    assert crotch < covered.max() < crotch + 150
    assert knee - 100 < covered.min() < knee
    from_top = (covered.max() - height[np.argmax(pad)]) / np.ptp(covered)
    assert 0.2 < from_top < 0.42


def test_a_thigh_pad_is_fullest_on_the_outside(human):
    """The thickest place is on the outermost line of its own thigh, and the other thigh has nothing."""
    body = human("plain")
    points = body.surface.vertices
    for side, sign in (("left", 1), ("right", -1)):
        pad = thickness(body, "thigh", side)
        _, _, angle = leg_line(body, side, "probe").coordinates(points[[np.argmax(pad)]])
        assert angle[0] == pytest.approx(90.0, abs=8.0)
        assert not pad[sign * points[:, 0] < -40].any()


def test_a_seat_pad_is_fullest_on_the_buttock(human):
    """By default the thickest place of the seat pad is near the buttock's summit, on its own side."""
    body = human("plain")
    pad = thickness(body, "seat")
    summit = body.surface.vertices[np.argmax(pad)]
    assert abs(summit[2] - body.at("seat_left")[2]) < 25
    assert np.linalg.norm(summit - body.at("seat_left")) < 90
    assert not pad[body.surface.vertices[:, 0] < -40].any()


@pytest.mark.parametrize("kind", FAMILY)
@pytest.mark.parametrize("build", ["plain", "child_heavy"])
def test_a_pad_is_as_deep_as_asked_and_nowhere_on_the_hands(human, build, kind):
    """The greatest thickness is the depth (2 % for the vertices missing the summit); hands have none.

    A tail root's radius is 43 mm here: 9 mm from its summit (half an edge) it is 1 - (9 / 43)^2 of it.
    """
    body = human(build)
    pad = thickness(body, kind, depth=60.0)
    assert (0.956 if kind == "tail" else 0.98) * 60 <= pad.max() <= 60.0 + 1e-9
    assert pad.min() == 0.0
    for side in ("left", "right"):
        near = np.linalg.norm(body.surface.vertices - body.at(f"wrist_{side}"), axis=1) < 120
        assert not pad[near].any()


@pytest.mark.property
@settings(max_examples=10, deadline=None, derandomize=True)
@given(data=st.data())
@pytest.mark.parametrize("kind", FAMILY)
def test_depth_scales_a_pad(human, kind, data):
    """Whatever the other parameters, twice the depth is twice the thickness everywhere."""
    body = human("plain")
    given_ = {
        entry.name: data.draw(st.floats(entry.low, entry.high), label=entry.name)
        for entry in shapes.KINDS[kind].TABLE
        if entry.name != "depth"
    }
    once = thickness(body, kind, depth=50.0, **given_)
    twice = thickness(body, kind, depth=100.0, **given_)
    np.testing.assert_allclose(twice, 2 * once, rtol=1e-9, atol=1e-9)
    assert (once >= 0).all()
    assert once.max() <= 50.0 + 1e-9


@pytest.mark.parametrize("kind", FAMILY)
def test_a_pad_has_no_ridge(human, kind):
    """Round the body, in a pad's thin fifth, a blended rim turns much less than a sharp one."""
    body = human("plain", 10.0)
    edged = thickness(body, kind, depth=40.0, blend=5.0)
    level = body.surface.vertices[np.argmax(edged), 2] + (70 if kind == "seat" else 0)
    soft = thickness(body, kind, depth=40.0, blend=120.0)
    # a rim of 5 mm on edges of 10 turns by 0.7 to 1.0 as vertices happen to lie: the sharpest level counts, of both
    levels = level + np.arange(-20.0, 21.0, 2.5)
    sharp, blended = (max(_sharpest_turn(body, pad, z) for z in levels) for pad in (edged, soft))
    # narrow pads are all rim: their crown alone turns nearly as much as half a sharp edge
    assert blended < (0.75 if kind in {"shoulder", "hump", "tail"} else 0.5) * sharp


def _sharpest_turn(body, values, level):
    """Greatest change of slope of low values (n,) in 15 mm round the level sections at a height."""
    surface = body.surface
    curves = plane_section(surface.vertices, surface.faces, np.array([0, 0, level]), [0, 0, 1.0])
    turns = []
    for curve in curves[:4]:
        where = curve.positions(surface.vertices, surface.faces)
        height = np.array(
            [np.dot(p.barycentric, values[surface.faces[p.face]]) for p in curve.points]
        )
        along = np.r_[0, np.cumsum(np.linalg.norm(np.diff(where, axis=0), axis=1))]
        even = np.arange(0, along[-1], 15.0)
        sampled = np.interp(even, along, height)
        rim = sampled[1:-1] < 0.2 * values.max()
        turns.append(np.abs(np.diff(sampled, 2))[rim].max(initial=0.0) / 15.0)
    return max(turns)


WRONG = [
    (
        "thigh",
        {"dept": 40},
        "pad 'probe' has no parameter 'dept' (given as 40); did you mean 'depth'",
    ),
    ("thigh", {"zzz": 1}, "no parameter 'zzz' (given as 1); it has depth, top, bottom, wrap"),
    ("thigh", {"depth": 900}, "'depth' is 900 but must be a number from 5 to 200 mm, because"),
    ("seat", {"wrap": 200}, "'wrap' is 200 but must be a number from 35 to 150 degrees, because"),
    ("seat", {"depth": "deep"}, "'depth' is deep but must be a number from 5 to 200 mm"),
    ("seat", {"depth": float("nan")}, "'depth' is nan but must be a number"),
    ("seat", {"depth": True}, "'depth' is True but must be a number"),
    ("thig", {}, "there is no kind 'thig'; did you mean 'thigh'"),
    ("xxxx", {}, "there is no kind 'xxxx'; there are seat, thigh, hip, calf"),
]


@pytest.mark.parametrize(("kind", "parameters", "words"), WRONG)
def test_wrong_parameters_are_told_in_one_sentence(human, kind, parameters, words):
    """The message names pad, parameter, value, what is allowed and the nearest right name."""
    with pytest.raises(InputError, match=re.escape(words)) as caught:
        thickness(human("plain"), kind, **parameters)
    assert "pad 'probe'" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "missing"), [("thigh", "crotch"), ("thigh", "patella_left"), ("seat", "seat_left")]
)
def test_a_missing_landmark_is_named(human, kind, missing):
    """A pad on a landmark that is not there names the pad and the landmark."""
    body = human("plain")
    fewer = {name: at for name, at in body.landmarks.items() if name != missing}
    words = f"pad 'probe' is placed by the landmark '{missing}', which this body does not have"
    with pytest.raises(InputError, match=re.escape(words)):
        thickness(replace(body, landmarks=fewer), kind)


PLACES = {
    "hip": ("hip_left", 60.0),
    "calf": ("calf_left", 90.0),
    "chest": ("bust_left", 40.0),
    "shoulder": ("acromion_left", 45.0),
    "belly": ("waist_front", 120.0),
    "hump": ("chest_back", 90.0),
    "tail": ("seat_left", 140.0),
}


@pytest.mark.parametrize("kind", list(PLACES))
@pytest.mark.parametrize("build", ["plain", "child_heavy"])
def test_a_pad_is_fullest_near_its_landmark(human, build, kind):
    """By default the crown lies by the landmark that the pad is for, on its own side or in the middle."""
    body = human(build)
    pad = thickness(body, kind)
    crown = body.surface.vertices[np.argmax(pad)]
    name, far = PLACES[kind]
    assert np.linalg.norm(crown - body.at(name)) < far * np.ptp(body.surface.vertices[:, 2]) / 1700
    if getattr(shapes.KINDS[kind], "MIDDLE", False):
        assert abs(crown[0]) < 12
    else:
        assert not pad[body.surface.vertices[:, 0] < -40].any()


def test_an_upper_arm_pad_leaves_the_bend_of_the_elbow_free(human):
    """It lies between armhole and elbow, and nothing of it is on the trunk below the armpits."""
    body = human("plain")
    pad = thickness(body, "upper_arm")
    covered = body.surface.vertices[pad > 2.0]
    assert covered[:, 2].min() > body.at("elbow_left")[2] + 20
    assert covered[:, 2].max() < body.at("acromion_left")[2]
    assert (covered[:, 0] > body.at("axilla_left")[0] - 10).all()


def test_a_dome_holds_half_its_depth_times_its_base():
    """`laid` without blend is the dome's own law: half the depth times the base area (a paraboloid)."""
    step = 0.5
    x, y = np.meshgrid(np.arange(-60, 60, step), np.arange(-60, 60, step))
    walked = np.hypot(x, y)
    height = laid(walked / 50.0, walked, 30.0, 1e-6)
    assert height.sum() * step**2 == pytest.approx(np.pi * 50**2 * 30 / 2, rel=1e-3)


@pytest.mark.parametrize("kind", ["belly", "hump", "tail"])
def test_a_pad_in_the_middle_has_no_sides(kind):
    """It is one pad, called both; one side of it is told."""
    assert shapes.sides(Pad("probe", kind)) == ("both",)
    with pytest.raises(InputError, match=f"a {kind} pad lies across the middle, so side cannot"):
        shapes.sides(Pad("probe", kind, "left"))


def test_a_side_is_left_right_or_both():
    """Any other side is told by name."""
    with pytest.raises(
        InputError, match="pad 'probe': side is 'up' but must be left, right or both"
    ):
        shapes.sides(Pad("probe", "thigh", "up"))
    assert shapes.sides(Pad("probe", "thigh")) == ("left", "right")


@pytest.mark.parametrize("kind", FAMILY)
def test_every_parameter_is_explained(kind):
    """Every parameter has limits in order, a help line and a reason for its limits."""
    for entry in shapes.KINDS[kind].TABLE:
        assert entry.low < entry.high
        assert entry.help
        assert entry.reason
        assert entry.unit in {"mm", "degrees", "share"}
