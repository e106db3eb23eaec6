"""Conformal maps against libigl, and against surfaces whose plane form is known."""

import igl
import numpy as np
import pytest

from padlib.errors import MeshError
from padlib.flatten import conformal, stretch
from padlib.flatten.stretch import areas, flipped


def angle_error(vertices, faces, flat):
    """Area mean of log(s1 / s2)."""
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    weight = areas(vertices, faces)
    return float(np.log(s[:, 1] / s[:, 0]) @ weight / weight.sum())


@pytest.mark.parametrize("name", ["saddle", "cap", "gore", "frustum"])
def test_equals_libigl_with_the_same_pins(by_hand, name):
    """With two vertices pinned the map is that of igl.lscm to 1e-7 of its size."""
    make = {
        "saddle": by_hand.saddle,
        "cap": lambda: by_hand.cap(70),
        "gore": lambda: by_hand.gore(100, 8, columns=9, rows=31, tip=0.2),
        "frustum": lambda: by_hand.frustum(60, 90, 200),
    }[name]
    vertices, faces = make()
    loop = igl.boundary_loop(faces)
    held = np.array([loop[0], loop[len(loop) // 2]])
    spots = np.array([[-40.0, 5.0], [60.0, -30.0]])

    mine = conformal(vertices, faces, pins=(held, spots))

    theirs = igl.lscm(vertices, faces, held, spots)[0]
    np.testing.assert_allclose(mine, theirs, atol=1e-7 * np.ptp(theirs))
    np.testing.assert_array_equal(mine[held], spots)


def test_more_pins_equal_libigl(by_hand):
    """Four pinned corners give the map of igl.lscm as well."""
    vertices, faces = by_hand.saddle()
    held = np.array([0, 20, 420, 440])
    spots = np.array([[0.0, 0], [10, 90], [120, -5], [100, 110]])

    theirs = igl.lscm(vertices, faces, held, spots)[0]

    np.testing.assert_allclose(
        conformal(vertices, faces, pins=(held, spots)), theirs, atol=1e-7 * np.ptp(theirs)
    )


@pytest.mark.parametrize(
    ("make", "options"),
    [("cylinder", (60, 300)), ("frustum", (98.6761, 62.0704, 300)), ("frustum", (100, 1, 200))],
)
def test_developable_is_exact(by_hand, make, options):
    """A developable mesh comes out without stretch: conformal maps of it are similar to it."""
    vertices, faces = getattr(by_hand, make)(*options)

    flat = conformal(vertices, faces)

    # the facets of a cone fold along their diagonals, so the mesh is developable but for those
    bound = 1e-9 if make == "cylinder" else 2e-3
    assert np.abs(stretch(vertices, faces, flat)).max() < bound
    assert not flipped(vertices, faces, flat).any()


def test_counter_clockwise_and_scaled(by_hand):
    """The flat of a cap is counter-clockwise and scaled so that shrinking and growing balance."""
    vertices, faces = by_hand.cap(60)

    flat = conformal(vertices, faces)

    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    weight = areas(vertices, faces)
    assert not flipped(vertices, faces, flat).any()
    assert weight @ (s**2).sum(axis=1) == pytest.approx(weight @ (s**-2.0).sum(axis=1))


def test_cap_tends_to_conformal(by_hand):
    """The mean angle error on a cap falls at least as fast as the triangles' size."""
    coarse, fine = (by_hand.cap(60, rings) for rings in (8, 24))
    errors = [angle_error(*mesh, conformal(*mesh)) for mesh in (coarse, fine)]

    assert errors[1] < errors[0] / 2.9


def test_stereographic_scale(by_hand):
    """On a cap of 85 degrees rim and middle differ in scale as the stereographic map has it."""
    vertices, faces = by_hand.cap(85, 24)
    flat = conformal(vertices, faces)
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    polar = np.arccos(vertices[faces].mean(axis=1)[:, 2] / 100)

    ratio = np.sqrt(s.prod(axis=1))[polar > np.radians(83)].mean() / np.sqrt(s[0].prod())

    # the scale of the stereographic map is sec^2 of half the polar angle (VALUES 6.5)
    assert ratio == pytest.approx(1 / np.cos(np.radians(84.1) / 2) ** 2, rel=0.03)


@pytest.mark.parametrize("squash", [1e-2, 1e-5, 0.0])
def test_needles_give_finite_answers(by_hand, squash):
    """Needles, even triangles without any area, give a finite flat of the right size."""
    vertices, faces = by_hand.needles(squash, seed=4)

    flat = conformal(vertices, faces)

    assert np.isfinite(flat).all()
    assert np.ptp(flat, axis=0).max() > 1.0


def test_single_triangle():
    """A panel of one triangle is laid flat as it is."""
    vertices = np.array([[0.0, 0, 5], [30, 0, 5], [0, 40, 5]])

    flat = conformal(vertices, np.array([[0, 1, 2]]))

    lengths = np.linalg.norm(flat - np.roll(flat, -1, axis=0), axis=1)
    np.testing.assert_allclose(lengths, [30, 50, 40], rtol=1e-12)


@pytest.mark.parametrize(
    "pins", [([0], [[0, 0]]), ([0, 0], [[0, 0], [1, 1]]), ([0, 999], [[0, 0], [1, 1]])]
)
def test_bad_pins_are_told(by_hand, pins):
    """Pins must be two or more different vertices of the panel."""
    with pytest.raises(MeshError, match="pins must be two or more different vertices"):
        conformal(*by_hand.cap(20, 3), pins=pins)
