"""Sparse direct solves in two steps: factor once, solve often, refactor when only numbers change.

The fastest factorisation that is installed is found at import:

- CHOLMOD (supernodal Cholesky; Chen, Davis, Hager, Rajamanickam 2008) through the optional package
  `cvxopt`, for symmetric or Hermitian positive definite matrices;
- SuperLU through SciPy otherwise, and for matrices that are not positive definite.

METIS orderings (Karypis, Kumar 1998) through the optional package `pymetis` where they pay.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.linalg import splu

try:
    import cvxopt
    from cvxopt import cholmod
except ImportError:  # the `fast` extra is not installed: SciPy does the work
    cvxopt = cholmod = None

try:
    import pymetis
except ImportError:
    pymetis = None

BACKEND = "superlu" if cholmod is None else "cholmod"
"""What factors symmetric positive definite matrices here."""

METIS_FROM = 3000
"""Unknowns from which a METIS ordering repays its own time."""


@dataclass
class Factor:
    """A factored square matrix. Made by `factor`; `solve` and `refactor` are all that it does.

    backend: "cholmod" or "superlu"; the rest is private to this module.
    """

    backend: str
    size: int
    spd: bool
    lower: bool
    _order: NDArray[np.int64] | None = None
    _pattern: tuple[NDArray, NDArray] = field(default=(), repr=False)
    _matrix: Any = field(default=None, repr=False)
    _state: Any = field(default=None, repr=False)

    def solve(self, rhs: ArrayLike) -> NDArray:
        """The solution (n,) or (n, k) of matrix @ x = rhs."""
        rhs = np.asarray(rhs)
        if self.size == 0:
            return rhs.copy()
        if self.backend == "cholmod":
            return _cholmod_solve(self, rhs)
        return _superlu_solve(self, rhs)

    def fits(self, matrix: sp.spmatrix) -> bool:
        """Whether a matrix has the pattern that was factored, so that `refactor` will do."""
        return self._has(_stored_part(matrix, self.lower, self.backend))

    def _has(self, part: sp.csc_matrix) -> bool:
        """Whether what the backend stores of a matrix has the pattern that was factored."""
        pointers, indices = self._pattern
        if part.indptr is pointers and part.indices is indices:
            return True
        same = len(part.indices) == len(indices) and part.shape[0] == self.size
        return same and bool(
            np.array_equal(part.indptr, pointers) and np.array_equal(part.indices, indices)
        )

    def refactor(self, matrix: sp.spmatrix) -> Factor:
        """This factor, renewed for a matrix of the same pattern and other numbers.

        The symbolic analysis is kept. Raises numpy.linalg.LinAlgError where the matrix is singular
        or, for a Cholesky factor, not positive definite; ValueError where the pattern changed.
        """
        part = _stored_part(matrix, self.lower, self.backend)
        if not self._has(part):
            raise ValueError("refactor needs a matrix of the pattern that was factored")
        _numeric(self, part)
        return self


def factor(
    matrix: sp.spmatrix,
    *,
    spd: bool = True,
    lower: bool = False,
    order: NDArray[np.int64] | None = None,
    sure: bool = False,
) -> Factor:
    """Factor a square sparse matrix, real or complex.

    spd: the matrix is symmetric (Hermitian) positive definite. lower: only its lower triangle is
    given. order (n,): fill-reducing elimination order, found here when None; one that is used for
    many refactorisations is worth finding with `nested_dissection`; sure: no better one is sought.
    Raises numpy.linalg.LinAlgError where it is singular or, with CHOLMOD, not positive definite.
    """
    backend = BACKEND if spd else "superlu"
    part = _stored_part(matrix, lower, backend)
    n = part.shape[0]
    made = Factor(backend, n, spd, lower, order, (part.indptr, part.indices))
    if n == 0:
        return made
    if spd and order is None and n >= METIS_FROM and backend == "superlu":
        made._order = nested_dissection(part)
    if backend == "cholmod":
        _cholmod_symbolic(made, part, sure)
    _numeric(made, part)
    return made


def lower_triangle(values: NDArray, indices: NDArray, indptr: NDArray) -> sp.csc_matrix:
    """A lower triangle (n, n) in column order, from its values and the sorted pattern that they go in."""
    size = len(indptr) - 1
    made = sp.csc_matrix((values, indices, indptr), shape=(size, size))
    made.has_sorted_indices = True
    return made


def with_values(matrix: sp.csc_matrix, values: NDArray) -> sp.csc_matrix:
    """A matrix of the same pattern, whose arrays it shares, with other values: checking a pattern that is known
    takes longer than a step on a small mesh does with the rest."""
    made = copy(matrix)
    made.data = values
    return made


def nested_dissection(matrix: sp.spmatrix) -> NDArray[np.int64] | None:
    """A METIS elimination order (n,) of a symmetric pattern; None where `pymetis` is missing."""
    if pymetis is None:
        return None
    graph = matrix.tocoo()
    off = graph.row != graph.col
    row, col = graph.row[off], graph.col[off]
    ones = np.ones(2 * len(row), np.int8)
    both = (np.concatenate([row, col]), np.concatenate([col, row]))
    adjacent = sp.coo_matrix((ones, both), graph.shape).tocsr()
    adjacent.sum_duplicates()
    order, _ = pymetis.nested_dissection(pymetis.CSRAdjacency(adjacent.indptr, adjacent.indices))
    return np.asarray(order, dtype=np.int64)


def _stored_part(matrix: sp.spmatrix, lower: bool, backend: str) -> sp.csc_matrix:
    """What the backend stores: the lower triangle for CHOLMOD, everything for SuperLU."""
    if matrix.shape[0] != matrix.shape[1]:
        raise ValueError(f"a square matrix is needed, not one of shape {matrix.shape}")
    if backend == "cholmod":
        part = matrix.tocsc() if lower else sp.tril(matrix, format="csc")
    elif lower:
        # sums of sparse matrices drop entries that are 0, and with them the pattern
        low = matrix.tocoo()
        off = low.row != low.col
        row, column = np.append(low.row, low.col[off]), np.append(low.col, low.row[off])
        values = np.append(low.data, low.data[off].conj())
        part = sp.csc_matrix((values, (row, column)), shape=matrix.shape)
    else:
        part = matrix.tocsc()
    part.sort_indices()
    return part


def _numeric(made: Factor, part: sp.csc_matrix) -> None:
    """The numeric factorisation of the stored part."""
    if made.size == 0:
        return
    if made.backend == "cholmod":
        _cholmod_numeric(made, part)
    else:
        _superlu_numeric(made, part)


def _cholmod_symbolic(made: Factor, part: sp.csc_matrix, sure: bool) -> None:
    """Analyse the pattern; the values are set again before every numeric factorisation. sure: an order that is given
    is taken; without it CHOLMOD finds others too and takes the best."""
    columns = np.repeat(np.arange(made.size), np.diff(part.indptr))
    made._matrix = cvxopt.spmatrix(
        cvxopt.matrix(part.data),
        cvxopt.matrix(part.indices.astype(np.int64)),
        cvxopt.matrix(columns.astype(np.int64)),
        part.shape,
    )
    if made._order is None:
        made._state = cholmod.symbolic(made._matrix, uplo="L")
    else:
        order = cvxopt.matrix(np.asarray(made._order, dtype=np.int64))
        if sure:
            cholmod.options["nmethods"] = 1
        try:
            made._state = cholmod.symbolic(made._matrix, order, uplo="L")
        finally:  # the options are the whole process's
            cholmod.options.pop("nmethods", None)


def _cholmod_numeric(made: Factor, part: sp.csc_matrix) -> None:
    """CHOLMOD's numbers; a pivot that is not positive is told as LinAlgError."""
    made._matrix.V = cvxopt.matrix(part.data)
    try:
        cholmod.numeric(made._matrix, made._state)
    except ArithmeticError as error:
        raise np.linalg.LinAlgError("the matrix is not positive definite") from error


