"""Limb axes, coordinates along and around them, and the parts of the body."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from padlib.body import around, limb_axes, limb_frame, project, segment
from padlib.body.axes import places
from padlib.body.landmarks import find_landmarks
from padlib.mesh.surface import Surface

LIMBS = ["leg_left", "leg_right", "arm_left", "arm_right", "trunk"]


def test_arm_axis_is_the_axis_of_a_straight_arm(solid, solid_person):
    """The centre line of a straight round arm lies on its axis within 1 mm and ends at its tip, its shoulder point over
    the axis within 0.5 mm from front to back. It starts half way to the armpit's fold, which here lies 4 mm behind the
    axis; the first 30 mm lead over from there."""
    for side, sign in (("left", 1.0), ("right", -1.0)):
        root, end = np.array([sign * 120, 0, 1400]), solid_person.arm_end(sign)
        way = (end - root) / np.linalg.norm(end - root)
        offset = solid.axes[f"arm_{side}"] - root
        off = np.linalg.norm(offset - np.outer(offset @ way, way), axis=1)
        along = offset @ way
        assert off[along > along[0] + 30.0].max() < 1.0
        assert abs(places(solid.surface, solid.body.landmarks)[f"acromion_{side}"][1]) < 0.5
        tip = np.linalg.norm(end - root) + solid_person.ARM
        assert offset[-1] @ way == pytest.approx(tip, abs=1.0)


def test_leg_axis_is_the_axis_of_a_straight_leg(solid):
    """The centre line of a straight upright leg keeps to x = 92, y = 0 between thigh and ankle within 1 mm."""
    line = solid.axes["leg_left"]
    straight = line[(line[:, 2] > 150) & (line[:, 2] < 720)]
    assert np.abs(straight[:, 0] - 92).max() < 1.0
    assert np.abs(straight[:, 1]).max() < 1.0


def test_axes_run_outward_and_smoothly(base):
    """Every line runs from its root outward, in even steps, without a bend of more than 15 degrees a step."""
    assert list(base.axes) == ["leg_left", "arm_left", "leg_right", "arm_right", "trunk"]
    for name, line in base.axes.items():
        step = np.diff(line, axis=0)
        size = np.linalg.norm(step, axis=1)
        assert size.max() < 12.0, name
        cosine = (step[1:] * step[:-1]).sum(axis=1) / size[1:] / size[:-1]
        assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 15.0, name
        assert (line[-1, 2] > line[0, 2]) == (name == "trunk")


def test_axes_run_through_the_middle_of_the_flesh(fine):
    """All round the limb the skin is at least half as far from the line as it is on average."""
    for name, part in (("leg_left", 4), ("leg_right", 5), ("arm_left", 2), ("arm_right", 3)):
        line = fine.axes[name]
        s, offset = project(line, fine.surface.vertices[fine.label == part])
        turn = around(line, fine.surface.vertices[fine.label == part], name.split("_")[1])
        length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
        for a in np.linspace(0.25, 0.6, 8) * length:
            near = np.abs(s - a) < 15
            away = np.linalg.norm(offset[near], axis=1)
            sector = ((turn[near] + 180) // 60).astype(int) % 6
            mean = np.bincount(sector, away, 6) / np.bincount(sector, minlength=6)
            assert mean.min() > 0.5 * mean.mean(), (name, a)


def brute(line, point):
    """Nearest place of the line by fine sampling, ends drawn out straight."""
    far = 1000.0
    first, last = line[0] - line[1], line[-1] - line[-2]
    first, last = first / np.linalg.norm(first), last / np.linalg.norm(last)
    points = np.concatenate([[line[0] + far * first], line, [line[-1] + far * last]])
    best = np.inf
    for a, b in zip(points[:-1], points[1:], strict=True):
        t = np.clip((point - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        best = min(best, np.linalg.norm(point - a - t * (b - a)))
    return best


@pytest.mark.property
@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(*[st.floats(-100, 100)] * 3), min_size=1, max_size=6),
    st.integers(0, 10_000),
)
def test_projection_is_the_nearest_place(points, seed):
    """project gives the distance of the nearest place of the drawn-out line; line(s) + offset is the point."""
    rng = np.random.default_rng(seed)
    line = np.cumsum(rng.uniform(-10, 30, (7, 3)), axis=0)
    points = np.array(points)
    s, offset = project(line, points)
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    for k, p in enumerate(points):
        assert np.linalg.norm(offset[k]) == pytest.approx(brute(line, p), abs=1e-6)
        if 0 <= s[k] <= at[-1]:
            foot = np.array([np.interp(s[k], at, line[:, d]) for d in range(3)])
            np.testing.assert_allclose(foot + offset[k], p, atol=1e-6)


def test_projection_goes_on_beyond_both_ends():
    """Before the first point s is negative, beyond the last it is more than the length."""
    line = np.array([[0, 0, 0], [0, 0, 100.0], [0, 0, 200.0]])
    s, offset = project(line, np.array([[3.0, 4, -50], [0, 0, 260], [5, 0, 150]]))
    np.testing.assert_allclose(s, [-50, 260, 150])
    np.testing.assert_allclose(np.linalg.norm(offset, axis=1), [5, 0, 5])


@pytest.mark.parametrize(("side", "out"), [("left", 1.0), ("right", -1.0)])
def test_angles_around_an_upright_leg(side, out):
    """0 is in front, 90 outward, 180 behind, -90 inward, on both sides of the body."""
    line = np.array([[out * 90, 0, 800.0], [out * 90, 0, 400], [out * 90, 0, 0]])
    ring = np.array([[0, -1, 0], [out, 0, 0], [0, 1, 0], [-out, 0, 0], [out, -1, 0]]) * 50.0
    got = around(line, ring + [out * 90, 0, 500], side)
    np.testing.assert_allclose(np.abs(got[[0, 2]]), [0, 180], atol=1e-9)
    np.testing.assert_allclose(got[[1, 3, 4]], [90, -90, 45], atol=1e-9)


def test_frames_are_square_and_outward(base):
    """Front and outward are unit and square to the line and to each other; outward points away."""
    for name in LIMBS:
        side = name.removeprefix("leg_").removeprefix("arm_").replace("trunk", "left")
        line = base.axes[name]
        front, outward = limb_frame(line, side)
        tangent = np.gradient(line, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        for a, b in ((front, outward), (front, tangent), (outward, tangent)):
            assert np.abs((a * b).sum(axis=1)).max() < 1e-6
        np.testing.assert_allclose(np.linalg.norm(outward, axis=1), 1.0)
        assert (outward[:, 0] * (1 if side == "left" else -1) > 0).all()
        assert (front[:, 1] < 0).all()


def test_parts_are_connected_regions(base):
    """Each of the six parts is one connected region of the surface, save inner bags of a mesh's head."""
    faces = base.surface.faces
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    for part in range(6):
        inside = base.label == part
        own = pairs[inside[pairs].all(axis=1)]
        graph = coo_matrix((np.ones(len(own)), (own[:, 0], own[:, 1])), shape=(len(inside),) * 2)
        group = connected_components(graph, directed=False)[1][inside]
        assert np.bincount(group).max() > 0.97 * inside.sum(), part


