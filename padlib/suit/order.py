"""The order of work, for the guide: darts first, closures while the work is flat, flat before tubes,
sleeves and gussets, legs, the join, hems, pads last. Common practice, no source.

A work is one step: a sentence, the seams that it closes, and the sites of the parts that it sews on.
`padlib.suit.order_check` sews the steps up in thought and says where an order would not do.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from padlib.flatten.flat import Flat
from padlib.pattern.parts.part import Made
from padlib.pattern.parts.site import Site, along, crossed
from padlib.pattern.piece import Piece
from padlib.seams.panels import Panel

# Seams in the order in which they are sewn: while the work still lies flat, then tubes, then the join.
STAGES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("join", "Centre seams, while front and back lie flat", ("centre-front", "centre-back")),
    ("join", "Shoulders", ("shoulder-left", "shoulder-right")),
    ("join", "Sides", ("side-left", "side-right")),
    ("sleeve", "Sleeves: upper to under, the back seam", ("sleeve-back-left", "sleeve-back-right")),
    ("sleeve", "Sleeves: the front seam", ("sleeve-front-left", "sleeve-front-right")),
    ("sleeve", "Sleeves into the armholes", ("armhole-left", "armhole-right")),
    ("leg", "Legs: inner to outer, the {first} seam", ("leg-{first}-left", "leg-{first}-right")),
    ("leg", "Both legs together at the seat", ("seat-seam",)),
    (
        "leg",
        "Legs: the {last} seam, where the foot opens, last",
        ("leg-{last}-left", "leg-{last}-right"),
    ),
    ("hips", "Trunk to legs, from the crotch both ways round", ("hip-left", "hip-right")),
)
DART_LEFT = re.compile(r"-dart-\d+$")  # seams that marks leave of a dart
HEMS = {"neck": "the neck", "wrist": "the wrists", "ankle": "the ankles"}
BY_STAGE = ("flat", "closure", "join", "sleeve", "leg", "hips", "hem", "last")


@dataclass(frozen=True)
class Work:
    """One step: stage of BY_STAGE, a sentence, the names of the seams that it closes and of the parts' pieces.

    sites: where its parts are sewn on; into: seams that are left open for them.
    """

    stage: str
    words: str
    seams: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    sites: tuple[Site, ...] = ()
    into: tuple[str, ...] = ()


def works(
    flats: Sequence[Flat],
    pieces: Sequence[Piece],
    *,
    closure: str,
    pillows: bool,
    sewn: Sequence[Mapping[str, Any]] = (),
    parts: Sequence[Made] = (),
    last_leg: str = "",
    marks: Sequence[str] = (),
) -> list[Work]:
    """The steps, with the seams' names as they stand on the pieces.

    sewn: the seams as the report has them; where one is eased, the step says how much goes in. parts:
    whose own sentences go in where their stage is. last_leg: the seam of the leg that is sewn last,
    front or back; marks: the seams by which marks are set in.
    """
    present = {e.seam for f in flats for e in f.panel.edges}
    out = [
        *_flat_work(pieces),
        *_set_in(marks),
        *_own_seams(present - set(marks), sewn, last_leg or "back"),
        *_of_parts(parts, "flat"),
    ]
    own = _of_parts(parts, "closure")
    if closure != "none" and not any(p.kind == "closure" for p in parts):
        words = f"Set the closure into the centre {closure} while both halves still lie flat."
        own = [Work("closure", words, ("closure",)), *own]
    out += [*own, *_seams(present, sewn, parts, last_leg or "back", opens=_opens(parts, last_leg))]
    hemmed = _hemmed(present, parts)
    if hemmed:
        sites = tuple(along(flats, s, ring=_round(s, present)) for s in hemmed)
        words = f"Hem {', '.join(dict.fromkeys(HEMS[s.split('-')[0]] for s in hemmed))}."
        out.append(Work("hem", words, sites=sites))
    out += _of_parts(parts, "hem")
    if pillows:
        words = (
            "Pads: let the zip into the base along its line, sew top to base all round, turn, fill through the "
            "zip, and tack the cushions inside the suit along their outlines, their marks 1 to 4 on the crosses "
            "of the same numbers (mark 1 is where rim-1 begins)."
        )
        cushions = list(
            dict.fromkeys(s["name"] for s in sewn if s["name"] not in {*present, *marks})
        )
        out.append(Work("last", words + eased_words(sewn, cushions), tuple(cushions)))
    out += _of_parts(parts, "last")
    words = (
        "Try it on with a helper, open and shut the closure, sit, stride and reach; comb all seams."
    )
    return _placed([*out, Work("last", words)], [f.panel for f in flats])


def _placed(order: list[Work], panels: Sequence[Panel]) -> list[Work]:
    """The order with each part after all seams that it runs across, and just before those it is let into."""
    out = [w for w in order if not w.sites or w.seams]
    for work in (w for w in order if w.sites and not w.seams):
        needs = {s for site in work.sites for s in crossed(panels, site)}
        after = max((k for k, w in enumerate(out) if needs & set(w.seams)), default=-1)
        at = max(after + 1, _end(out, work.stage))
        if work.into:
            at = min(k for k, w in enumerate(out) if set(work.into) & set(w.seams))
        stage = work.stage
        if at and BY_STAGE.index(out[at - 1].stage) > BY_STAGE.index(stage):
            stage = out[at - 1].stage
        out.insert(at, replace(work, stage=stage))
    return out


def _end(order: Sequence[Work], stage: str) -> int:
    """Where a stage ends in an order."""
    return sum(BY_STAGE.index(w.stage) <= BY_STAGE.index(stage) for w in order)


def _of_parts(parts: Sequence[Made], stage: str) -> list[Work]:
    """The sentences of parts at a stage."""
    return [
        Work(
            stage,
            s.words,
            {"closure": ("closure",), "slit": (made.name,)}.get(made.kind, ()),
            tuple(b.name for b in made.blanks),
            s.sites,
            s.into,
        )
        for made in parts
        for s in made.steps
        if s.stage == stage
    ]


def _hemmed(present: Collection[str], parts: Sequence[Made]) -> list[str]:
    """The names of the openings that are hemmed, because no part is sewn to them."""
    joined = {seam for made in parts for seam in made.joins}
    open_ = sorted(s for s in present if s.split("-")[0] in HEMS and s not in joined)
    return sorted(open_, key=lambda s: list(HEMS).index(s.split("-")[0]))


def _round(opening: str, present: Collection[str]) -> bool:
    """Whether an opening's edge is one closed round: not the neck with its zip, nor where a slit ends in it."""
    return not opening.startswith("neck") and f"closure-{opening}" not in present


