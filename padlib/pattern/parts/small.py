"""Small parts: belt loops, pockets, drawstring channels, ties of the cushions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.parts.panelled import on_panel
from padlib.pattern.parts.part import (
    Ask,
    Kind,
    Made,
    Notion,
    Step,
    Worn,
    need_seam,
    opening_of,
    rectangle,
    strip,
)
from padlib.pattern.parts.site import Site, along
from padlib.pattern.piece import Inner

CORD_BEYOND = 300.0  # mm of cord beyond its channel, for both ends together


def _loop(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """Loops folded to half their width: belt plus play, and an allowance at each end."""
    mm = worn.allowance_mm
    blank = strip(
        ask,
        ask.name,
        (2 * v["width"], v["belt"] + v["play"]),
        beyond=(mm, mm, mm, mm),
        words=("to the suit", "", "to the suit", ""),
        count=int(v["count"]),
        notes=("fold lengthwise",),
    )
    words = (
        f"{ask.name}: fold each loop lengthwise, turn it, and sew {v['count']:g} of them evenly round "
        "the waist, both ends turned under and stitched twice."
    )
    return Made(ask.kind, ask.name, (blank,), steps=(Step("flat", words),), numbers=dict(v))


LOOP = Kind(
    "loops for a belt",
    (
        Parameter("belt", "mm", "width of the belt", 15, 150, "no belt is wider"),
        Parameter(
            "play", "mm", "so much longer than the belt is wide", 2, 40, "less holds it fast"
        ),
        Parameter("width", "mm", "finished width of a loop", 8, 80, "less tears out"),
        Parameter("count", "pieces", "how many", 2, 20, "one holds no belt"),
    ),
    {"belt": 40.0, "play": 10.0, "width": 15.0, "count": 5.0},
    _loop,
)


def _pocket(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A patch with a hem at its mouth."""
    mm = worn.allowance_mm
    blank = strip(
        ask,
        ask.name,
        (v["width"], v["height"]),
        beyond=(mm, mm, v["hem"], mm),
        words=("to the suit", "to the suit", "mouth, fold here", "to the suit"),
        count=int(v["count"]),
        folds=(v["height"],),
    )
    drawn, sites, where = _put(ask, worn, v)
    words = (
        f"{ask.name}: hem its mouth, turn the other three edges under, and sew it on {where} while the panel "
        "lies flat; bar both corners of the mouth."
    )
    steps = (Step("flat", words, sites),)
    return Made(ask.kind, ask.name, (blank,), drawn=drawn, steps=steps, numbers=dict(v))


def _put(
    ask: Ask, worn: Worn, v: Mapping[str, float]
) -> tuple[tuple[tuple[str, Inner], ...], tuple[Site, ...], str]:
    """Where a pocket goes: its outline on the panel, the panels it lies on, and words for it."""
    if ask.at is None:
        return (), (), "where it was pinned at a first trial"
    names, middle = on_panel(ask, worn, (v["width"], v["height"]))
    half = 0.5 * np.array([v["width"], v["height"]])
    line = rectangle(*(middle - half), *(middle + half))
    sides = names[: 2 if v["count"] > 1 and ask.side == "both" else 1]
    where = f"along the line drawn on {' and '.join(sides)}"
    return (
        ((names[0], Inner("place", line, True, ask.name)),),
        (Site(panels=sides, flat=True),),
        where,
    )


POCKET = Kind(
    "a patch pocket; at: the place of its middle, where it is then drawn on the panel",
    (
        Parameter("width", "mm", "finished", 50, 400, "a hand goes in"),
        Parameter("height", "mm", "finished", 50, 400, "a hand goes in"),
        Parameter("hem", "mm", "at its mouth", 10, 60, "less gapes"),
        Parameter("count", "pieces", "how many", 1, 12, "so many hands"),
    ),
    {"width": 150.0, "height": 180.0, "hem": 25.0, "count": 1.0},
    _pocket,
)


