"""From flats to pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.pattern.allowance import MITRE_LIMIT, cut_line, dart_cap
from padlib.pattern.edge import Rim, Run, Wedge, rim
from padlib.pattern.finish import drawn_on, part_numbers, part_pieces
from padlib.pattern.label import edge_label, notch_room, place_block
from padlib.pattern.lettering import clean
from padlib.pattern.notch import (
    Chain,
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
from padlib.pattern.piece import EdgeLabel, Inner, Line, Notch, Piece
from padlib.pattern.purpose import PURPOSES, EdgeRule, check_rules

LIMITS = {"mitred": MITRE_LIMIT, "folded": MITRE_LIMIT, "squared": 1.0}  # longest mitre, allowances
MARK_MM = 1.0  # a mark of a part lies on every chain that comes so near
SAME_SEAM_MM = 3.0  # chains whose ends agree so closely after folding left onto right are one seam


@dataclass
class _Draft:
    """A piece while it is being made."""

    number: int
    flat: Flat
    rim: Rim
    name: str
    side: str
    panels: tuple[str, ...]
    notches: list[Notch] = field(default_factory=list)
    letters: dict[tuple[str, int], str] = field(default_factory=dict)
    joins: dict[str, str] = field(default_factory=dict)
    inner: tuple[Inner, ...] = ()
    findings: list[Finding] = field(default_factory=list)


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
    what else is drawn inside a panel's flat.
    Raises InputError where a value is out of range, a panel's edges do not close, its sew line crosses
    itself, or no cloth is named for it.
    """
    joined = {seam: name for made in parts for seam, name in made.joins.items()}
    allowances = {seam: allowance_mm for seam in joined} | dict(allowances or {})
    _check(allowance_mm, opening_mm, notch_spacing_mm, allowances, flats)
    edges: dict[str, list[str]] = {}
    for flat in flats:
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
        for flat in flats
    }
    drafts = _drafts(flats, rims)
    numbers = {panel: draft.number for draft in drafts.values() for panel in draft.panels}
    _put_notches(drafts, numbers, rims, notch_spacing_mm, allowance_mm)
    _put_parts(drafts, joined, parts)
    for panel, line in inner:
        if panel in drafts:
            drafts[panel].inner += (line,)
    cloths = {d.flat.panel.name: _cloth_of(cloth, d.flat.panel.name) for d in drafts.values()}
    names = {d.number: d.name for d in drafts.values()}
    sides = {flat.panel.name: flat.panel.side for flat in flats}
    own = tuple(
        _piece(d, cloths[d.flat.panel.name], allowance_mm, hem, numbers, names, sides)
        for d in drafts.values()
    )
    return own + part_pieces(parts, own, allowance_mm)


