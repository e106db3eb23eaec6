"""Balance and comfort: closed forms on plain solids, pads that press, bends that are lost."""

import numpy as np
import pytest
import trimesh

from padlib.body.measure import measure
from padlib.findings import Grade
from padlib.mesh.surface import Surface
from padlib.padding.comfort import BODY_DENSITY, _fold_angle, _girths, _middle_y, comfort
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.shell import build_shell


def tube(radius, length=400.0):
    """A closed cylinder about z as a surface."""
    mesh = trimesh.creation.cylinder(radius=radius, height=length, sections=180)
    mesh = mesh.subdivide().subdivide()
    return Surface(mesh.vertices, mesh.faces)


def test_a_band_all_round_adds_two_pi_times_its_thickness():
    """Any convex section padded by t all round: girth + 2 pi t (J. Steiner 1840)."""
    turn = np.linspace(0, 2 * np.pi, 50)
    ring = np.stack([60 * np.cos(turn), 60 * np.sin(turn), np.zeros(50)], axis=1)
    before, after = _girths(ring, tube(60.0), tube(85.0))
    assert before == pytest.approx(2 * np.pi * 60, rel=1e-3)
    assert after - before == pytest.approx(2 * np.pi * 25, rel=1e-3)


def test_a_fold_ends_where_the_limbs_outside_meets_it():
    """On a cylinder of radius r along its own line the steepest place is the nearest one: atan(r / d)."""
    rod = tube(50.0, 800.0).vertices
    joint, end, stature = np.zeros(3), np.array([0.0, 0.0, 380.0]), 1700.0
    angle = _fold_angle(rod, rod, joint, end, np.array([0.0, 1.0, 0.0]), stature)
    nearest = rod[(rod[:, 2] > 0.025 * stature) & (rod[:, 1] > 49)][:, 2].min()
    assert angle == pytest.approx(np.degrees(np.arctan2(50.0, nearest)), abs=1.0)
    fatter = rod * [1.6, 1.6, 1.0]
    padded = _fold_angle(fatter, rod, joint, end, np.array([0.0, 1.0, 0.0]), stature)
    assert padded == pytest.approx(np.degrees(np.arctan2(80.0, nearest)), abs=1.0)


def test_the_middle_of_a_solid_is_trimeshs():
    """The centre of volume of a moved cone, by trimesh."""
    cone = trimesh.creation.cone(radius=40, height=100)
    cone.apply_transform(trimesh.transformations.rotation_matrix(1.1, [1, 0.3, 0]))
    cone.apply_translation((5, 70, -3))
    assert _middle_y(Surface(cone.vertices, cone.faces)) == pytest.approx(cone.center_mass[1])


def told(body, pads):
    """Comfort of a body with pads."""
    shell = build_shell(body, pads)
    return comfort(body, shell, measure(body).tape_lines, make_pillows(body, shell, pads))


def test_usual_pads_widen_the_hips_and_press_nowhere(human):
    """Thigh and seat by default: hip girth grows, no hollow is pressed, and the knee keeps its bend."""
    found = told(human("plain"), [Pad("thigh", "thigh"), Pad("seat", "seat")])
    before, after = found.girths["hip_girth"]
    assert after > before + 100
    arm = found.girths["upper_arm_girth_left"]
    assert arm[1] - arm[0] == pytest.approx(2 * np.pi * 12, rel=0.35)  # cloth and ease alone
    assert found.filling_g > 0
    assert max(found.bend_lost_deg[f"elbow_{s}"] for s in ("left", "right")) < 15
    assert not [f for f in found.findings if f.number == 312 and "axilla" in f.where]


def test_calf_and_thigh_pads_over_the_knee_take_its_bend(human):
    """Pads that end in the hollow of the knee are told twice: in degrees, and as pressing there."""
    body = human("plain")
    pads = [
        Pad("calf", "calf", "both", {"depth": 100, "top": 20, "blend": 60, "fullest": 0.2}),
        Pad("thigh", "thigh", "both", {"depth": 120, "wrap": 150, "bottom": 60}),
    ]
    found = told(body, pads)
    assert found.bend_lost_deg["knee_left"] > 15
    numbers = {f.number for f in found.findings}
    assert {311, 312} <= numbers
    assert all(f.grade is Grade.CAUTION for f in found.findings)
    assert found.pressed_mm["knee_back_left"] > 8


def test_thighs_that_come_together_are_told(human):
    """Wrapped inward the gap shrinks; it is told only where the body alone had one."""
    body = human("thin")
    free = told(body, [Pad("seat", "seat")]).thigh_gap_mm
    tight = told(body, [Pad("thigh", "thigh", "both", {"depth": 90, "wrap": 150})]).thigh_gap_mm
    assert free[0] == tight[0]
    assert tight[1] < free[1] - 5


def test_a_belly_moves_the_balance_forward(human):
    """By the filling's moment over the whole mass, the body taken as heavy as water."""
    body = human("plain")
    found = told(body, [Pad("belly", "belly", "both", {"depth": 150})])
    hump = told(body, [Pad("hump", "hump", "both", {"depth": 150})])
    assert found.forward_mm > 0 > hump.forward_mm
    mesh = trimesh.Trimesh(body.surface.vertices, body.surface.faces, process=False)
    most = found.filling_g / 1000 * 400 / (mesh.volume * BODY_DENSITY)
    assert found.forward_mm < most


def test_a_body_without_landmarks_has_no_joints(slab):
    """Nothing is guessed: no bends, no hollows, no gap."""
    shell = build_shell(slab, [], cloth_thickness=0, ease=0, bridge=0)
    found = comfort(slab, shell, {}, [])
    assert (found.bend_lost_deg, found.pressed_mm, found.thigh_gap_mm) == ({}, {}, None)
    assert found.findings == ()
