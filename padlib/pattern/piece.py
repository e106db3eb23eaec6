"""Pieces: what is cut out of cloth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Line = NDArray[np.float64]  # (k, 2) mm


@dataclass(frozen=True)
class Notch:
    """A mark across the allowance: at (2,) on the sew line, outward (2,) unit; count 1 front, 2 back."""

    at: NDArray[np.float64]
    outward: NDArray[np.float64]
    count: int
    pair: str  # the same on both sides of the seam


@dataclass(frozen=True)
class EdgeLabel:
    """What an edge is sewn to, written beside it: text at (2,), angle in degrees, kept upright."""

    text: str
    at: NDArray[np.float64]
    angle_deg: float


@dataclass(frozen=True)
class Piece:
    """A flat with everything that a maker needs to cut and sew it.

    number: on the sheet; name; side: left, right or both; cloth; count: how many to cut;
    mirrored: of those, half are cut with the piece turned face down;
    cut_line (k, 2) closed (first point not repeated), sew_line (k, 2) closed; edges: seam name to
    sew-line run; darts: polylines mouth-apex-mouth; pile (2, 2): tail and head of the arrow.
    """

    number: int
    name: str
    side: str
    cloth: str
    count: int
    mirrored: bool
    cut_line: Line
    sew_line: Line
    edges: tuple[tuple[str, Line], ...]
    notches: tuple[Notch, ...]
    darts: tuple[Line, ...]
    edge_labels: tuple[EdgeLabel, ...]
    labels: tuple[str, ...]
    pile: Line
    area_cm2: float
    perimeter_mm: float
