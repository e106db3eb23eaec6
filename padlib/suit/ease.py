"""Ease that a suit file asks for, checked against the seams that there are, on both sides of the body."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError, SuitError
from padlib.findings import Finding
from padlib.flatten.ease import Ease, eased_edges, mirrored_ease
from padlib.seams.panels import Panel
from padlib.suit.file import AskedEase, Suit
from padlib.suit.reading import nearest

Point = str | tuple[float, float, float]
Locate = Callable[[Point, str], NDArray[np.float64]]


def own_eases(suit: Suit) -> list[AskedEase]:
    """The eases on seams of the suit itself, without those on the rims of its pads."""
    rims = tuple(f"{pad.name}-rim-" for pad in suit.pads)
    return [asked for asked in suit.ease if not asked.seam.startswith(rims)]


def suit_eases(
    asked: Sequence[AskedEase], panels: Sequence[Panel], locate: Locate
) -> tuple[tuple[Ease, ...], tuple[Finding, ...]]:
    """The eases of a suit on its panels, with a note where the other side of the body takes one too.

    panels: all of the suit and its pads; locate: the place (3,) on the shell of a landmark or point,
    given with the beginning of a message. A panel that has a mirror image shares its piece with it,
    so what is eased on one is eased on the other. Raises SuitError, with the line, for a seam or
    panel that is not there, a seam whose sides are one piece, or places that are not on the seam.
    """
    by_name = {p.name: p for p in panels}
    twins = {p.name: p.mirror_of for p in panels if p.mirror_of}
    twins |= {image: name for name, image in twins.items()}
    out: dict[Ease, None] = {}
    notes = []
    for entry in asked:
        ease = _checked(entry, by_name, twins, locate)
        out[ease] = None
        if ease.panel in twins:
            other = mirrored_ease(ease)
            out[other] = None
            words = (
                f"is eased by {entry.percent:g} % on '{ease.panel}', and so is '{other.seam}' on "
                f"'{other.panel}': both are cut from one piece"
            )
            notes.append(Finding(912, words, f"seam '{ease.seam}'"))
    return tuple(out), tuple(notes)


def _checked(
    asked: AskedEase, panels: Mapping[str, Panel], twins: Mapping[str, str], locate: Locate
) -> Ease:
    """One ease, or SuitError with the line."""
    where = f"line {asked.line}: " if asked.line else ""
    sides = _sides(asked.seam, panels.values(), where)
    if asked.panel not in sides:
        raise SuitError(
            f"{where}ease names the panel '{asked.panel}', which is not on seam '{asked.seam}'; "
            f"{nearest(asked.panel, sides)}"
        )
    if sides[asked.panel] & {asked.panel, twins.get(asked.panel, "")}:
        raise SuitError(
            f"{where}both sides of seam '{asked.seam}' are of the piece '{asked.panel}', so that "
            "neither can be longer than the other; part the panel by a seam, or take the ease out."
        )
    places = [locate(p, f"{where}ease on seam '{asked.seam}' is between") for p in asked.between]
    between = tuple(tuple(place.tolist()) for place in places) or None
    ease = Ease(asked.seam, asked.panel, asked.percent / 100.0, between)
    try:
        eased_edges(panels[asked.panel], ease)
    except InputError as e:
        raise SuitError(f"{where}{e}") from None
    return ease


def _sides(seam: str, panels: Sequence[Panel], where: str) -> dict[str, set[str]]:
    """For each panel on a sewn seam, the panels that it is sewn to there."""
    edges = [(p.name, e) for p in panels for e in p.edges if e.kind != "dart"]
    sewn = sorted({e.seam for _, e in edges if e.kind == "sewn" and e.partner is not None})
    kinds = {e.seam: e.kind for _, e in edges}
    if seam in kinds and seam not in sewn:
        raise SuitError(
            f"{where}'{seam}' is {_said(kinds[seam])}, along which nothing can be eased in; "
            f"seams that can be are {', '.join(sewn)}."
        )
    if seam not in kinds:
        raise SuitError(
            f"{where}ease names the seam '{seam}', which no panel has; {nearest(seam, sewn)}"
        )
    out: dict[str, set[str]] = {}
    for name, edge in edges:
        if edge.seam == seam and edge.partner is not None:
            out.setdefault(name, set()).add(edge.partner[0])
    return out


def _said(kind: str) -> str:
    return "a closure" if kind == "closure" else "an opening"
