"""Flats cut small: by what their cloth has to spare and no more, and still agreeing along every seam."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel
from padlib.suit.built import Built
from padlib.suit.matching import share_used
from padlib.suit.taut import taut_flats


def half(name: str, other: str, first: int) -> Flat:
    """Half of a cylinder, 60 mm in radius and 200 high, as the rectangle that it unrolls to, without any stretch."""
    around, up = 24, 20
    turn, z = np.meshgrid(np.arange(around + 1), np.linspace(0.0, 200.0, up + 1))
    angle = np.pi * (turn.ravel() + first) / around
    chord = 120.0 * np.sin(np.pi / around / 2.0)
    place = np.column_stack([60.0 * np.cos(angle), 60.0 * np.sin(angle), z.ravel()])
    flat = np.column_stack([chord * turn.ravel(), z.ravel()])
    a = (np.arange(up)[:, None] * (around + 1) + np.arange(around)).ravel()
    n = around + 1
    faces = np.concatenate(
        [np.column_stack([a, a + 1, a + n + 1]), np.column_stack([a, a + n + 1, a + n])]
    )
    right, left = np.arange(up + 1) * n + around, (np.arange(up + 1) * n)[::-1]
    edges = (Edge("one", "sewn", right, (other, 1)), Edge("two", "sewn", left, (other, 0)))
    parents = (np.arange(up + 1)[:, None] * 2 * around + (turn[0] + first) % (2 * around)).ravel()
    panel = Panel(name, "left", Surface(place, faces), parents, edges)
    none = np.zeros((0, 2))
    return Flat(panel, flat, np.zeros((len(faces), 2)), none, np.zeros(0))


def edges_apart(flats: tuple[Flat, ...]) -> float:
    """The largest difference in mm between an edge of a sewn run and the same edge of its partner."""
    worst, by_name = 0.0, {f.panel.name: f for f in flats}
    for flat in flats:
        for edge in flat.panel.edges:
            if edge.kind != "sewn" or edge.partner is None:
                continue
            other = by_name[edge.partner[0]]
            run = other.panel.edges[edge.partner[1]].run[::-1]
            if len(run) != len(edge.run):
                continue  # a dart's mouth lies in one of them; the report's seams are tested elsewhere
            one, two = (
                np.linalg.norm(np.diff(f.positions[r], axis=0), axis=1)
                for f, r in ((flat, edge.run), (other, run))
            )
            worst = max(worst, float(np.abs(one - two).max()))
    return worst


@pytest.mark.parametrize(
    ("limit", "less"), [(0.10, 0.030), (0.05, 0.030), (0.02, 0.018), (0.01, 0.009)]
)
def test_a_cylinder_is_cut_smaller_by_what_its_cloth_bears(limit: float, less: float) -> None:
    """Stretched by 1 / (1 - less) - 1, at most 0.96 of the limit, in steps of 0.001 and never by more than 0.03."""
    flats = (half("a", "b", 0), half("b", "a", 24))
    made = taut_flats(flats, limit)

    for old, new in zip(flats, made, strict=True):
        size = np.ptp(new.positions, axis=0) / np.ptp(old.positions, axis=0)
        assert size == pytest.approx(1.0 - less, abs=1e-6)
        assert new.stretch == pytest.approx(1.0 / (1.0 - less) - 1.0, abs=1e-6)
        assert share_used(new, limit) <= 0.96


def test_a_flat_without_room_keeps_its_size() -> None:
    """One half already cut as small as its cloth bears, the other not: the seam between them is as long on both
    sides, and neither is over the limit."""
    one, two = half("a", "b", 0), half("b", "a", 24)
    small = taut_flats((one, two), 0.02)[0]
    full = replace(small, panel=one.panel)
    made = taut_flats((full, two), 0.02)

    assert edges_apart(made) < 0.01
    assert [share_used(f, 0.02) <= 1.0 for f in made] == [True, True]
    assert np.ptp(made[0].positions[:, 0]) == pytest.approx(np.ptp(full.positions[:, 0]), rel=2e-3)


def test_the_demo_is_cut_smaller_within_its_limit(demo_built: Built) -> None:
    """Every panel by 0.2 to 3 % of its lengths, none brought over its limit, seams agreeing, images still images."""
    flats = demo_built.laid[: len(demo_built.flats)]
    limit = demo_built.suit.darts["limit"]
    made = taut_flats(flats, limit)
    ratio = [np.sqrt(abs(_area(new) / _area(old))) for old, new in zip(flats, made, strict=True)]

    assert all(share_used(f, limit) <= 1.0 for f in made)
    assert 0.97 < min(ratio) < max(ratio) < 0.998
    assert edges_apart(made) < 0.05
    by_name = {f.panel.name: f for f in made}
    for flat in made:
        if flat.panel.mirror_of is not None:
            of = by_name[flat.panel.mirror_of]
            assert np.ptp(flat.positions, axis=0) == pytest.approx(
                np.ptp(of.positions, axis=0), abs=1e-9
            )


def _area(flat: Flat) -> float:
    """Signed area of the flat, mm2."""
    corner = flat.positions[flat.panel.surface.faces]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    return 0.5 * float((one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]).sum())
