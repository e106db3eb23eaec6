"""The place of the side neck points at which a tape over them reads a given girth."""

from __future__ import annotations

import pytest

from padlib.body.neckline import _where


def over(aside):
    """A girth that is 390 mm at its least, at 0.47, between two places that are tried."""
    return 390.0 + 900.0 * abs(aside - 0.47)


def test_a_girth_below_the_least_takes_the_place_of_the_least():
    """Within a hundredth, not only the nearest place tried."""
    assert _where(over, 380.0) == pytest.approx(0.47, abs=0.01)


@pytest.mark.parametrize("wanted", [393.0, 400.0, 430.0])
def test_a_girth_above_the_least_is_met_on_the_shoulders_side(wanted):
    """Exactly where the girth grows evenly."""
    aside = _where(over, wanted)
    assert aside > 0.47
    assert over(aside) == pytest.approx(wanted, abs=0.5)
