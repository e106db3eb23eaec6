"""How far girths may be off, against girths that are really cut, sewn and stretched by chance."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.proof.spread import Errors, girth_spread, seam_spread
from padlib.suit.built import Built


@pytest.mark.parametrize(("girth", "panels"), [(1180.0, 4), (400.0, 2), (620.0, 1)])
def test_girths_made_by_chance_keep_within(girth: float, panels: int) -> None:
    """20,000 suits drawn with a fixed seed: 95 % of them, give or take half a percent, are within."""
    rng = np.random.default_rng(11)
    errors, count = Errors(), 20_000

    def drawn(mm: float, *shape: int) -> np.ndarray:
        return rng.normal(0.0, mm / 1.96, (count, *shape))

    spots = int(girth / 20.0)
    radius = girth / (2 * np.pi) + drawn(errors.scan_mm, spots).mean(axis=1)
    widths = 2 * np.pi * radius[:, None] / panels + drawn(errors.cut_mm, panels, 2).sum(axis=2)
    sewn = widths.sum(axis=1) - 2 * drawn(errors.sew_mm, panels).sum(axis=1)
    made = sewn * (1 + drawn(errors.stretch))
    within = np.abs(made - girth) <= girth_spread(girth, panels, errors).off

    assert within.mean() == pytest.approx(0.95, abs=0.006)


def test_without_errors_nothing_is_off() -> None:
    """No error, no spread; each alone is what its own formula says."""
    none = Errors(0.0, 0.0, 0.0, 0.0)

    assert girth_spread(1000.0, 4, none).off == 0
    assert girth_spread(1000.0, 4, Errors(0.0, 2.0, 0.0, 0.0)).off == pytest.approx(np.sqrt(8) * 2)
    assert girth_spread(1000.0, 4, Errors(0.0, 0.0, 2.0, 0.0)).off == pytest.approx(8.0)
    assert girth_spread(1000.0, 4, Errors(0.0, 0.0, 0.0, 0.02)).off == pytest.approx(20.0)
    assert seam_spread(500.0, Errors()).off == pytest.approx(np.hypot(10.0, np.sqrt(8)))


def test_demo_girths(demo_built: Built) -> None:
    """The demo's chest crosses two fronts and two backs, its knee the two panels of a leg."""
    found = demo_built.spread

    assert found["chest_girth"].panels == 4
    assert found["knee_girth_left"].panels == 2
    assert "head_girth" not in found
    assert 10 < found["chest_girth"].off < 40
