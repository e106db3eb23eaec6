"""Tail: the opening in the suit and the two-layer base that carries the tail's zip."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.edge import rim
from padlib.pattern.parts.panelled import spots
from padlib.pattern.parts.part import (
    Ask,
    Blank,
    Kind,
    Made,
    Notion,
    Step,
    Worn,
    round_line,
)
from padlib.pattern.piece import Inner, Line, Notch


def _opening(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A round opening over the tail's root; two disks of its size carry one half of a zip between them."""
    found = spots(worn, ask)
    radius, mm = v["girth"] / (2 * np.pi), worn.allowance_mm
    there = {f.panel.name for f in worn.flats}
    drawn, around = [], 0.0
    for flat, middle in found:
        line = _arc(flat, middle, radius)
        around += sum(float(np.hypot(*np.diff(part, axis=0).T).sum()) for part, _ in line)
        if flat.panel.mirror_of in there:
            continue
        drawn += [
            (flat.panel.name, Inner("place", part, whole, "tail base")) for part, whole in line
        ]
        for way, words, purpose in (
            (-mm, "tail: cut out", "cutout"),
            (v["pile"], "leave the pile long up to here", "trim"),
        ):
            if radius + way <= 5.0:
                continue
            drawn += [
                (flat.panel.name, Inner(purpose, part, whole, words))
                for part, whole in _arc(flat, middle, radius + way)
            ]
    off = abs(around - v["girth"])
    findings: tuple[Finding, ...] = ()
    if off > 0.02 * v["girth"]:
        words = (
            f"the opening is {around:.0f} mm round on paper and the tail's root {v['girth']:.0f} mm; it "
            "runs over more than one seam: move it, or ease the base in"
        )
        findings = (Finding(723, words, ask.name, Grade.WARNING),)
    sew, cut = round_line(radius), round_line(radius + mm)
    up = np.array([0.0, 1.0])
    notch = (Notch(radius * up, up, 1, "up", mm),)
    closed = np.concatenate([sew, sew[:1]])
    blank = Blank(
        f"{ask.name} base",
        ask.cloth,
        2,
        sew,
        cut,
        (("tail opening, zip between both", closed),),
        notches=notch,
        notes=("two layers",),
    )
    words = (
        f"{ask.name}: baste one half of the zip round the edge of one base disk, teeth outward, lay the "
        "second disk on it and stitch all round; sew the base behind the opening, zip up to the edge. "
        f"Do not trim the pile in the {v['pile']:g} mm round it: it hides the zip. Double-stitch it, "
        "it carries the tail."
    )
    zip_ = Notion(f"separating zip for the rim of {ask.name}", 1, v["girth"])
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        drawn=tuple(drawn),
        steps=(Step("flat", words),),
        notions=(zip_,),
        findings=findings,
        numbers={"girth_mm": v["girth"], "opening_mm": around, "radius_mm": float(radius)},
    )


def _arc(flat: Flat, middle: Line, radius: float) -> list[tuple[Line, bool]]:
    """The parts of a circle that lie on a flat, and whether each is the whole circle."""
    ring = rim(flat, allowance_mm=10.0, allowances={}, opening_mm=10.0, fold_mm=30.0)
    inside = shapely.Polygon(ring.points).buffer(1e-6)
    circle = round_line(radius, at=middle)
    if inside.contains(shapely.LinearRing(circle)):
        return [(np.concatenate([circle, circle[:1]]), True)]
    cut = shapely.line_merge(shapely.LinearRing(circle).intersection(inside))
    parts = [np.asarray(p.coords) for p in shapely.get_parts(cut) if p.length > 1.0]
    if len(parts) > 1 and np.hypot(*(parts[0][0] - parts[-1][-1])) < 1e-6:
        parts = [np.concatenate([parts[-1], parts[0][1:]]), *parts[1:-1]]
    return [(part, False) for part in parts]


OPENING = Kind(
    "a round opening for the tail with a two-layer base that carries its zip",
    (
        Parameter("girth", "mm", "of the tail at its root", 120, 1200, "less takes no zip"),
        Parameter("pile", "mm", "left long round the opening", 0, 60, "more gets caught"),
    ),
    {"girth": 314.0, "pile": 19.0},
    _opening,
    ("at",),
)
