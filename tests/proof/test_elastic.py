"""Energy of sewn cloth: derivatives against differences, bending against the closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import Delaunay

from padlib.proof import elastic
from padlib.proof.bend import bending
from padlib.proof.blocks import blocks_of
from padlib.proof.sew import Sewn, hat_gradients, weld
from padlib.proof.sheets import Bundle, Sheet, Stitch

STIFF = (1.0, 0.4, 0.2)


def sheet(seed: int = 3, count: int = 60, size: float = 100.0) -> Sheet:
    """A square of cloth with vertices at random, stiff along its pile, less so across and in shear."""
    rng = np.random.default_rng(seed)
    rim = np.linspace(0, size, 9)[:-1]
    border = [(t, 0) for t in rim] + [(size, t) for t in rim]
    border += [(size - t, size) for t in rim] + [(0, size - t) for t in rim]
    flat = np.vstack([np.array(border, float), rng.uniform(6, size - 6, (count, 2))])
    faces = Delaunay(flat).simplices.astype(np.int64)
    one, two = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    double = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    faces[double < 0] = faces[double < 0][:, ::-1]
    return Sheet("a", flat, faces[np.abs(double) > 1e-6], STIFF, ())


def crumpled(sewn: Sewn, flat: np.ndarray, seed: int = 5) -> np.ndarray:
    """The sheet bent, sheared and roughened by a few per cent."""
    rng = np.random.default_rng(seed)
    x, y = flat.T
    place = np.column_stack([1.02 * x + 0.03 * y, 0.98 * y, 8 * np.sin(x / 30) * np.cos(y / 25)])
    return place + rng.normal(0, 0.1, place.shape)


def total(sewn: Sewn, place: np.ndarray) -> float:
    """The energy of stretch, mm2."""
    return float(elastic.energy(sewn, elastic.strained(sewn, place)) @ sewn.area)


def test_energy_falls_along_its_derivative() -> None:
    """The derivative by the places equals a central difference to 1e-7 of itself, in five directions."""
    own = sheet()
    sewn = weld(Bundle((own,), ()))
    place = crumpled(sewn, own.positions)
    state = elastic.strained(sewn, place)
    slope = elastic.pulled(sewn, state, elastic.referred(state, elastic.stress(sewn, state)))
    rng = np.random.default_rng(1)
    for _ in range(5):
        way = rng.normal(size=place.shape)
        rise = (total(sewn, place + 1e-5 * way) - total(sewn, place - 1e-5 * way)) / 2e-5

        assert np.vdot(slope, way) == pytest.approx(rise, rel=1e-7)


def test_energy_changes_with_the_cut_as_told() -> None:
    """The derivative by the flat places, cloth held still in space, equals a central difference."""
    own = sheet()
    sewn = weld(Bundle((own,), ()))
    place = crumpled(sewn, own.positions)
    state = elastic.strained(sewn, place)
    referred = elastic.referred(state, elastic.stress(sewn, state))
    felt = elastic.cut_otherwise(sewn, state, referred, elastic.energy(sewn, state))
    slope = np.zeros_like(own.positions)
    np.add.at(slope, own.faces, felt)
    rng = np.random.default_rng(2)

    def cut(way: np.ndarray, share: float) -> float:
        return total(
            weld(Bundle((replace(own, positions=own.positions + share * way),), ())), place
        )

    for _ in range(5):
        way = rng.normal(size=slope.shape)
        rise = (cut(way, 1e-5) - cut(way, -1e-5)) / 2e-5

        assert np.vdot(slope, way) == pytest.approx(rise, rel=1e-6)


def test_second_derivative_is_the_true_one_where_cloth_is_taut() -> None:
    """Of a plane sheet drawn out by 3 % both ways the second derivative out of the plane equals a
    difference of the first one, and the whole never points uphill."""
    own = sheet()
    sewn = weld(Bundle((own,), ()))
    place = np.column_stack([1.03 * own.positions, np.zeros(len(own.positions))])
    state = elastic.strained(sewn, place)
    referred = elastic.referred(state, elastic.stress(sewn, state))
    none = bending(Bundle((own,), ()), sewn) * 0.0
    low = blocks_of(sewn.faces, sewn.count, none).matrix(
        elastic.hessians(sewn, state, referred), np.zeros((sewn.count, 3, 3))
    )
    whole = (low + low.T).toarray() - np.diag(low.diagonal())
    way = np.zeros_like(place)
    way[:, 2] = np.random.default_rng(6).normal(size=sewn.count)

    def slope(at: np.ndarray) -> np.ndarray:
        there = elastic.strained(sewn, at)
        return elastic.pulled(sewn, there, elastic.referred(there, elastic.stress(sewn, there)))

    change = (slope(place + 1e-5 * way) - slope(place - 1e-5 * way)) / 2e-5

    told = (whole @ way.ravel()).reshape(-1, 3)[:, 2]
    assert np.abs(told).max() > 1.0
    assert np.allclose(told, change[:, 2], atol=2e-6)
    assert np.linalg.eigvalsh(whole).min() > -1e-9


def test_a_rolled_sheet_costs_its_closed_form_to_bend() -> None:
    """Bending energy of a strip rolled to radius r: half of area over r squared, within 2 %."""
    n, radius = 40, 50.0
    x, y = np.meshgrid(np.linspace(0, 120, n), np.linspace(0, 40, 14))
    flat = np.column_stack([x.ravel(), y.ravel()])
    faces = Delaunay(flat).simplices.astype(np.int64)
    one, two = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    turned = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0] < 0
    faces[turned] = faces[turned][:, ::-1]
    suit = Bundle((Sheet("a", flat, faces, (1.0, 1.0, 1.0), ()),), ())
    sewn = weld(suit)
    angle = flat[:, 0] / radius
    place = np.column_stack([radius * np.sin(angle), flat[:, 1], radius * np.cos(angle)])
    cost = 0.5 * np.vdot(place, bending(suit, sewn) @ place)

    # the border's own vertices do not count: half a cell is missing all round
    whole = 0.5 * (120.0 - 120.0 / (n - 1)) * (40.0 - 40.0 / 13) / radius**2
    assert cost == pytest.approx(whole, rel=0.02)
    flat_cost = 0.5 * np.vdot(flat, bending(suit, sewn) @ flat)
    assert abs(flat_cost) < 1e-9 * cost


def test_cloth_turns_freely_across_a_seam() -> None:
    """Two squares sewn along an edge and folded there by a right angle cost nothing to bend."""
    own = sheet()
    right = np.flatnonzero(own.positions[:, 0] > 100 - 1e-9)
    right = right[np.argsort(own.positions[right, 1])]
    other = replace(own, name="b", positions=own.positions * [-1, 1], faces=own.faces[:, ::-1])
    suit = Bundle((own, other), (Stitch("s", 0, right, 1, right),))
    sewn = weld(suit)
    place = np.zeros((sewn.count, 3))
    place[sewn.welded[0]] = np.column_stack([own.positions, np.zeros(len(own.positions))])
    up = 100 - own.positions[:, 0]
    place[sewn.welded[1]] = np.column_stack([np.full(len(up), 100.0), own.positions[:, 1], up])

    assert abs(np.vdot(place, bending(suit, sewn) @ place)) < 1e-8


def test_principal_values_are_those_of_eigh() -> None:
    """Closed-form eigenvalues and projectors of 2 x 2 tensors equal numpy's."""
    rng = np.random.default_rng(8)
    some = rng.normal(size=(50, 2, 2))
    some = some + np.swapaxes(some, 1, 2)
    high, low, axis = elastic.principal(some)
    values, vectors = np.linalg.eigh(some)

    assert np.allclose(low, values[:, 0])
    assert np.allclose(high, values[:, 1])
    assert np.allclose(axis, vectors[:, :, 1:] @ np.swapaxes(vectors[:, :, 1:], 1, 2))


def test_hat_gradients_are_those_of_linear_functions() -> None:
    """The hat functions' gradients give back the gradient of any linear function."""
    own = sheet()
    gradients, area = hat_gradients(own.positions[own.faces])
    value = own.positions @ [0.3, -0.7] + 4.0

    assert np.allclose(np.einsum("mka,mk->ma", gradients, value[own.faces]), [0.3, -0.7])
    assert area.sum() == pytest.approx(100.0**2)
