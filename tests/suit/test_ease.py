"""Ease asked for in a suit file: found on both sides of the body, or refused with the line."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from padlib.errors import SuitError
from padlib.flatten.agree import match_flats
from padlib.flatten.together import mirror_flat
from padlib.suit.built import Built
from padlib.suit.ease import suit_eases
from padlib.suit.file import AskedEase
from padlib.suit.order import eased_words
from padlib.suit.sewing import matching_report, seam_report, seams_apart
from padlib.suit.steps import on_shell

SLEEVE = AskedEase("sleeve-back-left", "sleeve-upper-left", 3.0, (), 7)


@pytest.fixture(scope="module")
def ask(demo_built: Built):
    """Eases for the panels of the demo suit and its pads."""
    panels = (*demo_built.panels.panels, *(f.panel for f in demo_built.pillow_flats))
    locate = partial(
        on_shell, body=demo_built.body, shell=demo_built.shell, place=demo_built.panels.place
    )
    return lambda *asked: suit_eases(asked, panels, locate)


def test_ease_is_on_both_sides_of_a_symmetric_suit(ask) -> None:
    """The left sleeve's ease is the right one's too, asked for on either side or both, and told."""
    for asked in ([SLEEVE], [AskedEase("sleeve-back-right", "sleeve-upper-right", 3.0)]):
        eases, notes = ask(*asked)

        assert {(e.seam, e.panel, e.share) for e in eases} == {
            ("sleeve-back-left", "sleeve-upper-left", 0.03),
            ("sleeve-back-right", "sleeve-upper-right", 0.03),
        }
        assert [n.number for n in notes] == [912]
    both, _ = ask(SLEEVE, AskedEase("sleeve-back-right", "sleeve-upper-right", 3.0))
    assert len(both) == 2


def test_ease_on_the_rim_of_a_pair_of_pads(ask) -> None:
    """The top of a cushion can be eased onto its base; both of the pair are."""
    eases, _ = ask(AskedEase("thigh-rim-1", "pillow-thigh-left-top", 2.0))

    assert {(e.seam, e.panel) for e in eases} == {
        ("thigh-rim-1", "pillow-thigh-left-top"),
        ("thigh-rim-1", "pillow-thigh-right-top"),
    }


def test_eased_sleeves_are_that_much_longer(ask, demo_built: Built) -> None:
    """Asked for 3 % on the sleeve's back seam and 5 % on part of the side seam, the flats have it."""
    side = AskedEase("side-left", "back-left", 5.0, ("axilla_left", "waist_left"))
    eases, _ = ask(SLEEVE, side)
    left = [f for f in demo_built.flats if f.panel.mirror_of is None]
    counts = {f.panel.name: sum(e.kind != "dart" for e in f.panel.edges) for f in demo_built.flats}

    laid = match_flats(left, limit=0.05, ease=eases)
    every = [*laid, *(mirror_flat(f, counts) for f in laid)]
    told = {s["name"]: s for s in seam_report(every, eases)}

    for side_of_body in ("left", "right"):
        sleeve, trunk = told[f"sleeve-back-{side_of_body}"], told[f"side-{side_of_body}"]
        assert sleeve["ease"]["panel"] == f"sleeve-upper-{side_of_body}"
        assert sleeve["ease"]["got_percent"] == pytest.approx(3.0, abs=0.002)
        first = sleeve["panels"].index(sleeve["ease"]["panel"])
        longer, shorter = sleeve["flat_mm"][first], sleeve["flat_mm"][1 - first]
        assert longer / shorter == pytest.approx(1.03, abs=2e-5)
        assert sleeve["ease"]["got_mm"] == pytest.approx(longer - shorter, abs=0.002)
        assert trunk["ease"]["got_percent"] == pytest.approx(5.0, abs=0.002)
        assert trunk["difference_mm"] == pytest.approx(trunk["ease"]["got_mm"], abs=0.01)
        assert trunk["ease"]["along_mm"] < min(trunk["flat_mm"]) - 20
    assert max(s["worst_part_mm"] for s in told.values()) < 0.05
    assert seams_apart(list(told.values())) == ()


def test_words_for_the_sewing_table() -> None:
    """The step says how much of which piece goes in, and over what length."""
    ease = {"panel": "sleeve-upper", "got_mm": 13.7, "along_mm": 457.0}
    seams = [{"name": "cap", "ease": ease}, {"name": "side", "ease": None}]

    assert eased_words(seams, ["side", "cap"]) == (
        " Ease in 14 mm of sleeve-upper on cap, spread evenly over 457 mm between the notches, "
        "without pleats."
    )
    assert eased_words(seams, ["side"]) == ""


def test_seam_that_does_not_agree_is_a_warning() -> None:
    """Half a millimetre or a thousandth may be missing, more is told with the seam's name."""
    seam = {"name": "side", "panels": ["a", "b"], "length_mm": 900.0, "worst_part_mm": 0.8}

    assert seams_apart([seam]) == ()
    (found,) = seams_apart([seam | {"worst_part_mm": 1.2}])
    assert str(found).startswith("seam 'side': its sides on a and b differ by 1.2 mm")


def test_nothing_matched_is_said() -> None:
    """A suit without a flat that was matched has no price."""
    told = matching_report([], [])

    assert told["stretch"] is None
    assert "nothing was matched" in told["words"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (AskedEase("sleeve-bak-left", "x", 3.0, (), 7), "did you mean 'sleeve-back-left'?"),
        (AskedEase("sleeve-back-left", "sleeve-uper-left", 3.0, (), 7), "'sleeve-upper-left'?"),
        (AskedEase("centre-front", "front-left", 3.0, (), 7), "are of the piece 'front-left'"),
        (AskedEase("neck", "front-left", 3.0, (), 7), "'neck' is an opening, along which nothing"),
        (AskedEase("closure", "front-left", 3.0, (), 7), "'closure' is a closure, along which"),
        (
            AskedEase("side-left", "back-left", 3.0, ("navvel", "crown"), 7),
            "ease on seam 'side-left' is between 'navvel', which is no landmark",
        ),
        (
            AskedEase("side-left", "back-left", 3.0, ("waist_left", "waist_left"), 7),
            "between two places that are one on the seam",
        ),
    ],
)
def test_ease_that_cannot_be_is_refused_with_its_line(ask, asked: AskedEase, words: str) -> None:
    """Unknown seams and panels, one piece on both sides, and wrong places: line, reason, way out."""
    with pytest.raises(SuitError) as caught:
        ask(asked)

    assert str(caught.value).startswith("line 7: ")
    assert words in str(caught.value)


def test_place_of_a_point_is_carried_to_the_shell(demo_built: Built) -> None:
    """A point on the body stands for the place of the shell over it."""
    body, shell, place = demo_built.body, demo_built.shell, demo_built.panels.place
    at = on_shell(tuple(body.at("waist_left")), "", body, shell, place)

    assert np.linalg.norm(at - place.at["waist_left"]) < 1e-6
