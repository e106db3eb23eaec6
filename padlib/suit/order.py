"""The order of work, for the guide: darts first, closures while the work is flat, flat before tubes,
sleeves and gussets, legs, the join, hems, pads last. Common practice, no source.

A work is one step: a sentence and the seams that it closes. `faults` sews the steps up in thought and
says where an order would not do: it knows panels, edges and partners only, not how the order was made.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from padlib.flatten.flat import Flat
from padlib.pattern.parts.part import Made
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
BY_STAGE = ("flat", "closure", "join", "sleeve", "leg", "hips", "hem", "last")


@dataclass(frozen=True)
class Work:
    """One step: stage of BY_STAGE, a sentence, and the names of the seams that it closes."""

    stage: str
    words: str
    seams: tuple[str, ...] = ()


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
    out = [*_flat_work(pieces), *_set_in(marks), *_of_parts(parts, "flat")]
    own = _of_parts(parts, "closure")
    if closure != "none" and not any(p.kind == "closure" for p in parts):
        words = f"Set the closure into the centre {closure} while both halves still lie flat."
        own = [Work("closure", words), *own]
    out += [*own, *_seams(present, sewn, parts, last_leg or "back")]
    hemmed = _hemmed(present, parts)
    out += [Work("hem", f"Hem {', '.join(hemmed)}.")] if hemmed else []
    out += _of_parts(parts, "hem")
    if pillows:
        words = (
            "Pads: let the zip into the base along its line, sew top to base all round, turn, fill through the "
            "zip, and tack the cushions inside the suit along their outlines, their marks 1 to 4 on the crosses "
            "of the same numbers (mark 1 is where rim-1 begins)."
        )
        cushions = [s["name"] for s in sewn if s["name"] not in {*present, *marks}]
        out.append(Work("last", words + eased_words(sewn, cushions), tuple(cushions)))
    out += _of_parts(parts, "last")
    words = (
        "Try it on with a helper, open and shut the closure, sit, stride and reach; comb all seams."
    )
    return [*out, Work("last", words)]


def _of_parts(parts: Sequence[Made], stage: str) -> list[Work]:
    """The sentences of parts at a stage."""
    return [
        Work(stage, s.words, ("closure",) if made.kind == "closure" else ())
        for made in parts
        for s in made.steps
        if s.stage == stage
    ]


def _hemmed(present: Collection[str], parts: Sequence[Made]) -> list[str]:
    """The openings that are hemmed, because no part is sewn to them."""
    joined = {seam for made in parts for seam in made.joins}
    kinds = {"neck": "the neck", "wrist": "the wrists", "ankle": "the ankles"}
    open_ = [s for s in present if s.split("-")[0] in kinds and s not in joined]
    return [words for kind, words in kinds.items() if any(s.split("-")[0] == kind for s in open_)]


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
    words = (
        f"Marks, while their panels lie flat: {', '.join(marks)}. Pin the mark's piece pile to pile at the notches; "
        "where the edge runs round, snip the allowance of the inner curve every 15 mm, and sew slowly with the pile "
        "pushed inwards; comb it out of the seam. Pieces that a mark has parted are then one panel again."
    )
    return [Work("flat", words, tuple(marks))]


def _seams(
    present: Collection[str],
    sewn: Sequence[Mapping[str, Any]],
    parts: Sequence[Made],
    last: str,
) -> list[Work]:
    """The maker's own seams, which part a panel, while it is flat; then those of the plan in stages."""
    first = "front" if last == "back" else "back"
    stages = [
        (
            stage,
            words.format(first=first, last=last),
            tuple(s.format(first=first, last=last) for s in of),
        )
        for stage, words, of in STAGES
    ]
    planned = {s for _, _, of in stages for s in of}
    ends = {s for s in present if s.split("-")[0] in ("wrist", "ankle", "neck", "closure", "dart")}
    rest = sorted(set(present) - planned - ends - {s for s in present if s.startswith("dart")})
    out = []
    if rest:
        words = f"The maker's own seams, while their panels lie flat: {', '.join(rest)}."
        out.append(Work("join", words + eased_words(sewn, rest), tuple(rest)))
    told: set[str] = set()
    for stage, words, seams in stages:
        here = tuple(s for s in seams if s in present)
        if not here:
            continue
        if stage not in told:
            out += _of_parts(parts, stage)
            told.add(stage)
        words = words.replace(", where the foot opens, last", "") if not _opens(parts) else words
        words = f"{words}: {', '.join(here)}. Match the notches; stitch along the pile."
        out.append(Work(stage, words + eased_words(sewn, here), here))
    return out


