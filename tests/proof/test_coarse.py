"""A suit's flats as coarser meshes, and what moves these carried back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.flatten.stretch import flipped
from padlib.flatten.together import named_pairs
from padlib.mesh.surface import Surface
from padlib.proof.coarse import coarser
from padlib.proof.half import half_of
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.seams.panels import Edge, Panel
from padlib.suit.built import Built

TURN = np.array([[1.02, 0.3], [-0.28, 0.97]])


def test_a_coarse_suit_is_sewn_as_the_fine_one(demo_built: Built) -> None:
    """A quarter of the triangles, no flip, the same area to 0.1 %; every seam and dart is there with the same places on
    both sides, sewn up the suit is a surface, and its right half is still the image of its left one."""
    coarse = coarser(demo_built.flats)
    assert coarse is not None
    fine, flats = bundle(demo_built.flats), bundle(coarse.flats)
    sewn, whole = weld(flats), weld(fine)

    assert len(sewn.faces) == pytest.approx(len(whole.faces) / 4, rel=0.1)
    for flat in coarse.flats:
        surface = flat.panel.surface
        assert not flipped(surface.vertices, surface.faces, flat.positions).any()
    assert sewn.area.sum() == pytest.approx(whole.area.sum(), rel=1e-3)
    assert [(s.seam, s.one, s.two, s.dart) for s in flats.stitches] == [
        (s.seam, s.one, s.two, s.dart) for s in fine.stitches
    ]
    for _, (i, one, j, two) in named_pairs(coarse.flats):
        at = [coarse.flats[k].panel.surface.vertices[run] for k, run in ((i, one), (j, two))]
        np.testing.assert_array_equal(*at)
    sides = np.sort(np.concatenate([sewn.faces[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1)
    assert np.unique(sides, axis=0, return_counts=True)[1].max() == 2
    assert not half_of(coarse.flats, flats, demo_built.shell.surface).whole


def test_what_moves_coarse_flats_moves_the_fine_ones(demo_built: Built) -> None:
    """Coarse flats that are turned and stretched alike everywhere take the fine ones along exactly; a coarse suit that
    is carried off takes the fine one to where it would be carried to."""
    coarse = coarser(demo_built.flats)
    assert coarse is not None
    moved = coarse.moved([replace(f, positions=f.positions @ TURN + 7.0) for f in coarse.flats])
    own = [flat for flat in demo_built.flats if flat.panel.mirror_of is None]

    for flat, at in zip(own, moved, strict=True):
        np.testing.assert_allclose(at, flat.positions @ TURN + 7.0, atol=1e-6)

    sewn = weld(bundle(coarse.flats))
    place = np.empty((sewn.count, 3))
    for at, flat in zip(sewn.welded, coarse.flats, strict=True):
        place[at] = flat.panel.surface.vertices + [3.0, -2.0, 5.0]
    there = coarse.placed(place)
    for at, flat in zip(weld(bundle(demo_built.flats)).welded, demo_built.flats, strict=True):
        off = there[at] - flat.panel.surface.vertices
        np.testing.assert_allclose(off, np.tile([3.0, -2.0, 5.0], (len(at), 1)), atol=1e-9)


def test_a_flat_too_narrow_for_longer_edges_has_no_coarse_one() -> None:
    """A comb whose teeth have no vertex to spare: the outline cannot be kept, and that is told by None."""
    x = np.repeat(np.arange(9.0) * 10.0, 2)
    y = np.tile([0.0, 10.0], 9) + np.repeat(np.arange(9) % 2, 2) * 200.0
    flat = np.column_stack([x, y])
    a = 2 * np.arange(8)
    faces = np.vstack([np.column_stack([a, a + 2, a + 1]), np.column_stack([a + 1, a + 2, a + 3])])
    run = np.concatenate([a, [16], [17], a[::-1] + 1, [0]])
    surface = Surface(np.column_stack([x, y, 0 * x]), faces)
    panel = Panel("comb", "left", surface, np.arange(18), (Edge("rim", "opening", run),))
    none = np.zeros((0, 2))
    area = np.full(16, 50.0)

    assert coarser([Flat(panel, flat, none, none, area)]) is None


def test_a_coarse_wrap_takes_the_fine_suit_along_without_its_panels(demo_built: Built) -> None:
    """Places that go evenly with the flats are the same between the coarse vertices as on them, within every sheet
    without darts, and stay so whatever shape the fine panels have."""
    coarse = coarser(demo_built.flats)
    assert coarse is not None
    bent = [
        replace(
            f,
            panel=replace(
                f.panel, surface=Surface(f.panel.surface.vertices**2 / 500.0, f.panel.surface.faces)
            ),
        )
        for f in demo_built.flats
    ]
    sewn, whole = weld(bundle(coarse.flats)), weld(bundle(demo_built.flats))
    lean = np.array([[0.3, 0.2, 0.9], [1.0, -0.1, 0.2]])
    plain = [k for k, flat in enumerate(coarse.flats) if not flat.darts]
    assert len(plain) > 4
    for k in plain:
        flat, at = coarse.flats[k], sewn.welded[k]
        place = np.zeros((sewn.count, 3))
        place[at] = flat.positions @ lean + 40.0
        spans = [c.spanned(place) for c in (coarse, replace(coarse, fine=tuple(bent)))]
        inner = np.setdiff1d(
            whole.welded[k], np.concatenate([w for j, w in enumerate(whole.welded) if j != k])
        )
        own = np.isin(whole.welded[k], inner)

        for out in spans:
            asked = demo_built.flats[k].positions[own] @ lean + 40.0
            np.testing.assert_allclose(out[whole.welded[k][own]], asked, atol=1e-6)
