"""How far girths and seams of the sewn suit may be off: errors of scan, shears, needle and cloth.

All of them are small and none depends on the others, so variances add (JCGM 100:2008, the guide to the
expression of uncertainty in measurement, 5.1.2); what is told is 1.96 standard deviations, which 95 of
100 suits keep within. An error given as +- 2 mm is taken to hold for 95 of 100 places likewise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.limb import lengths
from padlib.seams.panels import Panel

Array = NDArray[np.float64]

SURE = 1.96  # standard deviations of 95 in 100
BARE_MM = 1.0  # where the outline adds less there is no suit (the head)
PATCH_MM = 20.0  # of a scan: places farther apart than that err on their own (from memory)


@dataclass(frozen=True)
class Errors:
    """What is not exact, each for 95 in 100: scan_mm of a place of the body's surface; cut_mm of the
    shears off the line; sew_mm of the needle off the line; stretch of the cloth as it is cut and worn."""

    scan_mm: float = 1.4  # twice the noise of 0.7 mm of a hand scan
    cut_mm: float = 2.0
    sew_mm: float = 2.0
    stretch: float = 0.02


@dataclass(frozen=True)
class Spread:
    """A girth or seam: its length, how many panels it crosses, and how far it may be off, all mm."""

    value: float
    panels: int
    off: float


def girth_spread(value: float, panels: int, errors: Errors) -> Spread:
    """The spread of a girth (mm) that crosses so many panels, each with a seam on both sides.

    A panel is cut at two edges; a needle that is off by e takes 2 e, e from either panel; all cloth
    stretches alike; of the scan's radial error the mean over the girth counts, times 2 pi.
    """
    places = max(value / PATCH_MM, 1.0)
    parts = (
        np.sqrt(2.0 * panels) * errors.cut_mm,
        2.0 * np.sqrt(panels) * errors.sew_mm,
        value * errors.stretch,
        2.0 * np.pi * errors.scan_mm / np.sqrt(places),
    )
    return Spread(value, panels, float(np.sqrt(np.square(parts).sum())))


def seam_spread(value: float, errors: Errors) -> Spread:
    """The spread of a seam's length (mm): cut at two ends, its cloth stretched."""
    parts = (np.sqrt(2.0) * errors.cut_mm, value * errors.stretch)
    return Spread(value, 1, float(np.hypot(*parts)))


def crossed(tree: cKDTree, owner: NDArray[np.int64], line: Array) -> int:
    """How many times a closed line (k, 3) near the shell changes from one panel to another.

    tree: of all panels' vertices; owner (n,): the panel of each.
    """
    around = np.concatenate([line, line[:1]])
    size = lengths(around)
    even = np.arange(0.0, size[-1], 5.0)
    at = np.column_stack([np.interp(even, size, around[:, k]) for k in range(3)])
    own = owner[tree.query(at)[1]]
    kept = own[
        np.concatenate([own[1:] == own[:-1], own[:1] == own[-1:]])
    ]  # a stray point is no panel
    return int((kept != np.roll(kept, 1)).sum())


def spreads(
    panels: Sequence[Panel],
    girths: Mapping[str, tuple[float, float]],
    lines: Mapping[str, Array],
    errors: Errors | None = None,
) -> dict[str, Spread]:
    """The spread of each girth of the padded suit.

    girths: name to (bare, padded) mm; lines: name to the tape's line (k, 3) on the body.
    """
    errors = errors or Errors()
    tree = cKDTree(np.concatenate([p.surface.vertices for p in panels]))
    owner = np.repeat(np.arange(len(panels)), [len(p.surface.vertices) for p in panels])
    return {
        name: girth_spread(padded, max(crossed(tree, owner, lines[name]), 1), errors)
        for name, (bare, padded) in girths.items()
        if name in lines and abs(padded - bare) >= BARE_MM
    }
