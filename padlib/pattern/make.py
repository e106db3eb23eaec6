"""From flats to pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from padlib.errors import InputError
from padlib.flatten.flat import Flat
from padlib.pattern.draft import drafts_of, hole_drafts, put_hole
from padlib.pattern.draw import finished
from padlib.pattern.edge import rim
from padlib.pattern.finish import part_pieces
from padlib.pattern.notching import put_notches, put_parts
from padlib.pattern.parts.part import Made
from padlib.pattern.piece import Inner, Piece
from padlib.pattern.purpose import EdgeRule, check_rules


def make_pieces(
    flats: Sequence[Flat],
    *,
    cloth: Mapping[str, str] | str,
    allowance_mm: float = 10.0,
    allowances: Mapping[str, float] | None = None,
    opening_mm: float | None = None,
    notch_spacing_mm: float = 180.0,
    fold_mm: float | None = None,
    parts: Sequence[Made] = (),
    rules: Sequence[EdgeRule] = (),
    inner: Sequence[tuple[str, Inner]] = (),
    holes: Sequence[tuple[str, Flat]] = (),
    lined: Sequence[Piece] = (),
) -> tuple[Piece, ...]:
    """Pieces to print: allowance, notches, labels, darts and pile arrow around each flat.

    flats: of all panels of a suit. A panel that is the mirror image of another is not printed: the
    other's piece is cut twice, once face up and once face down.
    cloth: one name for all, or panel name to cloth name; allowance_mm: beyond every sew line;
    allowances: seam name to mm where it differs; opening_mm: beyond openings (hems), as allowance_mm
    if None; notch_spacing_mm: about how far apart notches stand (150 to 250 mm is common practice);
    fold_mm: darts whose mouth is at most this wide stay in the piece to be folded, wider ones are cut
    out (3 allowances if None); parts: what no flattening gives, as `padlib.pattern.parts` makes it;
    their pieces follow those of the panels, and openings that they are sewn to lose their hem;
    rules: what the maker says of edges, the last that names an edge counts; inner: panel name and line of
    what else is drawn inside a panel's flat; holes: panel name and a flat whose edges run round a hole in it, into
    which another panel is sewn; lined: pieces that parts may copy besides the panels' own.
    Raises InputError where a value is out of range, a panel's edges do not close, its sew line crosses
    itself, or no cloth is named for it.
    """
    joined = {seam: name for made in parts for seam, name in made.joins.items()}
    allowances = {seam: allowance_mm for seam in joined} | dict(allowances or {})
    _check(allowance_mm, opening_mm, notch_spacing_mm, allowances, flats)
    edges: dict[str, list[str]] = {}
    every = (*flats, *(hole for _, hole in holes))
    for flat in every:
        for edge in flat.panel.edges:
            edges.setdefault(edge.seam, []).append(flat.panel.name)
    check_rules(rules, edges)
    hem = allowance_mm if opening_mm is None else opening_mm
    fold = 3 * allowance_mm if fold_mm is None else fold_mm
    rims = {
        flat.panel.name: rim(
            flat,
            allowance_mm=allowance_mm,
            allowances=allowances,
            opening_mm=hem,
            fold_mm=fold,
            rules=rules,
        )
        for flat in every
    }
    drafts = drafts_of(flats, rims)
    numbers = {panel: draft.number for draft in drafts.values() for panel in draft.panels}
    numbers |= {hole.panel.name: numbers[name] for name, hole in holes}
    edged = hole_drafts(drafts, holes, rims)
    put_notches({**drafts, **edged}, numbers, rims, notch_spacing_mm, allowance_mm)
    put_parts(drafts, joined, parts)
    for name, hole in holes:
        if name in drafts:
            put_hole(drafts[name], edged[hole.panel.name])
    for panel, line in inner:
        if panel in drafts:
            drafts[panel].inner += (line,)
    cloths = {d.flat.panel.name: _cloth_of(cloth, d.flat.panel.name) for d in drafts.values()}
    names = {d.number: d.name for d in drafts.values()}
    sides = {flat.panel.name: flat.panel.side for flat in flats}
    own = tuple(
        finished(d, cloths[d.flat.panel.name], allowance_mm, hem, numbers, names, sides)
        for d in drafts.values()
    )
    return own + part_pieces(parts, own, allowance_mm, lined)


def _check(
    allowance: float,
    opening: float | None,
    spacing: float,
    special: Mapping[str, float],
    flats: Sequence[Flat],
) -> None:
    """Refuse values that no pattern can be drawn with."""
    named = {"allowance_mm": allowance, "opening_mm": allowance if opening is None else opening}
    named |= {f"allowances['{seam}']": mm for seam, mm in special.items()}
    for name, mm in named.items():
        if not (np.isfinite(mm) and 1.0 <= mm <= 100.0):
            raise InputError(f"{name} is {mm}, but an allowance must lie between 1 and 100 mm.")
    if not (np.isfinite(spacing) and spacing >= 40.0):
        raise InputError(
            f"notch_spacing_mm is {spacing}, but notches need at least 40 mm between them."
        )
    seen: set[str] = set()
    for flat in flats:
        if flat.panel.name in seen:
            raise InputError(
                f"two flats are of a panel named '{flat.panel.name}'; names must differ."
            )
        seen.add(flat.panel.name)
    known = {edge.seam for flat in flats for edge in flat.panel.edges}
    for seam in special:
        if seam not in known:
            raise InputError(
                f"an allowance is given for seam '{seam}', but no panel has such a seam."
            )


def _cloth_of(cloth: Mapping[str, str] | str, panel: str) -> str:
    """The cloth of a panel."""
    if isinstance(cloth, str):
        return cloth
    if panel not in cloth:
        raise InputError(f"no cloth is named for panel '{panel}'; name one for it.")
    return cloth[panel]
