"""The shell: closed, free of crossings, nowhere inside the body, laid as cloth lies."""

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.findings import Grade
from padlib.mesh.surface import Surface
from padlib.padding import shapes
from padlib.padding.cover import cover
from padlib.padding.dressed import dress
from padlib.padding.pad import Pad
from padlib.padding.shell import build_shell, pad_shell


def _beside(name):
    """A module that lies beside this one."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


laws = _beside("laws")
check, outside = laws.check, laws.outside

DEFAULT = (Pad("thigh", "thigh"), Pad("seat", "seat"))
BUILDS = ("plain", "child_heavy", "heavy", "thin")


@pytest.mark.parametrize("build", BUILDS)
def test_the_usual_shell_keeps_the_laws(human, build):
    """Thigh and seat pads with the usual cloth and ease give a sound shell on every build."""
    body = human(build)
    shell = build_shell(body, DEFAULT)
    check(body, shell)
    worn = cover(body) == 1
    room = outside(shell.surface.vertices[worn], body.surface)
    assert room.min() > 1.9
    assert np.median(room) == pytest.approx(12.0, abs=1.0)


def test_each_vertex_knows_its_point_on_the_body(human):
    """The barycentric point of every vertex is the body's vertex of the same number."""
    body = human("plain")
    shell = build_shell(body, DEFAULT)
    corners = body.surface.vertices[body.surface.faces[shell.on_body_face]]
    placed = np.einsum("nk,nkd->nd", shell.on_body_barycentric, corners)
    np.testing.assert_array_equal(placed, body.surface.vertices)


def test_head_hands_and_feet_stay_bare(human):
    """Where the suit does not reach the shell is the body itself."""
    body = human("plain")
    shell = build_shell(body, DEFAULT)
    bare = cover(body) == 0
    heights = body.surface.vertices[bare][:, 2]
    assert heights.max() == body.surface.vertices[:, 2].max()
    assert heights.min() == body.surface.vertices[:, 2].min()
    np.testing.assert_array_equal(shell.surface.vertices[bare], body.surface.vertices[bare])
    for name in (
        "wrist_left",
        "wrist_right",
        "ankle_left",
        "ankle_right",
        "cervicale",
        "waist_back",
    ):
        near = np.linalg.norm(body.surface.vertices - body.at(name), axis=1).argmin()
        assert cover(body)[near] > 0.9, name


def test_nothing_added_is_nothing_moved(human):
    """Without pads, cloth, ease and bridging the shell is the body."""
    body = human("plain")
    shell = build_shell(body, [], cloth_thickness=0, ease=0, bridge=0)
    np.testing.assert_array_equal(shell.surface.vertices, body.surface.vertices)
    assert shell.findings == ()


def test_the_same_input_gives_the_same_bytes(human):
    """Two runs agree to the last bit."""
    body = human("child_heavy", 26.0)
    first, second = (build_shell(body, DEFAULT).surface.vertices.tobytes() for _ in range(2))
    assert first == second


def test_a_symmetric_body_gives_a_symmetric_shell(human):
    """A mesh put together of a left half and its mirror image has a mirror symmetric shell."""
    body = human("plain", None)
    points, faces = body.surface.vertices, body.surface.faces
    half = faces[(points[faces][:, :, 0] > -1e-6).all(axis=1)]
    mesh = trimesh.Trimesh(
        np.vstack([points, points * [-1, 1, 1]]),
        np.vstack([half, half[:, ::-1] + len(points)]),
        process=False,
    )
    mesh.merge_vertices(digits_vertex=5)
    mesh.remove_unreferenced_vertices()
    assert mesh.is_watertight
    whole = Body(Surface(mesh.vertices, mesh.faces))
    placed = build_shell(whole, []).surface.vertices
    order, mirror = (
        np.lexsort((whole.surface.vertices * [side, 1, 1]).round(4).T + 0.0) for side in (1, -1)
    )
    gap = np.linalg.norm(placed[order] - placed[mirror] * [-1, 1, 1], axis=1)
    assert np.linalg.norm(placed - whole.surface.vertices, axis=1).max() > 5
    assert gap.max() < 0.01


