"""A smooth movement of a whole surface from what is asked of a few places on it.

A hold is a tape's ring or a point. What it asks is a change of shape (each of its points against their
common shift), while the shift itself is free, or tied to others by ties. In between, the surface moves
such that the bending of the movement and (for long ways) its stretching are least: the integrals of its
squared Laplacian and of its squared gradient, with cotangent weights (M. Botsch and L. Kobbelt 2004, "An
intuitive framework for real-time freeform modeling").
Details ride on the smooth movement and keep their shape.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.body.slices import plane_axes
from padlib.mesh.solve import Factor, factor
from padlib.mesh.surface import Faces, Point, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

STIFF_MM = 12.0  # a ring gives way by about (this / distance to the next ring)^3 of what is asked
TENSE_MM = (
    90.0  # over longer ways than this the movement is held by tension: no overshoot beyond a ring
)
POINT_MM = 60.0  # length of ring that a single point counts for
BESIDE_MM = 4.0  # section points so far outside of a tape still belong to its ring
WEIGHTS = (0.02, 8.0)  # bounds of the edge weights: slivers of a scan must not stiffen or tear
HELD = 1e-9  # of the mean diagonal
LEAST_AREA = 0.05  # of the median: the least area that a vertex stands for


@dataclass(frozen=True, eq=False)
class Hold:
    """Places on a surface that move as one but for what is asked of their shape.

    vertices (k, q), weights (k, q): each place as a mean of vertices; share (k,): the length in mm of
    tape that it stands for; places (k, 3) in mm.
    """

    vertices: Ints
    weights: Array
    share: Array
    places: Array

    @property
    def centre(self) -> Array:
        """Mean (3,) of the places over the length of tape, mm."""
        return self.share @ self.places / self.share.sum()


@dataclass(frozen=True, eq=False)
class Tie:
    """A condition on shifts: the sum of factors times shifts of holds, in one coordinate, is `value` mm."""

    factors: dict[str, float]
    coordinate: int
    value: float


def ring_hold(vertices: Vertices, faces: Faces, line: Array) -> Hold | None:
    """The hold of a tape's ring (h, 3): where its plane cuts the surface within the ring; None if nowhere."""
    centre = line[:-1].mean(axis=0)
    spokes = line - centre
    normal = np.cross(spokes[:-1], spokes[1:]).sum(axis=0)
    normal /= np.linalg.norm(normal)
    high = (vertices - centre) @ normal
    above = high >= 0
    crossed = faces[above[faces].any(axis=1) & ~above[faces].all(axis=1)]
    sides = np.stack([crossed, np.roll(crossed, -1, axis=1)], axis=2)
    cut = above[sides[:, :, 0]] != above[sides[:, :, 1]]
    pairs = np.sort(sides[cut].reshape(-1, 2), axis=1)  # two rows a triangle
    edges, number = np.unique(pairs, axis=0, return_inverse=True)
    number = number.reshape(-1, 2)
    a, b = high[edges[:, 0]], high[edges[:, 1]]
    t = a / (a - b)
    weights = np.column_stack([1 - t, t])
    places = np.einsum("kq,kqc->kc", weights, vertices[edges])
    inside = _within(places, line, normal)
    half = 0.5 * np.linalg.norm(places[number[:, 0]] - places[number[:, 1]], axis=1)
    share = np.bincount(number.ravel(), np.repeat(half, 2), len(edges))
    inside &= share > 1e-9
    if inside.sum() < 3:
        return None
    return Hold(edges[inside], weights[inside], share[inside], places[inside])


def _within(places: Array, line: Array, normal: Array) -> NDArray[np.bool_]:
    """Which coplanar places (k, 3) lie in a convex ring (h, 3), or hardly outside of it."""
    u, w = plane_axes(normal)
    flat, ring = (np.column_stack([p @ u, p @ w]) for p in (places, line))
    along = np.diff(ring, axis=0)
    size = np.maximum(np.linalg.norm(along, axis=1), 1e-9)
    inward = np.column_stack([-along[:, 1], along[:, 0]]) / size[:, None]
    depth = np.einsum("khc,hc->kh", flat[:, None] - ring[:-1], inward)
    return depth.min(axis=1) > -BESIDE_MM


def point_hold(vertices: Vertices, faces: Faces, point: Point) -> Hold:
    """The hold of one point of a surface."""
    place = point.on(vertices, faces)
    return Hold(
        faces[point.face][None],
        np.asarray(point.barycentric)[None],
        np.array([POINT_MM]),
        place[None],
    )