def _drawstring(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A channel along an opening or seam: its length, twice the channel's width and two ends."""
    if not ask.seam:
        raise InputError(f"part '{ask.name}' is a drawstring, which needs 'seam'; add it.")
    seams = need_seam(worn, ask, ask.seam)
    mm, blanks, cords = worn.allowance_mm, [], []
    for side, seam in seams.items():
        long = opening_of(worn, seam)
        name = f"{ask.name} {side}".strip()
        blanks.append(
            strip(
                ask,
                name,
                (long, v["width"]),
                beyond=(mm, v["ends"], mm, v["ends"]),
                words=(f"{seam}, inside", "turn in", f"{seam}, inside", "turn in"),
            )
        )
        cords.append(Notion(f"cord for {name}", 1, long + CORD_BEYOND))
    sites = tuple(_channel(worn, seam) for seam in seams.values())
    found: tuple[Finding, ...] = ()
    if "neck" in ask.seam:
        words = (
            "a cord at the neck can strangle; EN 14682 allows none on clothes of children up to 14 "
            "years, disguise costumes included: take elastic or a closure instead"
        )
        found = (Finding(725, words, ask.name, Grade.CAUTION),)
    words = (
        f"{ask.name}: turn in both ends, sew both long edges down inside along {ask.seam}, and draw "
        "the cord in; sew it fast in its middle, and leave no free end longer than 140 mm."
    )
    return Made(
        ask.kind,
        ask.name,
        tuple(blanks),
        steps=(Step("hem", words, sites),),
        notions=tuple(cords),
        findings=found,
        numbers={f"{s}_mm": opening_of(worn, s) for s in seams.values()} | dict(v),
    )


def _channel(worn: Worn, seam: str) -> Site:
    """Where a channel lies: along an opening in one run, over a seam once that is sewn."""
    site = along(worn.flats, seam)
    edges = {(f.panel.name, k): e for f in worn.flats for k, e in enumerate(f.panel.edges)}
    sewn = any(edges[key].kind == "sewn" for key in site.edges)
    return replace(site, runs=1, sewn=sewn)


DRAWSTRING = Kind(
    "a channel for a cord along a seam or opening (seam = its name)",
    (
        Parameter("width", "mm", "between its two lines of stitches", 8, 60, "a cord goes through"),
        Parameter("ends", "mm", "turned in at each end", 5, 40, "less frays out"),
    ),
    {"width": 20.0, "ends": 15.0},
    _drawstring,
)


def _tie(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """Ties that hold the cushions to the suit: so many for each cushion, in pairs."""
    if not worn.pads:
        raise InputError(
            f"part '{ask.name}' ties cushions to the suit, but this suit has none; add a [[pad]]."
        )
    spaced = [max(4, round(rim / v["spacing"])) for rim in worn.pads.values()]
    count = 2 * sum(spaced)
    blank = strip(
        ask,
        ask.name,
        (v["length"], 2 * v["width"]),
        beyond=(v["width"], 10.0, v["width"], 10.0),
        words=("", "to a seam", "", ""),
        count=count,
        folds=(v["width"],),
        notes=("fold twice, stitch along",),
    )
    each = "; ".join(f"{n}: {k}" for n, k in zip(worn.pads, spaced, strict=True))
    words = (
        f"{ask.name}: catch one tie of each pair in the cushion's edge ({each}), the other in the "
        "suit's seam allowance facing it; tie bows, not knots, so that the cushions come out for washing."
    )
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        steps=(Step("last", words),),
        numbers={"count": count, "length_mm": v["length"]},
    )


TIE = Kind(
    "ties that hold the cushions in the suit",
    (
        Parameter("length", "mm", "of a tie", 80, 500, "less cannot be tied"),
        Parameter("width", "mm", "finished", 5, 40, "less cuts in"),
        Parameter("spacing", "mm", "along a cushion's edge", 100, 800, "cushions sag between ties"),
    ),
    {"length": 200.0, "width": 10.0, "spacing": 350.0},
    _tie,
)
