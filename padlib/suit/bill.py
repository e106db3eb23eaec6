"""What a suit is made of: cloth and notions to buy, weights, costs, thread and time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.lay.lay import Lay
from padlib.padding.pillow import Pillow
from padlib.pattern.parts.part import Made, Notion
from padlib.pattern.piece import Piece
from padlib.pattern.sewing import (
    CUT_M_MIN,
    HAND_M_MIN,
    MACHINE_M_MIN,
    STITCHES,
    hours,
    thread_ratio,
)
from padlib.suit.file import Suit
from padlib.suit.values import rounded

SPARE_M = 0.1  # shops cut crooked
STEP_M = 0.1  # cloth is sold by tenths of a metre
PILLOW_MASS = {"top": 140.0, "base": 220.0}  # g/m2, woven cotton and stretch knit; from memory
ZIP_G_PER_M = {3: 14.0, 5: 25.0, 8: 45.0, 10: 65.0}  # chain and tapes; common practice, no source
HEAVY_G = 9000.0  # aim below 20 lb (VALUES 5.5)
USUAL_M = (3.0, 4.0)  # of cloth 1.5 m wide for an unpadded adult suit; common practice, no source
USUAL_WIDTH = 1500.0
LEAST_STATURE = 1500.0  # of an adult, mm


@dataclass(frozen=True)
class Item:
    """One line to buy: kind, words, how much of which unit, its mass on the suit in g, its cost."""

    kind: str
    words: str
    quantity: float
    unit: str
    mass_g: float
    cost: float


@dataclass(frozen=True)
class Bill:
    """items; weights_g: cloth, filling, notions and total worn; sewing: seams, thread, hours; findings."""

    items: tuple[Item, ...]
    weights_g: Mapping[str, float]
    sewing: Mapping[str, Any]
    findings: tuple[Finding, ...]

    def cost(self) -> float:
        """The sum of what has a price."""
        return sum(i.cost for i in self.items)


def suit_bill(
    suit: Suit,
    flats: Sequence[Flat],
    pieces: Sequence[Piece],
    lays: Sequence[Lay],
    pillows: Sequence[Pillow],
    parts: Sequence[Made],
    seams: Sequence[Mapping[str, Any]],
    *,
    stature_mm: float,
) -> Bill:
    """Cloth by its lay, zips, cords, filling and thread; what all of it weighs when it is worn."""
    mass = _masses(suit)
    firm = suit.sewing["filling"]
    cloths = [_cloth(suit, lay, pieces, mass) for lay in lays]
    notions = [_notion(n) for made in parts for n in made.notions]
    notions += [
        _zip(f"zip for pad {p.name} {p.side}", p.zip_mm, 5) for p in pillows if p.zip_mm > 0
    ]
    filling = [
        Item(
            "filling",
            f"filling, {firm}, for {p.name} {p.side}",
            p.filling_g[firm],
            "g",
            p.filling_g[firm],
            0.0,
        )
        for p in pillows
    ]
    told = sewing_told(suit, flats, pieces, seams)
    thread = Item(
        "thread", f"thread for stitch {suit.sewing['stitch']}", told["thread_m"], "m", 0.0, 0.0
    )
    weights = {
        "cloth": sum(i.mass_g for i in cloths),
        "filling": sum(i.mass_g for i in filling),
        "notions": sum(i.mass_g for i in notions),
    }
    weights["total"] = sum(weights.values())
    found = _findings(suit, pieces, lays, weights["total"], stature_mm)
    return Bill((*cloths, *notions, *filling, thread), weights, told, found)


def _masses(suit: Suit) -> dict[str, float]:
    """Mass of each cloth, g/m2."""
    usual = {suit.pillows[k]: mm for k, mm in PILLOW_MASS.items()}
    return usual | {c.name: c.mass for c in suit.cloths}


def _cloth(suit: Suit, lay: Lay, pieces: Sequence[Piece], mass: Mapping[str, float]) -> Item:
    """A cloth to buy: its lay's length, a spare tenth, rounded up; worn is only what is cut out."""
    metres = float(np.ceil((lay.length_mm / 1000 + SPARE_M) / STEP_M - 1e-9) * STEP_M)
    own = {c.name: c for c in suit.cloths}.get(lay.cloth)
    words = own.words if own is not None and own.words else lay.cloth
    area = sum(p.count * p.area_cm2 for p in pieces if p.cloth == lay.cloth) / 1e4
    text = f"{lay.cloth}: {words}, {lay.width_mm / 10:.0f} cm wide"
    return Item("cloth", text, round(metres, 2), "m", area * mass[lay.cloth], metres * lay.price)


