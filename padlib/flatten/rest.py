"""The triangles of a panel at rest: each in its own plane, with the gradients of its hat functions.

A triangle thinner than `FLOOR` of its longest edge is given that height (its own edges kept in
length to first order), so that needles and collapsed triangles have finite gradients and almost no
area; all others are exactly themselves. After the idea of intrinsic mollification (Sharp, Crane
2020, "A Laplacian for nonmanifold triangle meshes").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Plane, Vertices, per_arrays

FLOOR = 1e-6


@dataclass(frozen=True)
class Rest:
    """Triangles at rest. Component-first arrays, because everything is done per component.

    area (m,) mm2; gx, gy (3, m): gradients (1/mm) of the three hat functions in the triangle's own
    frame, counter-clockwise seen from outside.
    """

    area: NDArray[np.float64]
    gx: NDArray[np.float64]
    gy: NDArray[np.float64]


@per_arrays
def rest(vertices: Vertices, faces: Faces) -> Rest:
    """The triangles of a mesh at rest. vertices (n, 3) or (n, 2) mm; faces (m, 3)."""
    corner = vertices[faces]
    length = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
    longest = np.argmax(length, axis=1)
    index = np.arange(3)[:, None]
    turned = (longest[None, :] + index) % 3
    row = np.arange(len(faces))
    first, second, third = (corner[row, turned[k]] for k in range(3))
    base, rise = second - first, third - first
    width = np.linalg.norm(base, axis=1)
    width = np.maximum(width, FLOOR * max(float(width.mean()), np.finfo(float).tiny))
    along = np.einsum("ij,ij->i", base, rise) / width
    height = np.linalg.norm(rise - base * (along / width)[:, None], axis=1)
    height = np.maximum(height, FLOOR * width)
    return _gradients(width, along, height, turned)


def _gradients(width: NDArray, along: NDArray, height: NDArray, turned: NDArray) -> Rest:
    """Gradients of triangles (0, 0), (width, 0), (along, height), put back in corner order."""
    zero = np.zeros_like(width)
    gx = np.stack([-1.0 / width, 1.0 / width, zero])
    gy = np.stack([(along - width) / (width * height), -along / (width * height), 1.0 / height])
    out_x, out_y = np.empty_like(gx), np.empty_like(gy)
    np.put_along_axis(out_x, turned, gx, axis=0)
    np.put_along_axis(out_y, turned, gy, axis=0)
    return Rest(0.5 * width * height, out_x, out_y)


def jacobians(at_rest: Rest, faces: Faces, flat: Plane) -> NDArray[np.float64]:
    """Jacobians (4, m): a, b, c, d of [[a, b], [c, d]], from the rest triangle to the flat one."""
    x, y = flat[:, 0][faces.T], flat[:, 1][faces.T]
    gx, gy = at_rest.gx, at_rest.gy
    # differences to the first corner keep the digits of tiny triangles far from the origin
    x1, x2, y1, y2 = x[1] - x[0], x[2] - x[0], y[1] - y[0], y[2] - y[0]
    return np.stack(
        [
            x1 * gx[1] + x2 * gx[2],
            x1 * gy[1] + x2 * gy[2],
            y1 * gx[1] + y2 * gx[2],
            y1 * gy[1] + y2 * gy[2],
        ]
    )


def singular_values(jacobian: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
    """Signed singular values (m,), (m,) of 2 x 2 matrices (4, m), the larger first.

    The smaller is negative where the triangle is flipped.
    """
    a, b, c, d = jacobian
    turn = np.hypot(a + d, c - b)
    mirror = np.hypot(a - d, b + c)
    return 0.5 * (turn + mirror), 0.5 * (turn - mirror)


def determinants(jacobian: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signed area ratio flat / rest (m,) of Jacobians (4, m)."""
    return jacobian[0] * jacobian[3] - jacobian[1] * jacobian[2]


def best_scale(at_rest: Rest, faces: Faces, flat: Plane) -> float:
    """The factor on a flat at which its symmetric Dirichlet energy is least; 1 where it is singular.

    From d/ds of s2 sum A |J|2 + s-2 sum A |J-1|2 = 0 (the derivative is elementary).
    """
    big, small = singular_values(jacobians(at_rest, faces, flat))
    small = np.where(np.abs(small) < 1e-12 * np.maximum(big, 1e-300), np.inf, small)
    up = float(at_rest.area @ (big**2 + np.where(np.isinf(small), 0.0, small) ** 2))
    down = float(at_rest.area @ (big**-2.0 + small**-2.0)) if (big > 0).all() else 0.0
    return (down / up) ** 0.25 if up > 0 and 0 < down < np.inf else 1.0
