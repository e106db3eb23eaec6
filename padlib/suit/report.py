"""report.json: everything a program or a maker may want to know about a suit, in plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from padlib.body.body import Body
from padlib.body.measure import Measurements
from padlib.flatten.cloth import Cloth, cloth_use
from padlib.flatten.flat import Flat
from padlib.flatten.injective import overlaps
from padlib.flatten.stretch import areas, flipped, summary
from padlib.lay.lay import Lay
from padlib.padding.pillow import Pillow
from padlib.pattern.piece import Piece
from padlib.proof.entry import Way, told
from padlib.proof.spread import Errors, Spread, seam_spread
from padlib.suit.values import rounded


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
        "unsure_mm": {k: rounded(mm, 1) for k, mm in measurements.unsure.items()},
    }


def panel_report(flat: Flat) -> dict[str, Any]:
    """One entry of panels[]: flips, overlaps, stretch before and after, darts.

    stretch_unmatched is what the panel would have had on its own, without partners to agree with.
    """
    alone = flat.stretch if flat.stretch_unmatched is None else flat.stretch_unmatched
    surface = flat.panel.surface
    area = areas(surface.vertices, surface.faces)
    turned = flipped(surface.vertices, surface.faces, flat.positions)
    told = {
        "name": flat.panel.name,
        "side": flat.panel.side,
        "mirror_of": flat.panel.mirror_of,
        "area_cm2": rounded(area.sum() / 100.0, 2),
        "triangles": len(surface.faces),
        "flipped": int(turned.sum()),
        "overlaps": int(overlaps(surface.faces, flat.positions)),
        "stretch_before": _stretch(summary(flat.stretch_before, flat.area_before)),
        "stretch_unmatched": _stretch(summary(alone, area)),
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
    return told if flat.cloth is None else told | {"cloth_use": use_report(flat, flat.cloth)}


def use_report(flat: Flat, cloth: Cloth) -> dict[str, Any]:
    """What a flat asks of its cloth: 1 is the cloth's limit; strains are absolute 95th percentiles."""
    surface = flat.panel.surface
    told = cloth_use(cloth, surface.vertices, surface.faces, flat.positions)
    area = areas(surface.vertices, surface.faces)
    parts = {"along": told.along, "across": told.across, "bias": told.bias}
    parts["shear_deg"] = told.shear_deg
    spot = surface.vertices[surface.faces[int(told.use.argmax())]].mean(axis=0)
    return {
        "cloth": cloth.name,
        **_stretch(summary(told.use[:, None], area)),
        **{
            f"{name}_p95": rounded(summary(values.reshape(len(area), -1), area)["p95"], 5)
            for name, values in parts.items()
        },
        "worst_at_mm": [rounded(c, 1) for c in spot],
    }


def cloth_report(cloths: Sequence[Cloth]) -> list[dict[str, Any]]:
    """cloths[]: what each cloth bears, limits as fractions, and where the numbers are from."""
    return [asdict(cloth) | {"bias": rounded(cloth.bias, 5)} for cloth in cloths]


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
            "area_cm2": rounded(p.area_cm2, 4),
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
            "pile": lay.pile,
            "cost": rounded(lay.cost(), 2),
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


def spread_report(found: Mapping[str, Spread]) -> dict[str, Any]:
    """uncertainty of the report: how far each girth of the finished suit may be off, 95 in 100."""
    return {
        name: {"mm": rounded(s.value, 1), "panels": s.panels, "plus_minus_mm": rounded(s.off, 1)}
        for name, s in found.items()
    }


def seam_with_spread(seam: Mapping[str, Any]) -> dict[str, Any]:
    """A seam of the report with how far its finished length may be off, 95 in 100."""
    return {**seam, "plus_minus_mm": rounded(seam_spread(seam["length_mm"], Errors()).off, 1)}


def entry_report(ways: Sequence[Way]) -> dict[str, Any]:
    """Getting in: the trunk's opening, then every way in with its levels."""
    trunk = next((w for w in ways if w.name == "trunk"), None)
    out: dict[str, Any] = {"entry": told(ways)}
    if trunk is None:
        return out
    return out | {
        "closure_mm": round(trunk.closure_mm, 1),
        "shortest_closure_mm": trunk.shortest_mm,
        "entry_girth_mm": round(trunk.mouth_mm, 1),
        "entry_needed_mm": round(trunk.through_mm, 1),
    }
