"""Pieces: what is cut out of cloth.

Words: the sew line is where the needle goes, the cut line where the shears go; the allowance is the
cloth between them. A notch is a short mark on the cut line that meets its twin when a seam is pinned.
A piece is drawn as seen from the pile side of the cloth, pile running down the page.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding

Line = NDArray[np.float64]  # (k, 2) mm


@dataclass(frozen=True)
class Notch:
    """A mark across the allowance: at (2,) on the sew line, outward (2,) unit; count 1 front, 2 back.

    pair: the same on both sides of the seam; allowance_mm: from the sew line to the cut line here;
    style: slit, v, t, castle, check or u.
    """

    at: NDArray[np.float64]
    outward: NDArray[np.float64]
    count: int
    pair: str
    allowance_mm: float = 10.0
    style: str = "slit"


@dataclass(frozen=True)
class EdgeLabel:
    """What an edge is sewn to, written beside it: middle of the text (2,), angle in degrees, upright.

    height_mm of a capital letter.
    """

    text: str
    at: NDArray[np.float64]
    angle_deg: float
    height_mm: float = 2.6


@dataclass(frozen=True, eq=False)
class Inner:
    """A line inside a piece: points (k, 2), closed or not, and words beside it.

    purpose: fold (fold here), trim (the pile is cut short up to here), cutout (cut out along it), place
    (something is sewn on here), sew (the sew line of a hole) or colour (the cloth changes colour here).
    """

    purpose: str
    points: Line
    closed: bool = False
    words: str = ""


@dataclass(frozen=True)
class Piece:
    """A flat with everything that a maker needs to cut and sew it.

    number: on the sheet; name; side: left, right or both; cloth; count: how many to cut;
    mirrored: of those, half are cut with the piece face up, half face down; face: how the others lie on the back
    of the cloth, down (as drawn it shows the pile side) or up (linings, whose right side is inside);
    cut_line (k, 2) closed (first point not repeated), sew_line (k, 2) closed; edges: seam name to
    sew-line run; darts: polylines mouth-apex-mouth; pile (2, 2): tail and head of the arrow;
    inner: folds, trimmed pile, cut-outs and places inside it; kind: panel, or part for what no
    flattening gives (strips, gussets, guards);
    labels: lines of the block of text, of which the first line's left end lies at label_at (2,) and
    has capitals of 1.5 label_mm, all others of label_mm; panels: names of the panels it is cut for.
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
    label_at: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    label_mm: float = 5.0
    allowance_mm: float = 10.0
    panels: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    inner: tuple[Inner, ...] = ()
    kind: str = "panel"
    face: str = "down"
