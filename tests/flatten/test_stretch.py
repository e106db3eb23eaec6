"""Cloth stretch against maps whose singular values are known."""

import numpy as np
import pytest
import trimesh

from padlib.flatten.stretch import areas, flipped, stretch, summary

TRIANGLE = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
FACE = np.array([[0, 1, 2]])


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.9])
def test_scaling_along_two_axes(turn):
    """A flat made 4/5 as long and 5/4 as wide asks for stretches of 1/4 and -1/5, however turned."""
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flat = TRIANGLE[:, :2] @ np.diag([0.8, 1.25]) @ turned.T

    np.testing.assert_allclose(stretch(TRIANGLE, FACE, flat), [[0.25, -0.2]], atol=1e-14)


def test_simple_shear_matches_svd():
    """A sheared triangle has the singular values that numpy finds."""
    shear = np.array([[1.1, 0.4], [0.0, 0.95]])
    expected = np.sort(1 / np.linalg.svd(shear, compute_uv=False) - 1)[::-1]

    found = stretch(TRIANGLE, FACE, TRIANGLE[:, :2] @ shear.T)

    np.testing.assert_allclose(found, [expected], atol=1e-14)


def test_collapsed_triangle_is_infinite_and_flipped():
    """A triangle without area in the flat has infinite stretch and counts as flipped."""
    flat = np.array([[0.0, 0], [1, 0], [2, 0]])

    assert np.isposinf(stretch(TRIANGLE, FACE, flat)[0, 0])
    assert flipped(TRIANGLE, FACE, flat).all()


def test_mirror_image_is_flipped():
    """A mirrored flat is flipped throughout, a turned one nowhere."""
    flat = TRIANGLE[:, :2]

    assert flipped(TRIANGLE, FACE, flat * [-1, 1]).all()
    assert not flipped(TRIANGLE, FACE, flat[:, ::-1] * [-1, 1]).any()


def test_areas_match_trimesh(by_hand):
    """Areas of a saddle agree with trimesh."""
    vertices, faces = by_hand.saddle()
    expected = trimesh.Trimesh(vertices, faces, process=False).area_faces

    np.testing.assert_allclose(areas(vertices, faces), expected, rtol=1e-12)


def test_summary_is_weighted_by_area():
    """Percentiles and mean count area, not triangles, and take the larger absolute stretch."""
    values = np.array([[0.01, -0.10], [0.02, 0.0], [0.50, 0.0]])
    weights = np.array([94.5, 4.0, 1.5])

    told = summary(values, weights)

    assert told["mean"] == pytest.approx(0.945 * 0.1 + 0.04 * 0.02 + 0.015 * 0.5)
    assert (told["p95"], told["p99"], told["max"]) == (0.10, 0.50, 0.50)


def test_summary_leaves_out_triangles_of_no_area():
    """A triangle of no area does not set the largest stretch."""
    told = summary(np.array([[0.1, 0.0], [9.0, 0.0]]), np.array([1.0, 0.0]))

    assert told["max"] == 0.1
