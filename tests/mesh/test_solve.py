"""Sparse solves agree with dense algebra, whichever factorisation is installed."""

import numpy as np
import pytest
import scipy.sparse as sp

from padlib.mesh import solve
from padlib.mesh.solve import factor, nested_dissection


def laplacian(side, shift=1.0):
    """The five-point Laplacian of a square grid plus a shift: sparse and positive definite."""
    line = sp.diags([-np.ones(side - 1), 2 * np.ones(side), -np.ones(side - 1)], [-1, 0, 1])
    eye = sp.eye(side)
    return (sp.kron(line, eye) + sp.kron(eye, line) + shift * sp.eye(side * side)).tocsc()


@pytest.fixture(params=["installed", "superlu"])
def backend(request, monkeypatch):
    """Whatever is installed, and SciPy's own."""
    if request.param == "superlu":
        monkeypatch.setattr(solve, "BACKEND", "superlu")
    return request.param


@pytest.mark.parametrize("side", [1, 7, 60])
def test_real_matches_dense(backend, side):
    """A positive definite system is solved to rounding, for one and for many right-hand sides."""
    matrix = laplacian(side)
    rhs = np.random.default_rng(1).normal(size=(side * side, 3))
    made = factor(matrix)

    np.testing.assert_allclose(matrix @ made.solve(rhs), rhs, atol=1e-11)
    np.testing.assert_allclose(matrix @ made.solve(rhs[:, 0]), rhs[:, 0], atol=1e-11)


def test_hermitian_matches_dense(backend):
    """A Hermitian positive definite system is solved to rounding."""
    real = laplacian(9)
    turn = sp.diags([0.3 * np.ones(80)], [1])
    matrix = (real + 1j * turn - 1j * turn.T).tocsc()
    rhs = np.random.default_rng(2).normal(size=81) + 1j

    np.testing.assert_allclose(matrix @ factor(matrix).solve(rhs), rhs, atol=1e-11)


def test_real_factor_takes_complex_rhs(backend):
    """A real factor solves for a complex right-hand side."""
    matrix = laplacian(8)
    rhs = np.random.default_rng(3).normal(size=64) * (1 + 2j)

    np.testing.assert_allclose(matrix @ factor(matrix).solve(rhs), rhs, atol=1e-11)


def test_lower_triangle_is_enough(backend):
    """With lower=True the lower triangle alone gives the solution of the whole."""
    matrix = laplacian(12)
    rhs = np.arange(144.0)

    np.testing.assert_allclose(
        factor(sp.tril(matrix), lower=True).solve(rhs), factor(matrix).solve(rhs), rtol=1e-10
    )


def test_refactor_follows_new_numbers(backend):
    """A refactored matrix of the same pattern is solved like one factored from the start."""
    made = factor(laplacian(10))
    rhs = np.ones(100)
    other = laplacian(10, shift=5.0)

    np.testing.assert_allclose(
        made.refactor(other).solve(rhs), factor(other).solve(rhs), rtol=1e-12
    )


def test_an_entry_that_is_zero_at_first_stays_in_the_pattern(backend):
    """A lower triangle some of whose entries happen to be 0, as those of cloth that lies exactly on its outline, is
    refactored with others: its pattern is what is stored, not what differs from 0."""
    later = sp.tril(laplacian(20), format="csc")
    first = later.copy()
    first.data[1::7] = np.where(first.data[1::7] < 0, 0.0, first.data[1::7])
    assert (first.data == 0).any()
    rhs = np.random.default_rng(4).normal(size=400)
    made = factor(first, lower=True)

    assert made.fits(later)
    np.testing.assert_allclose(
        made.refactor(later).solve(rhs), factor(later, lower=True).solve(rhs), rtol=1e-12
    )


def test_refactor_refuses_another_pattern(backend):
    """A matrix of another pattern is told apart and refused."""
    made = factor(laplacian(10))

    assert not made.fits(laplacian(9))
    with pytest.raises(ValueError, match="of the pattern that was factored"):
        made.refactor(sp.eye(100, format="csc"))


def test_given_order_changes_nothing(backend):
    """Any elimination order gives the same solution."""
    matrix = laplacian(11)
    rhs = np.linspace(-1, 1, 121)
    order = np.random.default_rng(4).permutation(121)

    np.testing.assert_allclose(
        factor(matrix, order=order).solve(rhs), factor(matrix).solve(rhs), atol=1e-13
    )


def test_general_matrix(backend):
    """A matrix that is not symmetric is solved with spd=False."""
    matrix = (laplacian(8) + sp.diags([np.ones(60)], [4], shape=(64, 64))).tocsc()
    rhs = np.ones(64)

    np.testing.assert_allclose(matrix @ factor(matrix, spd=False).solve(rhs), rhs, atol=1e-11)


def test_singular_is_told(backend):
    """A singular matrix raises LinAlgError and not something of the package beneath."""
    with pytest.raises(np.linalg.LinAlgError, match="singular|positive definite"):
        factor(sp.csc_matrix((5, 5)) + sp.diags([1.0, 1, 0, 1, 1], format="csc"))


def test_indefinite_is_told_by_cholesky():
    """An indefinite matrix is refused where a Cholesky factor is made."""
    if solve.BACKEND != "cholmod":
        pytest.skip("cvxopt is not installed")
    with pytest.raises(np.linalg.LinAlgError, match="not positive definite"):
        factor(sp.diags([1.0, -1.0], format="csc"))


def test_not_square_is_refused():
    """A matrix that is not square is refused with its shape."""
    with pytest.raises(ValueError, match=r"not one of shape \(2, 3\)"):
        factor(sp.csc_matrix((2, 3)))


def test_dissection_is_an_order():
    """A METIS order is a permutation of the unknowns, and fills less than the natural order."""
    matrix = laplacian(40)
    order = nested_dissection(matrix)
    if order is None:
        pytest.skip("pymetis is not installed")
    plain = {"permc_spec": "NATURAL", "options": {"SymmetricMode": True}, "diag_pivot_thresh": 0.0}
    fill = [sp.linalg.splu(m.tocsc(), **plain).L.nnz for m in (matrix, matrix[order][:, order])]

    np.testing.assert_array_equal(np.sort(order), np.arange(1600))
    assert fill[1] < 0.5 * fill[0]
