"""Choosing a level on a broad profile: closed forms, and how little noise moves it."""

import numpy as np
import pytest

from padlib.body.pick import pick, sway, top

AT = np.linspace(250.0, 400.0, 38)


@pytest.mark.parametrize(("peak", "steep"), [(330.0, 0.004), (350.0, 0.001), (300.0, 0.002)])
def test_a_parabola_gives_the_mean_of_its_own_top_and_the_usual_place(peak, steep):
    """-s (x - p)^2 held by w (x - n)^2 has its top at (s p + w n) / (s + w), exactly; gaps in it change nothing."""
    value = -steep * ((AT - peak) / 30.0) ** 2
    value[[3, 17]] = np.nan
    expected = (steep * peak + 0.002 * 325.0) / (steep + 0.002)
    found = top(AT, value, near=325.0, spread=30.0, weight=0.002)
    assert found == pytest.approx(expected, abs=1e-6)


def test_noise_moves_a_flat_top_less_than_half_as_far():
    """A calf's profile, flat over centimetres, with noise: over 200 draws `top` strays under half as far as `pick`."""
    rng = np.random.default_rng(4)
    value = -0.0015 * ((AT - 345.0) / 30.0) ** 2
    noisy = value + 0.0006 * rng.normal(size=(200, len(AT)))
    by_fit = [top(AT, one, near=325.0, spread=30.0, weight=0.002) for one in noisy]
    by_peak = [pick(AT, one, near=325.0, spread=30.0, weight=0.001, soft=0.5)[0] for one in noisy]
    assert np.std(by_fit) < 0.5 * np.std(by_peak)


def test_without_a_top_the_place_stays_near_the_usual():
    """A hollow profile and one that is not known: a place within the samples, and the usual one."""
    hollow = 0.02 * ((AT - 325.0) / 30.0) ** 2
    assert AT[0] <= top(AT, hollow, near=325.0, spread=30.0, weight=0.002) <= AT[-1]
    assert top(AT, np.full(len(AT), np.nan), near=325.0, spread=30.0, weight=0.002) == 325.0


def test_how_far_a_leaning_profile_takes_its_place_along():
    """`sway` is the derivative of `pick`'s place by a lean of the profile, here by central differences, with a gap."""
    ask = {"near": 325.0, "spread": 30.0, "weight": 0.005}
    value = -0.002 * np.cos((AT - 300.0) / 25.0)
    value[5] = np.nan
    step = 1e-7
    places = [pick(AT, value + lean * (AT - 325.0), **ask)[0] for lean in (-step, step)]
    assert sway(AT, value, **ask) == pytest.approx((places[1] - places[0]) / (2.0 * step), rel=1e-4)
    assert sway(AT, np.full(len(AT), np.nan), **ask) == 0.0
