"""Seams of the plan moved: the forecast against a closed form, moves in their direction, a search that pays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from scipy.spatial import Delaunay

from padlib.mesh.surface import Surface
from padlib.seams.panels import Panel
from padlib.suit import seam_search
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import read_suit
from padlib.suit.schema import MOVES
from padlib.suit.seam_search import asked_stretch, search
from padlib.suit.steps import make_panels, suit_body, suit_shell
from padlib.suit.suggestion_watch import watch


@pytest.fixture(scope="module")
def worn():
    """The demo suit with its body and shell."""
    suit = read_suit(DEMO_SUIT)
    body = suit_body(suit)
    return suit, body, suit_shell(suit, body)


def moved(worn, **moves):
    """Panels by name of the demo suit with some seams moved."""
    suit, body, shell = worn
    panels = make_panels(replace(suit, seams=dict(suit.seams) | moves), body, shell).panels
    return {p.name: p for p in panels}


def seam(panels, panel, name):
    """Positions (k, 3) of a panel's edge."""
    edges = [e for e in panels[panel].edges if e.seam == name]
    return panels[panel].surface.vertices[np.concatenate([e.run for e in edges])]


def test_the_forecast_of_a_cap_is_its_closed_form():
    """A cap of a sphere up to the angle t0, mapped conformally with scale 1 at its rim: the stereographic scale
    (cos(t0/2) / cos(t/2))^2, taken level by its mean over the area; a cylinder asks nothing."""
    reach = np.radians(50.0)
    angle, rings = np.meshgrid(np.linspace(0, 2 * np.pi, 121)[:-1], np.linspace(0.02, 1, 60))
    away = (reach * rings).ravel()
    places = np.stack(
        [np.sin(away) * np.cos(angle.ravel()), np.sin(away) * np.sin(angle.ravel()), np.cos(away)],
        1,
    )
    places = np.vstack([places, [0.0, 0.0, 1.0]])
    plane = places[:, :2] / (
        1.0 + places[:, 2:]
    )  # stereographic: its triangles lie well in the cap
    cap = Surface(200.0 * places, Delaunay(plane).simplices)
    t = np.linspace(0.0, reach, 20001)
    weight = np.sin(t)
    u = 2.0 * np.log(np.cos(reach / 2) / np.cos(t / 2))
    level = (u * weight).sum() / weight.sum()
    true = np.sqrt(((np.exp(level - u) - 1.0) ** 2 * weight).sum() / weight.sum())
    bent = trimesh.creation.cylinder(radius=100.0, height=300.0, sections=64)
    half = bent.faces[(bent.vertices[bent.faces][:, :, 1] >= -1e-9).all(axis=1)]
    side = half[
        np.abs(trimesh.Trimesh(bent.vertices, half, process=False).face_normals[:, 2]) < 0.5
    ]
    used, own = np.unique(side, return_inverse=True)
    tube = Surface(bent.vertices[used], own.reshape(-1, 3))

    assert asked_stretch([_panel(cap)]) == pytest.approx(true, rel=0.03)
    assert asked_stretch([_panel(tube)]) < 1e-6


def _panel(surface):
    return Panel("p", "both", surface, np.arange(len(surface.vertices)), ())


def test_moves_go_where_they_say(worn):
    """A shift in mm moves its seam by so much in its direction, on both sides, and leaves others."""
    usual = moved(worn)
    back = moved(worn, side_shift=20.0, leg_shift=15.0, seat_shift=-25.0)
    for side in ("left", "right"):
        was, now = (seam(p, f"front-{side}", f"side-{side}") for p in (usual, back))
        assert np.median(now[:, 1]) - np.median(was[:, 1]) == pytest.approx(20.0, abs=3.0)
    was, now = (seam(p, "leg-outer-left", "leg-front-left") for p in (usual, back))
    low = (was[:, 2] > 300) & (was[:, 2] < 600), (now[:, 2] > 300) & (now[:, 2] < 600)
    assert now[low[1], 0].mean() - was[low[0], 0].mean() == pytest.approx(15.0, abs=3.0)
    was, now = (seam(p, "back-left", "hip-left") for p in (usual, back))
    was, now = (x[np.abs(x[:, 0]) < 60.0, 2].mean() for x in (was, now))  # behind, above the seat
    assert now - was == pytest.approx(-25.0, abs=4.0)
    kept = [seam(p, "sleeve-upper-left", "sleeve-front-left") for p in (usual, back)]
    assert np.abs(kept[0].mean(axis=0) - kept[1].mean(axis=0)).max() < 0.5


def test_turned_leg_seams_turn_about_the_leg(worn):
    """By 20 degrees: the front seam moves outwards and the back seam inwards on both legs, or the other way."""
    usual, turned = moved(worn), moved(worn, leg_turn=20.0)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        front, back = (
            sign
            * (
                seam(turned, f"leg-outer-{side}", f"leg-{name}-{side}")[:, 0].mean()
                - seam(usual, f"leg-outer-{side}", f"leg-{name}-{side}")[:, 0].mean()
            )
            for name in ("front", "back")
        )
        assert front * back < 0
        assert abs(front) > 10.0


@pytest.mark.slow
def test_a_search_lowers_what_panels_ask_and_leaves_pinned_seams(worn, monkeypatch):
    """With all but the legs' seams pinned; what it found is found again by cutting that plan."""
    suit, body, shell = worn
    monkeypatch.setattr(seam_search, "STEPS", (1.0,))
    pinned = tuple(sorted({k.partition("_")[0] for k in MOVES} - {"leg"}))
    found = search(
        replace(suit, seams=dict(suit.seams) | {"pinned": pinned}), body, shell, watch=watch(1e6)
    )
    again = moved(worn, **found.moves)
    usual = asked_stretch([p for p in moved(worn).values() if p.side == "left"])

    assert set(found.moves) <= {"leg_shift", "leg_turn"}
    assert found.before == pytest.approx(usual, rel=1e-3)
    assert found.after < 0.97 * found.before
    own = asked_stretch([p for p in again.values() if p.side == "left"])
    assert found.after == pytest.approx(own, rel=1e-3)
    assert found.buys == {"leg": found.before}
