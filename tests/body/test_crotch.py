"""The crotch's height by the whole lower end of the thighs' join."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.body.crotch import evened


def join(dent):
    """A saddle of 800 mm height, radius 130 mm from front to back and 8 mm from side to side, in cells of 6 mm; the
    vertex in its middle moved down by `dent`, as where a flat triangle bridges the fold."""
    line = np.arange(-60.0, 61.0, 6.0)
    x, y = (axis.ravel() for axis in np.meshgrid(line, line, indexing="ij"))
    z = 800.0 + y**2 / 260.0 - x**2 / 16.0
    z[np.argmin(np.hypot(x, y))] -= dent
    k = np.arange(len(line) ** 2).reshape(len(line), -1)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return np.column_stack([x, y, z]), faces


@pytest.mark.parametrize("dent", [0.0, 1.0, 2.0])
def test_one_vertex_hardly_moves_it(dent):
    """A vertex 2 mm low moves the place by less than a third of that; without it it is the saddle's within 0.2 mm."""
    v, f = join(dent)
    place = evened(v, f, np.array([0.0, 0.0, 800.0 - dent]), 0.0, 1700.0)
    assert abs(place[2] - 800.0) < 0.2 + dent / 3
    assert place[0] == 0.0
    assert abs(place[1]) < 25.0


def test_a_place_without_a_join_stays():
    """Where nothing lies over the place it is given back, at the x asked for."""
    v, f = join(0.0)
    place = evened(v, f, np.array([0.0, 0.0, 1200.0]), 2.0, 1700.0)
    assert np.array_equal(place, [2.0, 0.0, 1200.0])
