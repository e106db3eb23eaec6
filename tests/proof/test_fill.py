"""Cushions sewn back and filled: beside the pads they are made for, and spoiled on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from padlib.mesh.topology import boundary_loops
from padlib.proof.fill import fill, slack_top
from padlib.suit.built import Built
from padlib.suit.pillows import pillow_panels


def test_the_demo_cushions_hold_what_their_pads_have(demo_built: Built) -> None:
    """Sewn from the flats and filled, from a film that knows no height: within 5 % of the pad's volume."""
    held = demo_built.cushions.filled_l
    assert set(held) == {(p.name, p.side) for p in demo_built.pillows}
    for pillow in demo_built.pillows:
        assert held[pillow.name, pillow.side] == pytest.approx(pillow.volume_l, rel=0.05)


def two(built: Built):
    """The flats of the first cushion, and where they start."""
    names = [p.name for p in pillow_panels(built.pillows)[:2]]
    by_name = {f.panel.name: f for f in built.pillow_flats}
    top, base = (by_name[n] for n in names)
    start = slack_top(top.panel.surface, np.unique(boundary_loops(top.panel.surface.faces)[0]))
    return top, base, start


def test_a_top_cut_too_large_holds_too_much(demo_built: Built) -> None:
    """A top drawn 10 % larger holds at least 10 % more: what is measured is the pattern, not the pad."""
    top, base, start = two(demo_built)
    right = fill((top, base), base.panel.surface.vertices, start)
    large = replace(top, positions=1.1 * top.positions)
    assert fill((large, base), base.panel.surface.vertices, start).volume_l > 1.1 * right.volume_l


def test_the_volume_told_is_that_of_the_closed_surface(demo_built: Built) -> None:
    """Sewn, the cushion is closed, and trimesh finds the same litres."""
    top, base, start = two(demo_built)
    filled = fill((top, base), base.panel.surface.vertices, start)
    mesh = trimesh.Trimesh(filled.surface.vertices, filled.surface.faces, process=False)
    assert mesh.is_watertight
    assert mesh.volume / 1e6 == pytest.approx(filled.volume_l, rel=1e-9)


def test_a_start_knows_nothing_of_the_height(demo_built: Built) -> None:
    """The film spanned by the rim does not change when the top inside it does."""
    top, _, start = two(demo_built)
    rim = np.unique(boundary_loops(top.panel.surface.faces)[0])
    inside = np.setdiff1d(np.arange(len(top.panel.surface.vertices)), rim)
    moved = top.panel.surface.vertices.copy()
    moved[inside] *= 3.0
    again = slack_top(replace(top.panel.surface, vertices=moved), rim)
    np.testing.assert_allclose(again, start, atol=1e-9)


def test_what_a_cushion_holds_does_not_hang_on_where_it_starts(demo_built: Built) -> None:
    """From a film crumpled by 3 mm and from the pad's own top: the same litres within 0.1 %."""
    top, base, start = two(demo_built)
    inside = np.ones(len(start), dtype=bool)
    inside[np.unique(boundary_loops(top.panel.surface.faces)[0])] = False
    crumpled = start + np.random.default_rng(3).normal(0.0, 3.0, start.shape) * inside[:, None]
    body = base.panel.surface.vertices
    right = fill((top, base), body, start).volume_l
    for other in (crumpled, top.panel.surface.vertices):
        assert fill((top, base), body, other).volume_l == pytest.approx(right, rel=1e-3)
