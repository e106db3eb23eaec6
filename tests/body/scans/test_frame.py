"""Standing a figure up: every up axis, unit, turn and place gives the same body back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padlib.body import measure, with_landmarks
from padlib.body.frame import find_frame, spread_points
from padlib.body.landmarks import find_landmarks
from padlib.body.scan import body_from_surface
from padlib.body.unit import UNITS, head_girth
from padlib.errors import InputError
from padlib.mesh.surface import Surface


def _written(rough, vertices, up, unit, degrees, away):
    """The figure as a file would hold it."""
    return (rough.turned(vertices, degrees) @ rough.UP[up].T + away) / UNITS[unit]


def _off(frame, file, vertices):
    """Largest distance of the found frame from the true one in x and z, and the spread in y."""
    apart = frame.carry(file) - vertices
    return np.abs(apart[:, [0, 2]]).max(), np.ptp(apart[:, 1])


@pytest.mark.parametrize("up", ["+z", "-z", "+y", "-y", "+x", "-x"])
@pytest.mark.parametrize("who", ["adult", "child"])
def test_any_up_axis_unit_and_turn_is_found(request, rough, who, up):
    """Up axis and unit are named rightly and the body comes back to 2 mm, for a big and a small."""
    vertices, faces = request.getfixturevalue(who)
    for unit, degrees in (("m", 163.0), ("cm", -71.0), ("mm", 20.0)):
        file = _written(rough, vertices, up, unit, degrees, [200.0, -50.0, 900.0])
        frame = find_frame(Surface(file, faces))
        assert (frame.unit, frame.up) == (unit, up)
        assert max(_off(frame, file, vertices)) < 2.0
        assert frame.turned_deg == pytest.approx(-degrees, abs=0.3)
        assert min(frame.sure[k] for k in ("unit", "up", "facing")) > 0.5


def test_the_base_body_is_found_too(rough, base):
    """A modelled human body, Y up and turned, comes back to 2 mm."""
    vertices, faces = base
    file = _written(rough, vertices, "+y", "cm", 131.0, [5.0, 6.0, 7.0])
    frame = find_frame(Surface(file, faces))
    assert (frame.unit, frame.up) == ("cm", "+y")
    assert max(_off(frame, file, vertices)) < 2.0


LEANS = [(5, 0), (-5, 1), (15, 1), (-30, 0), (100, 0), (200, 1)]


@pytest.mark.parametrize(("degrees", "axis"), LEANS)
def test_a_leaning_or_lying_figure_is_stood_up(base, degrees, axis):
    """A modelled body turned about an axis of the file, then askew: its up comes back to a degree, its face to two."""
    turn = _rotation(degrees, axis)
    askew = _rotation(35.0, 2) @ turn if abs(degrees) > 50 else turn
    frame = find_frame(Surface(base[0] @ askew.T, base[1]))
    apart = np.degrees(np.arccos(np.clip(np.diag(frame.rotation @ askew), -1.0, 1.0)))
    assert apart[2] < 1.0
    assert apart.max() < 2.0
    assert frame.tilt_deg > 3.0
    assert frame.sure["up"] > 0.5


def test_an_axis_of_the_file_is_kept_to_the_last_digit(base):
    """A body that stands upright in its file is not turned by a fraction of a degree."""
    frame = find_frame(Surface(*base))
    assert frame.tilt_deg == 0.0
    assert np.array_equal(frame.rotation[2], [0.0, 0.0, 1.0])


def _rotation(degrees, axis):
    """Rotation (3, 3) about an axis, 0 to 2."""
    a = np.radians(degrees)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out = np.eye(3)
    out[i, i] = out[j, j] = np.cos(a)
    out[i, j], out[j, i] = -np.sin(a), np.sin(a)
    return out


def test_up_may_be_three_numbers(adult):
    """A given direction is obeyed as it is, and words that are none are told."""
    vertices, faces = adult
    turn = _rotation(12.0, 0)
    up = ",".join(f"{x:.6f}" for x in turn[:, 2])
    frame = find_frame(Surface(vertices @ turn.T, faces), up=up)
    assert frame.tilt_deg == pytest.approx(12.0, abs=0.01)
    assert np.allclose(frame.rotation @ turn, np.eye(3), atol=0.01)
    with pytest.raises(InputError, match="three numbers"):
        find_frame(Surface(vertices, faces), up="0,0")


@pytest.mark.property
@settings(max_examples=6, deadline=None, derandomize=True)
@given(degrees=st.floats(-180.0, 180.0), x=st.floats(-2e3, 2e3), y=st.floats(-2e3, 2e3))
def test_turning_and_moving_changes_nothing(rough, adult, degrees, x, y):
    """Law: wherever the figure stands and whichever way it looks, its frame is the same."""
    vertices, faces = adult
    file = _written(rough, vertices, "+z", "mm", degrees, [x, y, 0.0])
    assert max(_off(find_frame(Surface(file, faces)), file, vertices)) < 2.0


def test_a_raised_arm_does_not_pull_the_plane(adult):
    """With one arm moved forward by 45 degrees, trunk and head still lie on x = 0 to 2 mm."""
    vertices, faces = (np.array(a) for a in adult)
    far = np.clip((vertices[:, 0] - 190.0) / 60.0, 0.0, 1.0) * (vertices[:, 2] > 700.0)
    moved = vertices.copy()
    moved[:, 1] -= far * (vertices[:, 0] - 190.0)
    frame = find_frame(Surface(moved, faces))
    apart = (frame.carry(moved) - moved)[np.abs(vertices[:, 0]) < 100.0]
    assert np.abs(apart[:, 0]).max() < 2.0


@pytest.mark.parametrize("up", ["+z", "-y"])
def test_hands_over_the_head_are_no_legs(figures, adult, rough, up):
    """With both arms raised by 150 degrees up is sure, and crown, crotch and hips lie as with arms hanging, to 5 mm."""
    vertices, faces = figures.figure(arm_deg=150.0)
    head = vertices[np.abs(vertices[:, 0]) < 100.0, 2].max()
    vertices = vertices * (1700.0 / head)
    frame = find_frame(Surface(vertices @ rough.UP[up].T, faces))
    assert (frame.up, frame.tall) == (up, pytest.approx(1700.0, abs=5.0))
    assert min(frame.sure["up"], frame.sure["facing"]) > 0.5
    raised, hanging = (find_landmarks(Surface(*body)) for body in ((vertices, faces), adult))
    for name in ("crown", "crotch", "hip_left", "seat_right", "patella_left"):
        z = [
            found.at(name, Surface(*body))[2]
            for found, body in ((raised, (vertices, faces)), (hanging, adult))
        ]
        assert z[0] == pytest.approx(z[1], abs=5.0), name
    assert not {"wrist_left", "axilla_right", "bust_left"} & set(raised.points)
    assert [f.where for f in raised.findings if f.number == 240][0].startswith(
        "left arm that hangs"
    )


def test_feet_that_are_missing_do_not_turn_the_body_round(adult):
    """Without feet, nose, calves, seat and hands still tell the front."""
    vertices, faces = adult
    kept = faces[vertices[faces, 2].min(axis=1) > 90.0]
    frame = find_frame(Surface(vertices, kept))
    assert abs(frame.turned_deg) < 1.0
    assert frame.sure["facing"] > 0.5


def test_what_is_given_overrides_what_is_found(adult):
    """A facing of +y turns the body half round, and so does "180"; up and unit are obeyed."""
    vertices, faces = adult
    for facing in ("+y", "180"):
        frame = find_frame(Surface(vertices, faces), unit="mm", up="+z", facing=facing)
        assert abs(frame.turned_deg) == pytest.approx(180.0, abs=0.3)
    assert find_frame(Surface(vertices, faces), up="-z").up == "-z"
    assert find_frame(Surface(vertices / 100.0, faces)).unit == "dm"
    assert find_frame(Surface(vertices / 25.4, faces)).unit == "in"


def test_a_short_dress_form_stands_once_its_unit_is_said(adult):
    """A trunk of 600 mm is no person untold; in mm it stands as tall as it is."""
    vertices, faces = adult
    low = 0.5 * np.ptp(vertices[:, 2]) + vertices[:, 2].min()
    inside = (vertices[:, 2] > low) & (vertices[:, 2] < low + 600.0)
    kept, corners = np.unique(faces[inside[faces].all(axis=1)], return_inverse=True)
    trunk = Surface(vertices[kept], corners.reshape(-1, 3))
    with pytest.raises(InputError, match="give the unit"):
        find_frame(trunk)
    frame = find_frame(trunk, unit="mm", up="+z")
    assert frame.unit == "mm"
    assert np.ptp(frame.carry(trunk.vertices)[:, 2]) == pytest.approx(600.0, abs=20.0)


@pytest.mark.parametrize("up", ["+z", "-z", "-x", "askew"])
def test_a_form_on_a_stand_stands_on_it(figures, rough, up):
    """A form stands up along its pole, to half a degree, and begins where the pole ends, to 3 mm; at any tilt."""
    vertices, faces = figures.form_on_stand()
    turn = _rotation(70.0, 0) @ _rotation(40.0, 2) if up == "askew" else rough.UP[up]
    frame = find_frame(Surface(vertices @ turn.T, faces))
    assert np.degrees(np.arccos(min(1.0, (frame.rotation @ turn)[2, 2]))) < 0.5
    assert frame.stand == pytest.approx(600.0, abs=3.0)
    assert frame.sure["up"] > 0.5


def test_a_stand_is_left_out_and_told(figures, rough):
    """Of a form on a stand, its plate flat on an axis of the file like a floor, the form is left with its girths."""
    vertices, faces = figures.form_on_stand()
    scan = body_from_surface(Surface(vertices @ rough.UP["-y"].T / 10.0, faces), unit="cm")
    assert [f.count for f in scan.repairs if f.number == 209]
    assert np.ptp(scan.body.surface.vertices[:, 2]) == pytest.approx(540.0, abs=8.0)
    told = measure(with_landmarks(scan.body))
    assert told.values["waist_girth"] == pytest.approx(_ellipse(115.0, 85.0), abs=5.0)
    assert not {"head_girth", "stature"} & set(told.values)


def _ellipse(a, b):
    """Perimeter of an ellipse by S. Ramanujan's second approximation (1914)."""
    h = ((a - b) / (a + b)) ** 2
    return np.pi * (a + b) * (1.0 + 3.0 * h / (10.0 + np.sqrt(4.0 - 3.0 * h)))


