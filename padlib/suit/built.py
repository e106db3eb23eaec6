"""The way through, from the suit's body to its lays, before any file is written."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from padlib.body.body import Body
from padlib.body.doubt import with_doubts
from padlib.body.measure import Measurements, measure
from padlib.findings import Finding, Grade
from padlib.flatten.cloth import PRESETS
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.lay.lay import Lay
from padlib.padding.comfort import Comfort, comfort
from padlib.padding.dressed import Dressed
from padlib.padding.pillow import Pillow, make_pillows
from padlib.padding.shell import Shell
from padlib.pattern.carved import Carved
from padlib.pattern.parts import Made
from padlib.pattern.piece import Piece
from padlib.progress import Tell, quiet, within
from padlib.proof.entry import Way, entry_findings
from padlib.proof.heat import Heat, heat
from padlib.proof.motion import Move, motion_findings
from padlib.proof.proof import Proof
from padlib.proof.spread import Spread, spreads
from padlib.seams.panels import Panel
from padlib.suit.bill import Bill, suit_bill
from padlib.suit.cushions import Cushions, make_cushions
from padlib.suit.darting import dart_ends
from padlib.suit.ease import suit_eases
from padlib.suit.file import Suit
from padlib.suit.known import Known
from padlib.suit.lays import Early, cushion_lays, suit_lays
from padlib.suit.marks import carved, mark_seams
from padlib.suit.matching import share_used
from padlib.suit.parts import suit_parts
from padlib.suit.pillows import DOWN, as_pairs, pillow_panels, rim_differences
from padlib.suit.proving import SEWING, laid_to_rest, moves_of, proved, sewn_back
from padlib.suit.sewing import seam_report, seams_apart
from padlib.suit.spread import beside
from padlib.suit.steps import (
    Panels,
    flatten_panels,
    flattening,
    make_panels,
    on_shell,
    over_limit,
    panel_views,
    suit_body,
    suit_pieces,
    suit_room,
    suit_shell,
    suit_ways,
)
from padlib.suit.stuffing import Stuffed, stuff
from padlib.suit.wishes import suit_wishes
from padlib.suit.worn import suit_worn, worn_report

LayCushions = Callable[[Sequence[Panel], bool, Sequence[Flat]], Sequence[Flat]]
KNIT = "four-way-lycra"  # what a base in a hollow is laid as


@dataclass
class Clock:
    """Seconds of each step, in order."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time one step."""
        start = time.perf_counter()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start


@dataclass(frozen=True)
class Built:
    """Everything that the way through gives, before any file is written.

    seams: seams[] of the report, those of the suit, then those of its pads; parts: what no flattening
    gives, the closure and what is zipped on among them; laid: the flats of suit and cushions before the
    proof corrected any; ways: into the suit; moves: of the wearer in it; carved: the
    flats as marks part them, None without marks.
    """

    suit: Suit
    body: Body
    measurements: Measurements
    shell: Shell
    panels: Panels
    flats: tuple[Flat, ...]
    pad_litres: Mapping[tuple[str, str], float]
    pillows: tuple[Pillow, ...]
    pillow_flats: tuple[Flat, ...]
    pillow_differences: Mapping[tuple[str, str], float]
    pieces: tuple[Piece, ...]
    lays: tuple[Lay, ...]
    proof: Proof | None
    findings: tuple[Finding, ...]
    seams: Sequence[Mapping[str, Any]]
    parts: tuple[Made, ...] = ()
    cushions: Cushions = field(default_factory=Cushions)
    comfort: Comfort = field(default_factory=Comfort)
    worn: Sequence[Mapping[str, Any]] = ()
    bill: Bill | None = None
    heat: Heat | None = None
    spread: Mapping[str, Spread] = field(default_factory=dict)
    laid: tuple[Flat, ...] = ()
    ways: tuple[Way, ...] = ()
    moves: tuple[Move, ...] = ()
    carved: Carved | None = None


