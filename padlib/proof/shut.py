"""Sheets with their darts pinned shut on the table, as a maker pins them before anything is sewn.

An open dart turns what lies beyond it aside; with several the lower end of a panel lies at quite another angle than it
will on the limb. Shut, the sheet wrinkles on the table but lies as it will hang.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, eye_array

from padlib.mesh.areas import sums
from padlib.mesh.solve import factor
from padlib.proof.sew import weld
from padlib.proof.sheets import Bundle, Sheet, Stitch

Array = NDArray[np.float64]
NEXT = [1, 2, 0]  # the corner after each corner of a triangle

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
        darts = [replace(s, one=0, two=0) for s in suit.stitches if s.dart and s.one == k]
        out.append(replace(sheet, positions=_pinned(sheet, darts)) if darts else sheet)
    return tuple(out)


def _pinned(sheet: Sheet, darts: Sequence[Stitch]) -> Array:
    """The positions (n, 2) of a sheet, by itself number 0, whose darts are pinned shut."""
    sewn = weld(Bundle((sheet,), tuple(darts)))
    merged, faces, count = sewn.welded[0], sewn.faces, sewn.count
    place = sums(merged, sheet.positions, count) / np.bincount(merged)[:, None]
    corner = sheet.positions[sheet.faces]
    side = corner[:, NEXT] - corner  # from each corner to the next
    # the cotangent of the angle across from each side, from the gradients at its ends
    turn = (sewn.gradients * sewn.gradients[:, NEXT]).sum(axis=2)
    weight = np.maximum(-2.0 * sewn.area[:, None] * turn, STIFFEST)
    start, end, w = faces.ravel(), faces[:, NEXT].ravel(), weight.ravel()
    at = np.concatenate([start, end, start, end]), np.concatenate([start, end, end, start])
    matrix = coo_array((np.concatenate([w, w, -w, -w]), at), shape=(count, count))
    # a sheet that moves as a whole costs nothing: held where it was by next to nothing
    held = 1e-6 * float(w.mean())
    solver = factor(csc_matrix(matrix + held * eye_array(count)))
    first = place
    for _ in range(ROUNDS):
        now = place[faces][:, NEXT] - place[faces]
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
