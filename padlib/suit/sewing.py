"""What is told of the seams: how well partners agree, what ease they got, and what agreeing cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding, Grade
from padlib.flatten.ease import Ease, shares_of
from padlib.flatten.flat import Flat
from padlib.flatten.partners import worst_part
from padlib.flatten.stretch import areas, summary
from padlib.flatten.together import chains, matched_runs
from padlib.seams.panels import Edge
from padlib.suit.values import rounded, run_length

APART_MM, APART_PART = 0.5, 0.001  # DESIGN 5.3: what a pair may differ by, whichever is larger


def seam_report(flats: Sequence[Flat], eases: Sequence[Ease] = ()) -> list[dict[str, Any]]:
    """seams[]: every sewn edge once: its length on the shell and in both flats, the largest
    difference of a part of it from what was asked, and its ease."""
    by_name = {f.panel.name: f for f in flats}
    told = []
    for flat in flats:
        for k, edge in enumerate(flat.panel.edges):
            if edge.partner is None or edge.kind == "dart" or edge.partner < (flat.panel.name, k):
                continue
            told.append(_seam(flat, edge, by_name[edge.partner[0]], eases))
    return sorted(told, key=lambda s: (s["name"], s["panels"]))


def _seam(one: Flat, edge: Edge, two: Flat, eases: Sequence[Ease]) -> dict[str, Any]:
    back = two.panel.edges[edge.partner[1]] if edge.partner else edge
    lengths = [run_length(f.positions, chains(f.panel, e)) for f, e in ((one, edge), (two, back))]
    runs = matched_runs(one, edge, two)
    mine = _steps(one, [a for a, _ in runs], eases)
    theirs = _steps(two, [b for _, b in runs], eases)
    asked = theirs[0] * (1.0 + mine[1]) / (1.0 + theirs[1])
    return {
        "name": edge.seam,
        "kind": edge.kind,
        "panels": [one.panel.name, two.panel.name],
        "length_mm": rounded(run_length(one.panel.surface.vertices, chains(one.panel, edge)), 3),
        "flat_mm": [rounded(v, 3) for v in lengths],
        "difference_mm": rounded(abs(lengths[0] - lengths[1]), 4),
        "worst_part_mm": rounded(worst_part(mine[0] - asked), 4),
        "ease": _ease(one, mine, theirs[0]) or _ease(two, theirs, mine[0]),
    }


def _steps(
    flat: Flat, runs: Sequence[NDArray[np.int64]], eases: Sequence[Ease]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lengths (k,) mm of the edges of runs on paper, and the share (k,) of ease asked of each."""
    steps = [np.linalg.norm(np.diff(flat.positions[run], axis=0), axis=1) for run in runs]
    none = np.zeros(0)
    shares = [shares_of(flat.panel, eases, run) for run in runs]
    return np.concatenate([none, *steps]), np.concatenate([none, *shares])


def _ease(flat: Flat, own: tuple[NDArray, NDArray], other: NDArray) -> dict[str, Any] | None:
    """The ease that a flat was asked for along a seam and the ease that it got."""
    lengths, share = own
    eased = share > 0
    if not eased.any():
        return None
    got, partner = float(lengths[eased].sum()), float(other[eased].sum())
    asked = float(share[eased] @ other[eased]) / partner
    return {
        "panel": flat.panel.name,
        "asked_percent": rounded(100 * asked, 3),
        "got_percent": rounded(100 * (got / partner - 1.0), 3),
        "got_mm": rounded(got - partner, 3),
        "along_mm": rounded(partner, 1),
    }


def seams_apart(seams: Sequence[Mapping[str, Any]]) -> tuple[Finding, ...]:
    """A warning for each seam of a report whose sides differ by more than a seamstress can bear."""
    return tuple(
        Finding(
            911,
            f"its sides on {' and '.join(s['panels'])} differ by {s['worst_part_mm']:.1f} mm from "
            "what they should; part one of them by a seam, or ask for less ease",
            f"seam '{s['name']}'",
            Grade.WARNING,
        )
        for s in seams
        if s["worst_part_mm"] > max(APART_MM, APART_PART * s["length_mm"])
    )


def matching_report(flats: Sequence[Flat], seams: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """matching: what it cost in stretch that partners agree, over all panels by area, and in words."""
    laid = [f for f in flats if f.panel.mirror_of is None and f.stretch_unmatched is not None]
    size = [areas(f.panel.surface.vertices, f.panel.surface.faces) for f in laid]
    weight = np.concatenate([np.zeros(0), *size])
    told = {}
    for key, values in (
        ("stretch_unmatched", [f.stretch_unmatched for f in laid]),
        ("stretch", [f.stretch for f in laid]),
    ):
        every = np.concatenate([np.zeros((0, 2)), *values])
        told[key] = {k: rounded(v, 5) for k, v in summary(every, weight).items()} if laid else None
    worst = max((s["worst_part_mm"] for s in seams), default=0.0)
    return told | {"worst_part_mm": worst, "words": _words(told, worst)}


def _words(told: Mapping[str, Any], worst: float) -> str:
    if told["stretch"] is None:
        return "No seam joins two edges, so nothing was matched."
    mean, p95 = (100 * (told["stretch"][k] - told["stretch_unmatched"][k]) for k in ("mean", "p95"))
    return (
        f"Partners agree between any two notches within {max(worst, 0.001):.3f} mm; that changes the "
        f"stretch of all panels together by {mean:+.2f} percentage points on average and by "
        f"{p95:+.2f} at the worst twentieth."
    )
