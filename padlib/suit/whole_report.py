"""The report of a built suit as plain values, and its order of work."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from padlib.padding.shell import pad_layers
from padlib.proof.heat import heat_report
from padlib.proof.motion import motion_report
from padlib.suit import report as reports
from padlib.suit.bill import bill_report
from padlib.suit.built import Built
from padlib.suit.comfort import comfort_report
from padlib.suit.cushions import cushion_report
from padlib.suit.marks import mark_report, mark_seams
from padlib.suit.order import Work, works
from padlib.suit.parts import parts_report
from padlib.suit.sewing import matching_report
from padlib.suit.tables import warnings_of
from padlib.suit.values import rounded
from padlib.version import __version__


def make_report(built: Built, seconds: Mapping[str, float]) -> dict[str, Any]:
    """The report of a suit as plain values; `seconds` is the one part that differs between runs."""
    proof = built.proof
    every = (*built.flats, *built.pillow_flats)
    return {
        "padlib": __version__,
        "suit": built.suit.name,
        "body": reports.body_report(built.body, built.measurements),
        "pads": _pads(built),
        "pillows": cushion_report(
            built.cushions, reports.pillow_report(built.pillows, built.pillow_differences)
        ),
        "worn": list(built.worn),
        "comfort": comfort_report(built.comfort, built.suit, built.pieces),
        "panels": [reports.panel_report(f) for f in every],
        "seams": [reports.seam_with_spread(s) for s in built.seams],
        "matching": matching_report(built.laid, built.seams),
        "marks": mark_report(built.panels.marks, built.flats, built.carved),
        "pieces": reports.piece_report(built.pieces),
        "parts": parts_report(built.parts),
        "order": [
            {"stage": w.stage, "words": w.words, "seams": list(w.seams), "pieces": list(w.pieces)}
            for w in suit_works(built)
        ],
        "cloths": reports.cloth_report([c.bears for c in built.suit.cloths if c.bears]),
        "lay": reports.lay_report(built.lays),
        **({} if built.bill is None else bill_report(built.bill)),
        "proof": ({} if proof is None else proof.told())
        | reports.entry_report(built.ways)
        | {"moves": motion_report(built.moves)},
        "uncertainty": reports.spread_report(built.spread),
        "heat": {} if built.heat is None else heat_report(built.heat),
        "warnings": warnings_of(built.findings),
        "findings": [
            {
                "number": f.number,
                "grade": f.grade.name.lower(),
                "where": f.where,
                "words": f.words,
                "count": f.count,
            }
            for f in built.findings
        ],
        "seconds": {k: round(v, 3) for k, v in seconds.items()},
    }


def suit_works(built: Built) -> list[Work]:
    """The order of work of a suit."""
    feet = [j.closes for j in built.suit.joined if j.seam.startswith("ankle")]
    return works(
        built.flats,
        built.pieces,
        closure=built.suit.seams["closure"],
        pillows=bool(built.pillows),
        sewn=built.seams,
        parts=built.parts,
        last_leg=feet[0] if feet and feet[0] in ("front", "back") else "",
        marks=sorted({s["name"] for s in mark_seams(built.carved)}),
    )


def _pads(built: Built) -> list[dict[str, Any]]:
    told = []
    for pad, side, layer in pad_layers(built.body, built.suit.pads):
        told.append(
            {
                "name": pad.name,
                "kind": pad.kind,
                "side": side,
                "depth_max_mm": rounded(float(layer.max()), 2),
                "volume_l": rounded(built.pad_litres.get((pad.name, side), 0.0), 4),
            }
        )
    return told
