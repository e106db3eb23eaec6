"""What a cloth is asked, against closed forms of strips and threads; the presets and their checks."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padlib.errors import InputError
from padlib.flatten.cloth import (
    BOUNDS,
    COMMON,
    PRESETS,
    Cloth,
    cloth_use,
    limit_scales,
    shear_of_bias,
    use_of,
)
from padlib.flatten.orthotropic import eigenvalues
from padlib.flatten.stretch import stretch

LAW = settings(max_examples=30, deadline=None, derandomize=True)
FUR = PRESETS["long-pile-fur"]


def strip(by_hand):
    """A strip 100 mm long along y, 20 mm wide, in the plane z = 0."""
    return by_hand.grid(lambda u, v: np.column_stack([20 * u, 100 * v, 0 * u]), 4, 9)


@pytest.mark.parametrize("amount", [0.04, -0.03])
def test_strip_pulled_along_the_pile(by_hand, amount):
    """A strip cut too short along the pile is stretched there by that, and nowhere else."""
    vertices, faces = strip(by_hand)
    flat = vertices[:, :2] * [1, 1 / (1 + amount)]

    told = cloth_use(FUR, vertices, faces, flat)

    limit = FUR.stretch_along if amount > 0 else FUR.slack_along
    np.testing.assert_allclose(told.along, amount, rtol=1e-9)
    np.testing.assert_allclose(told.across, 0, atol=1e-12)
    np.testing.assert_allclose(told.shear_deg, 0, atol=1e-9)
    np.testing.assert_allclose(told.use, abs(amount) / limit, rtol=1e-9)
    # halfway between: sqrt(((1 + e)^2 + 1) / 2) - 1 on either diagonal (Pythagoras)
    np.testing.assert_allclose(told.bias, np.sqrt(((1 + amount) ** 2 + 1) / 2) - 1, rtol=1e-9)


@pytest.mark.parametrize("amount", [0.07, -0.05])
def test_strip_pulled_across(by_hand, amount):
    """The same strip with its pile across it uses up the limit across the pile."""
    vertices, faces = strip(by_hand)
    flat = vertices[:, :2] * [1, 1 / (1 + amount)]

    told = cloth_use(FUR, vertices, faces, flat, pile=(-1, 0))

    limit = FUR.stretch_across if amount > 0 else FUR.slack_across
    np.testing.assert_allclose(told.across, amount, rtol=1e-9)
    np.testing.assert_allclose(told.use, abs(amount) / limit, rtol=1e-9)


@pytest.mark.parametrize("degrees", [2.0, 9.0, -15.0])
def test_threads_that_turn(by_hand, degrees):
    """Threads that keep their length and leave the right angle are sheared by that angle."""
    vertices, faces = strip(by_hand)
    flat, sine = vertices[:, :2], np.sin(np.radians(degrees))
    leaned = vertices.copy()
    leaned[:, 0] += sine * vertices[:, 1]
    leaned[:, 1] *= np.cos(np.radians(degrees))

    told = cloth_use(FUR, leaned, faces, flat)

    np.testing.assert_allclose(told.along, 0, atol=1e-12)
    np.testing.assert_allclose(told.across, 0, atol=1e-12)
    np.testing.assert_allclose(np.abs(told.shear_deg), abs(degrees), rtol=1e-9)
    np.testing.assert_allclose(told.use, abs(degrees) / FUR.shear_deg, rtol=1e-9)
    # the diagonals of a rhomb: sqrt(1 +- sin g) of those of the square
    both = np.sqrt(1 + np.abs(sine) * np.array([-1, 1])) - 1
    np.testing.assert_allclose(np.sort(told.bias, axis=1), np.tile(both, (len(faces), 1)))


def test_pull_on_the_bias_counts_in_full():
    """A bias pull that may not narrow uses more of the cloth than any one of its parts does."""
    cloth = Cloth("even", "", 0.06, 0.06, 0.06, 0.06, np.degrees(0.12))
    half = 0.5 * (1 / 1.06 - 1)
    pulled = np.array([1 + half, half, half, 1 + half])[:, None]  # J: 1/1.06 on one diagonal

    told = use_of(cloth, pulled)

    assert told.bias.max() == pytest.approx(0.06)
    assert np.abs(told.along) / 0.06 < 0.55
    assert np.abs(told.shear_deg) / cloth.shear_deg < 0.55
    assert told.use == pytest.approx(1.0, rel=0.06)  # strains of 6 % are small to 6 % of themselves


@pytest.mark.property
@given(seed=st.integers(0, 10**6))
@LAW
def test_even_cloth_is_the_plain_rule(seed):
    """Of a cloth with one limit all ways, use is the largest principal stretch over the limit."""
    rng = np.random.default_rng(seed)
    cloth = Cloth("even", "", 0.05, 0.05, 0.05, 0.05, np.degrees(0.1))
    corners = np.array([[0.0, 0, 0], [100, 0, 0], [20, 90, 0]])
    faces = np.array([[0, 1, 2]])
    flat = corners[:, :2] @ (np.eye(2) + 0.003 * rng.normal(size=(2, 2)))

    told = cloth_use(cloth, corners, faces, flat)

    principal = np.abs(stretch(corners, faces, flat)).max()
    # equal to first order; the rest is of the square of the strain
    assert told.use[0] * 0.05 == pytest.approx(principal, abs=3 * principal**2 + 1e-12)


@pytest.mark.property
@given(seed=st.integers(0, 10**6), turn=st.floats(0, 6.3))
@LAW
def test_flat_and_pile_turned_together(by_hand, seed, turn):
    """A flat turned with its pile asks the same of its cloth; the panel may be turned as well."""
    rng = np.random.default_rng(seed)
    vertices, faces = strip(by_hand)
    flat = vertices[:, :2] + rng.uniform(-0.4, 0.4, (len(vertices), 2))
    cosine, sine = np.cos(turn), np.sin(turn)
    turned = np.array([[cosine, sine], [-sine, cosine]])
    moved = vertices[:, [2, 0, 1]] + [5, -7, 300]

    here = cloth_use(FUR, vertices, faces, flat)
    there = cloth_use(FUR, moved, faces, flat @ turned, pile=np.array([0, -3.0]) @ turned)

    for name in ("along", "across", "shear_deg", "use"):
        np.testing.assert_allclose(getattr(there, name), getattr(here, name), atol=1e-9)


@pytest.mark.parametrize("cloth", PRESETS.values(), ids=PRESETS)
def test_scales_are_at_the_limits(cloth):
    """At each of a cloth's limits the scaled strain of the energy is the same number."""
    scales = limit_scales(cloth)
    tangent = np.tan(np.radians(cloth.shear_deg))
    maps = [
        (1, 0, 0, 1 / (1 + cloth.stretch_along)),
        (1, 0, 0, 1 / (1 - cloth.slack_along)),
        (1 / (1 + cloth.stretch_across), 0, 0, 1),
        (1 / (1 - cloth.slack_across), 0, 0, 1),
        (1, -tangent, 0, 1 / np.cos(np.radians(cloth.shear_deg))),
    ]

    found = np.abs(eigenvalues(scales, np.array(maps).T)).max(axis=0)

    np.testing.assert_allclose(use_of(cloth, np.array(maps).T).use, 1, rtol=1e-9)
    np.testing.assert_allclose(found, cloth.plain, rtol=1e-9)


