"""What is told and drawn of a suit's cushions: zips, where they are tacked, how much they hold, foam."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from padlib.body.body import Body
from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.padding.foam import Stack, foam_stack
from padlib.padding.pillow import Pillow
from padlib.padding.shell import Shell
from padlib.pattern.piece import Inner
from padlib.suit.file import Suit
from padlib.suit.inside import SewTo, pad_lines, zip_lines
from padlib.suit.pillows import pairs_of
from padlib.suit.values import rounded

Key = tuple[str, str]  # name and side of a pad

HELD = 0.05  # share of a pad's volume by which its cushion may hold more or less before it is told


@dataclass(frozen=True)
class Cushions:
    """inner: panel and line of what is drawn inside pieces; sew_to: where each cushion is tacked; filled_l: litres it
    holds, sewn back and filled; cut_l: litres between its top and base as they were cut for that; stacks: of foam,
    where asked for; findings."""

    inner: tuple[tuple[str, Inner], ...] = ()
    sew_to: Mapping[Key, Sequence[SewTo]] = field(default_factory=dict)
    filled_l: Mapping[Key, float] = field(default_factory=dict)
    cut_l: Mapping[Key, float] = field(default_factory=dict)
    stacks: tuple[Stack, ...] = ()
    findings: tuple[Finding, ...] = ()


def make_cushions(
    suit: Suit,
    body: Body,
    shell: Shell,
    pillows: Mapping[str, Sequence[Pillow]],
    flats: Sequence[Flat],
    cushion_flats: Sequence[Flat],
    filled: Mapping[Key, float],
    cut_l: Mapping[Key, float],
) -> Cushions:
    """What belongs to the cushions of a suit.

    pillows: "each" as the pads are on the body, "made" as they are sewn, the right of a pair the left's image;
    filled, cut_l: litres that each of these holds, and that lie between its top and base as they are cut; none
    where that is not asked for.
    """
    if not pillows["each"]:
        return Cushions()
    outlines, sew_to = pad_lines(body, shell, pillows["each"], flats)
    zips = zip_lines(pillows["made"], cushion_flats)
    thickness = suit.pillows["foam"]
    stacks = _stacks(pillows["made"], thickness) if thickness else ()
    inner = [(panel, line) for of in (outlines, zips) for panel, own in of.items() for line in own]
    found = _findings(pillows["made"], filled)
    return Cushions(tuple(inner), sew_to, filled, cut_l, stacks, found)


def _stacks(pillows: Sequence[Pillow], thickness: float) -> tuple[Stack, ...]:
    """A stack for each cushion, for a pair only the left one's."""
    pairs = pairs_of(pillows)
    return tuple(
        replace(foam_stack(p, thickness), count=2 if p.name in pairs else 1)
        for p in pillows
        if not (p.side == "right" and p.name in pairs)
    )


def _findings(pillows: Sequence[Pillow], filled: Mapping[Key, float]) -> tuple[Finding, ...]:
    found = []
    for p in pillows:
        litres = filled.get((p.name, p.side))
        if litres is not None and abs(litres / p.volume_l - 1.0) > HELD:
            words = (
                f"sewn and filled its cushion holds {litres:.2f} l where the pad has {p.volume_l:.2f} l; "
                "fill by the pad's shape, not until it is tight, or allow more darts in its top"
            )
            found.append(Finding(605, words, f"pad '{p.name}' ({p.side})", Grade.WARNING))
    return tuple(found)


def cushion_report(cushions: Cushions, told: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """pillows[] of the report with what is known of each cushion added."""
    stacks = {(s.name, s.side): s for s in cushions.stacks}
    out = []
    for entry in told:
        key = (entry["name"], entry["side"])
        more: dict[str, Any] = {"sew_to": [asdict(mark) for mark in cushions.sew_to.get(key, ())]}
        if key in cushions.filled_l:
            more["filled_l"] = rounded(cushions.filled_l[key], 4)
            more["cut_l"] = rounded(cushions.cut_l[key], 4)
        stack = stacks.get(key) or stacks.get((key[0], "left"))
        if stack is not None:
            more["foam"] = {
                "sheet_mm": rounded(stack.thickness, 2),
                "sheets": len(stack.sheets),
                "area_cm2": rounded(sum(s.area for s in stack.sheets) / 100.0, 1),
                "cut_g": rounded(stack.mass_g, 1),
                "carved_g": rounded(stack.carved_g, 1),
            }
        out.append(entry | more)
    return out
