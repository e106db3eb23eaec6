"""Neck: the strip that binds its edge, and facings shaped like it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.allowance import cut_line
from padlib.pattern.edge import Rim, corners, rim
from padlib.pattern.parts.part import (
    Ask,
    Blank,
    Kind,
    Made,
    Step,
    Worn,
    need_seam,
    opening_of,
    strip,
)
from padlib.pattern.parts.site import along
from padlib.pattern.piece import Line


def _strip(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A strip sewn to the neck face to face and folded over twice; its ends are turned in at the zip."""
    seam = need_seam(worn, ask, "neck")[""]
    clear = v["zip_clear"] if worn.closure_mm else 0.0
    ends = v["ends"] if worn.closure_mm else worn.allowance_mm
    long = opening_of(worn, seam) - 2 * clear
    seamed, high = worn.allowance_mm, v["width"] - worn.allowance_mm
    turn = "turn in" if worn.closure_mm else "to its other end"
    blank = strip(
        ask,
        ask.name,
        (long, high),
        beyond=(0.0, ends, seamed, ends),
        words=("", turn, "neck, face to face", turn),
        folds=(high, high / 2),
        quarters=True,
        notes=(f"finished {high / 2:g} mm",),
    )
    found: tuple[Finding, ...] = ()
    if high / 2 < seamed:
        words = (
            f"folded twice, {v['width']:g} mm is {high / 2:g} mm wide and does not hide the neck's own "
            f"{seamed:g} mm allowance; take at least {3 * seamed:g} mm"
        )
        found = (Finding(720, words, ask.name, Grade.WARNING),)
    ends_words = "turn in both ends" if worn.closure_mm else "close it to a ring"
    words = (
        f"{ask.name}: {ends_words}, sew the strip to the neck face to face, quarter marks "
        "spread evenly, fold it over the edge and under once more, and fell it down inside by hand."
    )
    told = {"length_mm": long + 2 * ends, "width_mm": v["width"], "neck_mm": opening_of(worn, seam)}
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        joins={seam: ask.name},
        steps=(Step("hem", words, (along(worn.flats, seam),)),),
        findings=found,
        numbers=told,
    )


STRIP = Kind(
    "a strip that binds the neck: sewn face to face, folded over twice",
    (
        Parameter(
            "width",
            "mm",
            "cut width, allowance and folds included",
            24,
            90,
            "less cannot be folded",
        ),
        Parameter(
            "zip_clear", "mm", "from the closure's seam to its end", 0, 30, "more leaves a gap"
        ),
        Parameter("ends", "mm", "turned in at each end", 5, 40, "less frays out"),
    ),
    {"width": 38.0, "zip_clear": 6.0, "ends": 15.0},
    _strip,
)


