"""The energy of a cloth against the plain one, finite differences and what it must not change."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from padlib.flatten import isometric, orthotropic, strain
from padlib.flatten.rest import rest, singular_values
from padlib.flatten.strain import PAIRS, Energy, Scales

LAW = settings(max_examples=40, deadline=None, derandomize=True)
SCALES = (
    Scales(),
    Scales(3.0, 1.0, 0.5, 2.0, 0.7, 0.01),
    Scales(0.2, 4.0, 1.5, 0.3, 2.0, 0.05),
)
ENERGIES = [Energy(1.0, 0.0, 1.0, 1.0, s) for s in SCALES]
ENERGIES += [Energy(0.1, 1.0, p, 0.5, s) for p in (2.0, 4.0) for s in SCALES]


def maps(seed, count=60, much=0.35):
    """Jacobians (4, m) that flip nothing."""
    rng = np.random.default_rng(seed)
    out = np.array([1.0, 0, 0, 1.0])[:, None] + much * rng.normal(size=(4, count))
    return out[:, out[0] * out[3] - out[1] * out[2] > 0.1]


def values(energy, jacobian):
    """The energy of each Jacobian: f of the eigenvalues."""
    out = 0.0
    for m in orthotropic.eigenvalues(energy.scales, jacobian):
        ratio = (m / energy.reference) ** 2
        tail = energy.norm * energy.reference**2 / energy.power * ratio**energy.power
        out = out + energy.quadratic * m**2 + tail
    return out


def differences(function, jacobian, step=1e-6):
    """Central differences of a function of Jacobians, by entry first."""
    shifts = step * np.eye(4)[:, :, None]
    return np.stack(
        [(function(jacobian + d) - function(jacobian - d)) / (2 * step) for d in shifts]
    )


@pytest.mark.property
@given(seed=st.integers(0, 10**6))
@LAW
def test_equal_scales_are_the_plain_energy(seed):
    """With all scales 1 it is h(s1)^2 + h(s2)^2 of the singular values, whatever the map."""
    jacobian = maps(seed)
    plain = sum(strain.scalar(strain.PLAIN, s) for s in singular_values(jacobian))

    np.testing.assert_allclose(values(ENERGIES[0], jacobian), plain, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("energy", ENERGIES)
def test_gradient_is_that_of_differences(energy):
    """The gradient is the central difference of the energy, to the differences' own error."""
    jacobian = maps(3)

    gradient, _ = orthotropic.derivatives(energy, jacobian)

    told = differences(lambda j: values(energy, j), jacobian)
    np.testing.assert_allclose(told, gradient, atol=1e-8 * np.abs(gradient).max())


@pytest.mark.parametrize("energy", ENERGIES)
def test_hessian_is_that_of_differences(energy):
    """The Hessian is symmetric and the central difference of the gradient."""
    jacobian = maps(4)

    _, hessian = orthotropic.derivatives(energy, jacobian)

    told = differences(lambda j: orthotropic.derivatives(energy, j)[0], jacobian)
    np.testing.assert_allclose(told, hessian, atol=1e-8 * np.abs(hessian).max())
    np.testing.assert_allclose(hessian, hessian.transpose(1, 0, 2), atol=1e-9 * hessian.max())


def test_hessian_where_the_strains_are_one():
    """Where both eigenvalues are one, as in an even slack, the Hessian is still that of differences."""
    energy = ENERGIES[3]
    even = np.array([1.1, 0, 0, 1.1])[:, None]

    _, hessian = orthotropic.derivatives(energy, even)

    told = differences(lambda j: orthotropic.derivatives(energy, j)[0], even)
    np.testing.assert_allclose(told, hessian, atol=1e-7 * np.abs(hessian).max())


