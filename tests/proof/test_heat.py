"""Heat against the published formula and values (VALUES 5.5; 1 clo = 0.155 m2K/W)."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from padlib.mesh.surface import Surface
from padlib.proof.heat import heat
from padlib.suit.built import Built


def ball(radius: float) -> Surface:
    """A sphere about the origin, mm."""
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return Surface(np.array(mesh.vertices), np.array(mesh.faces))


def test_cloth_alone_is_the_published_coverall() -> None:
    """1.13 clo lets 56.6, 37.7 and 18.9 W/m2 out at 20, 25 and 30 degrees."""
    told = heat([ball(300.0)], ball(300.0), ball(300.0))

    assert told.clo == pytest.approx(1.13, abs=0.005)
    assert [told.loss[t] for t in (20.0, 25.0, 30.0)] == pytest.approx([56.6, 37.7, 18.9], abs=0.05)
    assert told.padded == 0
    assert told.covered == pytest.approx(1.0)


def test_padding_adds_its_thickness_over_its_conductivity() -> None:
    """20 mm of filling at 0.04 W/mK add 0.5 m2K/W, within the sag of the ball's triangles."""
    told = heat([ball(320.0)], ball(320.0), ball(300.0))

    assert told.pad_mm == pytest.approx(20.0, abs=0.5)
    assert told.clo == pytest.approx((0.175 + 0.5) / 0.155, rel=0.02)
    assert told.loss[25.0] == pytest.approx(10 / (0.175 + 0.5 + 0.09), rel=0.02)


def test_room_for_wearing_is_no_padding() -> None:
    """Twelve of the 20 mm are room: 8 mm of filling are left."""
    told = heat([ball(320.0)], ball(320.0), ball(300.0), room=12.0)

    assert told.clo == pytest.approx((0.175 + 0.2) / 0.155, rel=0.03)


def test_padded_and_bare_parts_lose_heat_side_by_side() -> None:
    """Half padded, half not: the mean of both losses, not the loss through the mean thickness."""
    told = heat([ball(300.0), ball(320.0)], ball(300.0), ball(300.0))
    share = 300.0**2 / (300.0**2 + 320.0**2)
    both = share * 10 / 0.265 + (1 - share) * 10 / 0.765

    assert told.loss[25.0] == pytest.approx(both, rel=0.02)


def test_demo_says_its_caution(demo_built: Built, demo_report: dict) -> None:
    """The demo: more than its cloth, less than all padding; the caution is told whatever the numbers."""
    told = demo_built.heat

    assert told is not None
    assert 1.13 < told.clo < 3.0
    assert 0.6 < told.covered < 0.95
    assert demo_report["heat"]["clo"] == round(told.clo, 2)
    assert any("even at rest" in w for w in (f.words for f in told.findings))
