"""What it costs to bend cloth that was cut flat.

A quadratic form in the positions, since cloth hardly changes its lengths (M. Bergou and others 2006, "A
quadratic bending model for inextensible surfaces"): the square of the mean curvature at every vertex
inside a sheet. Across a seam cloth turns freely, since a seam folds as easily one way as the other.
"""

from __future__ import annotations

import igl
import numpy as np
from scipy.sparse import coo_array, csc_matrix, diags_array

from padlib.proof.sew import Sewn, stiffness, weld
from padlib.proof.sheets import Bundle, Sheet


def bending(suit: Bundle, sewn: Sewn) -> csc_matrix:
    """The form B (n, n), 1/mm2: half of x' B x, summed over the coordinates, is the bending energy over
    the cloth's rigidity."""
    total = csc_matrix((sewn.count, sewn.count))
    for sheet, welded in zip(suit.sheets, sewn.welded, strict=True):
        count = len(welded)
        ones = (np.ones(count), (np.arange(count), welded))
        place = coo_array(ones, shape=(count, sewn.count)).tocsc()
        curved = diags_array(_weights(sheet)) @ stiffness(weld(Bundle((sheet,), ()))) @ place
        total = total + curved.T @ curved
    return csc_matrix(total)


def _weights(sheet: Sheet) -> np.ndarray:
    """One over the root of each inner vertex's Voronoi area (n,), nothing on the border."""
    flat = np.column_stack([sheet.positions, np.zeros(len(sheet.positions))])
    area = igl.massmatrix(flat, sheet.faces, igl.MASSMATRIX_TYPE_VORONOI).diagonal()
    out = 1.0 / np.sqrt(np.maximum(area, 1e-9))
    out[igl.boundary_facets(sheet.faces)[0].ravel()] = 0.0
    return out
