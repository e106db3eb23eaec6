"""Elimination orders by coordinates: what they order, and how much they fill in."""

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from padlib.mesh.dissect import dissection


def grid(side):
    """Points of a square grid, its edges with one diagonal, and its Laplacian plus one."""
    at = np.arange(side * side).reshape(side, side)
    edges = np.concatenate(
        [
            np.stack([p.ravel(), q.ravel()], axis=1)
            for p, q in (
                (at[:-1], at[1:]),
                (at[:, :-1], at[:, 1:]),
                (at[:-1, :-1], at[1:, 1:]),
            )
        ]
    )
    points = np.stack(np.divmod(np.arange(side * side), side), axis=1)
    graph = sp.coo_matrix((-np.ones(len(edges)), edges.T), (side**2, side**2)).tocsr()
    graph = graph + graph.T
    return points, edges, (sp.diags(1.0 - np.asarray(graph.sum(axis=1)).ravel()) + graph).tocsc()


def filled(matrix, order):
    """Entries of the factor when eliminated in an order."""
    taken = matrix[order][:, order].tocsc()
    options = {"SymmetricMode": True}
    return splu(taken, permc_spec="NATURAL", diag_pivot_thresh=0.0, options=options).L.nnz


def test_every_vertex_once():
    """An order names every vertex once, also with doubled points, lone points and few points."""
    rng = np.random.default_rng(3)
    for size in (1, 2, 59, 500):
        points = np.repeat(rng.normal(size=(size, 3)), 2, axis=0)
        edges = rng.integers(0, 2 * size, (3 * size, 2))

        np.testing.assert_array_equal(np.sort(dissection(points, edges)), np.arange(2 * size))


def test_fill_grows_as_nested_dissection_does():
    """On grids the fill is O(n log n) (George 1973), where row by row it is O(n^1.5)."""
    rates = []
    for side in (40, 160):
        points, edges, matrix = grid(side)
        n = side * side
        rates.append(filled(matrix, dissection(points, edges)) / (n * np.log2(n)))

    assert rates[1] < 1.15 * rates[0]
    assert filled(matrix, dissection(points, edges)) < 0.5 * filled(matrix, np.arange(n))


@pytest.mark.parametrize("leaf", [1, 10, 1000])
def test_separators_come_last(leaf):
    """In a path of points the last one eliminated parts the rest in two halves, if parted at all."""
    points = np.arange(64.0)[:, None]
    edges = np.stack([np.arange(63), np.arange(1, 64)], axis=1)

    order = dissection(points, edges, leaf=leaf)

    assert order[-1] == (63 if leaf == 1000 else 32)
