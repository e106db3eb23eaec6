"""Three hundred panels cut at random lie flat with every test; ten thousand by tests/benchmarks."""

import numpy as np
import pytest

from padlib.flatten import isometric

CHUNK = 15


@pytest.mark.parametrize("first", range(0, 300, CHUNK))
def test_panels_cut_at_random(random_panels, judge, first):
    """None of the first 300 panels of the study is flipped, overlaps itself or is refused."""
    bad = {}
    for k in range(first, first + CHUNK):
        family, vertices, faces = random_panels.panel(k)
        verdict = judge.judge(faces, isometric(vertices, faces))
        if not verdict.sound:
            bad[k, family] = verdict

    assert bad == {}


def test_panels_are_the_same_every_time(random_panels):
    """A panel depends on its number alone, not on which were made before it."""
    first = random_panels.panel(14)
    random_panels.panel(3)
    second = random_panels.panel(14)

    assert first[0] == second[0]
    np.testing.assert_array_equal(first[1], second[1])
    np.testing.assert_array_equal(first[2], second[2])


def test_judge_is_exact(judge):
    """A triangle flat to the last bit has no area, and one bit more has one."""
    flat = np.array([[0.1, 0.1], [0.3, 0.3], [0.5, 0.5], [0.5, np.nextafter(0.5, 1)]])

    signs = judge.orientations(np.array([[0, 1, 2], [0, 1, 3], [1, 0, 3]]), flat)

    # 0.1, 0.3 and 0.5 as doubles lie on the line x = y whatever their rounding
    np.testing.assert_array_equal(signs, [0, 1, -1])


@pytest.mark.parametrize(
    ("flat", "flips", "overlap"),
    [
        ([[0, 0], [1, 0], [1, 1], [0, 1]], 0, False),
        ([[0, 0], [1, 0], [1, 1], [0.9, 0.1]], 1, False),
        ([[0, 0], [1, 1], [1, 0], [0, 1]], 1, True),
        ([[0, 0], [1, 0], [np.nan, 1], [0, 1]], 2, True),
    ],
)
def test_judge_sees_flips_and_overlaps(judge, flat, flips, overlap):
    """A square is sound; a folded, a twisted and an unfinished one are not."""
    verdict = judge.judge(np.array([[0, 1, 2], [0, 2, 3]]), np.array(flat, dtype=float))

    assert (verdict.flips, verdict.overlap) == (flips, overlap)
    assert verdict.sound == (flips == 0 and not overlap)


def test_judge_sees_a_double_cover(judge):
    """A fan that goes round its hub twice has no flip, and overlaps itself."""
    turn = np.linspace(0, 3 * np.pi, 10)
    rim = np.column_stack([np.cos(turn), np.sin(turn)]) * (1 + 0.1 * turn)[:, None]
    faces = np.array([[0, k, k + 1] for k in range(1, 10)])

    verdict = judge.judge(faces, np.vstack([[0, 0], rim]))

    assert verdict.flips == 0
    assert verdict.overlap