@pytest.mark.parametrize("energy", ENERGIES)
def test_triangles_push_back_as_the_mesh_says(by_hand, energy):
    """Of a whole panel, the gradient is the difference of the energy, each triangle's Hessian >= 0."""
    vertices, faces = by_hand.saddle(count=7)
    flat = isometric(vertices, faces) / 100 + 0.01 * np.random.default_rng(1).normal(size=(49, 2))
    at_rest = rest(vertices / 100, faces)
    weight = at_rest.area / at_rest.area.sum()

    told = orthotropic.local(energy, at_rest, weight, faces, flat)

    gradient = np.zeros_like(flat)
    np.add.at(gradient, faces.T, told.gradient.transpose(0, 2, 1))
    way = np.random.default_rng(2).normal(size=flat.shape)
    ends = [
        orthotropic.total(energy, at_rest, weight, faces, flat + step * way)
        for step in (1e-6, -1e-6)
    ]
    assert np.vdot(gradient, way) == pytest.approx((ends[0] - ends[1]) / 2e-6, rel=1e-6)
    whole = np.zeros((len(faces), 3, 2, 3, 2))
    for k, (i, j) in enumerate(PAIRS):
        block = told.blocks[k].transpose(2, 0, 1)
        whole[:, i, :, j] = block
        whole[:, j, :, i] = block.transpose(0, 2, 1)
    least = np.linalg.eigvalsh(whole.reshape(-1, 6, 6))[:, 0]
    assert least.min() > -1e-12 * np.abs(whole).max()


def test_a_collapse_costs_without_bound(by_hand):
    """The energy is infinite of a flipped flat, and grows without bound as a triangle collapses."""
    vertices, faces = by_hand.saddle(count=7)
    flat = isometric(vertices, faces)
    at_rest = rest(vertices, faces)
    weight = at_rest.area / at_rest.area.sum()

    costs = [
        orthotropic.total(ENERGIES[1], at_rest, weight, faces, flat * [1, squash])
        for squash in (1e-2, 1e-4, 1e-6)
    ]
    flipped = orthotropic.total(ENERGIES[1], at_rest, weight, faces, flat * [1, -1])

    # the cloth's length ratio is 1 / squash, its energy the square of that
    assert costs[1] / costs[0] == pytest.approx(1e4, rel=0.01)
    assert costs[2] / costs[1] == pytest.approx(1e4, rel=0.01)
    assert flipped == np.inf


@pytest.mark.property
@given(seed=st.integers(0, 10**6), turn=st.floats(0, 6.3), which=st.integers(0, 8))
@LAW
def test_frame_on_the_panel_does_not_matter(seed, turn, which):
    """The energy does not know in which frame a triangle of the panel is written down."""
    jacobian, energy = maps(seed), ENERGIES[which]
    c, s = np.cos(turn), np.sin(turn)
    frame = np.array([[c, -s], [s, c]])
    turned = np.einsum("ikm,kl->ilm", jacobian.reshape(2, 2, -1), frame).reshape(4, -1)

    np.testing.assert_allclose(values(energy, turned), values(energy, jacobian), rtol=1e-8)


@pytest.mark.property
@given(seed=st.integers(0, 10**6), which=st.integers(0, 8), much=st.sampled_from([0.03, 0.1, 0.4]))
@LAW
def test_positive_part(seed, which, much):
    """What is made positive is: no eigenvalue below 0, nothing taken away, the sound ones as they were."""
    jacobian = maps(seed, much=much)
    _, hessian = orthotropic.derivatives(ENERGIES[which], jacobian)
    size = np.abs(hessian).max(axis=(0, 1))

    made = orthotropic.positive(hessian, jacobian)

    least = np.linalg.eigvalsh(made.transpose(2, 0, 1))[:, 0]
    added = np.linalg.eigvalsh((made - hessian).transpose(2, 0, 1))[:, 0]
    sound = np.linalg.eigvalsh(hessian.transpose(2, 0, 1))[:, 0] > 1e-6 * size
    assert (least > -1e-11 * size).all()
    assert (added > -1e-11 * size).all()
    np.testing.assert_allclose((made - hessian)[:, :, sound], 0, atol=1e-9 * size.max())
