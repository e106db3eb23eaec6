"""Which round of corrections a suit is cut from, when sewing anew shows more than the rounds did."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from padlib.proof.correct import Corrected, Round
from padlib.proof.prices import first as first_prices
from padlib.suit import proving


def round_(far: float, *over: float, keeps: bool = True) -> Round:
    """A round without flats that lies so far off, with such shares of its panels over their limit."""
    return Round((), {"mean": far}, far, np.array(over), keeps)


def proof(*over: float, mean: float = 0.5) -> SimpleNamespace:
    """What a proof says of each panel's share over its limit, and how far off the suit is."""
    tight = [SimpleNamespace(over=o) for o in over]
    return SimpleNamespace(tight=tight, deviation_mm={"mean": mean})


AS_LAID = round_(9.0, 0.02, 0.09)
NEAR = round_(3.0, 0.042, 0.09)
CALM = round_(3.2, 0.030, 0.09)
LOOSE = round_(1.0, 0.01, 0.01, keeps=False)
FIRST = proof(0.02, 0.09, mean=0.9)


def sewn(
    monkeypatch: pytest.MonkeyPatch, *answers: SimpleNamespace, first: SimpleNamespace = FIRST
) -> tuple[SimpleNamespace, list[Round]]:
    """What is taken of three rounds that keep the limit and one that does not, where sewing anew answers so; and
    which rounds were asked."""
    asked: list[Round] = []
    made = Corrected((AS_LAID, NEAR, LOOSE, CALM), (AS_LAID.over, AS_LAID.over), first_prices(2))
    nearest = Corrected.nearest

    def told(self: Corrected, *given: object, **named: object) -> Round | None:
        one = nearest(self, *given, **named)
        if one is not None:
            asked.append(one)
        return one

    monkeypatch.setattr(Corrected, "nearest", told)
    left = list(answers)
    panels = SimpleNamespace(pile={})
    _, last = proving._sewn_anew(made, (), first, lambda _flats: left.pop(0), panels)
    return last, asked


def test_the_nearest_that_keeps_the_limit_as_cut_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sewn anew it keeps the limit: no other round is asked. A panel that was over at first may stay so."""
    good = proof(0.049, 0.085)
    last, asked = sewn(monkeypatch, good)

    assert last is good
    assert asked == [NEAR]


def test_a_panel_that_lies_over_sewn_anew_is_cut_from_another_round(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """4.2 % along the rounds, 5.5 % sewn anew: the round with room for that is taken instead."""
    good = proof(0.045, 0.09)
    last, asked = sewn(monkeypatch, proof(0.055, 0.09), good)

    assert last is good
    assert asked == [NEAR, CALM]


def test_where_none_keeps_it_the_least_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every round that keeps the limit as cut is tried once, those farther off last."""
    least = proof(0.051, 0.09)
    over = proof(0.052, 0.09, mean=0.9)
    last, asked = sewn(monkeypatch, proof(0.06, 0.09), least, first=over)

    assert last is least
    assert asked == [NEAR, CALM]


def test_a_little_over_is_better_than_not_corrected(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only the flats as laid keep the limit sewn anew, twice as far off, a round that is 0.3 % over is taken."""
    near = proof(0.053, 0.09, mean=0.45)
    last, _ = sewn(monkeypatch, near, proof(0.054, 0.09, mean=0.5))

    assert last is near


def test_what_lies_no_nearer_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounds that sewn anew lie farther off than the flats that they began with change nothing."""
    first = proof(0.049, 0.09, mean=0.45)
    last, _ = sewn(monkeypatch, proof(0.053, 0.09, mean=0.44), proof(0.05, 0.09), first=first)

    assert last is first
