"""Conformal maps boundary first: one factor of the real Laplacian, the rest is substitution.

The boundary of the conformal map of least area distortion is found from the curvature alone: with
scale 1 along the boundary, one solve gives the curvature that the flat boundary has; a curve of that
curvature and the edges' own lengths is closed by the least change of lengths, and its harmonic
extension is the map (Sawhney, Crane 2017, "Boundary first flattening"). A Hermitian least-squares
system of the same mesh costs twice that factor.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.flatten.cotangent import Corners, Parts, corners, parts
from padlib.flatten.disk import rim_lengths
from padlib.mesh.dissect import dissection
from padlib.mesh.solve import BACKEND, factor
from padlib.mesh.surface import Faces, Plane, Vertices


def boundary_first(vertices: Vertices, faces: Faces, loop: NDArray[np.int64]) -> Plane:
    """Conformal flat (n, 2) in mm with the boundary of least area distortion.

    vertices (n, 3) mm; faces (m, 3), one disk; loop (b,): its boundary, counter-clockwise.
    Raises numpy.linalg.LinAlgError where the Laplacian is singular.
    """
    size = len(vertices)
    made = corners(vertices, faces)
    divided = parts(made, faces, loop, size)
    solver = factor(divided.inner, lower=True, order=_order(vertices, divided))
    defect = 2.0 * np.pi - np.bincount(faces.T.ravel(), made.angles().ravel(), size)
    scale = -solver.solve(defect[divided.inside])
    turning = defect[loop] - np.pi + divided.across.T @ scale
    flat = np.empty((size, 2))
    flat[loop] = _closed_curve(rim_lengths(vertices[loop]), turning)
    flat[divided.inside] = solver.solve(-(divided.across @ flat[loop]))
    return flat * scale_of_least_strain(made, faces, flat)


def _order(vertices: Vertices, divided: Parts) -> NDArray[np.int64] | None:
    """An elimination order for the inner block; CHOLMOD finds one itself in less time.

    One factor is made, so an order that is quick to find beats METIS, which fills in less.
    """
    if BACKEND == "cholmod":
        return None
    graph = sp.tril(divided.inner, -1, format="coo")
    return dissection(vertices[divided.inside], np.stack([graph.row, graph.col], axis=1))


def _closed_curve(lengths: NDArray[np.float64], turning: NDArray[np.float64]) -> Plane:
    """A closed polygon (b, 2) with the given turning (b,) at its vertices, rad, 2 pi in all.

    lengths (b,) are kept but for the least weighted change that closes it: minimise
    sum (l' - l)^2 / l with sum l' t = 0, t the unit edges.
    """
    angle = np.cumsum(np.concatenate([[0.0], turning[1:]]))
    way = np.stack([np.cos(angle), np.sin(angle)])
    safe = np.maximum(lengths, 1e-9 * lengths.mean())
    gap = np.linalg.solve((safe * way) @ way.T, way @ safe)
    edges = safe * (1.0 - gap @ way) * way
    return np.concatenate([np.zeros((1, 2)), np.cumsum(edges.T, axis=0)[:-1]])


def scale_of_least_strain(made: Corners, faces: Faces, flat: Plane) -> float:
    """The factor on a flat at which its symmetric Dirichlet energy is least; 1 where it is singular.

    As `rest.best_scale`, from cotangents: area |J|^2 is half the sum of cot times flat edge squared
    (Pinkall, Polthier 1993).
    """
    at = np.ascontiguousarray(faces.T)
    x, y = (flat[:, c][at] for c in (0, 1))
    dx, dy = (p[[2, 0, 1]] - p[[1, 2, 0]] for p in (x, y))
    spread = 0.5 * (made.dot * (dx * dx + dy * dy)).sum(axis=0) / made.double  # area |J|^2
    grown = (dx[0] * dy[1] - dx[1] * dy[0]) / made.double  # det J
    if not (grown > 0).all():
        grown = np.where(np.abs(grown) > 1e-9, grown, np.inf)
    up, down = float(spread.sum()), float((spread / grown**2).sum())
    return (down / up) ** 0.25 if up > 0 and 0 < down < np.inf else 1.0