def warp(
    vertices: Vertices,
    faces: Faces,
    holds: dict[str, Hold],
    moves: dict[str, Array],
    ties: Sequence[Tie],
    anchors: dict[str, Array],
) -> Array:
    """Movement (n, 3) in mm of a surface's vertices.

    moves: hold to the movement (k, 3) of its places against each other (nought where left out); ties: on
    shifts; anchors: holds whose shift (3,) is given, at least one.
    """
    order = list(holds)
    free = {name: k for k, name in enumerate(n for n in order if n not in anchors)}
    n = len(vertices)
    system, spread = _system(vertices, faces, holds, free)
    rhs = np.zeros((n + len(free), 3))
    for name, hold in holds.items():
        wanted = moves.get(name, np.zeros_like(hold.places)) + anchors.get(name, 0.0)
        rows = spread[name]
        rhs[:n] += rows.T @ (hold.share[:, None] * wanted) * _stiff()
        if name in free:
            rhs[n + free[name]] -= hold.share @ wanted * _stiff()
    solver = _factor(system)
    out = solver.solve(rhs)
    return _tied(solver, out, free, ties, n)[:n]


def _factor(system: sp.csc_matrix) -> Factor:
    """The factor; of a matrix that rounding leaves singular (coarse, uneven triangles), with a slight hold on all."""
    try:
        return factor(system)
    except np.linalg.LinAlgError:
        slight = HELD * system.diagonal().mean()
        return factor(sp.csc_matrix(system + slight * sp.identity(system.shape[0])))


def _stiff() -> float:
    """Stiffness of a ring, per mm of its length."""
    return STIFF_MM**-3


def _system(
    vertices: Vertices, faces: Faces, holds: dict[str, Hold], free: dict[str, int]
) -> tuple[sp.csc_matrix, dict[str, sp.csr_matrix]]:
    """The matrix over vertices and free shifts, and each hold's rows over the vertices."""
    n, m = len(vertices), len(free)
    bend = _bending(vertices, faces)
    corner = np.zeros(m)
    side: list[sp.csr_matrix] = [sp.csr_matrix((n, 1))] * m
    spread = {}
    for name, hold in holds.items():
        k, q = hold.vertices.shape
        rows = sp.csr_matrix(
            (hold.weights.ravel(), (np.repeat(np.arange(k), q), hold.vertices.ravel())), (k, n)
        )
        spread[name] = rows
        bend = bend + rows.T @ sp.diags(_stiff() * hold.share) @ rows
        if name in free:
            corner[free[name]] = _stiff() * hold.share.sum()
            side[free[name]] = sp.csr_matrix(-_stiff() * (rows.T @ hold.share)[:, None])
    if not m:
        return sp.csc_matrix(bend), spread
    edge = sp.hstack(side)
    return sp.csc_matrix(sp.bmat([[bend, edge], [edge.T, sp.diags(corner)]])), spread


def _bending(vertices: Vertices, faces: Faces) -> sp.csr_matrix:
    """The matrix (n, n) of a movement's squared Laplacian and squared gradient, summed over the area, 1/mm2."""
    laplacian = skin_laplacian(vertices, faces)
    area = igl.massmatrix(vertices, faces, igl.MASSMATRIX_TYPE_BARYCENTRIC).diagonal()
    area = np.maximum(area, LEAST_AREA * np.median(area))
    bend = laplacian.T @ sp.diags(1.0 / area) @ laplacian
    return (bend + TENSE_MM**-2 * laplacian).tocsr()


def skin_laplacian(vertices: Vertices, faces: Faces) -> sp.csr_matrix:
    """Positive cotangent Laplacian (n, n), its edge weights held within bounds."""
    weight = sp.coo_matrix(igl.cotmatrix(vertices, faces))
    off = weight.row != weight.col
    value = np.clip(np.nan_to_num(weight.data[off], nan=1.0), *WEIGHTS)  # nan: no area
    graph = sp.csr_matrix((value, (weight.row[off], weight.col[off])), weight.shape)
    return sp.csr_matrix(sp.diags(np.asarray(graph.sum(axis=1)).ravel()) - graph)


def _tied(solver: Factor, out: Array, free: dict[str, int], ties: Sequence[Tie], n: int) -> Array:
    """A free solution (n + m, 3) corrected such that the ties hold, at the least cost."""
    if not ties:
        return out
    m = len(free)
    unit = np.zeros((n + m, m))
    unit[n:] = np.eye(m)
    answer = solver.solve(unit)
    out = out.copy()
    for c in range(3):
        own = [tie for tie in ties if tie.coordinate == c]
        if not own:
            continue
        rows = np.zeros((len(own), m))
        for k, tie in enumerate(own):
            for name, by in tie.factors.items():
                if name in free:
                    rows[k, free[name]] += by
        missing = np.array([tie.value for tie in own]) - rows @ out[n:, c]
        push = np.linalg.lstsq(rows @ answer[n:] @ rows.T, missing, rcond=1e-9)[0]
        out[:, c] += answer @ (rows.T @ push)
    return out
