"""A closed surface from a soup of triangles, by the winding number on a grid around it.

For pieces that do not hang together: parts that overlap, layers, a limb cut off by a hole.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.mesh.areas import face_areas
from padlib.mesh.repair import components, is_closed_manifold, without_unused
from padlib.mesh.surface import Faces, Surface, Vertices

Cells = NDArray[np.int64]

# The six tetrahedra of a cube around its long diagonal (H. Freudenthal 1942); corner k of the cube
# has the bits x, y, z of k. Neighbouring cubes cut their common face alike, so no cracks appear.
_TETRAHEDRA = np.array(
    [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]]
)
_CORNERS = np.array([[k & 1, k >> 1 & 1, k >> 2 & 1] for k in range(8)])
_COARSE = 4  # grid steps in the edge of a block that is either looked at or skipped


def wrap(surface: Surface, spacing: float) -> Surface:
    """The largest closed surface that separates inside from outside of an oriented soup.

    The generalised winding number w (A. Jacobson, L. Kavan, O. Sorkine-Hornung, "Robust
    inside-outside segmentation using generalized winding numbers", SIGGRAPH 2013; fast form by
    G. Barill et al., SIGGRAPH 2018) times the distance d gives the field d (2 w - 1): a signed
    distance near the scan, and smooth across its holes. Its zero is taken by marching tetrahedra on
    a grid of `spacing`, so it is closed and manifold.
    """
    v, f = surface.vertices, surface.faces
    origin = v.min(axis=0) - 3.0 * spacing * _COARSE
    shape = np.ceil((np.ptp(v, axis=0)) / (spacing * _COARSE)).astype(np.int64) + 6
    blocks = _crossed_blocks(v, f, origin, shape, spacing)
    whole = _surface_in(v, f, np.argwhere(blocks), origin, spacing)
    if not is_closed_manifold(whole.faces):
        # across a hole the zero can leave the blocks that were looked at: look one block further
        whole = _surface_in(v, f, np.argwhere(_grown(blocks)), origin, spacing)
    return whole


def _surface_in(v: Vertices, f: Faces, blocks: Cells, origin: Vertices, spacing: float) -> Surface:
    """The largest piece of the field's zero inside the given blocks."""
    points, inverse = _corners(_cells_of_blocks(blocks))
    field = _field(v, f, origin + spacing * points, spacing)
    vertices, faces = _marching(points, inverse.reshape(-1, 8), field)
    if not len(faces):
        return Surface(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    vertices = origin + spacing * vertices
    piece = components(faces)
    area = np.bincount(piece, face_areas(vertices, faces))
    return without_unused(vertices, faces[piece == np.argmax(area)])


def _field(v: Vertices, f: Faces, points: Vertices, spacing: float) -> NDArray[np.float64]:
    """d (2 w - 1) at points: positive inside; never quite zero on walls that lie inside."""
    winding = np.asarray(igl.fast_winding_number(v, f, points)).reshape(-1)
    squared = igl.point_mesh_squared_distance(points, v, f)[0]
    away = np.maximum(np.sqrt(squared), 1e-3 * spacing)
    field = away * np.clip(2.0 * winding - 1.0, -1.0, 1.0)
    return np.where(field == 0.0, -1e-12, field)


def _crossed_blocks(
    v: Vertices, f: Faces, origin: Vertices, shape: Cells, spacing: float
) -> NDArray[np.bool_]:
    """Which blocks have a part of the scan in them, or corners on both sides of it."""
    axes = [np.arange(n + 1) for n in shape]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    at = origin + spacing * _COARSE * grid
    winding = np.asarray(igl.fast_winding_number(v, f, at)).reshape(shape + 1)
    inside = winding > 0.5
    mixed = np.zeros(shape, dtype=bool)
    first = inside[:-1, :-1, :-1]
    for x, y, z in _CORNERS:
        end = [n + k for n, k in zip(shape, (x, y, z), strict=True)]
        mixed |= inside[x : end[0], y : end[1], z : end[2]] != first
    size = spacing * _COARSE
    # every block that a face may touch: by sample points closer than half a block
    touched = np.floor((_samples(v, f, size / 2.0) - origin) / size).astype(np.int64)
    mixed[tuple(np.unique(touched, axis=0).T)] = True
    return mixed


def _grown(blocks: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The blocks and all that touch them; the outermost blocks are always empty."""
    for axis in range(3):
        blocks = blocks | np.roll(blocks, 1, axis=axis) | np.roll(blocks, -1, axis=axis)
    return blocks


def _samples(v: Vertices, f: Faces, apart: float) -> Vertices:
    """Points on every face no further apart than `apart`."""
    a, b, c = (v[f[:, k]] for k in range(3))
    longest = np.max([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    steps = np.maximum(np.ceil(longest / apart).astype(np.int64), 1)
    out = [v]
    for count in np.unique(steps[steps > 1]):
        mine = steps == count
        i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
        i, j = i[i + j <= count] / count, j[i + j <= count] / count
        w = np.stack([1.0 - i - j, i, j], axis=1)
        out.append(np.einsum("kc,fcd->fkd", w, v[f[mine]]).reshape(-1, 3))
    return np.concatenate(out)


def _cells_of_blocks(blocks: Cells) -> Cells:
    """The grid cells (k, 3) of blocks."""
    inner = np.stack(np.meshgrid(*[np.arange(_COARSE)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    return (blocks[:, None] * _COARSE + inner).reshape(-1, 3)


def _corners(cells: Cells) -> tuple[Cells, Cells]:
    """The grid points (n, 3) of cells (k, 3), and their numbers at each cell's corners (8 k,)."""
    corners = (cells[:, None] + _CORNERS).reshape(-1, 3)
    span = int(corners.max()) + 1
    keys = (corners[:, 0] * span + corners[:, 1]) * span + corners[:, 2]
    unique, inverse = np.unique(keys, return_inverse=True)
    points = np.stack([unique // span**2, unique // span % span, unique % span], axis=1)
    return points, inverse.reshape(-1)


def _marching(points: Cells, cells: Cells, field: NDArray[np.float64]) -> tuple[Vertices, Faces]:
    """Zero of a field on the grid, in grid steps; faces look to where the field is negative."""
    inside = field > 0.0
    mixed = inside[cells].any(axis=1) & ~inside[cells].all(axis=1)
    tetra = cells[mixed][:, _TETRAHEDRA].reshape(-1, 4)
    count = inside[tetra].sum(axis=1)
    order = np.argsort(~inside[tetra], axis=1, kind="stable")  # inside corners first
    ordered = np.take_along_axis(tetra, order, axis=1)
    odd = _odd(order)
    pairs = []
    one, two, three = (ordered[count == k] for k in (1, 2, 3))
    pairs.append(_faces(one, [(0, 1), (0, 2), (0, 3)], odd[count == 1]))
    pairs.append(_faces(three, [(0, 3), (1, 3), (2, 3)], odd[count == 3]))
    pairs.append(_faces(two, [(0, 2), (0, 3), (1, 3)], odd[count == 2]))
    pairs.append(_faces(two, [(0, 2), (1, 3), (1, 2)], odd[count == 2]))
    ends = np.concatenate(pairs).reshape(-1, 2)
    ends = np.sort(ends, axis=1)
    keys, inverse = np.unique(ends[:, 0] * len(points) + ends[:, 1], return_inverse=True)
    a, b = keys // len(points), keys % len(points)
    t = np.clip(field[a] / (field[a] - field[b]), 0.02, 0.98)[:, None]
    vertices = points[a] * (1.0 - t) + points[b] * t
    return vertices, inverse.reshape(-1, 3).astype(np.int64)


def _odd(order: Cells) -> NDArray[np.bool_]:
    """Whether each row of four is an odd permutation."""
    swaps = np.zeros(len(order), dtype=np.int64)
    for i in range(4):
        for j in range(i + 1, 4):
            swaps += order[:, i] > order[:, j]
    return swaps % 2 == 1


def _faces(tetra: Cells, edges: list[tuple[int, int]], odd: NDArray[np.bool_]) -> Cells:
    """Triangles as three pairs of grid points (k, 3, 2), turned where the corners are odd."""
    out = tetra[:, np.array(edges)]
    out[odd] = out[odd][:, [0, 2, 1]]
    return out
