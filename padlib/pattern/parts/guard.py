"""Closures: the guard between the zip and the skin, and the cover that hides the teeth outside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from padlib.errors import InputError
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.parts.part import Ask, Blank, Kind, Made, Step, Worn, strip
from padlib.pattern.parts.site import along
from padlib.pattern.piece import Inner


def _long(ask: Ask, worn: Worn) -> float:
    """The length of the suit's closure. Raises InputError where it has none."""
    if worn.closure_mm <= 0:
        raise InputError(
            f"part '{ask.name}' goes with a closure, but this suit has none; set closure in [seams]."
        )
    return worn.closure_mm


def _guard(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A strip folded lengthwise that lies between the zip and the wearer, longer than the zip."""
    long, mm = _long(ask, worn) + 2 * v["beyond"], worn.allowance_mm
    blank = strip(
        ask,
        ask.name,
        (2 * v["width"], long),
        beyond=(mm, mm, mm, mm),
        words=("turn in", "closure, under the zip", "turn in", "closure, under the zip"),
        notes=("fold lengthwise", f"finished {v['width']:g} mm wide"),
    )
    blank = _fold_along(blank, v["width"], long, mm)
    words = (
        f"{ask.name}: fold it lengthwise, close both ends, turn it, and catch its open edge in the "
        f"seam of the zip on the wearer's left; it reaches {v['beyond']:g} mm past both ends, so that "
        "no zip touches bare skin."
    )
    return _made(ask, worn, blank, words, (long, v["width"]))


def _cover(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A strip of the suit's own cloth that lies over the teeth from one side."""
    long, mm = _long(ask, worn), worn.allowance_mm
    blank = strip(
        ask,
        ask.name,
        (v["width"], long),
        beyond=(mm, mm, mm, v["hem"]),
        words=("turn in", "closure, over the zip", "turn in", "hem, fold here"),
        notes=("pile as on the suit",),
    )
    blank = _fold_along(blank, 0.0, long, mm)
    words = (
        f"{ask.name}: hem its long free edge and catch the other edge in the seam of the zip on the "
        "wearer's right, pile out, so that it lies over the teeth; its pile stays long."
    )
    return _made(ask, worn, blank, words, (long, v["width"]))


def _made(ask: Ask, worn: Worn, blank: Blank, words: str, size: tuple[float, float]) -> Made:
    """One strip that is sewn in with the closure."""
    numbers = {"length_mm": size[0], "width_mm": size[1]}
    sites = (along(worn.flats, "closure", runs=2),)
    return Made(
        ask.kind, ask.name, (blank,), steps=(Step("closure", words, sites),), numbers=numbers
    )


def _fold_along(blank: Blank, at: float, long: float, mm: float) -> Blank:
    """A blank with a fold line along its length at x = at."""
    line = np.array([[at, -mm], [at, long + mm]])
    return replace(blank, inner=(*blank.inner, Inner("fold", line)))


GUARD = Kind(
    "a folded strip between the zip and the wearer's skin",
    (
        Parameter("width", "mm", "finished", 25, 100, "less slips aside"),
        Parameter("beyond", "mm", "past each end of the zip", 5, 60, "less leaves the stops bare"),
    ),
    {"width": 40.0, "beyond": 20.0},
    _guard,
)
COVER = Kind(
    "a strip of cloth that hides the teeth from outside",
    (
        Parameter("width", "mm", "beyond the teeth", 25, 50, "less shows them, more flaps open"),
        Parameter("hem", "mm", "of its free edge", 5, 30, "less frays out"),
    ),
    {"width": 35.0, "hem": 15.0},
    _cover,
)