def _facing(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A facing of each panel that has a neck edge, as wide all along as asked."""
    seam = need_seam(worn, ask, "neck")[""]
    there = {f.panel.name for f in worn.flats}
    blanks, total = [], 0.0
    for flat in worn.flats:
        if flat.panel.mirror_of in there or all(e.seam != seam for e in flat.panel.edges):
            continue
        twice = any(f.panel.mirror_of == flat.panel.name for f in worn.flats)
        ring, edge, ends = _band(flat, seam, v["width"], worn.allowance_mm)
        total += (2 if twice else 1) * float(np.hypot(*np.diff(edge, axis=0).T).sum())
        name = flat.panel.name.removesuffix("-left").removesuffix("-right") if twice else None
        name = f"{ask.name} {name or flat.panel.name}"
        widths = np.where(
            _inner(ring, edge, v["width"]), v["hem"] or worn.allowance_mm, worn.allowance_mm
        )
        cut = cut_line(ring, widths, corner=corners(ring)[1])
        labels = (("neck, face to face", edge), *((w, run) for w, run in ends))
        hem = f"inner edge: hem {v['hem']:g} mm" if v["hem"] else "inner edge: neaten, no seam"
        count = 2 if twice else 1
        blanks.append(
            Blank(
                name,
                ask.cloth,
                count,
                ring,
                cut,
                labels,
                notes=(hem,),
                mirrored=twice,
                side="both" if twice else flat.panel.side,
            )
        )
    first = "fold their inner edges under and stitch, " if v["hem"] else ""
    words = (
        f"{ask.name}: join the facings at the shoulders, {first}sew them to the neck face to face, clip the "
        "curve, turn them in and tack them to the seams."
    )
    return Made(
        ask.kind,
        ask.name,
        tuple(blanks),
        joins={seam: ask.name},
        steps=(Step("hem", words, (along(worn.flats, seam),)),),
        numbers={"width_mm": v["width"], "neck_mm": total},
    )


def _band(
    flat: Flat, seam: str, width: float, allowance: float
) -> tuple[Line, Line, list[tuple[str, Line]]]:
    """Ring of the band beside a panel's neck edge, the edge itself, and the band's two ends."""
    own = rim(
        flat, allowance_mm=allowance, allowances={}, opening_mm=allowance, fold_mm=3 * allowance
    )
    n = len(own.points)
    runs = [r for r in own.runs if r.seam == seam]
    start, stop = runs[0].start, runs[-1].stop
    edge = own.take(start, stop)
    after, before = _walk(own.points, stop % n, width, 1), _walk(own.points, start % n, width, -1)
    inside = shapely.Polygon(own.points).buffer(0)
    band = inside.intersection(shapely.LineString(edge).buffer(width, quad_segs=24))
    middle = shapely.LineString([before[-1], *_offset(edge, width)[1:-1], after[-1]])
    ring = np.concatenate([edge[:-1], after[:-1], np.asarray(middle.coords)[::-1], before[:0:-1]])
    shape = shapely.Polygon(ring)
    if not shape.is_valid or shape.area > 1.3 * band.area:
        parts = shapely.get_parts(band)
        shape = max(parts, key=lambda p: p.area)
        ring = np.asarray(shapely.orient_polygons(shape).exterior.coords)[:-1]
    ends = [(_next_seam(own, start % n, -1), before), (_next_seam(own, stop % n, 1), after)]
    return ring, edge, ends


def _inner(ring: Line, edge: Line, width: float) -> np.ndarray:
    """Which segments (k,) of a facing's ring lie along its inner edge."""
    middle = shapely.points(0.5 * (ring + np.roll(ring, -1, axis=0)))
    return shapely.distance(middle, shapely.LineString(edge)) > 0.96 * width


def _next_seam(own: Rim, at: int, way: int) -> str:
    """What the edge beside a ring position is sewn to, in words."""
    n = len(own.points)
    for run in own.runs:
        if way > 0 and run.start % n == at or way < 0 and run.stop % n == at:
            seam = run.seam.removesuffix("-left").removesuffix("-right")
            return "turn in at the closure" if run.kind == "closure" else f"{seam}: next facing"
    return ""


def _walk(points: Line, start: int, reach: float, way: int) -> Line:
    """The ring from a position over an arc length, forwards or backwards."""
    n, out, left = len(points), [points[start]], reach
    i = start
    while left > 1e-9:
        j = (i + way) % n
        step = float(np.hypot(*(points[j] - points[i])))
        if step >= left:
            out.append(points[i] + (points[j] - points[i]) * left / step)
            break
        out.append(points[j])
        left, i = left - step, j
    return np.array(out)


def _offset(line: Line, width: float) -> Line:
    """The line moved to its left by a width, as many points, kinks left in."""
    way = np.gradient(line, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    return line + width * np.column_stack([-way[:, 1], way[:, 0]])


FACING = Kind(
    "facings shaped like the neck, one for each panel that it runs through",
    (
        Parameter("width", "mm", "from the neck edge inwards", 20, 120, "less rolls out again"),
        Parameter(
            "hem",
            "mm",
            "of its inner edge; 0: neatened",
            0,
            30,
            "more does not lie flat on a curve",
        ),
    ),
    {"width": 50.0, "hem": 0.0},
    _facing,
)
