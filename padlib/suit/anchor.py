"""Drawn places of a suit put in coordinates of the wearer's body, so that they follow a new scan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from padlib.body.body import Body
from padlib.body.coordinates import OnLimb
from padlib.errors import InputError
from padlib.padding.spot import Beside, InFace, Spot, held, on_body
from padlib.suit.extras import written
from padlib.suit.file import Suit

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Change:
    """Where in the suit file a list of places stands, what it becomes, and how many of its places are newly told along
    and around a limb, and beside a landmark."""

    path: Path
    value: list[Any]
    on_limb: int
    beside: int


def anchor(suit: Suit, body: Body) -> tuple[tuple[Change, ...], tuple[str, ...]]:
    """The points [x, y, z] and places in triangles of a suit's seams, marks, strokes and drawn pads on its body.

    Returns the changes and sentences on what could not be changed. Landmarks, and places that follow the wearer
    already, stay. A place that is not on the body is told and stays.
    """
    changes: list[Change] = []
    told: list[str] = []
    for path, what, spots in _lists(suit):
        new: list[Spot] = []
        for spot in spots:
            kept: Spot = spot
            if isinstance(spot, tuple | InFace):
                kept, words = _kept(body, spot, what)
                told += words
            new.append(kept)
        kinds = [type(b) for a, b in zip(spots, new, strict=True) if a != b]
        if kinds:
            value = [written(spot) for spot in new]
            changes.append(Change(path, value, kinds.count(OnLimb), kinds.count(Beside)))
    return tuple(changes), tuple(told)


def _kept(body: Body, spot: Spot, what: str) -> tuple[Spot, list[str]]:
    """A place in coordinates of the body, or as it is and why."""
    try:
        point = on_body(body, [spot], what)[0]
    except InputError as why:
        return spot, [f"{why}; it stays as it is."]
    kept = held(body, [point.on(body.surface.vertices, body.surface.faces)])[0]
    if isinstance(kept, tuple):
        return spot, [f"{what}: this body has no landmarks, so its places stay as they are."]
    return kept, []


def _lists(suit: Suit) -> list[tuple[Path, str, tuple[Spot, ...]]]:
    """Every list of places of a suit file: where it stands, in words, and the places."""
    out: list[tuple[Path, str, tuple[Spot, ...]]] = []
    for i, seam in enumerate(suit.drawn):
        out.append((("seam", i, "through"), f"seam '{seam.name}'", seam.through))
    for i, mark in enumerate(suit.marks):
        for key in ("through", "at"):
            out.append((("mark", i, key), f"mark '{mark.name}'", getattr(mark, key)))
    for i, stroke in enumerate(suit.strokes):
        out.append((("pile", i, "through"), f"stroke '{stroke.name}'", stroke.through))
    for i, pad in enumerate(suit.pads):
        outline = pad.parameters.get("outline")
        if isinstance(outline, tuple):
            out.append((("pad", i, "outline"), f"pad '{pad.name}'", outline))
    return [entry for entry in out if entry[2]]
