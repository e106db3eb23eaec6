"""Energy terms of one number each: functions of a length or a distance of a few vertices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.mesh.surface import Plane


@dataclass(frozen=True)
class Terms:
    """Derivatives of terms, each of q vertices.

    at (k, q): the vertices; way (k, q, 2): gradient of the number that the term is a function of;
    slope, bend (k,): first and (positive part of the) second derivative of the term in it.
    """

    at: NDArray[np.int64]
    way: NDArray[np.float64]
    slope: NDArray[np.float64]
    bend: NDArray[np.float64]

    def gradient(self, size: int) -> Plane:
        """The gradient (n, 2) of their sum."""
        pull = self.slope[:, None, None] * self.way
        at = self.at.ravel()
        columns = [np.bincount(at, pull[:, :, c].ravel(), size) for c in (0, 1)]
        return np.column_stack(columns)

    def hessian(self, size: int) -> sp.csc_matrix:
        """The lower triangle (2n, 2n) of the sum of bend * way way'."""
        count, width = self.at.shape
        columns = (2 * self.at[:, :, None] + np.arange(2)).reshape(count, 2 * width)
        rows = np.repeat(np.arange(count), 2 * width)
        entries = (self.way.ravel(), (rows, columns.ravel()))
        spread = sp.csr_matrix(entries, (count, 2 * size))
        return sp.tril(spread.T @ sp.diags(self.bend) @ spread, format="csc")
