"""Which round of corrections a suit is cut from, when sewing anew shows more than the rounds did."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from padlib.findings import Finding, Grade
from padlib.proof.correct import Corrected, Round
from padlib.proof.prices import first as first_prices
from padlib.suit import proving
from padlib.suit.proving import Laid


def round_(far: float, *over: float, keeps: bool = True, most: float = 9.0) -> Round:
    """A round without flats that lies so far off, with such shares of its panels over their limit."""
    return Round((), {"mean": far, "max": most}, far, np.array(over), keeps)


def proof(
    *over: float, mean: float = 0.5, most: float = 9.0, volume: float = 0.5
) -> SimpleNamespace:
    """What a proof says of each panel's share over its limit, how far off the suit is, and what it holds more, %."""
    tight = [SimpleNamespace(over=o) for o in over]
    surface = SimpleNamespace(vertices=object())
    away = {"mean": mean, "max": most}
    return SimpleNamespace(tight=tight, deviation_mm=away, surface=surface, volume_percent=volume)


NOWHERE = np.zeros((0, 3))
AS_LAID = round_(9.0, 0.02, 0.09)
ALONG = round_(0.6, 0.02, 0.09)
NEAR = round_(3.0, 0.042, 0.09)
CALM = round_(3.2, 0.030, 0.09)
LOOSE = round_(1.0, 0.01, 0.01, keeps=False)
FIRST = proof(0.02, 0.09, mean=0.9)


def rounds(*those: Round) -> Corrected:
    """Corrections with these rounds after the flats as laid."""
    return Corrected((AS_LAID, *those), (AS_LAID.over, AS_LAID.over), first_prices(2), NOWHERE)


def sewn(
    monkeypatch: pytest.MonkeyPatch, *answers: SimpleNamespace, passes: int = 1
) -> tuple[SimpleNamespace, list[Round]]:
    """What is taken of three rounds that keep the limit and one that does not, in each pass, where sewing back answers
    so, first for the flats as laid; and which rounds were asked."""
    asked: list[Round] = []
    nearest = Corrected.nearest

    def told(self: Corrected, *given: object, **named: object) -> Round | None:
        one = nearest(self, *given, **named)
        if one is not None:
            asked.append(one)
        return one

    begun: list[object] = []

    def corrected(_flats: object, _outline: object, place: object, **_: object) -> Corrected:
        begun.append(place)
        return rounds(NEAR, LOOSE, CALM)

    monkeypatch.setattr(Corrected, "nearest", told)
    monkeypatch.setattr(proving, "correct", corrected)
    left = list(answers[1:])
    panels = SimpleNamespace(pile={})
    first, best = proving.fed_back(
        Laid((), Corrected((ALONG,), (ALONG.over, ALONG.over), first_prices(2), NOWHERE)),
        answers[0],
        None,
        lambda _flats, **_: left.pop(0),
        panels,
        rounds=3,
        limit=0.05,
    )
    assert not left
    assert len(begun) == passes
    assert begun[:1] == [first.proof.surface.vertices][:passes]
    assert asked[0] is ALONG
    return best.proof, asked[1:]


def test_the_nearest_that_keeps_the_limit_as_cut_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sewn anew it keeps the limit: no other round is asked. A panel that was over at first may stay so."""
    good = proof(0.049, 0.085, mean=0.87)
    last, asked = sewn(monkeypatch, FIRST, good)

    assert last is good
    assert asked == [NEAR]


def test_a_panel_that_lies_over_sewn_anew_is_cut_from_another_round(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """4.2 % along the rounds, 5.5 % sewn anew: the round with room for that is taken instead."""
    good = proof(0.045, 0.09, mean=0.87)
    last, asked = sewn(monkeypatch, FIRST, proof(0.055, 0.09, mean=0.87), good)

    assert last is good
    assert asked == [NEAR, CALM]


def test_a_round_whose_worst_place_is_told_counts_as_farther_off() -> None:
    """Of two rounds one that lies 5 % farther off, but nowhere as far as is told, is taken; one 20 % farther is not."""
    told = round_(3.0, 0.03, 0.09, most=13.5)
    assert rounds(told, round_(3.15, 0.03, 0.09)).nearest().far == 3.15
    assert rounds(told, round_(3.6, 0.03, 0.09)).nearest() is told


def test_where_none_keeps_it_the_least_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every round that keeps the limit as cut is tried once, those farther off last."""
    least = proof(0.051, 0.09, mean=0.88)
    over = proof(0.052, 0.09, mean=0.9)
    last, asked = sewn(monkeypatch, over, proof(0.06, 0.09, mean=0.88), least)

    assert last is least
    assert asked == [NEAR, CALM]