@pytest.mark.parametrize(
    ("tall", "given", "words"),
    [
        (3000.0, {}, "not a person's height"),
        (3.0, {}, "not a person's height"),
        (300.0, {}, "not a person's height"),
        (30.0, {}, "not a person's height"),
        (0.03, {}, "not a person's height"),
        (1700.0, {"unit": "cm"}, "17,000 mm tall"),
        (1.7, {"unit": "mm"}, "2 mm tall"),
        (390.0, {"unit": "mm"}, "390 mm tall"),
        (1700.0, {"unit": "ell"}, "unit ell is not known"),
        (1700.0, {"up": "w"}, "up is w"),
        (1700.0, {"facing": "north"}, "facing is north"),
        (1700.0, {"facing": "+z"}, "is the up axis"),
    ],
)
def test_heights_and_words_that_will_not_do_are_refused(adult, tall, given, words):
    """No unit, two units, a wrong unit by flag and unknown words: one InputError sentence each."""
    vertices, faces = adult
    with pytest.raises(InputError, match=words) as caught:
        find_frame(Surface(vertices * (tall / 1700.0), faces), **given)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("tall", [1778.0, 1850.0, 2032.0])
def test_a_tall_adult_in_inches_is_told_from_a_baby_in_centimetres_by_the_head(adult, rough, tall):
    """70 to 80 units tall: the head's girth is a person's in inches alone, however the figure stands."""
    vertices, faces = adult
    lying = vertices @ rough.UP["+x"].T * (tall / 1700.0 / 25.4)
    assert find_frame(Surface(lying, faces)).unit == "in"