def _put_parts(
    drafts: Mapping[str, _Draft], joined: Mapping[str, str], parts: Sequence[Made]
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


def _drafts(flats: Sequence[Flat], rims: Mapping[str, Rim]) -> dict[str, _Draft]:
    """One draft for each panel that is printed, numbered in order."""
    there = {flat.panel.name for flat in flats}
    printed = [flat for flat in flats if flat.panel.mirror_of not in there]
    out = {}
    for number, flat in enumerate(printed, 1):
        panel = flat.panel
        twins = tuple(f.panel.name for f in flats if f.panel.mirror_of == panel.name)
        name = _without_side(panel.name) if twins else clean(panel.name)
        side = "both" if twins else panel.side
        out[panel.name] = _Draft(number, flat, rims[panel.name], name, side, (panel.name, *twins))
    return out


def _without_side(name: str) -> str:
    """A panel's name without the words left and right."""
    words = clean(name).replace("_", " ").replace("-", " ").split()
    plain = [w for w in words if w.lower() not in ("left", "right")]
    return " ".join(plain) if plain and len(plain) < len(words) else clean(name)


def _cloth_of(cloth: Mapping[str, str] | str, panel: str) -> str:
    """The cloth of a panel."""
    if isinstance(cloth, str):
        return cloth
    if panel not in cloth:
        raise InputError(f"no cloth is named for panel '{panel}'; name one for it.")
    return cloth[panel]


def _put_notches(
    drafts: Mapping[str, _Draft],
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
            [allowance, *(r.allowance_mm for c in sides for r in _runs_of(rims[c.panel], c))]
        )
        marks = marks_of([joint.chain.seam, *(c.panel for c in sides)])
        at = stops(joint, rims, spacing_mm=spacing, allowance_mm=widest)
        for chain in sides:
            if chain.panel not in drafts:
                continue
            draft = drafts[chain.panel]
            for run in _runs_of(draft.rim, chain):
                draft.letters[run.seam, run.start % len(draft.rim.points)] = letter
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


def _runs_of(rim_: Rim, chain: Chain) -> list[Run]:
    """The runs of a rim that lie on a chain."""
    on = set(chain.positions.tolist())
    n = len(rim_.points)
    return [
        r
        for r in rim_.runs
        if r.seam == chain.seam
        and r.partner == chain.twin
        and (r.start + 1) % n in on
        and r.start % n in on
    ]


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


def _piece(
    draft: _Draft,
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
    draft.notches = [_reaching(notch, line) for notch in draft.notches]
    inside = Polygon(rim_.points).buffer(0)
    taken = [notch_room(n) for n in draft.notches]
    taken += [shapely.LineString(rim_.take(w.start, w.stop)).buffer(2.0) for w in rim_.wedges]
    taken += [shapely.LineString(line.points).buffer(1.5) for line in draft.inner]
    edge_labels = _edge_labels(draft, inside, taken, hem, numbers, names, sides)
    twice = len(draft.panels) > 1
    labels = _labels(draft, cloth, twice, allowance)
    block = place_block(labels, inside, taken)
    if not block.fits:
        words = "the piece is too small for its label; its words reach beyond the sew line"
        draft.findings.append(Finding(702, words, draft.name, Grade.NOTE))
    outline = Polygon(line)
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
        outline.area / 100.0,
        outline.length,
        label_at=block.at,
        label_mm=block.height_mm,
        allowance_mm=allowance,
        panels=draft.panels,
        findings=tuple(draft.findings),
        inner=draft.inner,
    )


def _reaching(notch: Notch, line: Line) -> Notch:
    """A notch with its allowance measured to where it meets the cut line (mitres, folded darts)."""
    near, far = 0.5 * notch.allowance_mm, 2.5 * notch.allowance_mm
    ray = shapely.linestrings([notch.at + near * notch.outward, notch.at + far * notch.outward])
    hits = shapely.get_coordinates(shapely.intersection(ray, shapely.linearrings(line)))
    if not len(hits):
        return notch
    reach = (hits - notch.at) @ notch.outward
    return replace(notch, allowance_mm=float(reach[np.argmin(np.abs(reach - notch.allowance_mm))]))


def _straight(rim_: Rim, wedge: Wedge) -> bool:
    """Whether both legs of a dart are straight to a tenth of a millimetre."""
    for a, b in ((wedge.start, wedge.apex), (wedge.apex, wedge.stop)):
        leg = rim_.take(a, b)
        way = (leg[-1] - leg[0]) / max(float(np.hypot(*(leg[-1] - leg[0]))), 1e-9)
        off = (leg - leg[0]) @ np.array([-way[1], way[0]])
        if np.abs(off).max() > 0.1:
            return False
    return True


def _labels(draft: _Draft, cloth: str, twice: bool, allowance: float) -> tuple[str, ...]:
    """The lines of a piece's block of words."""
    side = {"both": "left and right" if twice else "", "left": "left", "right": "right"}[draft.side]
    side = "" if side in draft.name.lower().replace("_", "-").replace(" ", "-").split("-") else side
    cut = "cut 2: 1 face up, 1 face down" if twice else "cut 1"
    lines = [
        f"{draft.number}  {draft.name}",
        side,
        cut,
        clean(cloth),
        f"allowance {allowance:g} mm included",
    ]
    return tuple(line for line in lines if line)


def _edge_labels(
    draft: _Draft,
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
        runs = _runs_of(draft.rim, chain)
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
    draft: _Draft,
    run: Run,
    numbers: Mapping[str, int],
    names: Mapping[int, str],
    sides: Mapping[str, str],
) -> list[str]:
    """The text of an edge, from the fullest to the shortest."""
    one_sided = len(draft.panels) > 1 or draft.side in ("left", "right")
    seam = _without_side(run.seam) if one_sided else clean(run.seam)
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
