"""What a suit's padding does to its wearer, as plain values for the report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from padlib.padding.comfort import Comfort
from padlib.pattern.piece import Piece
from padlib.suit.file import Suit
from padlib.suit.values import rounded

CUSHION_CLOTH = 160.0  # g/m2 of a cushion's cotton or knit (common practice, no source)


def comfort_report(found: Comfort, suit: Suit, pieces: Sequence[Piece]) -> dict[str, Any]:
    """comfort of the report: girths before and after, gap of the thighs, bends lost, hollows, weights, balance."""
    gap = found.thigh_gap_mm
    return {
        "girths_mm": {
            name: {"body": rounded(a, 1), "shell": rounded(b, 1), "added": rounded(b - a, 1)}
            for name, (a, b) in found.girths.items()
        },
        "thigh_gap_mm": None
        if gap is None
        else {"body": rounded(gap[0], 1), "shell": rounded(gap[1], 1)},
        "bend_lost_deg": {k: rounded(v, 1) for k, v in found.bend_lost_deg.items()},
        "pressed_mm": {k: rounded(v, 1) for k, v in found.pressed_mm.items()},
        "weight_g": {"filling_medium": rounded(found.filling_g, 1)} | _cloth_g(suit, pieces),
        "forward_mm": rounded(found.forward_mm, 2),
    }


def _cloth_g(suit: Suit, pieces: Sequence[Piece]) -> Mapping[str, float]:
    """Grams of cloth in the suit and in its cushions, allowances included."""
    masses = {cloth.name: cloth.mass for cloth in suit.cloths}
    suit_g = cushions = 0.0
    for piece in pieces:
        area = piece.area_cm2 * piece.count / 1e4
        if piece.panels and piece.panels[0].startswith("pillow-"):
            cushions += area * masses.get(piece.cloth, CUSHION_CLOTH)
        else:
            suit_g += area * masses.get(piece.cloth, 0.0)
    return {"cloth": rounded(suit_g, 1), "cushions": rounded(cushions, 1)}
