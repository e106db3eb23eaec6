"""Measurements: closed forms on solids, steadiness on a real shape, the published gates."""

import json

import igl
import numpy as np
import pytest
import trimesh
from scipy.special import ellipe

from padlib.body import Body, measure
from padlib.body.gates import ORDERED, gates, percentiles
from padlib.body.slices import girth
from padlib.body.tape import spine, taut
from padlib.mesh.surface import Surface

LIMBS = {
    "thigh_girth": "LEG",
    "mid_thigh_girth": "LEG",
    "knee_girth": "LEG",
    "calf_girth": "LEG",
    "minimum_leg_girth": "LEG",
    "upper_arm_girth": "ARM",
    "forearm_girth": "ARM",
    "elbow_girth": "ARM",
    "wrist_girth": "ARM",
    "neck_girth": "NECK",
}


@pytest.mark.parametrize("name", LIMBS)
def test_girth_of_a_round_limb(solid, solid_person, name):
    """The girth of a round limb is 2 pi r within 0.5 mm, square to the limb and without the other one."""
    radius = getattr(solid_person, LIMBS[name])
    assert solid.measured.values[name] == pytest.approx(2 * np.pi * radius, abs=0.5)


@pytest.mark.parametrize("name", ["waist_girth", "bust_girth"])
def test_girth_of_an_elliptic_trunk(solid, solid_person, name):
    """The girth of an elliptic trunk is the elliptic integral within 0.5 mm, arms left out."""
    a, b = solid_person.TRUNK
    expected = 4 * a * ellipe(1 - (b / a) ** 2)
    assert solid.measured.values[name] == pytest.approx(expected, abs=0.5)


def test_heights_of_the_solids(solid, solid_person):
    """Stature, depths and breadths are those of the solids within 0.5 mm; so is the crotch."""
    values = solid.measured.values
    assert values["stature"] == pytest.approx(solid_person.STATURE, abs=0.5)
    assert solid_person.CROTCH <= values["crotch_height"] <= solid_person.CROTCH_SADDLE + 0.5
    assert values["waist_depth"] == pytest.approx(2 * solid_person.TRUNK[1], abs=0.5)
    assert values["waist_breadth"] == pytest.approx(2 * solid_person.TRUNK[0], abs=0.5)


def test_every_girth_is_the_length_of_its_tape(base):
    """A girth is the length of its closed tape line; of two sides the mean."""
    lines, values = base.measured.tape_lines, base.measured.values
    for name, value in values.items():
        if not name.endswith("_girth"):
            continue
        own = [lines[n] for n in (name, f"{name}_left", f"{name}_right") if n in lines]
        assert all(np.array_equal(line[0], line[-1]) for line in own)
        assert value == pytest.approx(np.mean([girth(line) for line in own]), rel=1e-9)


def test_tapes_lie_on_the_skin(base):
    """The corners of every girth's tape lie on the surface."""
    rings = [line for name, line in base.measured.tape_lines.items() if "girth" in name]
    corners = np.concatenate(rings)
    square = igl.point_mesh_squared_distance(corners, base.surface.vertices, base.surface.faces)[0]
    assert np.sqrt(square.max()) < 1e-6


def test_names_of_the_contract_are_measured(base):
    """Every measurement that DESIGN section 6 names is there for a whole body."""
    names = {*HEIGHTS_5, *GIRTHS_5, "ankle_girth", "shoulder_width", "back_waist_length"}
    names |= {"arm_length", "total_crotch_length"}
    assert names <= set(base.measured.values)


def test_the_gates_hold_on_a_human_shape(base):
    """On a human shape every ordering that holds for all of ANSUR II holds."""
    assert not [w for w in base.measured.warnings if w.number == 261]


def test_shares_of_stature_are_human(base):
    """Heights and lengths lie within 4 standard deviations of ANSUR II's shares of stature, or 10 % for arms.

    Means and deviations: VALUES 2.3, women and men taken together; the crotch of the figure is lower
    because its feet are 0.5 m apart.
    """
    v, tall = base.measured.values, base.measured.values["stature"]
    for name, mean, spread in (
        ("cervicale_height", 0.860, 0.007),
        ("shoulder_height", 0.820, 0.010),
        ("axilla_height", 0.759, 0.009),
        ("crotch_height", 0.481, 0.015),
        ("knee_height", 0.277, 0.009),
        ("ankle_height", 0.040, 0.003),
        ("hand_length", 0.111, 0.004),
        ("foot_length", 0.153, 0.005),
    ):
        assert abs(v[name] / tall - mean) < 4 * spread, name


