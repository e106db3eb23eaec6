"""Profiles: what they promise about rims, crowns and unions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from padlib.padding.profile import band, cap, dome, eased, merged, smoothstep, stretched


def _steepest_turn(curve, step=1e-4):
    """Greatest change of slope between neighbouring samples of a curve over -3 .. 3."""
    x = np.arange(-3, 3, step)
    return np.abs(np.diff(np.diff(curve(x)) / step)).max()


@pytest.mark.parametrize("width", [0.05, 0.4, 1.0])
def test_an_eased_edge_has_no_corner(width):
    """Across an eased edge the slope changes no faster than 1 / (2 band), so there is no ridge."""
    assert _steepest_turn(lambda x: eased(x, width)) < 1.01e-4 / (2 * width)


def test_an_edge_without_band_is_sharp():
    """With no band the eased height is the positive part of the height."""
    height = np.linspace(-5, 5, 101)
    np.testing.assert_allclose(eased(height, 0.0), np.maximum(height, 0.0), atol=1e-12)


def test_easing_keeps_the_crown():
    """A band as wide as the depth still leaves the crown at full depth."""
    assert eased(dome(np.zeros(1), 40.0), 40.0)[0] == pytest.approx(40.0)


def test_a_cap_lies_on_its_sphere():
    """Inside the rim every point of a cap is one radius from the sphere's centre."""
    depth, radius = 37.0, 88.0
    ball = (radius**2 + depth**2) / (2 * depth)
    distance = np.linspace(0, radius, 50)
    height = cap(distance, depth, radius)
    np.testing.assert_allclose(np.hypot(distance, height + ball - depth), ball, rtol=1e-12)
    assert cap(np.array([radius + 10.0]), depth, radius)[0] < 0


def test_smoothstep_and_stretched_pass_through_their_ends():
    """Both reach their end values exactly and smoothstep is flat there."""
    np.testing.assert_array_equal(smoothstep(np.array([-1.0, 0, 0.5, 1, 2])), [0, 0, 0.5, 1, 1])
    np.testing.assert_allclose(stretched(np.array([-20.0, 0, 30]), 20.0, 30.0), [-1, 0, 1])
    assert _steepest_turn(smoothstep) < 6.1e-4


def test_a_band_is_flat_on_top():
    """A band keeps its depth to its half width and is at the body one depth beyond."""
    height = band(np.array([0.0, 50.0, 65.0, -65.0]), 15.0, 50.0)
    np.testing.assert_allclose(height, [15, 15, 0, 0], atol=1e-12)


@pytest.mark.property
@settings(max_examples=40, deadline=None, derandomize=True)
@given(arrays(np.float64, (3, 7), elements=st.floats(0, 150)))
def test_a_union_lies_between_the_thickest_and_the_sum(layers):
    """The union is at least the thickest, at most a quarter more for each further pad, and never the sum."""
    union = merged(layers)
    top = layers.max(axis=0)
    assert (union >= top - 1e-9).all()
    assert (union <= top * 1.5 + 1e-9).all()
    assert (union <= layers.sum(axis=0) + 1e-9).all()


@pytest.mark.parametrize("join", [10.0, 35.0])
def test_two_flanks_meet_in_a_round_of_the_join(join):
    """Where two flanks of 45 degrees meet, the foot of the round turns as a circle of that radius."""
    x = np.linspace(-60, 60, 1201)
    union = merged([100.0 + x, 100.0 - x], join=join)
    step = x[1] - x[0]
    turn = np.gradient(np.gradient(union, step), step)
    assert 1 / turn[600] == pytest.approx(join, rel=1e-3)
    # past the round the flanks are as they were
    np.testing.assert_allclose(
        union[np.abs(x) > join + 0.2], 100 + np.abs(x[np.abs(x) > join + 0.2])
    )


def test_without_join_the_thicker_pad_counts():
    """A join of 0 is the plain maximum."""
    layers = np.array([[10.0, 0, 30], [20, 5, 30]])
    np.testing.assert_array_equal(merged(layers, join=0.0), [20, 5, 30])