def _cholmod_solve(made: Factor, rhs: NDArray) -> NDArray:
    """Back-substitution by CHOLMOD."""
    kind = made._matrix.typecode
    dtype = np.complex128 if kind == "z" else np.float64
    block = rhs.reshape(made.size, -1)
    if kind == "d" and np.iscomplexobj(rhs):
        return _cholmod_solve(made, rhs.real) + 1j * _cholmod_solve(made, rhs.imag)
    held = cvxopt.matrix(np.asfortranarray(block, dtype=dtype))
    cholmod.solve(made._state, held)
    return np.array(held, dtype=dtype).reshape(rhs.shape)


def _superlu_numeric(made: Factor, part: sp.csc_matrix) -> None:
    """SuperLU's numbers, with diagonal pivots where the matrix is positive definite."""
    options: dict[str, Any] = {"permc_spec": "COLAMD"}
    if made.spd:
        options = {
            "permc_spec": "MMD_AT_PLUS_A",
            "diag_pivot_thresh": 0.0,
            "options": {"SymmetricMode": True},
        }
    if made._order is not None:
        part = part[made._order][:, made._order].tocsc()
        options["permc_spec"] = "NATURAL"
    try:
        made._state = splu(part, **options)
    except RuntimeError as error:
        raise np.linalg.LinAlgError("the matrix is singular") from error
    if made.spd and not (made._state.U.diagonal().real > 0).all():
        raise np.linalg.LinAlgError("the matrix is not positive definite")


def _superlu_solve(made: Factor, rhs: NDArray) -> NDArray:
    """Back-substitution by SuperLU, in its order and out of it."""
    kind = np.result_type(made._state.U.dtype, rhs.dtype)
    if made._state.U.dtype.kind != "c" and kind.kind == "c":
        return _superlu_solve(made, rhs.real) + 1j * _superlu_solve(made, rhs.imag)
    rhs = np.asarray(rhs, dtype=made._state.U.dtype)
    if made._order is None:
        return made._state.solve(rhs)
    out = np.empty_like(rhs)
    out[made._order] = made._state.solve(rhs[made._order])
    return out
