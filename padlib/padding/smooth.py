"""Smoothing over a surface at a given scale: heat flow in one implicit step, factored once, used often."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.mesh.areas import vertex_areas
from padlib.mesh.solve import Factor, factor, nested_dissection
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Heat:
    """Heat flow on one surface. mass (n,) mm2 of each vertex; stiffness (n, n), positive; an elimination order and the
    factors are kept by their widths; that of width 0 is one that is made over for widths of which none is kept."""

    mass: Array
    stiffness: sp.csr_matrix
    order: NDArray[np.int64] | None
    factors: dict[float, Factor]

    def blur(self, values: Array, width: float, *, keep: bool = True) -> Array:
        """Values (n,) or (n, k) smoothed as by a kernel of standard deviation `width` mm along the surface.

        One backward Euler step of the heat equation of time width^2 / 2 (M. Desbrun, M. Meyer,
        P. Schroeder, A. Barr, "Implicit fairing", 1999). Keeps constants and, as the weights are
        not negative, never leaves the range of the values. keep: whether the width will be asked for again.
        """
        if width <= 0:
            return np.array(values, dtype=np.float64)
        at = width if keep or width in self.factors else 0.0
        if at not in self.factors or at != width:
            matrix = (sp.diags_array(self.mass) + 0.5 * width**2 * self.stiffness).tocsc()
            if at in self.factors:
                self.factors[at].refactor(matrix)
            else:
                self.factors[at] = factor(matrix, order=self.order)
        weighted = (np.asarray(values, dtype=np.float64).T * self.mass).T
        return self.factors[at].solve(weighted)


def heat(vertices: Vertices, faces: Faces) -> Heat:
    """Heat flow on a surface, vertices (n, 3) mm and faces (m, 3), by cotangent weights.

    The weights are those of the intrinsic Delaunay triangulation (A. Bobenko, B. Springborn 2007),
    which are never negative, so that slivers of a raw scan do no harm.
    """
    weights = igl.intrinsic_delaunay_cotmatrix(
        np.ascontiguousarray(vertices), np.ascontiguousarray(faces)
    )[0]
    area = igl.doublearea(vertices, faces) / 2
    mass = vertex_areas(faces, area, len(vertices))
    stiffness = (-weights).tocsr()
    floor = 1e-6 * max(float(mass.mean()), 1e-12)
    return Heat(np.maximum(mass, floor), stiffness, nested_dissection(stiffness), {})


def unit(vectors: Array) -> Array:
    """Vectors (n, 3) brought to length 1; zero vectors stay zero."""
    size = np.linalg.norm(vectors, axis=1, keepdims=True)
    return vectors / np.where(size > 0, size, 1.0)
