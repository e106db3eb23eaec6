"""How unsure measurements are that rest on skin which was not scanned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree

from padlib.body import doubt
from padlib.body.doubt import BALANCED, PER_GAP, TOLD, UNKNOWN, across, along, doubts, with_doubts
from padlib.body.figure import figure
from padlib.body.parts import SIDES
from padlib.body.trunk_marks import trochanter_unsure
from padlib.suit.tables import measured


def _with_gap(known, place, radius, deep):
    """The body as if a ball about a place had not been scanned: farthest from the scan in its middle."""
    v = known.surface.vertices
    away = np.linalg.norm(v - place, axis=1)
    return replace(known.body, gap=np.maximum(1.0 - away / radius, 0.0) * deep)


def test_a_ring_grows_by_a_whole_turn_times_the_gap_and_a_straight_run_by_nothing():
    """A circle moved out by g is 2 pi g longer (closed form); the sides of a rectangle alone change nothing."""
    turn = np.linspace(0.0, 2.0 * np.pi, 91)
    ring = 100.0 * np.column_stack([np.cos(turn), np.sin(turn), np.zeros(91)])
    ring[-1] = ring[0]
    tree = cKDTree(ring[:-1])
    assert along(ring, np.full(90, 3.0), tree) == pytest.approx(2.0 * np.pi * 3.0)
    half = np.where(np.arange(90) < 45, 3.0, 0.0)
    assert along(ring, half, tree) == pytest.approx(np.pi * 3.0)
    # of an open line the ends turn by nothing that is known: 18 corners of 4 degrees
    assert along(ring[:20], np.full(90, 3.0), tree) == pytest.approx(18 * np.radians(4.0) * 3.0)
    assert along(ring[:2], np.full(90, 3.0), tree) == 0.0
    assert across(ring, np.full(90, 3.0), tree) == pytest.approx([6.0, 6.0])
    front = np.where(np.arange(90) > 45, 3.0, 0.0)  # -y was not scanned: only the depth is unsure
    assert across(ring, front, tree) == pytest.approx([0.0, 3.0])


def test_a_hole_at_the_bust_makes_the_bust_unsure_and_no_leg(base):
    """A tape over a filling is told with what it may be off by; a tape elsewhere is not named."""
    side = base.measured.tape_lines["bust_girth"]
    body = _with_gap(base, side[np.argmax(side[:, 0])], 80.0, 70.0)
    told = with_doubts(body, base.measured)
    assert TOLD < told.unsure["bust_girth"] < 4.0 * np.pi * PER_GAP * 70.0
    assert not {"calf_girth", "knee_height", "head_girth"} & set(told.unsure)
    finding = told.warnings[-1]
    assert finding.number == UNKNOWN
    assert "bust_girth" in finding.words
    assert finding.words in str(measured(body)["warnings"])
    assert measured(body)["unsure_mm"]["bust_girth"] == pytest.approx(
        told.unsure["bust_girth"], abs=0.1
    )
    assert "bust_girth" not in with_doubts(body, base.measured, ("bust_girth",)).unsure


def test_a_hidden_armpit_makes_its_height_and_the_chest_unsure(base):
    """The chest's tape goes up to the armpits: both are unsure where these were not scanned."""
    body = _with_gap(base, base.body.at("axilla_left"), 60.0, 60.0)
    told = doubts(body, base.measured)
    assert told["axilla_height"] > 2.0
    assert "waist_girth" not in told


def test_a_trochanter_on_a_flat_outline_is_told_unless_it_was_given(base, monkeypatch):
    """Its own finding, apart from those of fillings; a maker who marked both hips is told nothing of them."""
    monkeypatch.setattr(doubt, "trochanter_unsure", lambda _: 4.0)
    body = _with_gap(base, base.body.at("crown"), 60.0, 60.0)
    told = with_doubts(body, base.measured)
    assert told.unsure["trochanter_height"] == pytest.approx(8.0)
    words = next(finding.words for finding in told.warnings if finding.number == BALANCED)
    assert words.startswith("trochanter_height may be off by 8 mm")
    marked = replace(body, sure=body.sure | {f"hip_{side}": 1.0 for side in SIDES})
    assert "trochanter_height" not in with_doubts(marked, base.measured).unsure


def test_how_unsure_a_trochanter_is_hangs_on_how_flat_the_outline_is(base):
    """The base mesh widens from waist to crotch; the same with hips that stand out by a tenth there is surer."""
    v, f = base.surface.vertices, base.surface.faces
    flat = trochanter_unsure(figure(v, f))
    out = 1.0 + 0.1 * np.exp(-(((v[:, 2] - base.body.at("hip_left")[2]) / 30.0) ** 2))
    marked = v * np.column_stack([out, np.ones((len(v), 2))])
    assert trochanter_unsure(figure(marked, f)) < 0.8 * flat
    assert 1.5 < flat < 3.5


def test_the_way_that_changes_more_is_told(base, monkeypatch):
    """A height that goes down by 7 mm when an armpit lies lower and up by 3 when it lies higher may be off by 7."""
    body = _with_gap(base, base.body.at("axilla_left"), 60.0, 60.0)
    plain = {"bust_height": 1200.0, "waist_girth": 800.0}
    moved = [{**plain, "bust_height": 1193.0}, {**plain, "bust_height": 1203.0}]
    monkeypatch.setattr(doubt, "taken", lambda *_: (moved.pop(0), {}, []))
    assert doubt.by_level(body, body.gap, plain) == {"bust_height": 7.0, "waist_girth": 0.0}


def test_a_body_that_was_scanned_all_over_has_no_doubts(base):
    """Nothing made up, nothing unsure."""
    assert doubts(base.body, base.measured) == {}
    assert doubts(replace(base.body, gap=np.zeros(len(base.surface.vertices))), base.measured) == {}