def test_parts_hold_their_landmarks(base):
    """Hands are arms, feet and knees legs, the crown head, waist and bust trunk, each on its own side."""
    vertices = base.surface.vertices

    def part_of(name):
        near = np.linalg.norm(vertices - base.body.at(name), axis=1).argmin()
        return base.label[near]

    expected = {"wrist_left": 2, "hand_tip_right": 3, "elbow_right": 3, "toe_left": 4}
    expected |= {
        "patella_right": 5,
        "mid_thigh_left": 4,
        "crown": 1,
        "waist_front": 0,
        "bust_left": 0,
    }
    expected |= {"seat_left": 0, "iliac_right": 0}
    for name, part in expected.items():
        assert part_of(name) == part, name


def test_areas_of_the_parts_are_human(base):
    """Shares of the skin: each leg 14 to 22 %, each arm 7 to 12 %, after Lund and Browder (VALUES 3.2)."""
    v, f = base.surface.vertices, base.surface.faces
    area = np.linalg.norm(np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]]), axis=1)
    part = np.sort(base.label[f], axis=1)[:, 1]
    share = np.bincount(part, area, 6) / area.sum()
    assert (share[[4, 5]] > 0.14).all()
    assert (share[[4, 5]] < 0.22).all()
    assert (share[[2, 3]] > 0.07).all()
    assert (share[[2, 3]] < 0.12).all()


def test_axes_and_parts_take_a_mapping_of_points(base):
    """A body's own mapping of points does as well as the Landmarks value."""
    found = find_landmarks(base.surface)
    again = limb_axes(base.surface, found)
    assert all(np.array_equal(again[name], base.axes[name]) for name in base.axes)
    assert np.array_equal(segment(base.surface, found), base.label)


def test_nothing_known_gives_nothing(base):
    """Without landmarks there are no limbs, everything is trunk."""
    assert set(limb_axes(base.surface, {})) <= {"trunk"}
    assert not segment(Surface(base.surface.vertices, base.surface.faces), {}).any()
