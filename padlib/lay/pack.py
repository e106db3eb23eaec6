"""Lays: pieces of each cloth placed on its width, pile one way, nothing rotated."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import spyrrow

from padlib.errors import InputError
from padlib.lay.lay import Lay, Placement
from padlib.lay.skyline import Outline, skyline
from padlib.pattern.piece import Piece

SIMPLIFY_MM = 0.3


def copies(pieces: Sequence[Piece]) -> list[tuple[Piece, bool]]:
    """Every piece as often as it is cut, with whether that copy is turned face down."""
    out = []
    for piece in pieces:
        down = piece.count // 2 if piece.mirrored else 0
        out += [(piece, k >= piece.count - down) for k in range(piece.count)]
    return out


def outline(piece: Piece, face_down: bool) -> Outline:
    """The cut line of a piece (k, 2) in mm, mirrored (x to -x) when it is laid face down."""
    return piece.cut_line * [-1.0, 1.0] if face_down else piece.cut_line


def lay_pieces(
    pieces: Sequence[Piece],
    *,
    cloth: str,
    width_mm: float,
    gap_mm: float = 10.0,
    seconds: float = 10.0,
    seed: int = 1,
) -> Lay:
    """Place all pieces of one cloth; the shorter of our own quick lay and the packer's.

    seconds: the packer's time budget; below 1 only the quick lay is made, which is the same on every
    machine. Raises InputError naming a piece that is wider than the cloth.
    """
    every = copies(pieces)
    lines = [outline(p, down) for p, down in every]
    for (piece, _), line in zip(every, lines, strict=True):
        if np.ptp(line[:, 0]) > width_mm:
            raise InputError(
                f"cloth '{cloth}' is {width_mm:g} mm wide but piece '{piece.name}' needs "
                f"{np.ptp(line[:, 0]):.0f} mm; take wider cloth or add a seam to that panel."
            )
    if not lines:
        return Lay(cloth, width_mm, 0.0, 0.0, ())
    offsets, length = skyline(lines, width_mm, gap_mm)
    if seconds >= 1:
        packed, packed_length = _packed(lines, width_mm, gap_mm, int(seconds), seed)
        if packed_length < length:
            offsets, length = packed, packed_length
    used = sum(float(shapely.Polygon(line).area) for line in lines)
    placements = tuple(
        Placement(p.number, down, (float(x), float(y)))
        for (p, down), (x, y) in zip(every, offsets, strict=True)
    )
    return Lay(cloth, width_mm, length, 100.0 * used / (width_mm * length), placements)


def _packed(
    lines: Sequence[Outline], width: float, gap: float, seconds: int, seed: int
) -> tuple[list[tuple[float, float]], float]:
    """Offsets and length from the irregular strip packer.

    Its strip runs along x, ours along y, so x and y change places on the way in and out.
    """
    shapes = [
        shapely.Polygon(line).buffer(SIMPLIFY_MM, join_style="mitre").simplify(SIMPLIFY_MM)
        for line in lines
    ]
    items = [
        spyrrow.Item(str(i), [(y, x) for x, y in shape.exterior.coords[:-1]], 1, [0.0])
        for i, shape in enumerate(shapes)
    ]
    instance = spyrrow.StripPackingInstance("", width + 2 * SIMPLIFY_MM, items)
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        min_items_separation=max(gap - 2 * SIMPLIFY_MM, 0.01),
        total_computation_time=seconds,
        num_workers=1,
        seed=seed,
    )
    solution = instance.solve(config)
    offsets = [(0.0, 0.0)] * len(lines)
    for item in solution.placed_items:
        along, across = item.translation
        offsets[int(item.id)] = (across - SIMPLIFY_MM, along)
    least = min(
        float((line[:, 1] + off[1]).min()) for line, off in zip(lines, offsets, strict=True)
    )
    offsets = [(x, y - least) for x, y in offsets]
    return offsets, max(
        float((line[:, 1] + off[1]).max()) for line, off in zip(lines, offsets, strict=True)
    )
