"""Lays of a suit's pieces, cloth by cloth; those of cushions can be made as soon as the cushions are there."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from padlib.flatten.flat import Flat
from padlib.lay.lay import Lay
from padlib.lay.pack import lay_pieces
from padlib.pattern.piece import Piece
from padlib.progress import Tell, quiet
from padlib.suit.file import Suit
from padlib.suit.steps import suit_pieces

MANY = 12  # pieces of one cloth from which on a lay gets its whole time; a few are laid as well in less


@dataclass(frozen=True)
class Early:
    """A lay of pieces that had numbers of their own."""

    lay: Lay
    pieces: tuple[Piece, ...]

    def of(self, pieces: Sequence[Piece]) -> Lay | None:
        """The lay with the numbers of these pieces; None where they are not the same to a packer."""
        if len(pieces) != len(self.pieces) or not all(map(_alike, self.pieces, pieces)):
            return None
        number = {a.number: b.number for a, b in zip(self.pieces, pieces, strict=True)}
        placed = tuple(replace(p, number=number[p.number]) for p in self.lay.placements)
        return replace(self.lay, placements=placed)


def _alike(one: Piece, two: Piece) -> bool:
    cut = [(p.name, p.cloth, p.count, p.mirrored, p.face) for p in (one, two)]
    return cut[0] == cut[1] and np.array_equal(one.cut_line, two.cut_line)


def cushion_lays(
    suit: Suit, cushions: Sequence[Flat], *, seconds: float | None = None
) -> tuple[Early, ...]:
    """The lays of cloths of which nothing but cushions is cut."""
    pieces = suit_pieces(suit, cushions)
    own = {c.name for c in suit.cloths}
    apart = [p for p in pieces if p.cloth not in own]
    lays = suit_lays(suit, apart, seconds=seconds, beside=1)
    return tuple(Early(lay, tuple(p for p in apart if p.cloth == lay.cloth)) for lay in lays)


def suit_lays(
    suit: Suit,
    pieces: Sequence[Piece],
    *,
    seconds: float | None = None,
    early: Sequence[Early] = (),
    beside: int = 0,
    tell: Tell = quiet,
) -> tuple[Lay, ...]:
    """A lay for each cloth that has pieces; seconds: of each, less where it has few; early: lays of some cloths that
    are there already; beside: processors that other work of the build needs meanwhile."""
    budget = suit.lay["seconds"] if seconds is None else seconds
    own = {c.name: c for c in suit.cloths}
    names = dict.fromkeys((suit.pillows["top"], suit.pillows["base"], *own))
    used = [n for n in names if any(p.cloth == n for p in pieces)]
    there = {e.lay.cloth: e for e in early}
    lays = []
    for k, name in enumerate(used):
        told = partial(_part_of, tell, k, len(used))
        cloth, its = own.get(name), [p for p in pieces if p.cloth == name]
        lay = there[name].of(its) if name in there else None
        if lay is not None:
            lays.append(lay)
            continue
        more = {"pile": "two-way"}  # cloth of cushions: woven cotton and knit have no pile
        if cloth is not None:
            more = {"pile": cloth.pile, "tilt_deg": cloth.tilt, "avoid": cloth.avoid}
            more |= {"price": cloth.price}
        lays.append(
            lay_pieces(
                its,
                cloth=name,
                width_mm=cloth.width if cloth is not None else suit.pillows["width"],
                gap_mm=suit.lay["gap"],
                seconds=_time(budget, sum(p.count for p in its)),
                seed=suit.lay["seed"],
                workers=max(1, min(4, (os.cpu_count() or 1) - beside)),
                tell=told,
                **more,
            )
        )
    return tuple(lays)


def _time(budget: float, count: int) -> float:
    """Seconds for packing so many pieces; a second at least where packing is asked for at all."""
    return budget if budget < 1 else max(1.0, budget * min(1.0, count / MANY))


def _part_of(tell: Tell, number: int, count: int, words: str, share: float) -> None:
    """Tell the share of all lays when one of them is so far."""
    tell(words, (number + share) / count)