GIRTHS_5 = [*LIMBS, "bust_girth", "chest_girth", "waist_girth", "hip_girth", "head_girth"]
HEIGHTS_5 = [
    "stature",
    "cervicale_height",
    "suprasternal_height",
    "shoulder_height",
    "axilla_height",
    "bust_height",
    "waist_height",
    "hip_height",
    "crotch_height",
    "knee_height",
    "ankle_height",
]


def test_noise_does_not_change_a_measurement(fine, rough, knowing):
    """0.7 mm of noise on every vertex of a 10 mm mesh moves no girth and no height by 5 mm."""
    noisy = knowing(*rough.noisy(fine.surface.vertices, fine.surface.faces, 0.7)).measured.values
    for name in GIRTHS_5 + HEIGHTS_5:
        assert noisy[name] == pytest.approx(fine.measured.values[name], abs=5.0), name


def test_triangle_count_does_not_change_a_measurement(fine, rough, knowing):
    """The same body at 107,000 and at 25,000 triangles: girths and heights within 5 mm, most within 2 mm."""
    coarse = knowing(*rough.coarser(fine.surface.vertices, fine.surface.faces, 25_000))
    off = {
        name: abs(coarse.measured.values[name] - fine.measured.values[name])
        for name in GIRTHS_5 + HEIGHTS_5
    }
    assert max(off.values()) < 5.0, off
    assert np.median(list(off.values())) < 2.0, off


@pytest.mark.slow
def test_a_split_mesh_is_the_same_body(base_mesh, base, knowing):
    """Every triangle split in four is the same surface: every girth within 2 mm, every height within 3 mm."""
    mesh = trimesh.Trimesh(*base_mesh, process=False).subdivide()
    split = knowing(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64)).measured.values
    for name in GIRTHS_5:
        assert split[name] == pytest.approx(base.measured.values[name], abs=2.0), name
    for name in HEIGHTS_5:
        assert split[name] == pytest.approx(base.measured.values[name], abs=3.0), name


def test_a_small_turn_does_not_change_a_measurement(base_mesh, base, rough, knowing):
    """Four degrees off the front: girths within 3 mm and heights within 5 mm."""
    turned = knowing(*rough.turned(*base_mesh, 4.0)).measured.values
    for name in GIRTHS_5:
        assert turned[name] == pytest.approx(base.measured.values[name], abs=3.0), name
    for name in HEIGHTS_5:
        assert turned[name] == pytest.approx(base.measured.values[name], abs=5.0), name


@pytest.mark.slow
def test_measurements_scale_with_the_body(base_mesh, base, knowing):
    """A body of 1.2 times the size has every measurement 1.2 times, within 1 %."""
    large = knowing(base_mesh[0] * 1.2, base_mesh[1]).measured.values
    for name, value in base.measured.values.items():
        assert large[name] == pytest.approx(1.2 * value, rel=0.01), name


def test_a_body_without_landmarks_is_measured_too(base):
    """measure finds the landmarks itself when the body has none."""
    again = measure(Body(base.surface))
    assert again.values == base.measured.values


# VALUES 2.4: the two subjects of ANSUR II closest to the column means (38 columns standardised).
SUBJECT_23724 = {
    "stature": 1765, "head_girth": 574, "neck_girth": 390, "neck_base_girth": 426, "chest_girth": 1044,
    "waist_girth": 970, "hip_girth": 1042, "thigh_girth": 639, "calf_girth": 402, "minimum_leg_girth": 227,
    "forearm_girth": 311, "wrist_girth": 168, "cervicale_height": 1515, "shoulder_height": 1424,
    "axilla_height": 1311, "crotch_height": 842, "knee_height": 480, "ankle_height": 67, "foot_length": 269,
    "trochanter_height": 900, "upper_arm_girth": 357, "body_rise": 200, "total_crotch_length": 626,
}  # fmt: skip


def test_a_real_record_raises_no_warning():
    """The man of ANSUR II nearest to the means (subject 23724) passes every gate."""
    assert list(gates(SUBJECT_23724)) == []


@pytest.mark.parametrize(("small", "large"), ORDERED)
def test_every_ordering_is_guarded(small, large):
    """Each published ordering, turned round, is told by its own finding."""
    values = {small: 500.0, large: 480.0}
    assert [f.number for f in gates(values) if f.where == small and f.number == 261] == [261]