def test_a_figure_with_a_babys_head_is_in_centimetres(adult):
    """With the head as large as a baby's (0.6 of the height round), 80 units are centimetres."""
    vertices, faces = (np.array(a) for a in adult)
    neck = 0.86 * 1700.0
    up = np.clip((vertices[:, 2] - neck) / 60.0, 0.0, 1.0)
    large = (vertices - [0.0, 0.0, neck]) * 2.4 + [0.0, 0.0, neck]
    baby = vertices + up[:, None] * (large - vertices)
    frame = find_frame(Surface(baby * (80.0 / np.ptp(baby[:, 2])), faces))
    assert frame.unit == "cm"


def test_without_a_head_the_sentence_says_how_to_give_the_unit(adult):
    """Shoulders and below, 80 units tall: one sentence with both readings and both options."""
    vertices, faces = adult
    kept = faces[vertices[faces, 2].max(axis=1) < 1380.0]
    scale = 80.0 / float(np.ptp(vertices[kept.ravel(), 2]))
    used, index = np.unique(kept, return_inverse=True)
    with pytest.raises(InputError, match="800 mm in cm or 2032 mm in in") as caught:
        find_frame(Surface(vertices[used] * scale, index.reshape(-1, 3)))
    assert "--unit cm or --unit inch" in str(caught.value)


def test_a_heads_girth_is_that_of_its_widest_level():
    """An ellipsoid on a neck on a chest: the ellipse's perimeter to 1 %; a neck alone has no head."""
    turn = 2 * np.pi * (0.7548776662466927 * np.arange(6000) % 1.0)
    high = np.linspace(-1.0, 1.0, 6000)
    ring = np.sqrt(1.0 - high**2)
    head = np.stack(
        [75.0 * ring * np.cos(turn), 98.0 * ring * np.sin(turn), 1580.0 + 120.0 * high], axis=1
    )
    neck = np.stack(
        [55.0 * np.cos(turn), 55.0 * np.sin(turn), np.linspace(1380.0, 1480.0, 6000)], axis=1
    )
    trunk = np.stack(
        [160.0 * np.cos(turn), 110.0 * np.sin(turn), np.linspace(0.0, 1380.0, 6000)], axis=1
    )
    h = ((98.0 - 75.0) / (98.0 + 75.0)) ** 2
    ramanujan = np.pi * (98.0 + 75.0) * (1.0 + 3.0 * h / (10.0 + np.sqrt(4.0 - 3.0 * h)))
    assert head_girth(np.concatenate([head, neck, trunk])) == pytest.approx(ramanujan, rel=0.01)
    assert head_girth(np.concatenate([neck, trunk])) is None


def test_spread_points_lie_on_the_surface_evenly():
    """On a unit square of one large and many small triangles, every quarter gets a quarter."""
    vertices = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0.5, 0.5, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    points = spread_points(Surface(vertices, faces), 8000)
    assert np.abs(points[:, 2]).max() == 0.0
    quarter = np.bincount((points[:, 0] > 0.5) * 2 + (points[:, 1] > 0.5))
    assert quarter == pytest.approx([2000] * 4, abs=80)
