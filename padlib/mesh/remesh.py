"""Even triangles: isotropic remeshing of a surface to one edge length.

Split what is long, collapse what is short, flip toward valence six, smooth in the tangent plane,
pull back onto the input (M. Botsch, L. Kobbelt, "A remeshing approach to multiresolution modeling",
SGP 2004), worked in batches of changes that do not touch each other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.errors import MeshError
from padlib.mesh.collapse import LONG, collapse, collapse_short, may_collapse
from padlib.mesh.columns import dots, least_angles, norms, units
from padlib.mesh.divide import split_long
from padlib.mesh.edge_list import Edges
from padlib.mesh.flips import angle_gain, flip, valence_gain
from padlib.mesh.patch import locally
from padlib.mesh.relax import relax
from padlib.mesh.summits import settled
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.target import Target

# Split above this in the first turn of a brisk run, not LONG: of the few long edges it begins from most halves would go
# again.
FIRST = 1.5
EVEN = 0.97  # the mean edge comes out at 1.03 of what the bounds aim at (measured)
THIN = np.deg2rad(22)  # triangles with a smaller angle are taken out at the end
MENDS, SETTLES = 3, 3
FEW = 0.002  # of the faces: fewer flips in a round are the last
RINGS = 4  # about what is mended or settled, in which the mesh is evened again

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


def remesh(
    vertices: Vertices,
    faces: Faces,
    edge_length: float,
    *,
    iterations: int = 5,
    start: tuple[Vertices, Faces] | None = None,
    least: float | NDArray[np.float64] = np.inf,
    brisk: bool = False,
) -> tuple[Vertices, Faces]:
    """Cover a manifold surface with triangles whose edges are close to edge_length.

    vertices (n, 3) mm; faces (m, 3), consistently oriented, closed or with boundary; every
    boundary vertex of the result lies on the input's boundary, whose corners stay.
    start: vertices and faces near the surface, of its topology, to begin from instead of the surface itself.
    least: mm by which a vertex of the surface, one (n,) for each or one for all, stands out over flat triangles or lies
    under them to get a vertex of its own; those make triangles finer where summits and folds are narrow.
    brisk: leave off where little is left to collapse or flip, mend about thin triangles alone, and begin with longer
    edges.
    Returns new vertices and faces of the same topology and orientation.
    Raises MeshError for an edge length that is not positive and for a surface that is not an
    edge-manifold.
    """
    v = np.array(vertices, dtype=np.float64)
    f = np.array(faces, dtype=np.int64)
    if not (np.isfinite(edge_length) and edge_length > 0):
        raise MeshError(f"remeshing needs a positive edge length in mm, not {edge_length}")
    if len(f) == 0:
        raise MeshError("remeshing needs a surface with faces; this one has none")
    least = np.broadcast_to(np.asarray(least, dtype=np.float64), len(v))[_used(v, f)]
    v, f = _compact(v, f)
    target = Target(v, f, edge_length)
    if start is not None:
        v, f = _compact(np.array(start[0], dtype=np.float64), np.array(start[1], dtype=np.int64))
    pinned = _corners(v, f, edge_length)
    aim = EVEN * edge_length
    few = FEW if brisk else 0.0
    enough = (0.02, 0.003) if brisk else (0.01, 0.001)
    v, f, pinned = _thin_out(v, f, pinned, aim)
    for turn in range(iterations):
        last = turn == iterations - 1
        longest = FIRST if brisk and turn == 0 else LONG
        v, f, pinned = split_long(v, f, pinned, longest * aim)
        v, f, pinned = collapse_short(v, f, pinned, aim, enough=enough[last])
        f = flip(v, f, valence_gain, rounds=4, few=few)
        v = relax(v, f, pinned, target, steps=2)
    f = flip(v, f, angle_gain, rounds=6, few=few)
    if np.isfinite(least).any():
        v, f, pinned = _on_summits(v, f, pinned, target, least)
    for turn in range(MENDS):

        def mend(v: Vertices, f: Faces, pinned: Mask) -> tuple[Vertices, Faces, Mask]:
            v, f, pinned = _mend(v, f, pinned, aim)
            v = relax(v, f, pinned, target, steps=1)
            return v, flip(v, f, angle_gain, rounds=4, few=few), pinned

        thin = _thin_corners(v, f)
        if (turn or brisk) and not thin.any():
            break
        if not brisk:
            thin = np.ones(len(v), dtype=bool)
        v, f, pinned = locally(v, f, pinned, thin, RINGS, mend)
    return v, f


def _on_summits(
    v: Vertices, f: Faces, pinned: Mask, target: Target, least: NDArray[np.float64]
) -> tuple[Vertices, Faces, Mask]:
    """The mesh with vertices on the summits of the surface that stand out by `least` (n,) or more; they stay there."""
    asked = np.isfinite(least)
    for _ in range(SETTLES):
        before = pinned
        v, f, pinned, asked = settled(v, f, pinned, target.v, target.f, asked, target.length, least)
        about = pinned.copy()
        about[: len(before)] &= ~before
        if not about.any():
            break

        def even(v: Vertices, f: Faces, pinned: Mask) -> tuple[Vertices, Faces, Mask]:
            v = relax(v, f, pinned, target, steps=1)
            return v, flip(v, f, angle_gain, rounds=4, few=FEW), pinned

        v, f, pinned = locally(v, f, pinned, about, RINGS, even)
    return v, f, pinned


def _thin_corners(v: Vertices, f: Faces) -> Mask:
    """Which vertices (n,) belong to a triangle with a smaller angle than THIN."""
    out = np.zeros(len(v), dtype=bool)
    out[f[least_angles(v, f[:, 0], f[:, 1], f[:, 2]) < THIN]] = True
    return out


def _thin_out(v: Vertices, f: Faces, pinned: Mask, aim: float) -> tuple[Vertices, Faces, Mask]:
    """Bring a surface of much shorter edges near to `aim` in steps, so that each step stays even."""
    for _ in range(12):
        mean = Edges(f, len(v)).lengths(v).mean()
        if mean > 0.6 * aim:
            break
        v, f, pinned = collapse_short(v, f, pinned, min(2 * mean, aim), enough=0.02)
        f = flip(v, f, valence_gain, rounds=2)
        v = relax(v, f, pinned, None, steps=1)
    return v, f, pinned


def _mend(v: Vertices, f: Faces, pinned: Mask, aim: float) -> tuple[Vertices, Faces, Mask]:
    """Take out thin triangles that are left, by their shortest sides, and even out around them."""
    for _ in range(4):
        thin = least_angles(v, f[:, 0], f[:, 1], f[:, 2]) < THIN
        if not thin.any():
            break
        edges = Edges(f, len(v))
        sides = edges.side.reshape(-1, 3)[thin]
        size = edges.lengths(v)
        shortest = np.take_along_axis(sides, size[sides].argmin(axis=1)[:, None], axis=1)
        wanted = np.unique(shortest)
        wanted = wanted[may_collapse(edges, pinned, len(v))[wanted]]
        v, f, pinned, count = collapse(v, f, pinned, edges, wanted, 1.6 * aim, turn=0.1)
        if not count:
            break
        f = flip(v, f, angle_gain, rounds=2)
    return v, f, pinned


def _compact(v: Vertices, f: Faces) -> tuple[Vertices, Faces]:
    used = _used(v, f)
    return v.compress(used, axis=0), (np.cumsum(used) - 1)[f]


def _used(v: Vertices, f: Faces) -> Mask:
    used = np.zeros(len(v), dtype=bool)
    used[f] = True
    return used


def _corners(v: Vertices, f: Faces, length: float) -> Mask:
    """Boundary vertices where the boundary turns, seen over half an edge length, by more than 40 degrees."""
    edges = Edges(f, len(v))
    corner = np.zeros(len(v), dtype=bool)
    if not edges.border.any():
        return corner
    ends = edges.ends[edges.border]
    after, before = np.arange(len(v)), np.arange(len(v))
    after[ends[:, 0]], before[ends[:, 1]] = ends[:, 1], ends[:, 0]
    here = ends[:, 0]
    on, back = _walk(v, here, after, length / 2), _walk(v, here, before, length / 2)
    turn = np.zeros(len(v))
    turn[here] = 1 - dots(units(v[on] - v[here]), units(v[here] - v[back]))
    sharpest = turn[here] >= np.maximum(turn[after[here]], turn[before[here]])
    corner[here] = sharpest & (turn[here] > 1 - np.cos(np.deg2rad(40)))
    return corner


def _walk(v: Vertices, start: Ints, step: Ints, far: float) -> Ints:
    """For each start the first vertex along `step` that is `far` mm away, or where 40 steps end."""
    at = step[start]
    for _ in range(40):
        near = norms(v[at] - v[start]) < far
        if not near.any():
            break
        at = np.where(near, step[at], at)
    return at