def run(
    suit: Suit,
    *,
    lay_seconds: float | None = None,
    workers: int = 1,
    tell: Tell = quiet,
    clock: Clock | None = None,
    body: Body | None = None,
    dressed: Dressed | None = None,
) -> Built:
    """The way through, from the suit's body to its lays. Raises PadlibError in one sentence.

    body, dressed: the suit's own, where they are there already.
    """
    clock = clock or Clock()
    limit = suit.darts["limit"]
    with clock.step("body"):
        tell("reading the body", 0.02)
        body = suit_body(suit) if body is None else body
        measurements = with_doubts(body, measure(body), suit.measurements)
    with clock.step("shell"):
        tell("padding the body", 0.1)
        shell = suit_shell(suit, body, dressed)
    apart = workers > 1
    padding = partial(make_pillows, body, shell, suit.pads) if suit.pillows["make"] else tuple
    with beside(padding, apart=apart) as made:
        with clock.step("seams"):
            tell("cutting the shell along the seams", 0.2)
            panels = make_panels(suit, body, shell)
        with clock.step("pillows"):
            tell("making the pads", 0.22)
            each = made()
            pad_litres = {(p.name, p.side): p.volume_l for p in each}
            pillows = as_pairs(each)
            cushions = pillow_panels(pillows)
    with clock.step("flatten"):
        asked, eases, eased = _asked(suit, body, shell, panels, cushions)
        lay = partial(cushions_laid, flattening(suit, (), {p.name for p in cushions}) | asked, {})
        sewn = suit.proof["sew"]
        filling = partial(_filled, suit, pillows, cushions, lay, sewn=sewn, seconds=lay_seconds)
        begun = flatten_panels(
            panels.panels,
            panels.pile,
            **flattening(suit, {p.name for p in panels.panels}) | asked,
            workers=workers,
            tell=within(tell, 0.25, 0.7),
        )
    with beside(filling, apart=apart and len(cushions) > 0) as filled:
        with clock.step("proof"):
            rest = laid_to_rest(suit, begun, shell, panels, eases, tell=within(tell, 0.7, 0.82))
        with clock.step("cushions"):
            tell("filling the cushions", 0.82)
            full, laid_soon = filled()
    cushion_flats = full.flats
    laid, eased = (*begun, *cushion_flats), (*eased, *full.findings)
    differences = rim_differences(pillows, cushion_flats)
    pads = {"each": each, "made": pillows}
    drawn = partial(_drawn, suit, body, shell, panels, pads, full, laid_soon, lay_seconds)
    ways = suit_ways(suit, body, shell, panels)
    wearing = partial(_wearing, suit, body, shell, panels, measurements, each)
    proof, early = None, None
    if suit.proof["sew"]:
        sewing = partial(sewn_back, suit, rest.flats, shell, panels)
        with beside(sewing, apart=apart) as sewn:
            tell(SEWING, 0.83)
            if apart:  # mostly these flats will be cut
                early = drawn(rest.flats, ways, 1, clock=clock, tell=within(tell, 0.83, 0.86))
            with clock.step("wearing"):
                worn = wearing()
            with clock.step("proof"):
                as_laid = sewn()
                more = within(tell, 0.86, 0.88)
                flats, proof = proved(suit, rest, as_laid, shell, panels, eases, tell=more)
    else:
        flats, worn = rest.flats, wearing()
    with clock.step("moves"):
        if suit.proof["moves"]:
            tell("moving in the sewn suit", 0.88)
        moves = moves_of(suit, flats, proof, body, shell)
    if early is None or flats is not rest.flats:
        early = drawn(flats, ways, clock=clock, tell=within(tell, 0.88, 0.95))
    parts, stuffed, parted, pieces, lays = early
    findings = (*body.findings, *measurements.warnings, *shell.findings, *panels.findings)
    findings += over_limit(laid, limit) + eased
    seams = seam_report(flats, eases) + seam_report(cushion_flats, eases)
    seams += mark_seams(parted)
    findings += parted.findings if parted is not None else ()
    findings += seams_apart(seams)
    findings += tuple(f for part in parts for f in part.findings)
    findings += stuffed.findings + worn.comfort.findings + worn.findings
    findings += tuple(f for lay in lays for f in lay.findings)
    findings += tuple(f for piece in pieces for f in piece.findings)
    findings += tuple(f for flat in laid for f in _of_flat(flat, limit))
    findings += () if proof is None else proof.findings
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    bill = suit_bill(suit, flats, pieces, lays, pillows, parts, seams, stature_mm=stature)
    findings += entry_findings(ways) + motion_findings(moves)
    findings += bill.findings + worn.heat.findings
    return Built(
        suit,
        body,
        measurements,
        shell,
        panels,
        flats,
        pad_litres,
        pillows,
        cushion_flats,
        differences,
        pieces,
        lays,
        proof,
        findings,
        seams,
        parts=parts,
        cushions=stuffed,
        comfort=worn.comfort,
        worn=worn.report,
        bill=bill,
        heat=worn.heat,
        spread=worn.spread,
        laid=laid,
        ways=ways,
        moves=moves,
        carved=parted,
    )


@dataclass(frozen=True)
class _Wearing:
    """What the shell and its panels tell of the suit being worn, whatever its flats are."""

    report: Sequence[Mapping[str, Any]]
    findings: tuple[Finding, ...]
    comfort: Comfort
    heat: Heat
    spread: Mapping[str, Spread]


