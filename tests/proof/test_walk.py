"""Patterns spoiled on purpose, a hundred of them: the proof names what was done to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.proof.sheets import Bundle, Sheet, bundle
from padlib.proof.walk import walk
from padlib.suit.built import Built

TRIALS = 34  # of each kind


@pytest.fixture(scope="module")
def whole(demo_built: Built) -> Bundle:
    """The demo suit as sheets."""
    return bundle(demo_built.flats)


def swapped(suit: Bundle, k: int, sheet: Sheet) -> Bundle:
    """The suit with another sheet in one's place."""
    return replace(suit, sheets=(*suit.sheets[:k], sheet, *suit.sheets[k + 1 :]))


def test_nothing_is_said_of_a_sound_pattern(whole: Bundle) -> None:
    """The demo's own flats pass."""
    assert walk(whole) == ()


@pytest.mark.parametrize("seed", range(TRIALS))
def test_a_seam_cut_10_mm_short(whole: Bundle, seed: int) -> None:
    """One side of a seam drawn 10 mm too short, on one sheet: the seam and the sheet are named."""
    rng = np.random.default_rng(seed)
    seams = [s for s in whole.stitches if not s.dart and s.one != s.two]
    stitch = seams[rng.integers(len(seams))]
    sheet = whole.sheets[stitch.one]
    at = sheet.positions.copy()
    step = np.diff(at[stitch.a], axis=0)
    size = np.hypot(*step.T).sum()
    at[stitch.a] = at[stitch.a[0]] + np.concatenate(
        [np.zeros((1, 2)), np.cumsum(step * (1 - 10.0 / size), axis=0)]
    )
    found = walk(swapped(whole, stitch.one, replace(sheet, positions=at)))
    said = [f for f in found if f.number == 603 and f.where == stitch.seam]

    assert any("10.0 mm shorter" in f.words and f"on {sheet.name}" in f.words for f in said)


@pytest.mark.parametrize("seed", range(TRIALS))
def test_a_dart_left_unsewn(whole: Bundle, seed: int) -> None:
    """A dart that is cut and not sewn leaves its two legs open: the panel and the length are named."""
    rng = np.random.default_rng(seed)
    darts = [s for s in whole.stitches if s.dart]
    dart = darts[rng.integers(len(darts))]
    left = replace(whole, stitches=tuple(s for s in whole.stitches if s is not dart))
    sheet = whole.sheets[dart.one]
    legs = sum(np.hypot(*np.diff(sheet.positions[r], axis=0).T).sum() for r in (dart.a, dart.b))

    assert [(f.number, f.where) for f in walk(left)] == [(605, sheet.name)]
    assert f"{legs:.0f} mm of its edge" in walk(left)[0].words


@pytest.mark.parametrize("seed", range(TRIALS))
def test_a_mirrored_sheet(whole: Bundle, seed: int) -> None:
    """A piece cut from the wrong side of the cloth is named."""
    k = int(np.random.default_rng(seed).integers(len(whole.sheets)))
    sheet = whole.sheets[k]
    found = walk(swapped(whole, k, replace(sheet, positions=sheet.positions * [-1.0, 1.0])))

    assert (604, sheet.name) in {(f.number, f.where) for f in found}