def test_a_little_over_is_better_than_not_corrected(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only the flats as laid keep the limit sewn anew, a tenth farther off, one that is 0.1 % over is taken."""
    near = proof(0.051, 0.09, mean=0.84)
    last, _ = sewn(monkeypatch, FIRST, near, proof(0.054, 0.09, mean=0.84))

    assert last is near


def test_what_lies_no_nearer_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounds that sewn anew lie farther off than the flats that they began with change nothing."""
    first = proof(0.049, 0.09, mean=0.45, most=11.5)
    last, _ = sewn(monkeypatch, first, proof(0.05, 0.09, mean=0.46))

    assert last is first


@pytest.mark.parametrize(
    "as_laid",
    [
        proof(0.02, 0.09, mean=0.63, most=10.9),
        proof(0.056, 0.09, mean=0.62, most=9.0, volume=0.99),
    ],
)
def test_flats_that_lie_as_along_the_rounds_are_left(
    monkeypatch: pytest.MonkeyPatch, as_laid: SimpleNamespace
) -> None:
    """Sewn anew under 10 % farther off on average and 2 mm at the worst place, within what is told, and over its limit
    by no more than rounds leave for that: they had ended where they did not pay any more."""
    last, asked = sewn(monkeypatch, as_laid, passes=0)

    assert last is as_laid
    assert asked == []


@pytest.mark.parametrize(
    "as_laid",
    [
        proof(0.02, 0.09, mean=0.62, most=11.2),
        proof(0.02, 0.09, mean=0.665),
        proof(0.02, 0.09, mean=0.62, volume=1.02),
        proof(0.058, 0.09, mean=0.5),
    ],
    ids=["stands up", "farther off", "too full", "over its limit"],
)
def test_flats_that_lie_otherwise_or_badly_are_corrected(
    monkeypatch: pytest.MonkeyPatch, as_laid: SimpleNamespace
) -> None:
    """A place that stands up, a suit farther off than along the rounds, one that holds too much, a panel over."""
    good = proof(0.02, 0.09, mean=0.6)
    last, _ = sewn(monkeypatch, as_laid, good)

    assert last is good


def test_passes_go_on_while_they_pay(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each begins where the last one's flats lie sewn anew; one that takes under a tenth is the last."""
    good = proof(0.02, 0.09, mean=0.46)
    last, _ = sewn(monkeypatch, FIRST, proof(0.02, 0.09, mean=0.5), good, passes=2)

    assert last is good


def test_a_worst_place_that_is_told_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands up in a hollow, 14 mm off where the rounds had lain in it, counts against a pass and is corrected
    from how it lies then."""
    popped, mended = proof(0.02, 0.09, mean=0.88, most=14.0), proof(0.02, 0.09, mean=0.88)
    last, _ = sewn(monkeypatch, FIRST, popped, mended, proof(0.02, 0.09, mean=0.885), passes=3)

    assert last is mended


def test_a_suit_that_holds_too_much_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    """1.04 % more than the shell: another pass follows, though this one took less than a tenth."""
    full, held = proof(0.02, 0.09, mean=0.85, volume=1.04), proof(0.02, 0.09, mean=0.8, volume=0.9)
    last, _ = sewn(monkeypatch, FIRST, full, held, passes=2)

    assert last is held


def test_a_panel_that_corrections_have_mended_is_told_no_more() -> None:
    """Over its limit on 6 % as laid: told no more at 4 %, told on at 7 %, which corrected flats do not tell, and once
    where they do."""
    laid = [Finding(606, f"{where} is tight", where, Grade.WARNING) for where in ("a", "b", "c")]
    first = SimpleNamespace(findings=(*laid, Finding(602, "far off", "proof", Grade.WARNING)))
    tight = [SimpleNamespace(panel=p, over=o) for p, o in (("a", 0.04), ("b", 0.07), ("c", 0.12))]
    best = SimpleNamespace(tight=tight, findings=(laid[2],))

    assert [f.where for f in proving._still_tight(first, best)] == ["b"]
