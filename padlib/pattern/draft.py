"""Drafts: pieces while they are being made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from padlib.findings import Finding
from padlib.flatten.flat import Flat
from padlib.pattern.edge import Rim, Run
from padlib.pattern.hole import Hole, hole_in
from padlib.pattern.lettering import clean
from padlib.pattern.notch import (
    Chain,
)
from padlib.pattern.piece import Inner, Notch


@dataclass
class Draft:
    """A piece while it is being made."""

    number: int
    flat: Flat
    rim: Rim
    name: str
    side: str
    panels: tuple[str, ...]
    notches: list[Notch] = field(default_factory=list)
    letters: dict[tuple[str, int], str] = field(default_factory=dict)
    joins: dict[str, str] = field(default_factory=dict)
    inner: tuple[Inner, ...] = ()
    findings: list[Finding] = field(default_factory=list)
    holes: list[Hole] = field(default_factory=list)


def drafts_of(flats: Sequence[Flat], rims: Mapping[str, Rim]) -> dict[str, Draft]:
    """One draft for each panel that is printed, numbered in order."""
    there = {flat.panel.name for flat in flats}
    printed = [flat for flat in flats if flat.panel.mirror_of not in there]
    out = {}
    for number, flat in enumerate(printed, 1):
        panel = flat.panel
        twins = tuple(f.panel.name for f in flats if f.panel.mirror_of == panel.name)
        name = without_side(panel.name) if twins else clean(panel.name)
        side = "both" if twins else panel.side
        out[panel.name] = Draft(number, flat, rims[panel.name], name, side, (panel.name, *twins))
    return out


def hole_drafts(
    drafts: Mapping[str, Draft], holes: Sequence[tuple[str, Flat]], rims: Mapping[str, Rim]
) -> dict[str, Draft]:
    """A draft for each hole of a piece that is printed, which gathers the notches and letters of its seams."""
    out = {}
    for name, hole in holes:
        if name in drafts:
            of, own = drafts[name], hole.panel.name
            out[own] = Draft(of.number, hole, rims[own], of.name, of.side, of.panels)
    return out


def put_hole(draft: Draft, edged: Draft) -> None:
    """A hole with its notches and the letters of its seams in a draft's piece."""
    named = sorted({letter for letter in edged.letters.values() if letter})
    words = f"{', '.join(named)}: {edged.rim.runs[0].seam} is set in here"
    draft.holes.append(hole_in(edged.rim, edged.notches, words))
    draft.findings += edged.findings


def without_side(name: str) -> str:
    """A panel's name without the words left and right."""
    words = clean(name).replace("_", " ").replace("-", " ").split()
    plain = [w for w in words if w.lower() not in ("left", "right")]
    return " ".join(plain) if plain and len(plain) < len(words) else clean(name)


def runs_of(rim_: Rim, chain: Chain) -> list[Run]:
    """The runs of a rim that a chain, or a part of it, lies on."""
    on = set(chain.positions.tolist())
    n = len(rim_.points)
    return [
        r
        for r in rim_.runs
        if r.seam == chain.seam
        and r.partner == chain.twin
        and any(k % n in on and (k + 1) % n in on for k in range(r.start, r.stop))
    ]
