"""Parts of a suit that no flattening gives, made from its own seams."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.body.parts import SIDES
from padlib.errors import InputError, SuitError
from padlib.flatten.flat import Flat
from padlib.padding.pillow import Pillow
from padlib.pattern.closure import choose_zip, closure_part, joined_part
from padlib.pattern.parts import Ask, Made, Worn, make_part
from padlib.pattern.parts.part import opening_of
from padlib.pattern.slit import slit_part
from padlib.suit.file import AskedPart, Cloth, Suit
from padlib.suit.values import rounded

Locate = Callable[[str | tuple[float, float, float], str], NDArray[np.float64]]
DOWN = np.array([0.0, 0.0, -1.0])


def suit_parts(
    suit: Suit,
    flats: Sequence[Flat],
    axes: Mapping[str, NDArray[np.float64]],
    pillows: Sequence[Pillow],
    locate: Locate,
    *,
    shortest_mm: Mapping[str, float] = MappingProxyType({}),
) -> tuple[Made, ...]:
    """What the parts that a suit file asks for come to.

    flats: of the suit's panels; shortest_mm: of the closure that getting in needs, by way (trunk, leg_left,
    arm_left); axes: centre lines of limbs and trunk (k, 3); locate: a landmark or point and the beginning of a
    message to a place on the shell. Raises SuitError in one sentence.
    """
    worn = Worn(
        tuple(flats),
        suit.pieces["allowance"],
        0.0,
        {k: a[0] for k, a in axes.items() if k != "trunk"},
        _between(axes.get("arm_left"), DOWN, 30.0),
        _legs(axes),
        {f"{p.name} {p.side}": _rim(p) for p in pillows},
    )
    closure = _closure(suit, worn, shortest_mm.get("trunk", 0.0))
    worn = replace(worn, closure_mm=closure[0].numbers["zip_mm"] if closure else 0.0)
    asked = tuple(_made(suit, part, worn, locate) for part in suit.parts)
    try:
        joined = tuple(joined_part(worn, part) for part in suit.joined)
    except InputError as why:
        raise SuitError(str(why)) from None
    return (*closure, *_slits(suit, worn, shortest_mm), *asked, *joined)


def _slits(suit: Suit, worn: Worn, needed: Mapping[str, float]) -> tuple[Made, ...]:
    """The zips at the ends of legs and sleeves."""
    cloth = main_cloth(suit).name
    made = (
        slit_part(worn, end, side, shortest_mm=needed.get(f"{limb}_{side}", 0.0), cloth=cloth)
        for end, limb in (("ankle", "leg"), ("wrist", "arm"))
        for side in SIDES
    )
    return tuple(part for part in made if part is not None)


def _closure(suit: Suit, worn: Worn, needed: float) -> tuple[Made, ...]:
    """The suit's zip, if it has a closure."""
    seam = opening_of(worn, "closure")
    if suit.seams["closure"] == "none" or seam <= 0:
        return ()
    main = main_cloth(suit)
    asked = suit.closure
    try:
        chosen = choose_zip(
            seam,
            shortest_mm=needed,
            mass=main.mass,
            top_mm=asked["top"],
            size=asked["chain"],
            trim_mm=asked["trim"],
        )
    except InputError as why:
        raise SuitError(f"[closure]: {why}") from None
    return (closure_part(worn, chosen, shortest_mm=needed, pull=asked["pull"], cloth=main.name),)


def main_cloth(suit: Suit) -> Cloth:
    """The cloth of all panels that no other cloth names."""
    return next(c for c in suit.cloths if not c.pieces and c.use == "panels")


def _made(suit: Suit, part: AskedPart, worn: Worn, locate: Locate) -> Made:
    where = f"line {part.line}: " if part.line else ""
    at = None
    if part.at:
        spot = locate(part.at, f"{where}part '{part.name}' lies at")
        at = tuple(float(c) for c in spot)
    cloth = part.cloth or main_cloth(suit).name
    ask = Ask(part.kind, part.name, cloth, part.values, part.side, part.seam, part.panels, at)
    try:
        return make_part(ask, worn)
    except InputError as why:
        raise SuitError(f"{where}{why}") from None


def _between(axis: NDArray[np.float64] | None, way: NDArray[np.float64], usual: float) -> float:
    """Angle between a centre line and a way, degrees."""
    if axis is None:
        return usual
    along = axis[len(axis) // 2] - axis[0]
    cosine = float(along @ way / max(np.linalg.norm(along) * np.linalg.norm(way), 1e-9))
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _legs(axes: Mapping[str, NDArray[np.float64]]) -> float:
    """Angle between the two legs, degrees."""
    left, right = axes.get("leg_left"), axes.get("leg_right")
    if left is None or right is None:
        return 15.0
    return _between(left, right[len(right) // 2] - right[0], 15.0)


def _rim(pillow: Pillow) -> float:
    """Length of a cushion's rim, mm."""
    rim = pillow.top.vertices[pillow.boundary_top]
    return float(np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1).sum())


def parts_report(parts: Sequence[Made]) -> list[dict[str, Any]]:
    """parts[]: kind, name, pieces, and the numbers that they were sized by."""
    return [
        {
            "kind": made.kind,
            "name": made.name,
            "pieces": [b.name for b in made.blanks] + [f"{c.name} {c.panel}" for c in made.copies],
            "sewn_to": list(made.joins),
            "numbers": {k: rounded(v, 2) for k, v in made.numbers.items()},
            "notions": [
                {"words": n.words, "count": n.count, "length_mm": rounded(n.length_mm, 1)}
                for n in made.notions
            ],
        }
        for made in parts
    ]