def _notion(notion: Notion) -> Item:
    """A zip or cord of a part, by its length."""
    size = next((s for s in ZIP_G_PER_M if f"chain size {s}," in notion.words + ","), 0)
    grams = notion.mass_g or ZIP_G_PER_M.get(size, 5.0) * notion.length_mm / 1000
    if notion.length_mm:
        return Item(
            "notion", f"{notion.words}, {notion.length_mm:.0f} mm", notion.count, "piece",
            grams * notion.count, 0.0,
        )  # fmt: skip
    return Item("notion", notion.words, notion.count, "piece", grams * notion.count, 0.0)


def _zip(words: str, mm: float, size: int) -> Item:
    return Item("notion", f"{words}, {mm:.0f} mm", 1, "piece", ZIP_G_PER_M[size] * mm / 1000, 0.0)


def sewing_told(
    suit: Suit, flats: Sequence[Flat], pieces: Sequence[Piece], seams: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Metres of seam and hem, thread with waste, and hours as ranges."""
    asked = suit.sewing
    machine = sum(s["length_mm"] for s in seams if s["kind"] == "sewn") / 1000
    machine += sum(d.length_mm for f in flats for d in f.darts) / 1000
    machine += (
        sum(
            p.count * float(np.hypot(*np.diff(run, axis=0).T).sum())
            for p in pieces
            if p.kind == "part"
            for _, run in p.edges
        )
        / 1000
    )
    hems = (
        sum(
            float(np.hypot(*np.diff(f.positions[e.run], axis=0).T).sum())
            for f in flats
            for e in f.panel.edges
            if e.kind == "opening"
        )
        / 1000
    )
    outline = sum(p.count * p.perimeter_mm for p in pieces) / 1000
    ratio = thread_ratio(
        int(asked["stitch"]), thickness_mm=asked["thickness"], length_mm=asked["stitch_length"]
    )
    waste = 1 + asked["waste"] / 100
    ranges = {
        "machine_h": hours(machine, MACHINE_M_MIN),
        "hand_h": hours(hems, HAND_M_MIN),
        "cutting_h": hours(outline, CUT_M_MIN),
    }
    return {
        "stitch": asked["stitch"],
        "stitch_name": STITCHES[int(asked["stitch"])][0],
        "seam_m": rounded(machine, 2),
        "hem_m": rounded(hems, 2),
        "outline_m": rounded(outline, 2),
        "thread_ratio": rounded(ratio, 3),
        "thread_m": rounded((machine + hems) * ratio * waste, 1),
        **{k: [rounded(a, 1), rounded(b, 1)] for k, (a, b) in ranges.items()},
    }


def _findings(
    suit: Suit, pieces: Sequence[Piece], lays: Sequence[Lay], total_g: float, stature_mm: float
) -> tuple[Finding, ...]:
    """A caution for a heavy suit; what takes the length of the main cloth out of the usual range."""
    found = []
    if total_g > HEAVY_G:
        words = (
            f"the suit weighs about {total_g / 1000:.1f} kg without head, hands and feet; aim below "
            f"{HEAVY_G / 1000:.0f} kg, and plan shorter turns"
        )
        found.append(Finding(921, words, "weight", Grade.CAUTION))
    main = next(c.name for c in suit.cloths if not c.pieces and c.use == "panels")
    lay = next((x for x in lays if x.cloth == main), None)
    if lay is None or lay.width_mm != USUAL_WIDTH or stature_mm < LEAST_STATURE:
        return tuple(found)
    metres = lay.length_mm / 1000
    if not USUAL_M[0] <= metres <= USUAL_M[1]:
        area = sum(p.count * p.area_cm2 for p in pieces if p.cloth == main) / 1e4
        words = (
            f"{metres:.2f} m of {main} is {'less' if metres < USUAL_M[0] else 'more'} than the usual "
            f"{USUAL_M[0]:g} to {USUAL_M[1]:g} m: its pieces, without head, hands, feet and tail, are "
            f"{area:.2f} m2 and fill {lay.used_percent:.0f} % of the cloth (usual: about 3.3 m2 and 65 "
            "to 75 %)"
        )
        found.append(Finding(922, words, f"cloth '{main}'", Grade.NOTE))
    return tuple(found)


def bill_report(bill: Bill) -> dict[str, Any]:
    """bill[], weights_g, sewing and the sum of costs."""
    return {
        "bill": [
            {
                "kind": i.kind,
                "words": i.words,
                "quantity": rounded(i.quantity, 2),
                "unit": i.unit,
                "mass_g": rounded(i.mass_g, 1),
                "cost": rounded(i.cost, 2),
            }
            for i in bill.items
        ],
        "weights_g": {k: rounded(v, 1) for k, v in bill.weights_g.items()},
        "cost": rounded(bill.cost(), 2),
        "sewing": dict(bill.sewing),
    }
