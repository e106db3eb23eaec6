"""A lay: pieces placed on a length of cloth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Placement:
    """One piece on the cloth.

    number: the piece's number; mirrored: laid face down; offset: (x, y) mm that is added to the
    piece's own coordinates after mirroring (x -> -x) if mirrored. y runs along the cloth's length,
    pile down (toward y = 0); x across its width from 0 to width.
    """

    number: int
    mirrored: bool
    offset: tuple[float, float]


@dataclass(frozen=True)
class Lay:
    """Pieces placed on cloth of one width, pile one way, nothing rotated."""

    cloth: str
    width_mm: float
    length_mm: float
    used_percent: float
    placements: tuple[Placement, ...]