def test_a_wrong_unit_is_told():
    """Centimetres taken for millimetres: stature below the table is told."""
    found = list(gates({k: v / 10 for k, v in SUBJECT_23724.items()}))
    assert [f.number for f in found] == [263]


def test_an_outlier_is_told_with_its_bounds():
    """One measurement far outside the 99th percentile is named with the published bounds."""
    found = list(gates(SUBJECT_23724 | {"calf_girth": 520.0}))
    assert [(f.number, f.where) for f in found] == [(260, "calf_girth")]
    assert f"{percentiles()['calf_girth']['men'][2]:.0f}" in found[0].words


def test_a_short_crotch_length_is_told():
    """A crotch length under twice the rise is told."""
    found = list(gates({"total_crotch_length": 390.0, "body_rise": 200.0}))
    assert [f.number for f in found] == [261]


def test_percentiles_are_those_of_the_published_table():
    """Medians equal the table of ANSUR II in VALUES 2.2; each row rises; the source is named."""
    table = percentiles()
    for name, men, women in (
        ("stature", 1755, 1626),
        ("chest_girth", 1056, 940),
        ("hip_girth", 1017, 1018.5),
        ("crotch_height", 845, 780),
        ("wrist_girth", 176, 154),
    ):
        assert (table[name]["men"][1], table[name]["women"][1]) == (men, women)
    assert all(row[g] == sorted(row[g]) for row in table.values() for g in ("men", "women"))


def test_taut_tape_over_a_half_circle():
    """A tape over half a circle is half its girth; on the hollow side it is the chord."""
    turn = np.linspace(0, np.pi, 721)
    arc = np.column_stack([100 * np.cos(turn), 0 * turn, 100 * np.sin(turn)])
    up = np.array([0.0, -1.0, 0.0])
    over = taut(arc[1:-1], up, arc[0], arc[-1])
    back = taut(arc[1:-1], -up, arc[0], arc[-1])
    length = [np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in (over, back)]
    assert max(length) == pytest.approx(np.pi * 100, rel=1e-4)
    assert min(length) == pytest.approx(200.0)
    for line in (over, back):
        np.testing.assert_allclose(line[[0, -1]], arc[[0, -1]])


@pytest.mark.parametrize(("noise", "most"), [(0.0, 2e-3), (1.0, 3e-3)])
def test_spine_on_a_ball(noise, most):
    """The line down the back of a ball between two heights is the arc of its great circle, of a rough ball, too."""
    ball = trimesh.creation.icosphere(5, 200.0)
    off = noise * np.random.default_rng(0).normal(size=ball.vertices.shape)
    top, low = (np.array([0, 200 * np.cos(a), 200 * np.sin(a)]) for a in (0.9, -0.7))
    line = spine(np.array(ball.vertices) + off, np.array(ball.faces), top, low)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert length == pytest.approx(200 * 1.6, rel=most)


def test_measurements_are_plain_and_repeatable(base):
    """Values are plain floats that go into JSON, and a second run gives the same numbers."""
    again = measure(base.body)
    assert json.dumps(again.values) == json.dumps(base.measured.values)


def test_an_override_moves_its_tape(base):
    """A landmark moved up moves the tape that hangs on it: a given waist is measured where it is."""
    marks = dict(base.body.landmarks)
    for name in ("waist_left", "waist_right"):
        marks[name] = marks[name.replace("waist", "iliac")]
    moved = measure(Body(Surface(base.surface.vertices, base.surface.faces), landmarks=marks))
    height = base.body.at("iliac_left")[2]
    assert moved.values["waist_height"] == pytest.approx(height, abs=1.0)
    assert np.allclose(moved.tape_lines["waist_girth"][:, 2], height, atol=1.0)


def test_what_comes_out_below_nothing_is_left_out_and_told(base):
    """A nape at the ankle has no length of trunk above the crotch: no number, one sentence."""
    marks = dict(base.body.landmarks)
    marks["cervicale"] = marks["ankle_left"]
    told = measure(Body(Surface(base.surface.vertices, base.surface.faces), landmarks=marks))
    assert "trunk_length" not in told.values
    assert min(told.values.values()) > 0.0
    assert [f for f in told.warnings if f.number == 266 and "trunk_length" in f.words]
