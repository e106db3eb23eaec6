"""The rough wrap from which sewing starts: each sheet bent round its limb as a plain tube.

Every sheet keeps the shape that it has on the table; it is only bent, at its spot, round a straight
tube as wide as all sheets of that limb together allow. Nothing of the padded shape is in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import limb_frame
from padlib.body.limb import lengths
from padlib.flatten.flat import Flat
from padlib.proof.sew import Sewn
from padlib.proof.sheets import Bundle, Sheet, Spot, down, hand, side_of, spots, weights
from padlib.proof.shut import shut

Array = NDArray[np.float64]

ROW = 25.0  # mm along a limb over which the middle of a sheet's row is found


def begin(suit: Bundle, flats: Sequence[Flat], sewn: Sewn, axes: Mapping[str, Array]) -> Array:
    """Start positions (n, 3) mm of the welded vertices of a suit, of which flats are the panels: darts pinned shut on
    the table, then each sheet bent round its limb. axes: as for `wrap`."""
    sheets = shut(suit)
    laid = [replace(f, positions=s.positions) for f, s in zip(flats, sheets, strict=True)]
    return wrap(sheets, spots(laid, axes), sewn, axes)


def wrap(
    sheets: Sequence[Sheet], at: Sequence[Spot], sewn: Sewn, axes: Mapping[str, Array]
) -> Array:
    """Start positions (n, 3) mm of the welded vertices: means of what their sheets give them.

    at: each sheet's spot; axes: centre lines (k, 3) of the limbs and the trunk.
    """
    laid = [_laid(sheet, spot) for sheet, spot in zip(sheets, at, strict=True)]
    out, share = np.zeros((sewn.count, 3)), np.zeros(sewn.count)
    for limb in sorted({spot.limb for spot in at}):
        own = [k for k, spot in enumerate(at) if spot.limb == limb]
        area = sum(weights(sheets[k].positions, sheets[k].faces).sum() for k in own)
        every = np.concatenate([laid[k][:, 1] for k in own])
        radius = area / (2.0 * np.pi * np.ptp(every))
        for k in own:
            place = _bent(laid[k], at[k], radius, axes[limb])
            np.add.at(out, sewn.welded[k], place)
            np.add.at(share, sewn.welded[k], 1.0)
    return out / share[:, None]


def _laid(sheet: Sheet, spot: Spot) -> Array:
    """A sheet (n, 2) in mm round its limb, from its middle, and along the limb's line."""
    weight = weights(sheet.positions, sheet.faces)
    x, y = (sheet.positions - weight @ sheet.positions / weight.sum()).T
    c, s = np.cos(np.radians(spot.turn_deg)), np.sin(np.radians(spot.turn_deg))
    over, up = c * x - s * y, s * x + c * y
    if spot.limb != "trunk":
        over = over - _middle_of_row(over, up, weight)
    return np.column_stack([over, spot.along_mm - down(spot.limb) * up])


def _middle_of_row(over: Array, up: Array, weight: Array) -> Array:
    """The middle (n,) of the row across its limb that each vertex of a sheet lies in.

    Darts that are open on the table turn what lies beyond them aside: at a hem by a hand's breadth, half way round a
    thin ankle, where sewing would twist the leg. On a tube each row therefore keeps to the sheet's own side of it.
    """
    place = (up - up.min()) / ROW
    low = place.astype(np.int64)
    far = place - low
    total, first = np.zeros(int(place.max()) + 2), np.zeros(int(place.max()) + 2)
    for row, share in ((low, 1.0 - far), (low + 1, far)):
        np.add.at(total, row, share * weight)
        np.add.at(first, row, share * weight * over)
    held = np.flatnonzero(total > 0.0)
    return np.interp(place, held, first[held] / total[held])


def _bent(laid: Array, spot: Spot, radius: float, axis: Array) -> Array:
    """A laid sheet (n, 2) bent round a line (k, 3): positions (n, 3)."""
    angle = np.radians(spot.around_deg) + hand(spot.limb) * laid[:, 0] / radius
    front, outward = limb_frame(axis, side_of(spot.limb))
    at, along = lengths(axis), laid[:, 1]
    middle, one, two = (
        np.column_stack([np.interp(along, at, way[:, c]) for c in range(3)])
        for way in (axis, front, outward)
    )
    ends = (axis[1] - axis[0]) / at[1], (axis[-1] - axis[-2]) / (at[-1] - at[-2])
    middle += np.minimum(along, 0.0)[:, None] * ends[0]
    middle += np.maximum(along - at[-1], 0.0)[:, None] * ends[1]
    return middle + radius * (np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two)