def _flat_work(pieces: Sequence[Piece]) -> list[Work]:
    """Cutting and darts."""
    darted = sorted({p.name for p in pieces if p.darts and p.kind == "panel"})
    cut = (
        "Cut every piece from the back, through the backing only; mark notches, darts and names on the "
        "backing; brush the loose pile out."
    )
    out = [Work("flat", cut)]
    if darted:
        words = (
            f"Darts first: {', '.join(darted)}. Sew from the mouth to the point and run out there."
        )
        out.append(Work("flat", words, ("dart",)))
    return out


def _set_in(marks: Sequence[str]) -> list[Work]:
    """Pieces of another colour, while what they are set into lies flat."""
    if not marks:
        return []
    darts = [m for m in marks if DART_LEFT.search(m)]
    marks = [*darts, *(m for m in marks if m not in darts)]
    first = " First close what the mark leaves of each dart, on both colours." if darts else ""
    words = (
        f"Marks, while their panels lie flat: {', '.join(marks)}.{first} Pin the mark's piece pile to pile "
        "at the notches; where the edge runs round, snip the allowance of the inner curve every 15 mm, and sew "
        "slowly with the pile pushed inwards; comb it out of the seam. Pieces that a mark has parted are then "
        "one panel again."
    )
    return [Work("flat", words, tuple(marks))]


def _seams(
    present: Collection[str],
    sewn: Sequence[Mapping[str, Any]],
    parts: Sequence[Made],
    last: str,
    *,
    opens: bool,
) -> list[Work]:
    """The seams of the plan in stages, with the parts of each stage."""
    out: list[Work] = []
    told: set[str] = set()
    for stage, words, seams in _stages(last):
        here = tuple(s for s in seams if s in present)
        if not here:
            continue
        if stage not in told:
            out += _of_parts(parts, stage)
            told.add(stage)
        words = words if opens else words.replace(", where the foot opens, last", "")
        words = f"{words}: {', '.join(here)}. Match the notches; stitch along the pile."
        out.append(Work(stage, words + eased_words(sewn, here), here))
    return out


def _stages(last: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """STAGES with the leg seam that is sewn last."""
    first = "front" if last == "back" else "back"
    return [
        (
            stage,
            words.format(first=first, last=last),
            tuple(s.format(first=first, last=last) for s in of),
        )
        for stage, words, of in STAGES
    ]


def _own_seams(
    present: Collection[str], sewn: Sequence[Mapping[str, Any]], last: str
) -> list[Work]:
    """The maker's own seams, which part a panel: before all that is sewn onto whole panels, closures too."""
    planned = {s for _, _, of in _stages(last) for s in of}
    ends = {s for s in present if s.split("-")[0] in ("wrist", "ankle", "neck", "closure")}
    ends |= {s for s in present if s.startswith("dart")}
    rest = sorted(set(present) - planned - ends)
    if not rest:
        return []
    words = f"The maker's own seams, while their panels lie flat: {', '.join(rest)}."
    return [Work("flat", words + eased_words(sewn, rest), tuple(rest))]


def _opens(parts: Sequence[Made], last_leg: str) -> bool:
    """Whether a foot is zipped on that opens by itself."""
    return bool(last_leg) and any(made.kind == "joined" for made in parts)


def eased_words(seams: Sequence[Mapping[str, Any]], names: Sequence[str]) -> str:
    """A sentence for each ease on the named seams of a report: how much to ease in, and where."""
    told = [(s["name"], s["ease"]) for s in seams if s["name"] in names and s.get("ease")]
    return "".join(
        f" Ease in {ease['got_mm']:.0f} mm of {ease['panel']} on {name}, spread evenly over "
        f"{ease['along_mm']:.0f} mm between the notches, without pleats."
        for name, ease in told
    )
