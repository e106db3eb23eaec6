"""A lay: pieces placed on a length of cloth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from padlib.findings import Finding
from padlib.pattern.piece import Line, Piece


@dataclass(frozen=True)
class Placement:
    """One piece on the cloth.

    number: the piece's number; mirrored: laid face down; offset: (x, y) mm that is added to the
    piece's own coordinates after mirroring (x -> -x) if mirrored, and after a turn by turn_deg about
    their origin. y runs along the cloth's length, pile down (toward y = 0); x across its width from 0
    to width.
    """

    number: int
    mirrored: bool
    offset: tuple[float, float]
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Lay:
    """Pieces placed on cloth of one width.

    pile: one-way, two-way or none; avoid: spoiled places (x, y, width, height) mm that no piece lies on;
    price of a metre of the cloth.
    """

    cloth: str
    width_mm: float
    length_mm: float
    used_percent: float
    placements: tuple[Placement, ...]
    pile: str = "one-way"
    avoid: tuple[tuple[float, float, float, float], ...] = ()
    price: float = 0.0
    findings: tuple[Finding, ...] = ()

    def cost(self) -> float:
        """What the cloth costs, 0 where no price is known."""
        return self.price * self.length_mm / 1000.0


def laid(line: Line, mirrored: bool, turn_deg: float) -> Line:
    """A line (k, 2) of a piece, mirrored (x to -x) when it lies face down, then turned about its origin."""
    line = line * [-1.0, 1.0] if mirrored else line
    if turn_deg == 0.0:
        return line
    turn = np.radians(turn_deg)
    way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return line @ way


def placed_outline(piece: Piece, place: Placement) -> Line:
    """The cut line of a piece (k, 2) where it lies on the cloth, mm."""
    return laid(piece.cut_line, place.mirrored, place.turn_deg) + np.array(place.offset)
