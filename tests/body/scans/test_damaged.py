"""Scans of parts of people, damaged and worn-over ones: told and left out, never a traceback, never made up."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import numpy as np
import pytest
import trimesh

from padlib.body import measure, with_landmarks
from padlib.body.scan import body_from_surface
from padlib.errors import PadlibError
from padlib.mesh.surface import Surface

spec = importlib.util.spec_from_file_location("damage", Path(__file__).parent / "damage.py")
damage = importlib.util.module_from_spec(spec)
spec.loader.exec_module(damage)

PLAIN = ("front half", "left half", "upper half", "dress form", "one leg")  # the others are slow
EDGE = 25.0  # mm, for speed


def _measured(vertices, faces, edge=EDGE):
    """Body with landmarks, and measurements, of a mesh as a file holds it."""
    body = with_landmarks(body_from_surface(Surface(vertices, faces), edge_length=edge).body)
    return body, measure(body)


def _body_or_sentence(vertices, faces):
    """A body measured with finite, positive numbers, or one sentence."""
    sentence, values = "none.", np.ones(1)
    try:
        _, told = _measured(vertices, faces)
        values = np.array(list(told.values.values()))
    except PadlibError as failure:
        sentence = str(failure)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert np.all(np.isfinite(values))
    assert np.all(values > 0)


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in PLAIN else pytest.mark.slow) for name in damage.PARTS],
)
def test_a_part_of_a_body_gives_a_body_or_a_sentence(base, name):
    """Halves, forms and stumps of a human shape never end in a traceback."""
    _body_or_sentence(*damage.part(*base, name))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(300))
def test_any_cut_of_a_body_gives_a_body_or_a_sentence(base, seed):
    """What one to three planes leave of a body, turned anyhow, never ends in a traceback."""
    _body_or_sentence(*damage.cut_at_random(*base, np.random.default_rng(seed)))


def test_without_feet_nothing_is_said_over_the_floor(base):
    """No heights where the soles are missing; girths above stay within 5 mm."""
    whole = _measured(*base)[1].values
    body, told = _measured(*damage.part(*base, "no feet"))
    assert 240 in [f.number for f in body.findings]
    assert not {"stature", "crotch_height", "knee_height", "ankle_girth"} & set(told.values)
    for name in ("waist_girth", "hip_girth", "thigh_girth", "calf_girth", "neck_girth"):
        assert told.values[name] == pytest.approx(whole[name], abs=5.0), name


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_one_side_is_made_whole_by_its_image(base, side):
    """Cut clean in the middle, either side gives the girths and heights of the whole body to 5 mm, and is told."""
    whole = _measured(*base, 16.0)[1].values
    half = trimesh.intersections.slice_faces_plane(*base, np.array([side, 0, 0]), np.zeros(3))[:2]
    body, told = _measured(*(np.asarray(part) for part in half), 16.0)
    assert 207 in [f.number for f in body.findings]
    for name in (
        "stature",
        "waist_girth",
        "hip_girth",
        "chest_girth",
        "head_girth",
        "crotch_height",
    ):
        assert told.values[name] == pytest.approx(whole[name], abs=5.0), name


@pytest.mark.parametrize("turn", [0.0, 90.0])
def test_a_wearer_of_one_leg_stands_upright_and_faces_front(base, turn):
    """Upright and lying alike: girths and lengths above the legs to 5 mm, none of the leg that is not there."""
    whole = _measured(*base, 16.0)[1].values
    v, f = damage.part(*base, "one leg")
    scan = body_from_surface(Surface(v @ damage.rotation(turn, 0).T, f), edge_length=16.0)
    told = measure(with_landmarks(scan.body)).values
    assert (scan.up, scan.tilt_deg) == ({0.0: "+z", 90.0: "-y"}[turn], 0.0)
    assert abs(scan.turned_deg) < 1.0
    for name in ("waist_girth", "hip_girth", "chest_girth", "neck_girth", "back_waist_length"):
        assert told[name] == pytest.approx(whole[name], abs=5.0), name
    assert not {"ankle_girth", "calf_girth", "stature"} & set(told)


def test_a_lower_half_has_the_crotch_of_the_whole(base):
    """Heights and girths of the legs do not hang on whether there is an upper half; what that would tell is missing."""
    whole = _measured(*base, 16.0)[1].values
    body, told = _measured(*damage.part(*base, "lower half"), 16.0)
    told = told.values
    for name in ("crotch_height", "knee_height", "thigh_girth", "calf_girth", "hip_girth"):
        assert told[name] == pytest.approx(whole[name], abs=5.0), name
    assert any("ankles" in f.words and "unsure" in f.words for f in body.findings)
    assert not {"stature", "chest_girth", "neck_girth", "waist_height"} & set(told)


@pytest.mark.parametrize("name", ["front half", "back half"])
def test_a_front_or_a_back_alone_is_refused(base, name):
    """Half of every girth is missing: one sentence, no body."""
    with pytest.raises(PadlibError, match="front or only the back"):
        _measured(*damage.part(*base, name))


def test_a_foot_whose_heel_was_not_scanned_is_not_measured(base):
    """A hole of 60 mm at one heel: no foot length, and a finding that says so; without it, it is there."""
    v, f = base
    heel = v[np.argmax(np.where(v[:, 2] < 60.0, v[:, 1], -np.inf))]
    keep = np.linalg.norm(v[f].mean(axis=1) - heel, axis=1) > 30.0
    _, told = _measured(v, f[keep], 16.0)
    assert "foot_length" not in told.values
    assert any("foot_length" in w.words for w in told.warnings if w.number == 267)
    assert "foot_length" in _measured(v, f, 16.0)[1].values


def test_a_band_that_was_lost_is_bridged(base):
    """51 mm lost all round above the waist, arms too: halves and arms are there, girths beside it to 5 mm."""
    v, f = base
    whole = _measured(v, f, 16.0)[1].values
    high = v[f][:, :, 2] / v[:, 2].max()
    body, told = _measured(v, f[(high.max(axis=1) < 0.60) | (high.min(axis=1) > 0.63)], 16.0)
    joined = next(finding for finding in body.findings if finding.number == 116)
    assert joined.count == 3
    for name in (
        "stature",
        "head_girth",
        "bust_girth",
        "hip_girth",
        "calf_girth",
        "upper_arm_girth",
    ):
        assert told.values[name] == pytest.approx(whole[name], abs=5.0), name


def test_a_half_across_a_wide_lost_band_is_told(base):
    """200 mm lost all round: what was left out is told with its share of the surface, never dropped without a word."""
    v, f = base
    high = v[f][:, :, 2] / v[:, 2].max()
    lost = f[(high.max(axis=1) < 0.60) | (high.min(axis=1) > 0.72)]
    scan = body_from_surface(Surface(v, lost), edge_length=EDGE)
    told = [finding for finding in scan.repairs if finding.number == 119]
    assert told
    assert told[0].grade.name == "WARNING"
    assert re.search(r"with (4|5|6)\d% of the surface", told[0].words)


def test_the_lower_half_alone_is_measured(base):
    """Legs and hips without an upper body: girths and heights to 5 mm; the ankle, which hangs on stature, is unsure."""
    whole = _measured(*base, 16.0)[1].values
    body, told = _measured(*damage.part(*base, "lower half"), 16.0)
    assert max(body.sure["ankle_left"], body.sure["ankle_right"]) < 0.5
    assert not {"stature", "waist_girth", "bust_girth", "neck_girth"} & set(told.values)
    for name in ("hip_girth", "thigh_girth", "knee_girth", "calf_girth", "crotch_height"):
        assert told.values[name] == pytest.approx(whole[name], abs=5.0), name


@pytest.mark.parametrize("turn", [(0.0, 0), (25.0, 1)], ids=["upright", "leaning"])
def test_an_upper_half_stands_on_its_cut_and_faces_front(base, turn):
    """Cut level above the crotch it has neither legs nor soles: waist and upper arm as on the whole, told as unsure."""
    v, f = base
    whole = _measured(v, f, 16.0)[1].values
    level = [0.0, 0.0, 0.52 * float(v[:, 2].max())]
    upper = trimesh.intersections.slice_mesh_plane(
        trimesh.Trimesh(v, f, process=False), [0.0, 0.0, 1.0], level
    )
    places = np.array(upper.vertices) @ damage.rotation(*turn).T
    scan = body_from_surface(Surface(places, np.array(upper.faces)), unit="mm", edge_length=16.0)
    assert 203 in [finding.number for finding in scan.repairs]
    body = with_landmarks(scan.body)
    assert body.at("bust_left")[1] < body.at("chest_back")[1]  # it faces -y
    assert body.at("bust_left")[0] > 0.0
    told = measure(body).values
    for name in ("waist_girth", "upper_arm_girth", "head_girth"):
        assert told[name] == pytest.approx(whole[name], abs=5.0), name


@pytest.mark.parametrize(
    ("worn", "number"),
    [
        (lambda v: v, None),
        (lambda v: damage.shod(v, 20.0), 264),
        (lambda v: damage.capped(v, 25.0), 265),
    ],
    ids=["bare", "soles", "helmet"],
)
def test_soles_and_helmets_are_told(base, worn, number):
    """Soles of 20 mm, a helmet 25 mm thick: each told by its own finding, the bare body by neither."""
    _, told = _measured(worn(base[0]), base[1], 16.0)
    assert {f.number for f in told.warnings} & {264, 265} == ({number} if number else set())
    if number == 264:
        words = next(f.words for f in told.warnings if f.number == 264)
        assert 13.0 <= float(re.search(r"soles of about (\d+) mm", words)[1]) <= 27.0
