"""Laws of flattening on generated panels: what must not change, does not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from padlib.flatten import conformal, isometric, stretch
from padlib.flatten.boundary_first import boundary_first
from padlib.flatten.disk import boundary_loop
from padlib.flatten.injective import is_injective
from padlib.flatten.stretch import areas


def free(vertices, faces):
    """The boundary-first map, which `conformal` takes for large meshes."""
    return boundary_first(vertices, faces, boundary_loop(faces))


LAW = settings(max_examples=12, deadline=None, derandomize=True)


@pytest.fixture(scope="module")
def panel(by_hand):
    """A bumpy panel of a few hundred triangles from a seed."""

    def make(seed):
        rng = np.random.default_rng(seed)
        a, b, c = rng.uniform(-1, 1, (3, 3))

        def place(u, v):
            x, y = 200 * u, 150 * v
            wave = 25 * (a[0] * np.sin(3 * u + a[1]) + b[0] * np.cos(4 * v + b[1]) + c[0] * u * v)
            return np.column_stack([x, y, wave])

        return by_hand.grid(place, 15, 12)

    return make


def energy(vertices, faces, flat):
    """The mean strain energy of a flat."""
    s = 1 + stretch(vertices, faces, flat)
    weight = areas(vertices, faces)
    return weight @ (0.25 * (s - 1 / s) ** 2).sum(axis=1) / weight.sum()


@pytest.mark.property
@pytest.mark.parametrize("flatten", [conformal, free, isometric])
@given(seed=st.integers(0, 10**6), size=st.floats(1e-3, 1e3), turn=st.integers(0, 10**6))
@LAW
def test_rigid_motion_and_scale(panel, flatten, seed, size, turn):
    """A moved, turned and scaled panel has the same stretch, triangle for triangle."""
    vertices, faces = panel(seed)
    moved = size * Rotation.random(rng=np.random.default_rng(turn)).apply(vertices) + [7, -300, 50]

    here = stretch(vertices, faces, flatten(vertices, faces))
    there = stretch(moved, faces, flatten(moved, faces))

    np.testing.assert_allclose(there, here, atol=1e-5)


@pytest.mark.property
@pytest.mark.parametrize("flatten", [conformal, free, isometric])
@given(seed=st.integers(0, 10**6), shuffle=st.integers(0, 10**6))
@LAW
def test_renumbering(panel, flatten, seed, shuffle):
    """Renumbered vertices and triangles give the same stretch, triangle for triangle."""
    vertices, faces = panel(seed)
    rng = np.random.default_rng(shuffle)
    order, rows = rng.permutation(len(vertices)), rng.permutation(len(faces))
    place = np.argsort(order)

    here = stretch(vertices, faces, flatten(vertices, faces))[rows]
    other = vertices[order], place[np.roll(faces[rows], rng.integers(3), axis=1)]
    there = stretch(*other, flatten(*other))

    np.testing.assert_allclose(there, here, atol=1e-5)


@pytest.mark.property
@given(seed=st.integers(0, 10**6))
@LAW
def test_isometric_improves_on_conformal(panel, seed):
    """The isometric map never has more energy than the conformal one it starts from."""
    vertices, faces = panel(seed)
    start = conformal(vertices, faces)
    flat = isometric(vertices, faces, start)

    assert energy(vertices, faces, flat) <= energy(vertices, faces, start)
    assert is_injective(vertices, faces, flat)


@pytest.mark.property
@given(seed=st.integers(0, 10**6), limit=st.floats(0.001, 0.1))
@LAW
def test_limit_never_makes_the_worst_worse(panel, seed, limit):
    """A limit never raises the 95 and 99 % stretch above it by more than the plain map has."""
    vertices, faces = panel(seed)
    weight = areas(vertices, faces)

    def over(flat):
        size = np.abs(stretch(vertices, faces, flat)).max(axis=1)
        share = np.cumsum(weight[np.argsort(size)]) / weight.sum()
        at = [np.sort(size)[np.searchsorted(share, p)] for p in (0.95, 0.99)]
        return (
            2 * max(at[0] - limit, 0) + max(at[1] - limit, 0) + 0.1 * size @ weight / weight.sum()
        )

    plain, limited = (over(isometric(vertices, faces, limit=x)) for x in (None, limit))
    assert limited <= plain * (1 + 1e-9)


@pytest.mark.property
@given(bend=st.floats(-3, 3), wave=st.floats(0.5, 4), long=st.floats(50, 500))
@LAW
def test_developable_sheets_are_flat(by_hand, bend, wave, long):
    """A sheet bent along one direction only, however, flattens without any stretch."""
    t = np.linspace(0, 1, 25)
    angle = bend * np.sin(wave * t)
    step = np.column_stack([np.cos(angle), np.sin(angle)]) * 8
    profile = np.vstack([[0, 0], np.cumsum(step, axis=0)])[:25]

    def place(u, v):
        at = profile[np.round(u * 24).astype(int)]
        return np.column_stack([at[:, 0], long * v, at[:, 1]])

    vertices, faces = by_hand.grid(place, 25, 12)

    assert np.abs(stretch(vertices, faces, isometric(vertices, faces))).max() < 1e-8
