"""Flattening against libigl in one run: ratios of time, energy and worst stretch, in a table.

Run with `pytest -m benchmark tests/benchmarks/bench_flatten.py -s`; nothing else should be running.
"""

import sys
import time

import igl
import numpy as np
import pytest

from padlib.flatten import conformal, isometric, stretch
from padlib.flatten.conformal import laplacian
from padlib.flatten.injective import overlaps
from padlib.flatten.rest import rest
from padlib.flatten.stretch import areas, flipped, summary
from padlib.mesh.solve import BACKEND, factor

pytestmark = pytest.mark.benchmark


def dome(side):
    """A bumpy dome of 2 (side - 1)^2 triangles, mm."""
    x, y = (c.ravel() for c in np.meshgrid(*[np.linspace(-1, 1, side)] * 2, indexing="ij"))
    z = 0.9 * np.exp(-1.5 * (x**2 + y**2)) + 0.05 * np.sin(6 * x + 1) * np.cos(5 * y)
    at = np.arange(side * side).reshape(side, side)
    a, b, c, d = (s.ravel() for s in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    faces = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return 300 * np.column_stack([x, y, z]), faces


def clocked(work, *args, **options):
    """The answer and the seconds."""
    start = time.perf_counter()
    out = work(*args, **options)
    return out, time.perf_counter() - start


def conformal_energy(vertices, faces, flat):
    """Sum of area * (s1 - s2)^2 / 2 over the flat's own area, so that its size does not count."""
    s = 1.0 / (1.0 + stretch(vertices, faces, flat))
    weight = areas(vertices, faces)
    return float(weight @ (s[:, 1] - s[:, 0]) ** 2 / 2 / (weight @ s.prod(axis=1)))


def strain(vertices, faces, flat):
    """Symmetric Dirichlet energy per area: 4 for an isometry."""
    s = 1.0 + stretch(vertices, faces, flat)
    weight = areas(vertices, faces)
    return float(weight @ (s**2 + s**-2.0).sum(axis=1) / weight.sum())


@pytest.mark.parametrize("side", [71, 224, 500])
def test_conformal(side):
    """The conformal map is faster than igl.lscm and no further from conformal."""
    vertices, faces = dome(side)
    loop = igl.boundary_loop(faces)
    held = np.array([loop[0], loop[len(loop) // 2]])
    spots = np.array([[0.0, 0], [600, 0]])
    (mine, own), (theirs, lscm) = (
        clocked(conformal, vertices, faces, pins=(held, spots)),
        clocked(lambda: igl.lscm(vertices, faces, held, spots)[0]),
    )
    graph = laplacian(rest(vertices, faces), faces)[1:, 1:]
    _, plain = clocked(factor, graph)
    energy = [conformal_energy(vertices, faces, flat) for flat in (mine, theirs)]
    sys.stdout.write(
        f"\n{len(faces):8d} triangles, {BACKEND}: conformal {own:6.2f} s, igl.lscm {lscm:6.2f} s, "
        f"ratio {lscm / own:5.1f}; one Laplacian factor {plain:5.2f} s, ratio {own / plain:4.1f}; "
        f"conformal energy {energy[0]:.3e} and {energy[1]:.3e}"
    )
    assert energy[0] <= energy[1] * (1 + 1e-6)
    assert BACKEND != "cholmod" or side < 500 or own < lscm / 3


@pytest.mark.parametrize("side", [71, 224])
def test_isometric(side):
    """The isometric map reaches the energy of ten steps of igl.slim in less time."""
    vertices, faces = dome(side)
    start = conformal(vertices, faces)
    one = np.array([0, 0])

    def slim():
        data = igl.slim_precompute(
            vertices, faces, start.copy(), igl.SYMMETRIC_DIRICHLET, one, start[one], 0.0
        )
        return igl.slim_solve(data, 10)[:, :2]

    (mine, own), (theirs, other) = clocked(isometric, vertices, faces, start), clocked(slim)
    weight = areas(vertices, faces)
    told = [
        (strain(vertices, faces, u), summary(stretch(vertices, faces, u), weight))
        for u in (mine, theirs)
    ]
    sys.stdout.write(
        f"\n{len(faces):8d} triangles, {BACKEND}: isometric {own:6.2f} s, igl.slim {other:6.2f} s, "
        f"ratio {other / own:5.1f}; energy {told[0][0]:.6f} and {told[1][0]:.6f}; "
        f"largest stretch {told[0][1]['max']:.4f} and {told[1][1]['max']:.4f}"
    )
    assert not flipped(vertices, faces, mine).any()
    assert overlaps(faces, mine) == 0
    assert told[0][0] <= told[1][0] * (1 + 1e-6)
    assert own < other


def test_panel_of_five_thousand():
    """A panel of 5,000 triangles is flat within half a second, limit and all."""
    vertices, faces = dome(51)
    rows = []
    for limit in (None, 0.05):
        flat, own = clocked(isometric, vertices, faces, limit=limit)
        told = summary(stretch(vertices, faces, flat), areas(vertices, faces))
        rows.append(own)
        sys.stdout.write(f"\n    {len(faces)} triangles, limit {limit}: {own:.2f} s, {told}")
    assert rows[0] < 0.5
