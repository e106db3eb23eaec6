"""Getting in: whether the widest part of the wearer passes the opening, and how long the closure must be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat


@dataclass(frozen=True)
class Entry:
    """What getting in takes, mm.

    closure_mm: length of the closure along the shell; opening_mm: girth of the hole with the closure
    open; needed_mm: largest girth of the wearer that must pass it; shortest_mm: the shortest closure
    that would do.
    """

    closure_mm: float
    opening_mm: float
    needed_mm: float
    shortest_mm: float


def entry(flats: Sequence[Flat], girths: Mapping[str, float], stretch: float) -> Entry:
    """The entry through the neck and the closure.

    girths: chest_girth and hip_girth of the wearer, mm, as measured; stretch: share by which the
    cloth gives at the opening. The girth of a slit is its edge on both sides; the wearer steps in, so
    the hips pass, then the chest with one arm after the other (common practice, no source).
    """
    neck = _edge_length(flats, "neck")
    closure = _edge_length(flats, "closure") / 2  # both sides are panels' edges
    hips = girths.get("hip_girth", 0.0)
    chest = girths.get("chest_girth", 0.0)
    needed = max(hips, chest)
    opening = (neck + 2 * closure) * (1 + stretch)
    shortest = max(0.0, (needed / (1 + stretch) - neck) / 2)
    return Entry(closure, opening, needed, shortest)


def _edge_length(flats: Sequence[Flat], seam: str) -> float:
    total = 0.0
    for flat in flats:
        for edge in flat.panel.edges:
            if edge.seam == seam:
                points = flat.panel.surface.vertices[edge.run]
                total += float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    return total


def entry_findings(told: Entry) -> tuple[Finding, ...]:
    """A caution if the wearer would not get in, or out."""
    if told.opening_mm >= told.needed_mm:
        return ()
    words = (
        f"the opening is {told.opening_mm:.0f} mm round with the closure open, but {told.needed_mm:.0f} mm "
        f"must pass; make the closure at least {told.shortest_mm:.0f} mm long"
    )
    return (Finding(601, words, "closure", Grade.CAUTION),)
