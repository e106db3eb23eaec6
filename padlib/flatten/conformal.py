"""Conformal maps with a free boundary: least squares, or boundary first where the mesh is large.

Least squares is the map that is least far from conformal in the sense of Levy, Petitjean, Ray,
Maillot (2002): it minimises Dirichlet energy minus area (Desbrun, Meyer, Alliez 2002), here as ONE
Hermitian system of n complex unknowns instead of 2n real ones, with a Cholesky factor.

Large meshes are laid `boundary_first`, in half the time. The angles are as good (the mean angle
distortion is within a few hundredths either way) and the scale varies less.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray

from padlib.errors import MeshError
from padlib.flatten.boundary_first import boundary_first, scale_of_least_strain
from padlib.flatten.cotangent import Corners, Parts, corners, parts
from padlib.flatten.disk import check_disk
from padlib.mesh.solve import factor
from padlib.mesh.surface import Faces, Plane, Vertices

Pins = tuple[ArrayLike, ArrayLike]

BOUNDARY_FIRST_FROM = 20_000
_DEGENERATE = "the panel's triangles are too degenerate for a conformal map; remesh it first"


def conformal(vertices: Vertices, faces: Faces, *, pins: Pins | None = None) -> Plane:
    """Flat (n, 2) in mm, as conformal as a linear solve can make it, counter-clockwise.

    vertices (n, 3) mm; faces (m, 3), one disk. pins: indices (k,) of at least two vertices and
    their flat positions (k, 2) mm, which are kept exactly. Without pins the flat is scaled to the
    least mean strain; from `BOUNDARY_FIRST_FROM` vertices on it is laid boundary first, and so it is
    where least squares would flip triangles and boundary first flips fewer.
    Raises MeshError where the mesh is not a disk or the pins are not two or more vertices.
    """
    vertices, faces, loop = check_disk(vertices, faces)
    if pins is None:
        return _free(vertices, faces, loop)
    held, spots = _checked_pins(pins, len(vertices))
    try:
        return _solve(corners(vertices, faces), faces, loop, held, spots)
    except np.linalg.LinAlgError as error:
        raise MeshError(_DEGENERATE) from error


def _free(vertices: Vertices, faces: Faces, loop: NDArray[np.int64]) -> Plane:
    """The map without pins: the first way that flips nothing, else the one that flips least."""
    ways = [_least_squares, boundary_first]
    if len(vertices) >= BOUNDARY_FIRST_FROM:
        ways.reverse()
    found: list[tuple[int, Plane]] = []
    for way in ways:
        try:
            flat = way(vertices, faces, loop)
        except np.linalg.LinAlgError:
            continue
        flips = int(np.count_nonzero(clockwise(faces, flat)))
        if flips == 0:
            return flat
        found.append((flips, flat))
    if not found:
        raise MeshError(_DEGENERATE)
    return min(found, key=lambda made: made[0])[1]


def _least_squares(vertices: Vertices, faces: Faces, loop: NDArray[np.int64]) -> Plane:
    """The least-squares map with two far-apart boundary vertices held, scaled."""
    made = corners(vertices, faces)
    held = _far_apart(vertices, loop)
    span = float(np.linalg.norm(vertices[held[1]] - vertices[held[0]]))
    spots = np.array([[0.0, 0.0], [span if span > 0 else 1.0, 0.0]])
    flat = _solve(made, faces, loop, held, spots)
    return flat * scale_of_least_strain(made, faces, flat)


def clockwise(faces: Faces, flat: Plane) -> NDArray[np.bool_]:
    """Which triangles (m,) of a flat (n, 2) run clockwise or have no area."""
    x, y = (flat[:, c][np.ascontiguousarray(faces.T)] for c in (0, 1))
    return ~((x[1] - x[0]) * (y[2] - y[0]) > (x[2] - x[0]) * (y[1] - y[0]))


def _solve(
    made: Corners, faces: Faces, loop: NDArray[np.int64], held: NDArray[np.int64], spots: Plane
) -> Plane:
    """The flat (n, 2) of least conformal energy with vertices held (k,) at their spots (k, 2).

    Its energy is z* M z / 2 of z = x + iy, M Hermitian: the cotangent Laplacian, less the area of
    the boundary polygon, which is the sum of Im(conj(z_i) z_j) / 2 over its edges i -> j.
    Raises numpy.linalg.LinAlgError where that is singular.
    """
    size = int(faces.max()) + 1
    divided = parts(made, faces, held, size)
    inner, across = _with_area(divided, loop)
    z = np.zeros(size, np.complex128)
    z[held] = spots[:, 0] + 1j * spots[:, 1]
    if len(divided.inside):
        z[divided.inside] = factor(inner, lower=True).solve(-(across @ z[held]))
    return np.column_stack([z.real, z.imag])


def _with_area(divided: Parts, loop: NDArray[np.int64]) -> tuple[sp.csc_matrix, sp.csr_matrix]:
    """The parts of M: free by free, lower triangle, and free by held."""
    i, j = divided.number[loop], divided.number[np.roll(loop, -1)]
    high, low = np.maximum(i, j), np.minimum(i, j)
    turn = np.where(high == i, 0.5j, -0.5j)  # M at (high, low)
    both, half = low >= 0, (low < 0) & (high >= 0)
    inner = sp.coo_matrix((turn[both], (high[both], low[both])), divided.inner.shape)
    across = sp.coo_matrix((turn[half], (high[half], -1 - low[half])), divided.across.shape)
    return (divided.inner + inner).tocsc(), (divided.across + across).tocsr()


def _far_apart(vertices: Vertices, loop: NDArray[np.int64]) -> NDArray[np.int64]:
    """Two boundary vertices far apart: the farthest from the boundary's centre, then from that."""
    rim = vertices[loop]
    first = int(np.argmax(np.linalg.norm(rim - rim.mean(axis=0), axis=1)))
    second = int(np.argmax(np.linalg.norm(rim - rim[first], axis=1)))
    if second == first:
        second = (first + 1) % len(loop)
    return loop[[first, second]]


def _checked_pins(pins: Pins, size: int) -> tuple[NDArray[np.int64], Plane]:
    """Pins as arrays, or MeshError."""
    held = np.asarray(pins[0], dtype=np.int64).ravel()
    spots = np.asarray(pins[1], dtype=np.float64).reshape(-1, 2)
    sound = len(held) >= 2 and len(np.unique(held)) == len(held) == len(spots)
    if not sound or held.min() < 0 or held.max() >= size:
        raise MeshError("pins must be two or more different vertices, each with a flat position")
    return held, spots
