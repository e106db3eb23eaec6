"""A suit that is its own mirror image, sewn as one half: the same suit at rest, and never where the sides differ."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.proof.half import Half, half_of
from padlib.proof.settle import at, scene, settle
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.suit.built import Built


def half(flats: tuple[Flat, ...], support: Surface) -> Half:
    return half_of(flats, bundle(flats), support)


def test_half_the_demo_comes_to_rest_as_all_of_it(demo_built: Built) -> None:
    """From a start 3 mm off, half the unknowns; unfolded it has twice the energy and twice the area, and sewn whole
    from there it moves by less than what counts as rest. Both halves meet in the plane x = 0."""
    flats, support = demo_built.flats, demo_built.shell.surface
    suit = bundle(flats)
    sewn, mine = weld(suit), half(flats, support)
    one = weld(mine.suit)
    begun = demo_built.proof.surface.vertices + 3.0 * np.sin(np.arange(sewn.count) / 7.0)[:, None]
    here, every = scene(mine.suit, one, support), scene(suit, sewn, support)
    rest, _ = settle(here, mine.folded(one, sewn, begun), rough=0)
    place = mine.unfolded(one, sewn, rest)
    moved, _ = settle(every, place, rough=0)

    assert one.count < 0.52 * sewn.count
    assert len(one.middle) > 100
    assert np.abs(rest[one.middle, 0]).max() < 1e-9
    assert every.area.sum() == pytest.approx(2.0 * here.area.sum(), rel=1e-9)
    assert at(every, place).energy == pytest.approx(2.0 * at(here, rest).energy, rel=1e-9)
    assert np.linalg.norm(moved - place, axis=1).mean() < 0.05
    assert np.linalg.norm(place - begun, axis=1).mean() > 1.0
    assert mine.folded(one, sewn, place) == pytest.approx(rest, abs=1e-9)


def test_a_suit_whose_sides_differ_is_sewn_whole(demo_built: Built) -> None:
    """One place of one flat 0.01 mm elsewhere, a seam of one side that is not sewn, or a shell that is not alike."""
    flats, support = demo_built.flats, demo_built.shell.surface
    k = next(k for k, f in enumerate(flats) if f.panel.mirror_of)
    moved = flats[k].positions.copy()
    moved[5, 1] += 0.01
    edges = list(flats[k].panel.edges)
    j = next(j for j, e in enumerate(edges) if e.partner and e.seam.endswith("right"))
    edges[j] = replace(edges[j], partner=None)
    spoilt = [
        replace(flats[k], positions=moved),
        replace(flats[k], panel=replace(flats[k].panel, edges=tuple(edges))),
    ]
    bent = support.vertices + [0.1, 0.0, 0.0] * (support.vertices[:, :1] > 100.0)

    assert not half(flats, support).whole
    for flat in spoilt:
        assert half((*flats[:k], flat, *flats[k + 1 :]), support).whole
    assert half(flats, Surface(bent, support.faces)).whole
    assert half(tuple(f for f in flats if f.panel.mirror_of is None), support).whole
