"""Letters of seams, and notches of seams, junctions, darts and parts in the drafts of both sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from padlib.findings import Finding, Grade
from padlib.pattern.draft import Draft, runs_of
from padlib.pattern.edge import Rim
from padlib.pattern.finish import drawn_on, part_numbers
from padlib.pattern.notch import (
    Joint,
    chains,
    folded_key,
    joints,
    junction_notches,
    leg_notches,
    letters,
    marks_of,
    mouth_at,
    notches_on,
    off_chain,
    place_at,
    stops,
)
from padlib.pattern.parts.part import Made

MARK_MM = 1.0  # a mark of a part lies on every chain that comes so near
SAME_SEAM_MM = 3.0  # chains whose ends agree so closely after folding left onto right are one seam


def put_notches(
    drafts: Mapping[str, Draft],
    numbers: Mapping[str, int],
    rims: Mapping[str, Rim],
    spacing: float,
    allowance: float,
) -> None:
    """Letter all seams and put their notches into the drafts of both sides."""
    known: list[tuple[frozenset, np.ndarray, str]] = []
    for joint in joints(rims):
        sides = [c for c in (joint.chain, joint.twin) if c is not None]
        if not any(c.panel in drafts for c in sides):
            continue
        pairs = any(len(drafts[c.panel].panels) > 1 if c.panel in drafts else True for c in sides)
        letter = _letter(joint, numbers, known, pairs)
        widest = max(
            [allowance, *(r.allowance_mm for c in sides for r in runs_of(rims[c.panel], c))]
        )
        marks = marks_of([joint.chain.seam, *(c.panel for c in sides)])
        at = stops(joint, rims, spacing_mm=spacing, allowance_mm=widest)
        for chain in sides:
            if chain.panel not in drafts:
                continue
            draft = drafts[chain.panel]
            for run in runs_of(draft.rim, chain):
                key = run.seam, run.start % len(draft.rim.points)
                before = draft.letters.get(key, letter)
                draft.letters[key] = letter if before == letter else f"{before}/{letter}"
            for k, s in enumerate(at, 1):
                place = place_at(joint.chain, float(s))
                one = any(mouth_at(rims[c.panel], c, place) for c in sides)  # a dart opens here
                pair = f"{letter}{k}"
                draft.notches += notches_on(draft.rim, chain, place, 1 if one else marks, pair)
            if joint.twin is None and chain.twin is not None:
                words = f"seam '{chain.seam}' has no second side among the flats; check its notches by hand"
                draft.findings.append(Finding(705, words, draft.name, Grade.WARNING))
    for draft in drafts.values():
        draft.notches += junction_notches(draft.rim, draft.letters)
        draft.notches += leg_notches(draft.rim, allowance)


def _letter(joint: Joint, numbers: Mapping[str, int], known: list, pairs: bool) -> str:
    """The letter of a seam.

    pairs: whether a piece that is cut as a left and a right one takes part; then the same seam on the
    other side of the body has the same letter, because that piece is printed once for both.
    """
    chain = joint.chain
    pieces = frozenset(numbers.get(p, p) for p in (chain.panel, chain.twin or ""))
    key = folded_key(chain)
    for others, place, letter in known if pairs else ():
        if others == pieces and np.abs(place - key).max() < SAME_SEAM_MM:
            return letter
    known.append((pieces, key, letters(len({k[2] for k in known}))))
    return known[-1][2]


def put_parts(
    drafts: Mapping[str, Draft], joined: Mapping[str, str], parts: Sequence[Made]
) -> None:
    """Marks and lines of parts on the panels, and what openings are sewn to instead of hemmed."""
    of = part_numbers(parts, len(drafts) + 1)
    lines = drawn_on(parts)
    marks = [mark for made in parts for mark in made.marks]
    for draft in drafts.values():
        draft.joins = {s: f"{of[n]} {n}" if n in of else n for s, n in joined.items()}
        draft.inner = lines.get(draft.flat.panel.name, ())
        for chain in chains(draft.rim):
            for mark in (m for m in marks if m.seam == chain.seam):
                if off_chain(chain, mark.place) < MARK_MM:
                    draft.notches += notches_on(draft.rim, chain, mark.place, mark.count, mark.name)
