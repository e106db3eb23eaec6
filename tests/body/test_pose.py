"""Bodies in other poses: angles, volumes and girths measured by trimesh and shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from padlib.body import Body, with_landmarks
from padlib.body.landmarks import POSED, find_landmarks
from padlib.body.pose import pose_body
from padlib.body.warp import ring_hold
from padlib.errors import InputError
from padlib.mesh.surface import Surface

POSES = (
    {"arms_deg": 90.0},
    {"arms_deg": 150.0},
    {"arms_deg": 20.0},
    {"elbow_deg": 90.0},
    {"sit_deg": 90.0},
    {"stride_deg": 30.0},
    {"sit_deg": 80.0, "arms_deg": 70.0, "elbow_deg": 60.0, "stride_deg": 5.0},
)
AWAY = {  # tapes away from every joint, by side
    "forearm_girth": ("left", "right"),
    "mid_thigh_girth": ("left", "right"),
    "calf_girth": ("left", "right"),
    "waist_girth": (),
    "head_girth": (),
}


def as_mesh(body: Body) -> trimesh.Trimesh:
    """The body's surface as trimesh has it."""
    return trimesh.Trimesh(body.surface.vertices, body.surface.faces, process=False)


def carried_girth(before: Body, after: Body, ring: np.ndarray) -> float:
    """Girth in mm of the section of the posed body by the plane into which a tape's ring was carried."""
    hold = ring_hold(before.surface.vertices, before.surface.faces, ring)
    places = np.einsum("kq,kqc->kc", hold.weights, after.surface.vertices[hold.vertices])
    centre = places.mean(axis=0)
    u, w, normal = np.linalg.svd(places - centre, full_matrices=False)[2]
    section = as_mesh(after).section(plane_origin=centre, plane_normal=normal)
    rings = [np.asarray(r) - centre for r in section.discrete]
    own = min(rings, key=lambda r: np.linalg.norm(r.mean(axis=0)))
    return float(shapely.MultiPoint(own @ np.column_stack([u, w])).convex_hull.length)


@pytest.fixture(scope="module")
def person(solid_person) -> Body:
    """The person of solids."""
    return with_landmarks(Body(Surface(*solid_person.person(16.0))))


def axis_of(points: np.ndarray) -> np.ndarray:
    """Direction (3,) in which points (n, 3) are spread most, pointing down."""
    way = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][0]
    return -way * np.sign(way[2] or 1.0)


@pytest.mark.parametrize("angle", [20.0, 60.0, 85.0, 120.0])
def test_straight_arms_hang_at_the_angle_asked_for(person: Body, angle: float) -> None:
    """The lower half of straight arms, by its principal axis, lies at the angle on both sides, to 2 degrees."""
    posed = pose_body(person, arms_deg=angle)

    for sign in (1.0, -1.0):
        rest = np.array([sign * np.sin(np.radians(35.0)), 0.0, -np.cos(np.radians(35.0))])
        along = (person.surface.vertices - [sign * 120.0, 0.0, 1400.0]) @ rest
        near = np.linalg.norm(
            np.cross(person.surface.vertices - [sign * 120.0, 0.0, 1400.0], rest), axis=1
        )
        lower = (along > 380) & (along < 680) & (near < 60)  # the arms' solids are 690 mm long
        way = axis_of(posed.surface.vertices[lower])
        lean = np.degrees(np.arctan2(sign * way[0], -way[2])) % 180.0
        assert lean == pytest.approx(angle, abs=2.0)


def test_sitting_has_level_thighs_and_upright_shins(person: Body) -> None:
    """At 90 degrees straight legs have thighs level and shins upright to 2 degrees, feet on the floor."""
    posed = pose_body(person, sit_deg=90.0)
    x, _, z = person.surface.vertices.T
    knee = person.at("patella_left")[2]
    shin = axis_of(posed.surface.vertices[(x > 0) & (z > 150) & (z < knee - 120)])
    rings = [(x > 0) & (x < 160) & (np.abs(z - knee - up) < 20) for up in (80, 200)]
    thigh = np.subtract(*(posed.surface.vertices[ring].mean(axis=0) for ring in rings))
    middle = posed.surface.vertices[(x > 0) & (z > knee + 100) & (z < knee + 180) & (x < 160)].mean(
        axis=0
    )

    assert np.degrees(np.arccos(-shin[2])) < 2.0
    assert abs(np.degrees(np.arctan2(thigh[2], -thigh[1]))) < 2.0
    assert middle[1] < person.at("crotch")[1] - 60
    assert posed.surface.vertices[:, 2].min() == 0.0
    assert posed.surface.vertices[:, 2].max() == pytest.approx(
        person.surface.vertices[:, 2].max() - 800 + knee, abs=120
    )