@pytest.mark.parametrize("cloth", PRESETS.values(), ids=PRESETS)
def test_presets_say_that_they_have_no_source(cloth):
    """Every preset is marked as common practice and gives no more along the pile than across."""
    assert cloth.source == COMMON == "common practice, no source"
    assert cloth.stretch_along <= cloth.stretch_across
    assert cloth.stiffness_along >= cloth.stiffness_across


@pytest.mark.parametrize("percent", [3, 6, 10, 20])
def test_bias_strip_and_shear_are_one_number(percent):
    """The shear found from a bias strip stretches that strip by what was measured."""
    degrees = shear_of_bias(percent / 100)

    assert replace(FUR, shear_deg=degrees).bias == pytest.approx(percent / 100)
    # threads of length 1: half a diagonal is cos of half the angle between them
    half = np.radians(90 - degrees) / 2
    assert np.cos(half) / np.cos(np.pi / 4) == pytest.approx(1 + percent / 100)


@pytest.mark.parametrize("key", BOUNDS)
@pytest.mark.parametrize("end", [0, 1])
def test_numbers_out_of_bounds_are_refused(key, end):
    """A limit or stiffness that cannot be is refused by its name."""
    value = BOUNDS[key][end] * (0.5, 2.0)[end]
    with pytest.raises(InputError, match=f"cloth 'long-pile-fur': {key} is .* must lie between"):
        replace(FUR, **{key: value})


def test_not_a_number_is_refused():
    """A limit that is not a number is refused."""
    with pytest.raises(InputError, match="shear_deg is nan"):
        replace(FUR, shear_deg=float("nan"))


@pytest.mark.parametrize("amount", [0.0, -0.1, 0.5])
def test_impossible_bias_strip(amount):
    """A bias strip cannot be stretched by nothing, nor by more than threads at 60 degrees give."""
    with pytest.raises(InputError, match="a bias strip's stretch"):
        shear_of_bias(amount)


@pytest.mark.parametrize("pile", [(0, 0), (0, 0, 1), (np.nan, 1)])
def test_pile_must_be_a_direction(by_hand, pile):
    """A pile that is no direction in the flat is refused."""
    vertices, faces = strip(by_hand)
    with pytest.raises(InputError, match="needs a direction of two numbers"):
        cloth_use(FUR, vertices, faces, vertices[:, :2], pile=pile)