def _wearing(
    suit: Suit,
    body: Body,
    shell: Shell,
    panels: Panels,
    measurements: Measurements,
    each: Sequence[Pillow],
) -> _Wearing:
    report, found = worn_report(suit_worn(suit, body), panels.panels)
    felt = comfort(body, shell, measurements.tape_lines, each)
    own = [p.surface for p in panels.panels]
    warm = heat(own, shell.surface, body.surface, room=suit_room(suit))
    over = spreads(panels.panels, felt.girths, measurements.tape_lines)
    return _Wearing(report, found, felt, warm, over)


def _asked(
    suit: Suit, body: Body, shell: Shell, panels: Panels, cushions: Sequence[Panel]
) -> tuple[dict[str, Any], tuple[Ease, ...], tuple[Finding, ...]]:
    """What is asked of the flats of suit and cushions alike, its eases, and what is to be told of these."""
    every = (*panels.panels, *cushions)
    locate = partial(on_shell, body=body, shell=shell, place=panels.place)
    eases, eased = suit_eases(suit.ease, every, locate)
    wished = dict(suit_wishes(suit.dart, every, panels.place.at))
    asked: dict[str, Any] = {"ease": eases, "wishes": wished}
    asked["views"] = panel_views(every) if suit.darts["hide"] and suit.darts["most"] else {}
    return asked, eases, eased


def _drawn(
    suit: Suit,
    body: Body,
    shell: Shell,
    panels: Panels,
    pads: Mapping[str, Sequence[Pillow]],
    full: Stuffed,
    early: Sequence[Early],
    lay_seconds: float | None,
    flats: Sequence[Flat],
    ways: Sequence[Way],
    beside: int = 0,
    *,
    clock: Clock,
    tell: Tell,
) -> tuple[tuple[Made, ...], Cushions, Carved | None, tuple[Piece, ...], tuple[Lay, ...]]:
    """Parts, cushions, flats as marks part them, pieces and lays of the suit's own flats; pads: the pillows one by
    one and as pairs, as `make_cushions` takes them."""
    with clock.step("pieces"):
        tell("drawing pieces", 0.0)
        parts = suit_parts(
            suit,
            flats,
            panels.place.axes,
            pads["made"],
            partial(on_shell, body=body, shell=shell, place=panels.place),
            shortest_mm={w.name: w.shortest_mm or 0.0 for w in ways},
        )
        stuffed = make_cushions(suit, body, shell, pads, flats, full.flats, full.litres, full.cut_l)
        every = (*flats, *full.flats)
        parted = carved(suit, panels.marks, panels.panels, panels.tints, every)
        pieces = suit_pieces(suit, every, parts, stuffed.inner, parted)
    with clock.step("lay"):
        tell("laying the pieces on cloth", 0.3)
        own = {"seconds": lay_seconds, "early": early, "beside": beside}
        lays = suit_lays(suit, pieces, tell=within(tell, 0.3, 1.0), **own)
    return parts, stuffed, parted, pieces, lays


def _filled(
    suit: Suit,
    pillows: Sequence[Pillow],
    cushions: Sequence[Panel],
    lay: LayCushions,
    *,
    sewn: bool,
    seconds: float | None,
) -> tuple[Stuffed, tuple[Early, ...]]:
    """The cushions laid flat; sewn: and filled, and laid again until they hold their pads' volume; their lays."""
    flats = tuple(lay(cushions, False, ())) if cushions else ()
    full = stuff(pillows, flats, lay) if sewn and flats else Stuffed(flats)
    return full, cushion_lays(suit, full.flats, seconds=seconds) if flats else ()


def cushions_laid(
    asked: Mapping[str, Any],
    known: Known,
    cushions: Sequence[Panel],
    knit: bool,
    like: Sequence[Flat] = (),
) -> tuple[Flat, ...]:
    """Flats of cushions, for which and among which no other panel matters; their darts, which nobody sees, are not
    polished.

    asked: of them by the suit, as `flatten_panels` takes it; known: what was darted before, to which is added; knit:
    their bases are of a stretch knit, whatever the suit file says; like: flats whose darts those of tops begin with.
    """
    if knit:
        bases = {p.name: PRESETS[KNIT] for p in cushions if p.name.endswith("-base")}
        asked = {**asked, "cloths": {**asked["cloths"], **bases}}
    tops = (f for f in like if f.panel.name.endswith("-top"))
    pinned = {name for name, wish in asked.get("wishes", {}).items() if wish.pins}
    begun = {f.panel.name: dart_ends(f) for f in tops if f.panel.name not in pinned}
    pile = {p.name: DOWN for p in cushions}
    return flatten_panels(cushions, pile, known=known, like=begun, polish=False, **asked)


def _of_flat(flat: Flat, limit: float) -> tuple[Finding, ...]:
    """A flat's findings; what darts could not reach is no warning where the limit holds all the same."""
    holds = share_used(flat, limit) <= 1.0
    return tuple(f for f in flat.findings if f.grade < Grade.WARNING or not holds)
