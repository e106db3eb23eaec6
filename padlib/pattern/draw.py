"""From a draft to the piece that is printed: cut line, reach of notches, words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from shapely.geometry import Polygon

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.pattern.allowance import MITRE_LIMIT, cut_line, dart_cap
from padlib.pattern.draft import Draft
from padlib.pattern.edge import Rim, Wedge
from padlib.pattern.edge_words import label_edges
from padlib.pattern.hole import reaching
from padlib.pattern.label import notch_room, place_block
from padlib.pattern.lettering import clean
from padlib.pattern.piece import Line, Piece

LIMITS = {"mitred": MITRE_LIMIT, "folded": MITRE_LIMIT, "squared": 1.0}  # longest mitre, allowances


def _outline(rim_: Rim) -> Line:
    """The cut line around a rim."""
    n, keep = len(rim_.points), rim_.base()
    widths = np.full(n, rim_.runs[0].allowance_mm if rim_.runs else 10.0)
    for wedge in rim_.wedges:
        beside = [r.allowance_mm for r in rim_.runs if r.stop % n == wedge.start % n]
        widths[np.arange(wedge.start, wedge.stop) % n] = beside[0] if beside else widths[0]
    hems, limits = [], np.full(n, MITRE_LIMIT)
    usual = min(r.allowance_mm for r in rim_.runs)
    back = {int(p): i for i, p in enumerate(keep)}
    for run in rim_.runs:
        widths[np.arange(run.start, run.stop) % n] = run.allowance_mm
        ends = back.get(run.start % n), back.get(run.stop % n)
        limits[run.start % n] = min(limits[run.start % n], LIMITS[run.corner])
        limits[run.stop % n] = min(limits[run.stop % n], LIMITS[run.corner])
        if run.corner == "folded" and run.allowance_mm > usual and None not in ends:
            stop = ends[1] if ends[1] > ends[0] else ends[1] + len(keep)
            hems.append((ends[0], stop))
    caps = [
        dart_cap(rim_.points, (w.start, w.apex, w.stop), float(widths[(w.start - 1) % n]))
        for w in rim_.wedges
        if w.folded
    ]
    caps = [cap for cap in caps if cap is not None]
    return cut_line(
        rim_.points[keep],
        widths[keep],
        corner=rim_.corner[keep],
        hems=hems,
        caps=caps,
        mitre_limit=limits[keep],
    )


def finished(
    draft: Draft,
    cloth: str,
    allowance: float,
    hem: float,
    numbers: Mapping[str, int],
    names: Mapping[int, str],
    sides: Mapping[str, str],
) -> Piece:
    """The finished piece of a draft."""
    rim_ = draft.rim
    try:
        line = _outline(rim_)
    except InputError as why:
        raise InputError(f"panel '{rim_.panel.name}': {why}") from why
    draft.notches = [reaching(notch, line) for notch in draft.notches]
    inside = Polygon(rim_.points).buffer(0)
    for hole in draft.holes:
        draft.notches += hole.notches
        draft.inner += hole.lines
        inside = inside.difference(hole.sewn)
    taken = [notch_room(n) for n in draft.notches]
    taken += [shapely.LineString(rim_.take(w.start, w.stop)).buffer(2.0) for w in rim_.wedges]
    taken += [shapely.LineString(line.points).buffer(1.5) for line in draft.inner]
    edge_labels = label_edges(draft, inside, taken, hem, numbers, names, sides)
    twice = len(draft.panels) > 1
    labels = _labels(draft, cloth, twice, allowance)
    block = place_block(labels, inside, taken)
    if not block.fits:
        words = "the piece is too small for its label; its words reach beyond the sew line"
        draft.findings.append(Finding(702, words, draft.name, Grade.NOTE))
    outline = Polygon(line)
    out = sum(hole.cut.area for hole in draft.holes)
    round_ = sum(hole.cut.length for hole in draft.holes)
    return Piece(
        draft.number,
        draft.name,
        draft.side,
        cloth,
        len(draft.panels),
        twice,
        line,
        rim_.points,
        tuple((r.seam, rim_.take(r.start, r.stop)) for r in rim_.runs),
        tuple(draft.notches),
        tuple(
            rim_.take(w.start, w.stop)[[0, w.apex - w.start, -1]]
            if _straight(rim_, w)
            else rim_.take(w.start, w.stop)
            for w in rim_.wedges
        ),
        edge_labels,
        labels,
        block.pile,
        (outline.area - out) / 100.0,
        outline.length + round_,
        label_at=block.at,
        label_mm=block.height_mm,
        allowance_mm=allowance,
        panels=draft.panels,
        findings=tuple(draft.findings),
        inner=draft.inner,
    )


def _straight(rim_: Rim, wedge: Wedge) -> bool:
    """Whether both legs of a dart are straight to a tenth of a millimetre."""
    for a, b in ((wedge.start, wedge.apex), (wedge.apex, wedge.stop)):
        leg = rim_.take(a, b)
        way = (leg[-1] - leg[0]) / max(float(np.hypot(*(leg[-1] - leg[0]))), 1e-9)
        off = (leg - leg[0]) @ np.array([-way[1], way[0]])
        if np.abs(off).max() > 0.1:
            return False
    return True


def _labels(draft: Draft, cloth: str, twice: bool, allowance: float) -> tuple[str, ...]:
    """The lines of a piece's block of words."""
    side = {"both": "left and right" if twice else "", "left": "left", "right": "right"}[draft.side]
    side = "" if side in draft.name.lower().replace("_", "-").replace(" ", "-").split("-") else side
    cut = "cut 2: 1 face up, 1 face down" if twice else "cut 1, face down"
    lines = [
        f"{draft.number}  {draft.name}",
        side,
        cut,
        clean(cloth),
        f"allowance {allowance:g} mm included",
    ]
    return tuple(line for line in lines if line)
