"""Openings that take the rims of worn parts, and what is told of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from padlib.body.body import Body
from padlib.body.slices import girth, hull
from padlib.findings import Finding, Grade
from padlib.padding.shapes import is_worn
from padlib.padding.shapes.worn import overlap, worn_parts
from padlib.padding.worn import Worn, rises
from padlib.seams.panels import Panel
from padlib.suit.file import Suit
from padlib.suit.schema import SEAMS
from padlib.suit.values import rounded

OPENING = {"hand": "wrist", "foot": "ankle", "head": "neck"}
RISES = ("neck_rise", "wrist_rise", "ankle_rise")
SHORT = 0.98  # share of a rim's girth that its opening needs at least, cloth that gives aside


def suit_worn(suit: Suit, body: Body) -> dict[str, tuple[Worn, ...]]:
    """The worn parts of a suit on its body, by name."""
    return {p.name: worn_parts(body, p, f"pad '{p.name}'") for p in suit.pads if is_worn(p)}


def opening_rises(suit: Suit, body: Body) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """The rises of the suit's openings with those of worn rims in their place, and what is told of it."""
    parts = suit_worn(suit, body)
    over = {p.name: overlap(f"pad '{p.name}'", p) for p in suit.pads if p.name in parts}
    found: list[Finding] = []
    settings = {k: float(suit.seams[k]) for k in RISES}
    for key, rise in rises(body, parts, over).items():
        low, high = SEAMS[key].least or 0.0, SEAMS[key].most or 0.0
        kept = float(np.clip(rise, low, high))
        settings[key] = kept
        words = f"the opening lies {kept:.0f} mm above wrist, ankle or neck base, to take the worn part's rim"
        if abs(kept - rise) > 1.0:
            words += f"; {rise:.0f} mm were needed, which is beyond what a seam plan allows: move the part"
        grade = Grade.WARNING if abs(kept - rise) > 1.0 else Grade.NOTE
        found.append(Finding(930, words, key.removesuffix("_rise"), grade))
    return settings, tuple(found)


def worn_report(
    parts: Mapping[str, tuple[Worn, ...]], panels: tuple[Panel, ...]
) -> tuple[list[dict[str, Any]], tuple[Finding, ...]]:
    """worn[] of the report: where each part lies, its rim's girth and the girth of the opening that goes with it."""
    told, found = [], []
    for name, each in parts.items():
        for worn in each:
            low, high = worn.surface.vertices.min(axis=0), worn.surface.vertices.max(axis=0)
            entry: dict[str, Any] = {
                "name": name,
                "part": worn.part,
                "side": worn.side,
                "low_mm": [rounded(c, 1) for c in low],
                "high_mm": [rounded(c, 1) for c in high],
            }
            if worn.rim is not None:
                entry["rim_girth_mm"] = rounded(_taut(worn.rim), 1)
                seam = OPENING.get(worn.part, "")
                seam += f"-{worn.side}" if worn.side != "both" else ""
                opening = _opening(panels, seam)
                if opening:
                    entry["opening"], entry["opening_girth_mm"] = seam, rounded(opening, 1)
                    if worn.part != "head" and opening < SHORT * _taut(worn.rim):
                        words = (
                            f"the opening is {opening:.0f} mm round but the rim of '{name}' {_taut(worn.rim):.0f} mm; "
                            "move the part, make it smaller, or let a closure into the opening"
                        )
                        found.append(Finding(931, words, seam, Grade.WARNING))
            told.append(entry)
    return told, tuple(found)


def _taut(ring: np.ndarray) -> float:
    """Taut girth (mm) of a ring (k, 3) in its mean plane."""
    normal = np.linalg.svd(ring - ring.mean(axis=0), full_matrices=False)[2][2]
    return girth(hull(ring, normal))


def _opening(panels: tuple[Panel, ...], seam: str) -> float:
    """Length (mm) of all runs of an opening; 0 where there is none of that name."""
    runs = [p.surface.vertices[e.run] for p in panels for e in p.edges if e.seam == seam]
    return float(sum(np.linalg.norm(np.diff(r, axis=0), axis=1).sum() for r in runs))
