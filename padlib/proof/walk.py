"""Walking the seams of flats before they are sewn: what is wrong with them is named here.

Only the sheets and their stitches are looked at: both sides of each seam stretch by stretch, which
way up a sheet lies, and edges that nothing closes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.flatten.disk import boundary_edges
from padlib.proof.sheets import Bundle, Sheet, Stitch

Array = NDArray[np.float64]

APART_MM = 1.0  # of one seam: sides that differ by more are told
APART = 0.004  # of its length: what is eased in without being seen (common practice, no source)
LEAK_MM = 2.0  # of edge that nothing closes


def walk(suit: Bundle, eased: Sequence[str] = ()) -> tuple[Finding, ...]:
    """Findings 603 to 605: seams whose sides differ, sheets that lie face down, edges left open.

    eased: seams whose sides are meant to differ.
    """
    return (*_sides(suit, eased), *_face_down(suit), *_open(suit))


def seam_lengths(suit: Bundle) -> list[tuple[Stitch, float, float]]:
    """Each stitch with the lengths in mm of its two runs."""
    return [
        (s, _length(suit.sheets[s.one], s.a), _length(suit.sheets[s.two], s.b))
        for s in suit.stitches
    ]


def _length(sheet: Sheet, run: NDArray[np.int64]) -> float:
    return float(np.hypot(*np.diff(sheet.positions[run], axis=0).T).sum())


def _sides(suit: Bundle, eased: Sequence[str]) -> list[Finding]:
    """Seams and darts whose two sides differ in length."""
    out = []
    for stitch, one, two in seam_lengths(suit):
        allowed = max(APART_MM, APART * max(one, two))
        if stitch.seam in eased or abs(one - two) <= allowed:
            continue
        names = suit.sheets[stitch.one].name, suit.sheets[stitch.two].name
        short, long = names if one < two else names[::-1]
        where = f"leg of {stitch.seam}" if stitch.dart else f"side on {short}"
        against = "the other leg" if stitch.dart else f"that on {long}"
        words = f"its {where} is {abs(one - two):.1f} mm shorter than {against}"
        out.append(Finding(603, words, stitch.seam, Grade.WARNING))
    return out


def _face_down(suit: Bundle) -> list[Finding]:
    """Sheets whose triangles run clockwise: drawn as seen from the back."""
    out = []
    for sheet in suit.sheets:
        a, b, c = (sheet.positions[sheet.faces[:, k]] for k in range(3))
        twice = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        if (twice < 0).mean() > 0.5:
            words = "it lies face down: mirrored, or cut from the wrong side of the cloth"
            out.append(Finding(604, words, sheet.name, Grade.WARNING))
    return out


def _open(suit: Bundle) -> list[Finding]:
    """Stretches of edge that are neither sewn nor an opening."""
    closed: list[set[frozenset[int]]] = [set() for _ in suit.sheets]
    for stitch in suit.stitches:
        for k, run in ((stitch.one, stitch.a), (stitch.two, stitch.b)):
            closed[k] |= {
                frozenset(e) for e in zip(run[:-1].tolist(), run[1:].tolist(), strict=True)
            }
    out = []
    for sheet, known in zip(suit.sheets, closed, strict=True):
        for run in sheet.openings:
            known |= {frozenset(e) for e in zip(run[:-1].tolist(), run[1:].tolist(), strict=True)}
        rim = boundary_edges(sheet.faces)
        left = np.array([frozenset(e) not in known for e in rim.tolist()], dtype=bool)
        size = np.hypot(*(sheet.positions[rim[left, 0]] - sheet.positions[rim[left, 1]]).T).sum()
        if size > LEAK_MM:
            words = f"{size:.0f} mm of its edge are neither sewn nor an opening"
            out.append(Finding(605, words, sheet.name, Grade.WARNING))
    return out