def test_pads_between_the_thighs_are_trimmed_and_told(human):
    """Pads that wrap so far and stand off so much that they meet are trimmed, with a finding in mm."""
    body = human("heavy")
    pads = [Pad("leg", "thigh", "both", {"depth": 180, "wrap": 150, "blend": 150})]
    shell = build_shell(body, pads)
    told = [finding for finding in shell.findings if finding.number == 301]
    assert [finding.where for finding in told] == ["leg (left)", "leg (right)"]
    assert told[0].grade is Grade.WARNING
    assert "trimmed by up to" in told[0].words
    assert "near groin_" in told[0].words or "near crotch" in told[0].words
    asked = np.maximum(*(shapes.thickness(body, pads[0], side) for side in ("left", "right")))
    assert (shell.thickness <= asked * 1.25 + 1e-9).all()
    check(body, shell)


@pytest.mark.parametrize(("amount", "bridge"), [(6.0, 8.0), (12.0, 30.0)])
def test_a_groove_is_bridged_within_bounds(amount, bridge):
    """Over a groove of 40 x 40 mm the cloth is lifted, by no more than the bridge allows."""
    body = grooved()
    depth = body.surface.vertices[:, 2]
    follows = build_shell(body, [], cloth_thickness=2, ease=amount - 2, bridge=0).surface.vertices
    laid = build_shell(body, [], cloth_thickness=2, ease=amount - 2, bridge=bridge).surface.vertices
    bottom = np.flatnonzero(
        (np.abs(body.surface.vertices[:, 0]) < 1)
        & (depth > -60)
        & (depth < -30)
        & (np.abs(body.surface.vertices[:, 1]) < 100)
    )
    lifted = laid[bottom, 2] - follows[bottom, 2]
    assert lifted.mean() > 2.0
    assert lifted.max() < bridge + 0.5


def grooved():
    """A slab 600 x 600 x 150 mm with a rounded groove 40 mm deep along y in its top."""
    box = trimesh.creation.box(extents=(600, 600, 150))
    box.apply_translation((0, 0, -75))
    while box.edges_unique_length.max() > 28:
        box = box.subdivide()
    points = np.array(box.vertices)
    top = points[:, 2] > -1
    groove = -40 * np.exp(-((points[:, 0] / 22) ** 2))
    points[top, 2] += groove[top]
    return Body(Surface(points, box.faces), source="groove")


@pytest.mark.parametrize(
    ("amounts", "words"),
    [
        ({"ease": -1}, "'ease' is -1 mm but must be from 0 to 100 mm"),
        ({"ease": float("nan")}, "'ease' is nan mm but must be from 0 to 100 mm"),
        ({"cloth_thickness": 90}, "'cloth_thickness' is 90 mm but must be from 0 to 30 mm"),
        ({"bridge": 500}, "'bridge' is 500 mm but must be from 0 to 100 mm"),
    ],
)
def test_amounts_out_of_limits_are_told(human, amounts, words):
    """Cloth, ease and bridge out of their limits are named with what is allowed."""
    with pytest.raises(InputError, match=words):
        build_shell(human("plain"), [], **amounts)


def test_a_shell_made_from_the_last_one_is_the_shell_made_anew(human):
    """A pad's depth changed, then changed back: within 0.3 mm of the shell that knows no earlier one."""
    body = human("plain")
    dressed = dress(body)
    moved = [replace(DEFAULT[0], parameters={"depth": 90.0}), DEFAULT[1]]
    first = pad_shell(dressed, DEFAULT)
    second = pad_shell(dressed, moved, last=first)
    anew = build_shell(body, moved)
    assert np.abs(second.surface.vertices - anew.surface.vertices).max() < 0.3
    np.testing.assert_array_equal(second.thickness, anew.thickness)
    back = pad_shell(dressed, DEFAULT, last=second)
    assert np.abs(back.surface.vertices - first.surface.vertices).max() < 0.3
    far = np.linalg.norm(body.surface.vertices - body.at("wrist_left"), axis=1) < 60
    np.testing.assert_array_equal(second.surface.vertices[far], first.surface.vertices[far])