def test_stride_puts_the_left_leg_before_the_right(person: Body) -> None:
    """Both feet move by the sine of the angle times the leg, to opposite sides, to 5 %."""
    posed = pose_body(person, stride_deg=25.0)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        leg = np.linalg.norm(person.at(f"mid_thigh_{side}") - person.at(f"ankle_{side}"))
        way = posed.at(f"ankle_{side}") - posed.at(f"mid_thigh_{side}")
        lean = person.at(f"ankle_{side}") - person.at(f"mid_thigh_{side}")
        before, after = (np.arctan2(w[1], -w[2]) for w in (lean, way))

        assert np.linalg.norm(way) == pytest.approx(leg, rel=1e-6)
        assert np.degrees(after - before) == pytest.approx(sign * 25.0, abs=0.1)


@pytest.fixture(scope="module", params=POSES, ids=str)
def posed(request, base) -> Body:
    """A human mesh in one pose."""
    return pose_body(base.body, **request.param)


def test_volume_is_kept_and_nothing_tears(base, posed: Body) -> None:
    """The volume of a human mesh stays within 3 %, no edge gets longer than 3.5 times.

    And no finding tells of triangles that are newly pierced by others (test_crossings checks that).
    """
    before = base.body
    mesh, rest = as_mesh(posed), as_mesh(before)
    ratio = mesh.edges_unique_length / rest.edges_unique_length

    assert mesh.volume == pytest.approx(rest.volume, rel=0.03)
    assert mesh.is_watertight
    assert ratio.max() < 3.5
    assert np.percentile(ratio, 99) < 1.6
    assert 280 not in {f.number for f in posed.findings}


def test_girths_away_from_the_joints_stay(base, posed: Body) -> None:
    """Forearm, thigh, calf, waist and head girth of the posed mesh, cut by trimesh, stay within 2 %."""
    lines = base.measured.tape_lines
    keys = [f"{n}_{s}" for n, sides in AWAY.items() for s in sides]
    keys += [n for n, sides in AWAY.items() if not sides]

    for key in keys:
        now = carried_girth(base.body, posed, lines[key])
        assert now == pytest.approx(carried_girth(base.body, base.body, lines[key]), rel=0.02), key


def test_no_pose_is_the_body_itself(person: Body) -> None:
    """Nothing asked, nothing moved; landmarks stay those of the body."""
    posed = pose_body(person)

    assert np.array_equal(
        posed.surface.vertices,
        person.surface.vertices - [0, 0, person.surface.vertices[:, 2].min()],
    )
    assert posed.landmarks == person.landmarks


@pytest.mark.parametrize(
    ("pose", "words"),
    [
        ({"arms_deg": 200.0}, "arms_deg must be 5 to 170"),
        ({"sit_deg": -5.0}, "sit_deg must be 0 to 110"),
        ({"stride_deg": np.nan}, "stride_deg must be"),
        ({"elbow_deg": 190.0}, "elbow_deg must be"),
    ],
)
def test_angles_out_of_range(person: Body, pose: dict[str, float], words: str) -> None:
    """Each is named with its range."""
    with pytest.raises(InputError, match=words):
        pose_body(person, **pose)


@pytest.mark.parametrize(
    ("missing", "pose", "words"),
    [("arms", {"arms_deg": 90.0}, "no left arm"), ("legs", {"sit_deg": 90.0}, "no left leg")],
)
def test_limbs_that_are_not_there(
    solid_person, missing: str, pose: dict[str, float], words: str
) -> None:
    """A form without arms cannot raise them, one without legs cannot sit."""
    form = Body(Surface(*solid_person.person(18.0, **{missing: False})))
    with pytest.raises(InputError, match=words):
        pose_body(form, **pose)


def test_the_shoulder_rises_with_the_arm(base) -> None:
    """At 150 degrees the collar bone has gone up by about a fifth of what is over 30, and the arm has its angle.

    The shoulder point rises by the collar bone's length times the sine of 10 to 30 degrees (Inman and others 1944).
    """
    at = {n: base.body.at(n) for n in ("acromion_left", "suprasternal", "elbow_left", "wrist_left")}
    posed = pose_body(base.body, arms_deg=150.0)
    bone = np.linalg.norm((at["acromion_left"] - at["suprasternal"])[[0, 2]])
    rise = posed.at("acromion_left")[2] - at["acromion_left"][2]
    lower = posed.at("wrist_left") - posed.at("elbow_left")
    before = at["wrist_left"] - at["elbow_left"]
    turned = np.degrees(np.arctan2(lower[0], -lower[2]) - np.arctan2(before[0], -before[2]))
    level = pose_body(base.body, arms_deg=90.0)
    flat = level.at("wrist_left") - level.at("elbow_left")

    assert bone * np.sin(np.radians(10)) < rise < bone * np.sin(np.radians(30))
    assert np.degrees(np.arctan2(flat[0], -flat[2])) + 60.0 == pytest.approx(
        turned + np.degrees(np.arctan2(before[0], -before[2])), abs=1.0
    )


@pytest.mark.parametrize(("pose", "told"), [({"sit_deg": 60.0}, True), ({"arms_deg": 60.0}, False)])
def test_a_figure_that_does_not_stand_is_told(person: Body, pose: dict, told: bool) -> None:
    """Landmarks of a sitting figure come with a sentence that it does not stand; with arms raised none is said."""
    found = find_landmarks(pose_body(person, **pose).surface)
    assert (POSED in [finding.number for finding in found.findings]) == told
