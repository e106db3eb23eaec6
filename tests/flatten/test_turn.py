"""The pile runs down the page."""

import numpy as np
import pytest

from padlib.errors import MeshError
from padlib.flatten import isometric, stretch
from padlib.flatten.turn import mean_pile, turn_to_pile

DOWN = np.array([0.0, 0.0, -1.0])


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5, 4.4])
def test_cylinder_hangs_down(by_hand, turn):
    """However a cylinder's flat was turned, its generators end up along y with the top up."""
    vertices, faces = by_hand.cylinder(60, 300, columns=20, rows=9)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    flat = isometric(vertices, faces) @ turned + [1000, -500]

    out = turn_to_pile(vertices, faces, flat, np.tile(DOWN, (len(faces), 1)))

    np.testing.assert_allclose(out[:, 1], vertices[:, 2], atol=1e-6)
    np.testing.assert_allclose(out.min(axis=0), 0, atol=1e-12)


def test_only_turned_and_moved(by_hand):
    """Turning changes no stretch and mirrors nothing."""
    vertices, faces = by_hand.saddle()
    flat = isometric(vertices, faces)

    out = turn_to_pile(vertices, faces, flat, np.array([0.3, 0.4, -0.8]))

    np.testing.assert_allclose(
        stretch(vertices, faces, out), stretch(vertices, faces, flat), atol=1e-12
    )
    moved = out - flat
    corner = np.column_stack([flat, np.ones(len(flat))])
    found = np.linalg.lstsq(corner, out, rcond=None)[0]
    assert np.linalg.det(found[:2]) == pytest.approx(1)
    assert np.ptp(moved) > 0


def test_mean_image_points_down(by_hand):
    """After turning, the mean image of the pile has no part across the page."""
    vertices, faces = by_hand.cap(70, 10)
    centre = vertices[faces].mean(axis=1)
    direction = np.column_stack([0.2 - centre[:, 1], centre[:, 0] + 50, 0 * centre[:, 0] - 30])

    out = turn_to_pile(vertices, faces, isometric(vertices, faces), direction)

    mean = mean_pile(vertices, faces, out, direction)
    assert mean[0] == pytest.approx(0, abs=1e-9)
    assert mean[1] < -0.1


def test_pile_without_a_way_is_only_moved(by_hand):
    """A pile that runs out from the middle all round has no mean direction: nothing is turned."""
    vertices, faces = by_hand.cap(40, 8)
    flat = isometric(vertices, faces)

    out = turn_to_pile(vertices, faces, flat, np.zeros((len(faces), 3)))

    np.testing.assert_allclose(out, flat - flat.min(axis=0))


def test_wrong_count_of_directions_is_told(by_hand):
    """The pile needs one direction, or one for each triangle."""
    vertices, faces = by_hand.cap(40, 2)

    with pytest.raises(MeshError, match="a direction for each triangle"):
        turn_to_pile(vertices, faces, isometric(vertices, faces), np.zeros((3, 3)))