def _opens(parts: Sequence[Made]) -> bool:
    """Whether a foot is zipped on that opens by itself."""
    return any(made.kind == "joined" for made in parts)


def eased_words(seams: Sequence[Mapping[str, Any]], names: Sequence[str]) -> str:
    """A sentence for each ease on the named seams of a report: how much to ease in, and where."""
    told = [(s["name"], s["ease"]) for s in seams if s["name"] in names and s.get("ease")]
    return "".join(
        f" Ease in {ease['got_mm']:.0f} mm of {ease['panel']} on {name}, spread evenly over "
        f"{ease['along_mm']:.0f} mm between the notches, without pleats."
        for name, ease in told
    )


def faults(panels: Sequence[Panel], order: Sequence[Work]) -> list[str]:
    """What is wrong with an order of work, each in a sentence; empty if nothing is.

    Panels are sewn up edge by edge. Every sewn seam must be in the order once; nothing may be left
    without an opening to turn it through; and no tube (a shape that is not a disk any more) may be
    closed before the flat and closure steps are all done.
    """
    out, done = [], set()
    stages = [BY_STAGE.index(work.stage) for work in order]
    out += [
        f"'{order[k].words[:40]}' comes after later work"
        for k in range(1, len(stages))
        if stages[k] < stages[k - 1]
    ]
    flat_left = [sum(w.stage in ("flat", "closure") for w in order[k:]) for k in range(len(order))]
    cloth = _Cloth(panels)
    for k, work in enumerate(order):
        for seam in work.seams:
            if seam in done:
                out.append(f"seam {seam} is sewn twice")
            done.add(seam)
            shapes = cloth.sew(seam)
            if any(euler < 1 for euler, _ in shapes) and flat_left[k]:
                out.append(f"seam {seam} closes a tube before the flat work is done")
            if any(rim == 0 for _, rim in shapes):
                out.append(f"seam {seam} shuts its pieces in, with no opening left")
    kinds = {e.seam: e.kind for p in panels for e in p.edges}
    return out + [
        f"seam {s} is never sewn"
        for s, kind in sorted(kinds.items())
        if kind == "sewn" and s not in done
    ]


class _Cloth:
    """Panels being sewn: which edges are joined, and what shape each connected lot of them has."""

    def __init__(self, panels: Sequence[Panel]) -> None:
        self.edges = [
            (p.name, k) for p in panels for k, e in enumerate(p.edges) if e.kind != "dart"
        ]
        self.of = {(p.name, k): e for p in panels for k, e in enumerate(p.edges)}
        self.next = {}
        for p in panels:
            own = [(p.name, k) for k, e in enumerate(p.edges) if e.kind != "dart"]
            self.next |= dict(zip(own, own[1:] + own[:1], strict=True))
        self.joined: dict[tuple[str, int], tuple[str, int]] = {}

    def sew(self, seam: str) -> list[tuple[int, int]]:
        """Join all edges of a seam; Euler characteristic and open edges of each lot that it touches."""
        touched = set()
        for key in self.edges:
            edge = self.of[key]
            if edge.seam == seam and edge.partner is not None and edge.partner in self.of:
                self.joined[key] = edge.partner
                touched.add(key[0])
        return [self._shape(lot) for lot in self._lots() if touched & lot]

    def _lots(self) -> list[set[str]]:
        """Panels that hang together."""
        root = {name: name for name, _ in self.edges}

        def find(name: str) -> str:
            while root[name] != name:
                name = root[name]
            return name

        for (one, _), (two, _) in self.joined.items():
            root[find(one)] = find(two)
        lots: dict[str, set[str]] = {}
        for name in root:
            lots.setdefault(find(name), set()).add(name)
        return list(lots.values())

    def _shape(self, lot: set[str]) -> tuple[int, int]:
        """Vertices - edges + faces of a lot of polygons glued along their joined edges; open edges."""
        keys = [k for k in self.edges if k[0] in lot]
        root = {(k, end): (k, end) for k in keys for end in (0, 1)}

        def find(at: Any) -> Any:
            while root[at] != at:
                at = root[at]
            return at

        for k in keys:
            root[find((k, 1))] = find((self.next[k], 0))
            if k in self.joined:
                root[find((k, 0))] = find((self.joined[k], 1))
                root[find((k, 1))] = find((self.joined[k], 0))
        corners = len({find(at) for at in root})
        shut = sum(k in self.joined for k in keys)
        return corners - (len(keys) - shut // 2) + len(lot), len(keys) - shut
