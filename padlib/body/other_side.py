"""Holes on one side of a body: their fillings laid where the other side, which was scanned there, has its skin.

People differ between their sides by a few millimetres, a smooth filling of a fold or of a bulge by far more. Only what
was not scanned moves, and it still meets the scan: the difference of the sides around the hole is kept.
"""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags
from scipy.sparse.linalg import spsolve

from padlib.body.armpits import HOLE, SEEN
from padlib.body.quiet import neighbours
from padlib.body.regions import joined
from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_crosses, vertex_normals
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

IMAGED = 208  # number of the finding
REACH = (
    0.015  # of the height: so far from a filling the other side's skin is taken for the same place
)
FACING = 0.5  # least cosine between the normals of both
ROUNDS = 4  # rounds of closest points
FLOOR = 2.0  # mm: what reaches that low is a sole
KNOWN = 0.3  # least share of a filling of which the other side knows the place
SHOWN = 2.0  # mm (mean) from which a move is told


def completed(vertices: Vertices, faces: Faces, gap: Array) -> tuple[Vertices, tuple[Finding, ...]]:
    """The vertices (n, 3) of a body, middle plane x = 0, with fillings moved to the image of the other side.

    gap (n,): distance in mm of each vertex from what was scanned.
    """
    out, told = np.array(vertices), []
    mean = neighbours(len(vertices), faces)
    for patch in _fillings(vertices, faces, gap):
        moved, known = _onto_image(out, faces, gap, mean, patch)
        if known < KNOWN:
            continue
        far = float(np.linalg.norm(moved - out[patch], axis=1).mean())
        out[patch] = moved
        if far > SHOWN:
            x, _, z = moved.mean(axis=0)
            words = (
                f"a hole at height {z:.0f} mm was filled after the other side, which was scanned there;"
                " what differs between the sides is not known"
            )
            side = "left" if x > 0 else "right"
            told.append(Finding(IMAGED, words, f"{side} side", Grade.WARNING))
    return out, tuple(told)


def _fillings(vertices: Vertices, faces: Faces, gap: Array) -> list[Ints]:
    """Vertices of each filling that is more than a small hole's, one array each; soles, which stand, left out."""
    made = (gap > 0.0) & np.isfinite(gap)
    label = joined(made, faces)
    wide = np.unique(label[made & (gap > HOLE)])
    out = [np.flatnonzero(made & (label == one)) for one in wide]
    return [patch for patch in out if vertices[patch, 2].min() > FLOOR]


def _onto_image(
    vertices: Vertices, faces: Faces, gap: Array, mean: csr_matrix, patch: Ints
) -> tuple[Vertices, float]:
    """A filling (k, 3) laid onto the other side's image, and the share of it of which that knows the place."""
    inside = np.zeros(len(vertices), dtype=bool)
    inside[patch] = True
    near = inside.copy()
    for _ in range(2):
        near[faces[near[faces].any(axis=1)]] = True
    used = np.flatnonzero(near)
    free = inside[used]
    bend = (diags(np.ones(len(used))) - _own_mean(mean, used)).tocsr()
    reach = REACH * float(np.ptp(vertices[:, 2]))
    image = vertices * [-1.0, 1.0, 1.0]
    box = vertices[used].min(axis=0) - 2.0 * reach, vertices[used].max(axis=0) + 2.0 * reach
    close = ((image > box[0]) & (image < box[1])).all(axis=1)
    turned = faces[close[faces].any(axis=1)][:, ::-1]
    if not len(turned):
        return vertices[patch], 0.0
    normal = face_crosses(image, turned)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    scanned = gap[turned].max(axis=1) < SEEN
    now, share = np.array(vertices), 1.0
    own_faces = faces[near[faces].any(axis=1)]
    for k in range(ROUNDS):
        squared, face, place = igl.point_mesh_squared_distance(now[used], image, turned)
        own = vertex_normals(now, own_faces)[used]
        alike = np.einsum("ij,ij->i", own, normal[face]) > FACING
        known = alike & scanned[face] & (squared < reach**2)
        if k == 0:
            share = float(known[free].mean())
        if not known[free].any():
            break
        apart = place - now[used]
        between = _extended(bend, apart, known & ~free)
        now[patch] += _smooth(bend, apart - between, known & free, free)[free]
    return now[patch], share


def _own_mean(mean: csr_matrix, used: Ints) -> csr_matrix:
    """The mean over neighbours (k, k) among some vertices."""
    part = mean[used][:, used]
    whole = np.maximum(np.asarray(part.sum(axis=1)).ravel(), 1e-12)
    return diags(1.0 / whole) @ part


def _extended(bend: csr_matrix, value: Array, known: Mask) -> Array:
    """Values (k, 3) known at some vertices carried on evenly to the others; 0 where none is known."""
    if not known.any():
        return np.zeros_like(value)
    out = np.where(known[:, None], value, 0.0)
    rest = np.flatnonzero(~known)
    rows = bend[rest]
    out[rest] = spsolve(rows[:, rest].tocsc(), -(rows[:, np.flatnonzero(known)] @ out[known]))
    return out


def _smooth(bend: csr_matrix, wanted: Array, known: Mask, free: Mask) -> Array:
    """A smooth displacement (k, 3) near the wanted one where that is known, 0 at what is not free."""
    inner = np.flatnonzero(free)
    matrix = (bend.T @ bend)[inner][:, inner] + diags(known[inner].astype(np.float64))
    right = np.where(known[inner, None], wanted[inner], 0.0)
    out = np.zeros_like(wanted)
    out[inner] = spsolve(matrix.tocsc(), right)
    return out
