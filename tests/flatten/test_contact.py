"""The barrier along a boundary against finite differences, and where it begins."""

import numpy as np
import pytest

from padlib.flatten.contact import (
    GAIN,
    REACH,
    Contact,
    barrier,
    barrier_terms,
    contact_of,
    eased,
    meeting,
    near,
    within,
)
from padlib.flatten.rest import rest

# a star whose notches are narrower than the reach: points near edges' insides and near their ends
STAR = np.array(
    [[0, 0], [4, 0], [4.2, 3], [2.4, 3.1], [2.1, 0.9], [1.9, 3.2], [-0.1, 3], [0.5, 1.5]], float
)


def around(flat, reach=0.9):
    """The barrier of a polygon, of one reach everywhere."""
    return Contact(np.arange(len(flat)), np.full((2, len(flat)), reach), GAIN)


def differences(function, flat, step=1e-6):
    """The gradient (2n,) of a function of a flat by central differences."""
    x = flat.ravel()
    out = np.zeros(len(x))
    for k in range(len(x)):
        shift = np.zeros(len(x))
        shift[k] = step
        ahead, behind = ((x + s).reshape(-1, 2) for s in (shift, -shift))
        out[k] = (function(ahead) - function(behind)) / (2 * step)
    return out


def test_gradient():
    """The barrier's gradient is that of finite differences."""
    contact = around(STAR)

    found = barrier_terms(contact, STAR).gradient(len(STAR)).ravel()

    assert len(near(contact, STAR).at) > 3
    expected = differences(lambda flat: barrier(contact, flat), STAR)
    np.testing.assert_allclose(found, expected, atol=1e-8 * np.abs(found).max(), rtol=1e-5)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("along", [1.4, 4.05])
def test_hessian_is_no_softer_than_the_true_one(side, along):
    """What is left out of the Hessian is negative: ours less the true one has no negative value.

    So a step that slides along a turning edge is seen to run into it, on either side of the edge.
    """
    flat = np.array([[0, 0], [4, 0.3], [along, 0.8 * side], [7, 9.0 * side], [-7, 9.0 * side]])
    contact = Contact(np.arange(5), np.full((2, 5), 1.5), GAIN)

    def gradient(k):
        return lambda flat: barrier_terms(contact, flat).gradient(5).ravel()[k]

    lower = barrier_terms(contact, flat).hessian(5).toarray()
    ours = lower + np.tril(lower, -1).T
    true = np.stack([differences(gradient(k), flat) for k in range(10)])

    assert np.linalg.eigvalsh(true).min() < 0
    gap = np.linalg.eigvalsh(ours - 0.5 * (true + true.T))
    # differences of step 1e-6 are right to about 1e-8 of the largest entry
    assert gap.min() > -1e-6 * np.abs(true).max()


def test_meeting_is_when_they_touch():
    """A notch's tip that falls 2 while the edge 1 below it stays meets that edge half way."""
    flat = np.array([[0, 0], [4, 0], [4, 3], [2, 1], [0, 3.0]])
    move = np.zeros((5, 2))
    move[3] = [0.3, -2.0]
    contact = around(flat)

    assert meeting(contact, flat, move) == pytest.approx(0.5)
    assert meeting(within(contact, flat, move), flat, move) == pytest.approx(0.5)
    assert meeting(contact, flat, -move) == 1.0


def test_pairs_of_a_move_are_enough():
    """The barrier along a move is the same from the pairs found for the move and from all pairs."""
    move = np.random.default_rng(0).normal(size=STAR.shape) * 0.1
    contact = around(STAR)

    told = within(contact, STAR, move)

    for part in (0.0, 0.4, 1.0):
        there = STAR + part * move
        assert barrier(told, there) == pytest.approx(barrier(contact, there), rel=1e-12)


def test_touching_costs_infinity():
    """A vertex on an edge has an infinite barrier."""
    flat = np.array([[0, 0], [4, 0], [4, 3], [2, 0], [0, 3.0]])

    assert barrier(around(flat), flat) == np.inf


def test_reach_follows_edges_and_width(by_hand):
    """The reach is a part of short edges where they are short, and of the width of a thin strip."""
    vertices, faces = by_hand.grid(lambda u, v: np.column_stack([100 * u**2, v, 0 * u]), 11, 2)
    loop = np.concatenate([np.arange(0, 22, 2), np.arange(21, 0, -2)])
    contact = contact_of(rest(vertices, faces), faces, vertices, loop)

    # the strip is 1 wide; its edges are 1, 3, 5 ... 19 long
    assert contact.reach[0].max() <= REACH * 1.0 * (1 + 1e-12)
    np.testing.assert_allclose(contact.reach[1, :10], REACH * np.arange(1, 20, 2), rtol=1e-12)


def test_eased_reach_follows_the_flat():
    """Where a flat's edges are shorter than the panel's, the barrier begins nearer."""
    small = eased(around(STAR), STAR / 100)

    assert (small.reach < 0.9).all()
    np.testing.assert_array_equal(eased(around(STAR, 0.1), STAR).reach, 0.1)
