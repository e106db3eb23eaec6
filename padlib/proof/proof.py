"""The proof of a suit: its flats sewn back together, and whether the wearer gets in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.proof.entry import Entry, entry, entry_findings
from padlib.proof.sew import distances, settle, weld
from padlib.proof.wrap import wrap

Array = NDArray[np.float64]
TOLD = 12.0  # mm: a worst deviation over this is told


@dataclass(frozen=True, eq=False)
class Proof:
    """What the proof found.

    surface: the sewn suit, mm; deviation (n,): distance of its vertices from the shell, mm;
    deviation_mm: mean, p95 and max, weighted by area; steps: of the solve; entry; findings.
    """

    surface: Surface
    deviation: Array
    deviation_mm: Mapping[str, float]
    steps: int
    entry: Entry
    findings: tuple[Finding, ...]

    def told(self) -> dict[str, Any]:
        """The proof part of the report."""
        diagonal = float(np.linalg.norm(np.ptp(self.surface.vertices, axis=0)))
        return {
            "deviation_mm": {k: round(v, 3) for k, v in self.deviation_mm.items()},
            "deviation_percent_of_diagonal": round(100 * self.deviation_mm["mean"] / diagonal, 4),
            "sewing_steps": self.steps,
            "closure_mm": round(self.entry.closure_mm, 1),
            "shortest_closure_mm": round(self.entry.shortest_mm, 1),
            "entry_girth_mm": round(self.entry.opening_mm, 1),
            "entry_needed_mm": round(self.entry.needed_mm, 1),
        }


def prove(
    flats: Sequence[Flat],
    support: Surface,
    axes: Mapping[str, Array],
    girths: Mapping[str, float],
    *,
    stretch: float = 0.05,
    steps: int = 160,
) -> Proof:
    """Sew all flats of a suit back together over their support, and check the entry.

    support: the sculpted outline that holds the cloth up from inside; axes: centre lines of limbs and
    trunk, for the rough wrap that sewing starts from; girths: of the wearer; stretch: of the cloth.
    """
    sewn = weld(flats)
    start = wrap(flats, sewn, axes)
    place, taken = settle(sewn, start, support, steps=steps)
    away, share = distances(place, sewn.faces, support)
    order = np.argsort(away)
    below = np.cumsum(share[order]) / share.sum()
    told = {
        "mean": float((away * share).sum() / share.sum()),
        "p95": float(away[order][np.searchsorted(below, 0.95)]),
        "max": float(away.max()),
    }
    found = entry(flats, girths, stretch)
    findings = list(entry_findings(found))
    if told["max"] > TOLD:
        at = place[int(away.argmax())]
        words = (
            f"sewn back, the suit lies {told['max']:.0f} mm off the sculpted outline at its worst place, "
            f"near ({at[0]:.0f}, {at[1]:.0f}, {at[2]:.0f})"
        )
        findings.append(Finding(602, words, "proof", Grade.WARNING))
    return Proof(Surface(place, sewn.faces), away, told, taken, found, tuple(findings))
