"""Patterns spoiled on purpose, a hundred of them: the proof names what was done to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.proof.sheets import Bundle, Sheet, Stitch, bundle
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


def uncut(suit: Bundle, dart: Stitch) -> Bundle:
    """The suit with a dart forgotten when its sheet was cut: cloth from leg to leg, and the seam runs on over its
    mouth against the other side, which is as long as before."""
    a, b = dart.a, dart.b
    strip = [(a[i], b[i], b[i + 1]) for i in range(len(a) - 1)]
    strip += [(a[i], b[i + 1], a[i + 1]) for i in range(len(a) - 2)]  # the last one ends in the tip
    sheet = suit.sheets[dart.one]
    faces = np.array(strip, dtype=np.int64)
    low, high = (sheet.positions[faces[:, k]] - sheet.positions[faces[:, 0]] for k in (1, 2))
    turned = low[:, 0] * high[:, 1] - low[:, 1] * high[:, 0] < 0.0
    faces[turned] = faces[turned][:, ::-1]
    whole = replace(sheet, faces=np.concatenate([sheet.faces, faces]))
    # each stitch as runs of (sheet, run), the run of that sheet first
    beside: dict[int, Stitch] = {}
    for s in suit.stitches:
        first = s if s.one == dart.one else Stitch(s.seam, s.two, s.b, s.one, s.a)
        if s is not dart and first.one == dart.one:
            beside |= {int(end): s for end in (first.a[0], first.a[-1]) if end in (a[0], b[0])}
    before, after = beside[int(a[0])], beside[int(b[0])]
    joined = _joined(before, after, dart)
    kept = [s for s in suit.stitches if s not in (dart, before, after)]
    return replace(swapped(suit, dart.one, whole), stitches=(*kept, joined))


def _joined(before: Stitch, after: Stitch, dart: Stitch) -> Stitch:
    """Two stitches on either side of a dart's mouth as one that runs on over it."""
    one, two = (
        s if s.one == dart.one else Stitch(s.seam, s.two, s.b, s.one, s.a) for s in (before, after)
    )
    if one.a[-1] not in (dart.a[0], dart.b[0]):
        one, two = two, one
    assert one.two == two.two
    assert one.b[-1] == two.b[0]
    return replace(one, a=np.concatenate([one.a, two.a]), b=np.concatenate([one.b, two.b[1:]]))


def test_a_dart_left_uncut(whole: Bundle) -> None:
    """Each dart in turn forgotten when the cloth is cut: the seam that it starts from is named, and that the other
    side is shorter by the dart's mouth; and nothing else is."""
    for dart in (s for s in whole.stitches if s.dart):
        place = whole.sheets[dart.one].positions
        mouth = float(np.hypot(*(place[dart.a[0]] - place[dart.b[0]])))
        found = walk(uncut(whole, dart))

        assert [f.number for f in found] == [603]
        assert f"{mouth:.1f} mm shorter" in found[0].words
        assert f"that on {whole.sheets[dart.one].name}" in found[0].words


@pytest.mark.parametrize("seed", range(TRIALS))
def test_a_mirrored_sheet(whole: Bundle, seed: int) -> None:
    """A piece cut from the wrong side of the cloth is named."""
    k = int(np.random.default_rng(seed).integers(len(whole.sheets)))
    sheet = whole.sheets[k]
    found = walk(swapped(whole, k, replace(sheet, positions=sheet.positions * [-1.0, 1.0])))

    assert (604, sheet.name) in {(f.number, f.where) for f in found}
