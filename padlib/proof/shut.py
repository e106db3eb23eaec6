"""Sheets with their darts pinned shut on the table, as a maker pins them before anything is sewn.

An open dart turns what lies beyond it aside; with several the lower end of a panel lies at quite another angle than it
will on the limb. Shut, the sheet wrinkles on the table but lies as it will hang.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, eye_array

from padlib.mesh.areas import sums
from padlib.mesh.solve import factor
from padlib.proof.sheets import Bundle, Sheet

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 300
STILL = 0.02  # mm that no place moves by any more
STIFFEST = 1e-3  # least weight of an edge, for triangles that are obtuse


def shut(suit: Bundle) -> tuple[Sheet, ...]:
    """The sheets of a suit, their positions (n, 2) as they lie with the two legs of each dart pinned together.

    Each triangle keeps its shape and size as well as it can: Liu and others 2008, "A local/global approach to mesh
    parameterization", from memory.
    """
    out = []
    for k, sheet in enumerate(suit.sheets):
        legs = [(s.a, s.b) for s in suit.stitches if s.dart and s.one == k]
        out.append(replace(sheet, positions=_pinned(sheet, legs)) if legs else sheet)
    return tuple(out)


def _pinned(sheet: Sheet, legs: list[tuple[Ints, Ints]]) -> Array:
    """The positions (n, 2) of a sheet whose dart legs are pinned together, vertex to vertex."""
    merged = np.arange(len(sheet.positions))
    for one, other in legs:
        low, high = np.minimum(merged[one], merged[other]), np.maximum(merged[one], merged[other])
        for a, b in zip(low, high, strict=True):
            merged[merged == b] = a
    _, merged = np.unique(merged, return_inverse=True)
    count = int(merged.max()) + 1
    share = np.bincount(merged, minlength=count)[:, None]
    place = sums(merged, sheet.positions, count) / share
    faces = merged[sheet.faces]
    corner = sheet.positions[sheet.faces]
    side = corner[:, [1, 2, 0]] - corner  # from each corner to the next
    weight = np.maximum(_cotangents(corner)[:, [2, 0, 1]], STIFFEST)  # of what lies across from it
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    w = weight.ravel()
    entries = (np.concatenate([w, w, -w, -w]),)
    at = np.concatenate([start, end, start, end]), np.concatenate([start, end, end, start])
    matrix = coo_array((entries[0], at), shape=(count, count)).tocsc()
    # a sheet that moves as a whole costs nothing: held where it was by next to nothing
    held = 1e-6 * float(w.mean())
    solver = factor(csc_matrix(matrix + held * eye_array(count)))
    first = place
    for _ in range(ROUNDS):
        now = place[faces][:, [1, 2, 0]] - place[faces]
        turned = _turned(side, np.einsum("mk,mki,mkj->mij", weight, now, side))
        pull = (weight[:, :, None] * turned).reshape(-1, 2)
        right = sums(end, pull, count) - sums(start, pull, count)
        new = solver.solve(right + held * first)
        moved = float(np.abs(new - place).max())
        place = new
        if moved < STILL:
            break
    return place[merged]


def _turned(side: Array, together: Array) -> Array:
    """The sides (m, 3, 2) of triangles turned by what turns them best, from their products (m, 2, 2)."""
    cos = together[:, 0, 0] + together[:, 1, 1]
    sin = together[:, 1, 0] - together[:, 0, 1]
    size = np.maximum(np.hypot(cos, sin), 1e-300)
    cos, sin = (cos / size)[:, None], (sin / size)[:, None]
    x, y = side[:, :, 0], side[:, :, 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y], axis=2)


def _cotangents(corner: Array) -> Array:
    """Cotangent (m, 3) of the angle at each corner (m, 3, 2) of triangles."""
    one, two = corner[:, [1, 2, 0]] - corner, corner[:, [2, 0, 1]] - corner
    cross = one[:, :, 0] * two[:, :, 1] - one[:, :, 1] * two[:, :, 0]
    return (one * two).sum(axis=2) / np.maximum(np.abs(cross), 1e-12)
