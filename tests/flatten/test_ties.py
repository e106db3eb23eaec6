"""Terms of partner edges: their derivatives against differences."""

import numpy as np
import pytest

from padlib.flatten.ties import Seams

FLAT = np.array([[0.0, 0.0], [1.0, 0.2], [0.1, 1.1], [2.0, 0.3], [2.4, 1.5]])


def seams(pull, ratio=(1.1, 0.0), more=(0.0, 0.0)):
    """Two pairs over five vertices; the second holds an edge to a length."""
    mine, theirs = np.array([[0, 1], [3, 4]]), np.array([[2, 4], [3, 4]])
    one = np.ones(2)
    return Seams(mine, theirs, np.array(ratio), np.array(more), one, np.array(pull), 7 * one)


def slope(function, at, step=1e-6):
    """Central differences of a function of a flat, one row for each coordinate."""
    rows = []
    for k in range(at.size):
        move = np.zeros(at.size)
        move[k] = step
        move = move.reshape(at.shape)
        rows.append((function(at + move) - function(at - move)) / (2 * step))
    return np.array(rows)


@pytest.mark.parametrize("pull", [(0.0, 0.0), (0.4, -0.7), (-2.0, 3.0)])
def test_gradient_is_the_slope_of_the_value(pull):
    """The gradient of pairs, and of an edge held to a length, is that of their energy."""
    of = seams(pull, more=(0.0, 1.2))

    got = of.terms(FLAT).gradient(len(FLAT))

    np.testing.assert_allclose(got.ravel(), slope(of.value, FLAT), atol=1e-7)


def test_second_derivative_where_nothing_is_missing():
    """With lengths met and mine pulled, the Hessian is the whole one: along and across the edge."""
    long = float(np.linalg.norm(FLAT[1] - FLAT[0]))
    of = seams((0.5, 0.0), ratio=(0.0, 0.0), more=(long, float(np.linalg.norm(FLAT[4] - FLAT[3]))))

    lower = of.terms(FLAT).hessian(len(FLAT)).toarray()

    whole = lower + np.tril(lower, -1).T
    want = slope(lambda flat: of.terms(flat).gradient(len(FLAT)).ravel(), FLAT)
    np.testing.assert_allclose(whole, want, atol=1e-6)


def test_second_derivative_is_never_negative():
    """Whatever the multipliers, only what resists is kept."""
    rng = np.random.default_rng(4)
    for _ in range(20):
        flat, pull = FLAT + rng.normal(size=FLAT.shape) * 0.3, rng.normal(size=2) * 5
        lower = seams(pull).terms(flat).hessian(len(FLAT)).toarray()

        assert np.linalg.eigvalsh(lower + np.tril(lower, -1).T).min() > -1e-9
