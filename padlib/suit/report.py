"""report.json: everything a program or a maker may want to know about a suit, in plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.measure import Measurements
from padlib.flatten.flat import Flat
from padlib.flatten.injective import overlaps
from padlib.flatten.stretch import areas, flipped, summary
from padlib.flatten.together import chains
from padlib.lay.lay import Lay
from padlib.padding.pillow import Pillow
from padlib.pattern.piece import Piece
from padlib.seams.panels import Edge


def rounded(value: float, digits: int = 4) -> float:
    """A plain float, rounded so that the report reads well and is the same on every run."""
    return round(float(value), digits)


def _stretch(values: Mapping[str, float]) -> dict[str, float]:
    return {k: rounded(values[k], 5) for k in ("mean", "p95", "p99", "max")}


def body_report(body: Body, measurements: Measurements) -> dict[str, Any]:
    """The body part of the report."""
    return {
        "source": body.source,
        "stature_mm": rounded(np.ptp(body.surface.vertices[:, 2]), 2),
        "triangles": len(body.surface.faces),
        "repairs": [str(f) for f in body.findings],
        "landmarks": {k: [rounded(c, 2) for c in body.at(k)] for k in body.landmarks},
        "measurements_mm": {k: rounded(v, 1) for k, v in measurements.values.items()},
    }


def panel_report(flat: Flat) -> dict[str, Any]:
    """One entry of panels[]: flips, overlaps, stretch before and after, darts."""
    surface = flat.panel.surface
    area = areas(surface.vertices, surface.faces)
    turned = flipped(surface.vertices, surface.faces, flat.positions)
    return {
        "name": flat.panel.name,
        "side": flat.panel.side,
        "mirror_of": flat.panel.mirror_of,
        "area_cm2": rounded(area.sum() / 100.0, 2),
        "triangles": len(surface.faces),
        "flipped": int(turned.sum()),
        "overlaps": int(overlaps(surface.faces, flat.positions)),
        "stretch_before": _stretch(summary(flat.stretch_before, flat.area_before)),
        "stretch": _stretch(summary(flat.stretch, area)),
        "darts": [
            {
                "length_mm": rounded(d.length_mm, 2),
                "intake_deg": rounded(d.intake_deg, 2),
                "leg_difference_mm": rounded(d.leg_difference_mm, 4),
            }
            for d in flat.darts
        ],
    }


def run_length(points: NDArray[np.float64], runs: Sequence[NDArray[np.int64]]) -> float:
    """Length of an edge whose run may be broken by dart mouths, mm."""
    return float(
        sum(np.linalg.norm(np.diff(points[r], axis=0), axis=1).sum() for r in runs if len(r) > 1)
    )


def seam_report(flats: Sequence[Flat]) -> list[dict[str, Any]]:
    """seams[]: every sewn edge once, its length on the shell and in both flats."""
    by_name = {f.panel.name: f for f in flats}
    told = []
    for flat in flats:
        for k, edge in enumerate(flat.panel.edges):
            if edge.partner is None or edge.kind == "dart" or edge.partner < (flat.panel.name, k):
                continue
            other = by_name[edge.partner[0]]
            told.append(_seam(flat, edge, other, other.panel.edges[edge.partner[1]]))
    return sorted(told, key=lambda s: (s["name"], s["panels"]))


def _seam(one: Flat, edge: Edge, two: Flat, back: Edge) -> dict[str, Any]:
    lengths = [run_length(f.positions, chains(f.panel, e)) for f, e in ((one, edge), (two, back))]
    return {
        "name": edge.seam,
        "kind": edge.kind,
        "panels": [one.panel.name, two.panel.name],
        "length_mm": rounded(run_length(one.panel.surface.vertices, chains(one.panel, edge)), 3),
        "flat_mm": [rounded(v, 3) for v in lengths],
        "difference_mm": rounded(abs(lengths[0] - lengths[1]), 4),
    }


def piece_report(pieces: Sequence[Piece]) -> list[dict[str, Any]]:
    """pieces[]."""
    return [
        {
            "number": p.number,
            "name": p.name,
            "side": p.side,
            "count": p.count,
            "mirrored": p.mirrored,
            "cloth": p.cloth,
            "area_cm2": rounded(p.area_cm2, 3),
            "perimeter_mm": rounded(p.perimeter_mm, 2),
        }
        for p in pieces
    ]


def lay_report(lays: Sequence[Lay]) -> list[dict[str, Any]]:
    """lay[]."""
    return [
        {
            "cloth": lay.cloth,
            "width_mm": rounded(lay.width_mm, 1),
            "length_mm": rounded(lay.length_mm, 1),
            "used_percent": rounded(lay.used_percent, 2),
        }
        for lay in lays
    ]


def pillow_report(
    pillows: Sequence[Pillow], differences: Mapping[tuple[str, str], float]
) -> list[dict[str, Any]]:
    """pillows[]: volume, filling, zip, and how far top and base differ along the edge on paper."""
    return [
        {
            "name": p.name,
            "side": p.side,
            "volume_l": rounded(p.volume_l, 4),
            "filling_g": {k: rounded(v, 1) for k, v in p.filling_g.items()},
            "zip_mm": rounded(p.zip_mm, 1),
            "edge_difference_mm": rounded(differences.get((p.name, p.side), 0.0), 4),
        }
        for p in pillows
    ]
