"""Lays that are there before the pieces have their numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from padlib.pattern.piece import Piece
from padlib.suit import lays
from padlib.suit.built import Built
from padlib.suit.lays import cushion_lays, suit_lays


def cut_of(pieces: tuple[Piece, ...], cloth: str) -> list[Piece]:
    """The pieces of a cloth."""
    return [p for p in pieces if p.cloth == cloth]


def test_cushions_are_laid_before_the_suit_has_its_pieces(
    demo_built: Built, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lays of the cushions' cloths made from their flats alone are those of the whole suit's pieces, under these
    pieces' numbers; nothing of these cloths is laid a second time."""
    suit = demo_built.suit
    early = cushion_lays(suit, demo_built.pillow_flats, seconds=0.5)
    whole = suit_lays(suit, demo_built.pieces, seconds=0.5)
    laid, real = [], lays.lay_pieces

    def noted(pieces, *, cloth, **more):
        laid.append(cloth)
        return real(pieces, cloth=cloth, **more)

    monkeypatch.setattr(lays, "lay_pieces", noted)
    again = suit_lays(suit, demo_built.pieces, seconds=0.5, early=early)

    assert {e.lay.cloth for e in early} == {suit.pillows["top"], suit.pillows["base"]}
    assert again == whole
    assert laid == [c.name for c in suit.cloths]


def test_a_lay_of_other_pieces_is_not_taken(demo_built: Built) -> None:
    """A cut line that is a tenth of a millimetre off, one piece less, or one more to cut: laid anew."""
    cloth = demo_built.suit.pillows["top"]
    early = next(
        e
        for e in cushion_lays(demo_built.suit, demo_built.pillow_flats, seconds=0.5)
        if e.lay.cloth == cloth
    )
    own = cut_of(demo_built.pieces, cloth)

    assert early.of(own) is not None
    assert early.of([replace(own[0], cut_line=own[0].cut_line + 0.1), *own[1:]]) is None
    assert early.of([replace(own[0], count=own[0].count + 2), *own[1:]]) is None
    assert early.of(own[1:]) is None
