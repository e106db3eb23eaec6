"""The proof of a suit: its flats sewn back together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface, Vertices
from padlib.proof.coarse import coarser
from padlib.proof.half import half_of
from padlib.proof.settle import ROUGH, roughly, scene, settle, smoothed
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.proof.told import (
    TOLD,
    Pucker,
    Tight,
    deviation,
    off_shell,
    puckers,
    tight,
    volume_percent,
)
from padlib.proof.walk import walk
from padlib.proof.wrap import begin

Array = NDArray[np.float64]
TOO_TIGHT = 606  # the finding of a panel that is stretched beyond what it bears
OVER = 0.05  # of a panel's area stretched beyond the limit once sewn, as its flat may have: more is told


@dataclass(frozen=True, eq=False)
class Proof:
    """What the proof found.

    surface: the sewn suit, mm; deviation (n,): distance of its vertices from the shell, mm, positive
    outside; deviation_mm: mean, p95 and max, weighted by area; begun_mm: the same of the rough wrap;
    volume_percent: what the suit holds more than the shell; steps: of the solve; puckers, tight: of
    each seam and panel; findings.
    """

    surface: Surface
    deviation: Array
    deviation_mm: Mapping[str, float]
    begun_mm: Mapping[str, float]
    volume_percent: float
    steps: int
    puckers: tuple[Pucker, ...]
    tight: tuple[Tight, ...]
    seams: tuple[Array, ...]
    findings: tuple[Finding, ...]
    uncorrected_mm: Mapping[str, float] | None = None

    def told(self) -> dict[str, Any]:
        """The proof part of the report."""
        diagonal = float(np.linalg.norm(np.ptp(self.surface.vertices, axis=0)))
        return {
            "deviation_mm": {k: round(v, 3) for k, v in self.deviation_mm.items()},
            "deviation_percent_of_diagonal": {
                k: round(100 * v / diagonal, 4) for k, v in self.deviation_mm.items()
            },
            "deviation_uncorrected_mm": None
            if self.uncorrected_mm is None
            else {k: round(v, 3) for k, v in self.uncorrected_mm.items()},
            "rough_wrap_mm": {k: round(v, 1) for k, v in self.begun_mm.items()},
            "volume_percent": round(self.volume_percent, 2),
            "sewing_steps": self.steps,
            "puckers": [
                {
                    "seam": p.seam,
                    "length_mm": round(p.length_mm, 1),
                    "slack_mm": round(p.slack_mm, 2),
                }
                for p in self.puckers
            ],
            "tight": [
                {
                    "panel": t.panel,
                    "over_limit_percent": round(100 * t.over, 1),
                    "stretch_p95_percent": round(100 * t.p95, 2),
                }
                for t in self.tight
            ],
        }


def prove(
    flats: Sequence[Flat],
    support: Surface,
    axes: Mapping[str, Array],
    *,
    stretch: float = 0.05,
    eased: Sequence[str] = (),
    over: float = OVER,
) -> Proof:
    """Sew all flats of a suit back together over their support.

    The cloth knows its flats, its stitches, and of the body only what holds it up; each piece starts
    bent round its limb as a plain tube (`sheets`, `wrap`). support: the sculpted outline; axes: centre
    lines of limbs and trunk; stretch: of the cloth; eased: seams whose sides
    are meant to differ; over: share of a panel's cloth that may be stretched beyond what it bears untold.
    """
    suit = bundle(flats, stretch)
    findings = list(walk(suit, eased))
    sewn = weld(suit)
    start = begin(suit, flats, sewn, axes)
    begun = deviation(*off_shell(start, sewn.faces, support))
    half = half_of(flats, suit, support)
    one = sewn if half.whole else weld(half.suit)
    here, rough = scene(half.suit, one, support), _roughly(flats, support, axes, stretch)
    if rough is None:
        rest, taken = settle(here, half.folded(one, sewn, start))
    else:
        rest, taken = smoothed(here, half.folded(one, sewn, rough))
    place = half.unfolded(one, sewn, rest)
    away, share = off_shell(place, sewn.faces, support)
    apart = deviation(away, share)
    strained = tight(suit, sewn, place)
    findings += [*_said(place, away, apart), *_too_tight(strained, over)]
    return Proof(
        Surface(place, sewn.faces),
        away,
        apart,
        begun,
        volume_percent(away, share, support),
        taken,
        puckers(suit, sewn, place),
        strained,
        tuple(place[sewn.welded[s.one][s.a]] for s in suit.stitches),
        tuple(findings),
    )


def _roughly(
    flats: Sequence[Flat], support: Surface, axes: Mapping[str, Array], stretch: float
) -> Vertices | None:
    """Where the welded vertices (n, 3) of the suit lie once coarse cloth of the same outlines was drawn on roughly from
    its own wrap; None where such cloth cannot be had."""
    coarse = coarser(flats)
    if coarse is None:
        return None
    suit = bundle(coarse.flats, stretch)
    sewn = weld(suit)
    start = begin(suit, coarse.flats, sewn, axes)
    half = half_of(coarse.flats, suit, support)
    one = sewn if half.whole else weld(half.suit)
    place = roughly(scene(half.suit, one, support), half.folded(one, sewn, start), ROUGH)
    return coarse.spanned(half.unfolded(one, sewn, place))


def _said(place: Array, away: Array, apart: Mapping[str, float]) -> list[Finding]:
    """A finding about the worst place, if it is far off."""
    if apart["max"] <= TOLD:
        return []
    at = place[int(np.abs(away).argmax())]
    words = (
        f"sewn back, the suit lies {apart['max']:.0f} mm off the sculpted outline at its worst place, "
        f"near ({at[0]:.0f}, {at[1]:.0f}, {at[2]:.0f})"
    )
    return [Finding(602, words, "proof", Grade.WARNING)]


def _too_tight(strained: Sequence[Tight], over: float) -> list[Finding]:
    """Findings 606: panels whose cloth is stretched beyond what it bears once sewn."""
    return [
        Finding(
            TOO_TIGHT,
            f"sewn back, {100 * t.over:.0f} % of its cloth is stretched by more than it bears, around "
            f"({', '.join(f'{x:.0f}' for x in t.at)}): a dart is missing or too short there, or it needs a seam",
            t.panel,
            Grade.WARNING,
        )
        for t in strained
        if t.over > over
    ]
