"""What is written along each edge of a piece."""

from __future__ import annotations

from collections.abc import Mapping

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.findings import Finding, Grade
from padlib.pattern.draft import Draft, runs_of, without_side
from padlib.pattern.edge import Run
from padlib.pattern.label import edge_label
from padlib.pattern.lettering import clean
from padlib.pattern.notch import (
    chains,
)
from padlib.pattern.piece import EdgeLabel
from padlib.pattern.purpose import PURPOSES


def label_edges(
    draft: Draft,
    inside: Polygon,
    taken: list[BaseGeometry],
    hem: float,
    numbers: Mapping[str, int],
    names: Mapping[int, str],
    sides: Mapping[str, str],
) -> tuple[EdgeLabel, ...]:
    """What each edge is sewn to; adds the room that the words take to `taken`."""
    out, short = [], 0
    for chain in chains(draft.rim):
        runs = runs_of(draft.rim, chain)
        if not runs:
            continue
        longest = max(runs, key=lambda r: r.stop - r.start)
        words = _edge_words(draft, longest, numbers, names, sides)
        run = draft.rim.take(longest.start, longest.stop)
        label, box, fits = edge_label(words, run, inside, taken)
        short += not fits
        taken.append(box)
        out.append(label)
    if short:
        words = "an edge is too short for its label, which lies over other lines"
        draft.findings.append(Finding(703, words, draft.name, Grade.NOTE, short))
    return tuple(out)


def _edge_words(
    draft: Draft,
    run: Run,
    numbers: Mapping[str, int],
    names: Mapping[int, str],
    sides: Mapping[str, str],
) -> list[str]:
    """The text of an edge, from the fullest to the shortest."""
    one_sided = len(draft.panels) > 1 or draft.side in ("left", "right")
    seam = without_side(run.seam) if one_sided else clean(run.seam)
    if run.kind == "opening" and run.seam in draft.joins:
        to = draft.joins[run.seam]
        return [f"{seam} \u2192 {to}", f"\u2192 {to}", f"\u2192 {to.split(' ')[0]}"]
    said = PURPOSES[run.purpose].words
    if run.purpose in ("fold", "raw", "facing") or run.kind == "opening" and run.purpose != "hem":
        return [f"{seam}: {said or 'sewn'}", said or seam]
    if run.kind == "opening":
        text = f"{seam}: hem {run.allowance_mm:g} mm"
        return [text, f"hem {run.allowance_mm:g} mm", "hem"]
    seam = f"{said} {seam}" if run.purpose == "gathered" else seam
    letter = draft.letters.get((run.seam, run.start % len(draft.rim.points)), "")
    if run.partner is None:
        return [f"{letter}: {seam}".removeprefix(": "), letter or seam]
    number = numbers.get(run.partner)
    if number is None:
        to, brief = clean(run.partner), clean(run.partner)
    elif number == draft.number:
        to = "itself" if run.partner == draft.flat.panel.name else "the other one"
        brief = to
    else:
        side = sides.get(run.partner, "both")
        other = (
            f" {side}"
            if len(draft.panels) == 1 and side != "both" and side not in names[number]
            else ""
        )
        to, brief = f"{number} {names[number]}{other}", f"{number}"
    what = f"{seam} (closure)" if run.kind == "closure" and "clos" not in seam.lower() else seam
    return [
        f"{letter}: {what} \u2192 {to}",
        f"{letter}: {seam} \u2192 {brief}",
        f"{letter} \u2192 {brief}",
        letter,
    ]
