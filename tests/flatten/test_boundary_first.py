"""Boundary-first maps against closed forms, least squares, and the field's formulas."""

import sys

import numpy as np
import pytest

from padlib.flatten import stretch
from padlib.flatten.boundary_first import boundary_first, scale_of_least_strain
from padlib.flatten.conformal import conformal
from padlib.flatten.cotangent import corners, laplacian, parts
from padlib.flatten.disk import boundary_loop
from padlib.flatten.rest import best_scale, rest
from padlib.flatten.stretch import areas, flipped

MODULE = sys.modules[conformal.__module__]  # the package exports a function of the same name


def laid(vertices, faces):
    """The map, its own boundary found."""
    return boundary_first(vertices, faces, boundary_loop(faces))


def angle_error(vertices, faces, flat):
    """Area mean of log(s1 / s2)."""
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    weight = areas(vertices, faces)
    return float(np.log(s[:, 1] / s[:, 0]) @ weight / weight.sum())


@pytest.mark.parametrize(
    ("make", "options", "bound"),
    [
        ("cylinder", (60, 300), 1e-9),
        ("frustum", (98.6761, 62.0704, 300), 2e-3),
        ("frustum", (100, 1, 200), 2e-3),
    ],
)
def test_developable_is_exact(by_hand, make, options, bound):
    """A developable mesh comes out without stretch; a cone's facets fold along their diagonals."""
    vertices, faces = getattr(by_hand, make)(*options)

    flat = laid(vertices, faces)

    assert np.abs(stretch(vertices, faces, flat)).max() < bound
    assert not flipped(vertices, faces, flat).any()


def test_cap_has_the_stereographic_scale(by_hand):
    """A cap's rim keeps its length and its middle shrinks as the stereographic map has it."""
    vertices, faces = by_hand.cap(60, 40)
    flat = laid(vertices, faces)
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    scale = np.sqrt(s.prod(axis=1))
    polar = np.arccos(vertices[faces].mean(axis=1)[:, 2] / 100)

    ratio = scale[polar > np.radians(58.5)].mean() / scale[polar < np.radians(2)].mean()

    # sec^2 of half the polar angle (VALUES 6.5)
    assert ratio == pytest.approx(1 / np.cos(np.radians(59.3) / 2) ** 2, rel=0.01)


@pytest.mark.parametrize("make", ["saddle", "cap"])
def test_angles_are_as_good_as_least_squares(by_hand, make):
    """The mean angle distortion is within 15 % of the least-squares map's, the strain is no larger."""
    vertices, faces = by_hand.saddle() if make == "saddle" else by_hand.cap(70)

    mine, other = laid(vertices, faces), conformal(vertices, faces)

    errors = [angle_error(vertices, faces, flat) for flat in (mine, other)]
    assert errors[0] <= 1.15 * errors[1]
    s = [1.0 + stretch(vertices, faces, flat) for flat in (mine, other)]
    weight = areas(vertices, faces)
    strain = [float(weight @ (e**2 + e**-2.0).sum(axis=1)) for e in s]
    assert strain[0] <= strain[1] * (1 + 1e-6)


def test_harmonic_inside(by_hand):
    """Inside, both coordinates satisfy Laplace's equation of the cotangent Laplacian."""
    vertices, faces = by_hand.cap(70)
    flat, loop = laid(vertices, faces), boundary_loop(faces)

    residual = laplacian(rest(vertices, faces), faces) @ flat

    inside = np.setdiff1d(np.arange(len(vertices)), loop)
    assert np.abs(residual[inside]).max() < 1e-9 * np.abs(residual[loop]).max()


def test_scale_is_the_best_scale(by_hand):
    """The scale of least strain from cotangents is that from Jacobians."""
    vertices, faces = by_hand.saddle()
    flat = 0.3 * conformal(vertices, faces)

    mine = scale_of_least_strain(corners(vertices, faces), faces, flat)

    assert mine == pytest.approx(best_scale(rest(vertices, faces), faces, flat), rel=1e-12)


@pytest.mark.parametrize("squash", [1.0, 1e-2, 1e-5, 0.0])
def test_parts_are_the_laplacian(by_hand, squash):
    """The parted Laplacian is the whole one's blocks, needles and collapsed triangles included."""
    vertices, faces = by_hand.needles(squash, seed=4)
    loop = boundary_loop(faces)

    divided = parts(corners(vertices, faces), faces, loop, len(vertices))

    whole = laplacian(rest(vertices, faces), faces).toarray()
    size = np.abs(whole).max()
    inner = divided.inner.toarray()
    inner = inner + np.tril(inner, -1).T
    inside = divided.inside
    np.testing.assert_allclose(inner, whole[np.ix_(inside, inside)], atol=1e-9 * size)
    np.testing.assert_allclose(
        divided.across.toarray(), whole[np.ix_(inside, loop)], atol=1e-9 * size
    )


def test_large_meshes_are_laid_boundary_first(by_hand, monkeypatch):
    """From the threshold on, `conformal` without pins is the boundary-first map."""
    vertices, faces = by_hand.cap(50, 8)
    monkeypatch.setattr(MODULE, "BOUNDARY_FIRST_FROM", 10)

    np.testing.assert_array_equal(conformal(vertices, faces), laid(vertices, faces))


def test_the_way_that_flips_less_is_taken(by_hand, monkeypatch):
    """Where least squares flips triangles and boundary first does not, boundary first is taken."""
    vertices, faces = by_hand.cap(50, 8)
    mirrored = laid(vertices, faces) * [1.0, -1.0]
    monkeypatch.setattr(MODULE, "_least_squares", lambda *_: mirrored)

    np.testing.assert_array_equal(conformal(vertices, faces), laid(vertices, faces))
