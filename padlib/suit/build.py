"""The whole job: from a suit file to a printed pattern, a lay, a guide and a report.

Results are made in a folder beside the wanted one and moved into it file by file when all are there,
so that a failure on the way leaves an earlier result untouched.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from padlib.body.body import Body
from padlib.body.carried import own_places
from padlib.body.measure import Measurements, measure
from padlib.findings import Finding, Grade
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.lay.lay import Lay
from padlib.output.blocks import csv_text
from padlib.output.blocks_html import html_page
from padlib.output.blocks_pdf import pdf_pages
from padlib.output.drawing import Drawing
from padlib.output.dxf import write_dxf
from padlib.output.foam import foam_drawing
from padlib.output.folder import check_folder, results
from padlib.output.guide_content import guide_blocks
from padlib.output.lay_drawing import lay_drawing
from padlib.output.mesh import obj_text, ply_bytes
from padlib.output.paper import PAPERS
from padlib.output.pdf import write_projector_pdf, write_roll_pdf, write_tiled_pdf
from padlib.output.plotter import write_plotter
from padlib.output.png import deviation_picture, map_scale, stretch_map
from padlib.output.portrait import Colour, glb_bytes, sheet_picture, suit_picture
from padlib.output.sheet import pattern_sheet
from padlib.output.svg import write_svg
from padlib.padding.comfort import Comfort, comfort
from padlib.padding.pillow import Pillow, make_pillows
from padlib.padding.shell import Shell, pad_layers
from padlib.pattern.parts import Made
from padlib.pattern.piece import Piece
from padlib.progress import Tell, quiet
from padlib.proof.entry import Way, entry_findings
from padlib.proof.heat import Heat, heat, heat_report
from padlib.proof.proof import Proof
from padlib.proof.spread import Spread, spreads
from padlib.seams.panels import Panel
from padlib.suit import report as reports
from padlib.suit.bill import Bill, bill_report, suit_bill
from padlib.suit.comfort import comfort_report
from padlib.suit.cushions import Cushions, cushion_report, make_cushions
from padlib.suit.ease import suit_eases
from padlib.suit.file import Suit, read_suit
from padlib.suit.matching import flat_summary, share_used
from padlib.suit.order import Work, works
from padlib.suit.parts import parts_report, suit_parts
from padlib.suit.pillows import DOWN, as_pairs, pillow_panels, rim_differences
from padlib.suit.proving import proved
from padlib.suit.sewing import matching_report, seam_report, seams_apart
from padlib.suit.steps import (
    Panels,
    cloths_borne,
    flatten_panels,
    make_panels,
    on_shell,
    over_limit,
    panel_cloths,
    pile_direction,
    suit_body,
    suit_lays,
    suit_pieces,
    suit_room,
    suit_shell,
    suit_ways,
)
from padlib.suit.tables import warnings_of
from padlib.suit.values import rounded
from padlib.suit.wishes import suit_wishes
from padlib.suit.worn import suit_worn, worn_report
from padlib.version import __version__

STALE = (
    "foam*",
    "proof.png",
    "panels/*.obj",
    "maps/*.png",
    "lay-*.svg",
    "pattern-*.*",
)  # of an earlier suit in the same folder
PANEL_COLOURS = np.array(
    [
        [0.55, 0.65, 0.36],
        [0.80, 0.72, 0.50],
        [0.45, 0.57, 0.55],
        [0.72, 0.55, 0.42],
        [0.62, 0.70, 0.50],
        [0.86, 0.80, 0.66],
    ]
)


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
    proof corrected any; ways: into the suit.
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


def run(
    suit: Suit,
    *,
    lay_seconds: float | None = None,
    workers: int = 1,
    tell: Tell = quiet,
    clock: Clock | None = None,
) -> Built:
    """The way through, from the suit's body to its lays. Raises PadlibError in one sentence."""
    clock = clock or Clock()
    limit = suit.darts["limit"]
    with clock.step("body"):
        tell("reading the body", 0.02)
        body = suit_body(suit)
        measurements = measure(body)
    with clock.step("shell"):
        tell("padding the body", 0.1)
        shell = suit_shell(suit, body)
    with clock.step("seams"):
        tell("cutting the shell along the seams", 0.2)
        panels = make_panels(suit, body, shell)
    with clock.step("pillows"):
        tell("making the pads", 0.22)
        each = make_pillows(body, shell, suit.pads) if suit.pillows["make"] else ()
        pad_litres = {(p.name, p.side): p.volume_l for p in each}
        pillows = as_pairs(each)
        cushions = pillow_panels(pillows)
    with clock.step("flatten"):
        laid, eases, eased = _flattened(
            suit, body, shell, panels, cushions, workers=workers, tell=_within(tell, 0.25, 0.7)
        )
        flats, cushion_flats = laid[: len(panels.panels)], laid[len(panels.panels) :]
        differences = rim_differences(pillows, cushion_flats)
    with clock.step("proof"):
        tell("sewing the flats back together", 0.7)
        flats, proof = proved(suit, flats, shell, panels.place, eases)
        ways = suit_ways(suit, body, shell, panels)
        every = (*flats, *cushion_flats)
    with clock.step("pieces"):
        tell("drawing pieces", 0.88)
        parts = suit_parts(
            suit,
            flats,
            panels.place.axes,
            pillows,
            partial(on_shell, body=body, shell=shell, place=panels.place),
            shortest_mm=next((w.shortest_mm or 0.0 for w in ways if w.name == "trunk"), 0.0),
        )
        made = {"each": each, "made": pillows}
        stuffed = make_cushions(suit, body, shell, made, flats, cushion_flats)
        pieces = suit_pieces(suit, every, parts, stuffed.inner)
    with clock.step("lay"):
        tell("laying the pieces on cloth", 0.9)
        lays = suit_lays(suit, pieces, seconds=lay_seconds, tell=_within(tell, 0.9, 0.95))
    findings = (*body.findings, *measurements.warnings, *shell.findings, *panels.findings)
    findings += over_limit(laid, limit) + eased
    seams = seam_report(flats, eases) + seam_report(cushion_flats, eases)
    findings += seams_apart(seams)
    worn, worn_found = worn_report(suit_worn(suit, body), panels.panels)
    felt = comfort(body, shell, measurements.tape_lines, each)
    findings += tuple(f for part in parts for f in part.findings) + stuffed.findings + felt.findings
    findings += worn_found
    findings += tuple(f for lay in lays for f in lay.findings)
    findings += tuple(f for piece in pieces for f in piece.findings)
    findings += tuple(f for flat in laid for f in _of_flat(flat, limit))
    findings += () if proof is None else proof.findings
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    bill = suit_bill(suit, flats, pieces, lays, pillows, parts, seams, stature_mm=stature)
    findings += entry_findings(ways)
    room = suit_room(suit)
    own = [p.surface for p in panels.panels]
    warm = heat(own, shell.surface, body.surface, room=room)
    findings += bill.findings + warm.findings
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
        comfort=felt,
        worn=worn,
        bill=bill,
        heat=warm,
        spread=spreads(panels.panels, felt.girths, measurements.tape_lines),
        laid=laid,
        ways=ways,
    )


def _flattened(
    suit: Suit,
    body: Body,
    shell: Shell,
    panels: Panels,
    cushions: Sequence[Panel],
    *,
    workers: int,
    tell: Tell,
) -> tuple[tuple[Flat, ...], tuple[Ease, ...], tuple[Finding, ...]]:
    """Flats of all panels and cushions, the eases that they have, and what is to be told of these."""
    pile = {p.name: pile_direction(p, panels.place) for p in panels.panels}
    pile |= {p.name: DOWN for p in cushions}
    every = (*panels.panels, *cushions)
    locate = partial(on_shell, body=body, shell=shell, place=panels.place)
    eases, eased = suit_eases(suit.ease, every, locate)
    flats = flatten_panels(
        every,
        pile,
        limit=suit.darts["limit"],
        most=suit.darts["most"],
        cloths=cloths_borne(suit, {p.name for p in every}),
        wishes=suit_wishes(suit.dart, every, panels.place.at),
        percentile=suit.darts["percentile"],
        hide=suit.darts["hide"],
        ease=eases,
        workers=workers,
        tell=tell,
    )
    return flats, eases, eased


def _of_flat(flat: Flat, limit: float) -> tuple[Finding, ...]:
    """A flat's findings; what darts could not reach is no warning where the limit holds all the same."""
    holds = share_used(flat, limit) <= 1.0
    return tuple(f for f in flat.findings if f.grade < Grade.WARNING or not holds)


def _within(tell: Tell, start: float, end: float) -> Tell:
    return lambda words, share: tell(words, start + (end - start) * share)


def make_report(built: Built, seconds: Mapping[str, float]) -> dict[str, Any]:
    """The report of a suit as plain values; `seconds` is the one part that differs between runs."""
    proof = built.proof
    every = (*built.flats, *built.pillow_flats)
    return {
        "padlib": __version__,
        "suit": built.suit.name,
        "body": reports.body_report(built.body, built.measurements),
        "pads": _pads(built),
        "pillows": cushion_report(
            built.cushions, reports.pillow_report(built.pillows, built.pillow_differences)
        ),
        "worn": list(built.worn),
        "comfort": comfort_report(built.comfort, built.suit, built.pieces),
        "panels": [reports.panel_report(f) for f in every],
        "seams": list(built.seams),
        "matching": matching_report(built.laid, built.seams),
        "pieces": reports.piece_report(built.pieces),
        "parts": parts_report(built.parts),
        "order": [
            {"stage": w.stage, "words": w.words, "seams": list(w.seams)} for w in suit_works(built)
        ],
        "cloths": reports.cloth_report([c.bears for c in built.suit.cloths if c.bears]),
        "lay": reports.lay_report(built.lays),
        **({} if built.bill is None else bill_report(built.bill)),
        "proof": ({} if proof is None else proof.told()) | reports.entry_report(built.ways),
        "uncertainty": reports.spread_report(built.spread),
        "heat": {} if built.heat is None else heat_report(built.heat),
        "warnings": warnings_of(built.findings),
        "findings": [
            {
                "number": f.number,
                "grade": f.grade.name.lower(),
                "where": f.where,
                "words": f.words,
                "count": f.count,
            }
            for f in built.findings
        ],
        "seconds": {k: round(v, 3) for k, v in seconds.items()},
    }


def suit_works(built: Built) -> list[Work]:
    """The order of work of a suit."""
    feet = [j.closes for j in built.suit.joined if j.seam == "ankle"]
    return works(
        built.flats,
        built.pieces,
        closure=built.suit.seams["closure"],
        pillows=bool(built.pillows),
        sewn=built.seams,
        parts=built.parts,
        last_leg=feet[0] if feet and feet[0] in ("front", "back") else "",
    )


def _pads(built: Built) -> list[dict[str, Any]]:
    told = []
    for pad, side, layer in pad_layers(built.body, built.suit.pads):
        told.append(
            {
                "name": pad.name,
                "kind": pad.kind,
                "side": side,
                "depth_max_mm": rounded(float(layer.max()), 2),
                "volume_l": rounded(built.pad_litres.get((pad.name, side), 0.0), 4),
            }
        )
    return told


def build(
    suit: Suit | str | Path,
    out: str | Path,
    *,
    lay_seconds: float | None = None,
    workers: int = 1,
    tell: Tell = quiet,
) -> dict[str, Any]:
    """Do the whole job and write every output into the folder `out`; returns the report.

    suit: a suit, or the path of a suit file. lay_seconds: time for packing each cloth, instead of the
    suit's. workers: processes for flattening; the outputs are the same for any number.
    Raises PadlibError; then nothing in `out` was touched.
    """
    out = Path(out)
    check_folder(out)
    clock = Clock()
    suit = suit if isinstance(suit, Suit) else read_suit(suit)
    # Small matrices: threads of the linear algebra library cost more than they give.
    with threadpool_limits(1):
        built = run(suit, lay_seconds=lay_seconds, workers=workers, tell=tell, clock=clock)
    return write_built(built, out, workers=workers, clock=clock, tell=tell)


def write_built(
    built: Built,
    out: str | Path,
    *,
    workers: int = 1,
    clock: Clock | None = None,
    tell: Tell = quiet,
) -> dict[str, Any]:
    """Write every output of a suit into the folder `out`; returns the report.

    workers: processes that write side by side; the files are the same for any number.
    """
    clock = clock or Clock()
    with results(Path(out), STALE) as work:
        with clock.step("output"):
            tell("writing", 0.95)
            _write_all(built, work, workers)
        report = make_report(built, clock.seconds)
        _write_report(built, report, work)
    return report


def _write_all(built: Built, folder: Path, workers: int) -> None:
    """Write every file but the report and the guide; workers: processes that write side by side."""
    (folder / "panels").mkdir()
    (folder / "maps").mkdir()
    jobs = [*_pattern_jobs(built, folder), *_panel_jobs(built, folder)]
    colours = panel_colours(built.suit, [f.panel.name for f in built.flats])
    jobs.append(partial(_write_pictures, folder, built.flats, colours))
    if built.proof is not None:
        jobs.append(partial(_write_proof, folder / "proof.png", built.proof))
    surface, own = built.body.surface, own_places(built.body)
    (folder / "body.ply").write_bytes(ply_bytes(surface.vertices, surface.faces, landmarks=own))
    surface = built.shell.surface
    (folder / "shell.ply").write_bytes(ply_bytes(surface.vertices, surface.faces))
    for lay in built.lays:
        write_svg(folder / f"lay-{lay.cloth}.svg", lay_drawing(lay, built.pieces))
    if workers <= 1:
        for job in jobs:
            job()
        return
    with ProcessPoolExecutor(workers) as pool:
        for done in [pool.submit(job) for job in jobs]:
            done.result()


def _panel_jobs(built: Built, folder: Path) -> list[Callable[[], object]]:
    limit = built.suit.darts["limit"]
    flats = (*built.flats, *built.pillow_flats)
    scale = map_scale(flats, limit)
    return [partial(_write_panel, flat, folder, scale, limit) for flat in flats]


def _write_panel(flat: Flat, folder: Path, scale: float, limit: float) -> None:
    """A panel's OBJ and its stretch map."""
    name, surface = flat.panel.name, flat.panel.surface
    text = obj_text(surface.vertices, surface.faces, flat.positions, name=name)
    (folder / "panels" / f"{name}.obj").write_text(text)
    s = flat_summary(flat)
    own, marks = "", "dashed: the cloth's limit"
    if flat.cloth is not None:
        own = f" ({100 * share_used(flat, limit):.0f} % of its limits)"
        marks = "limits dashed along the pile, dotted across"
    below = (
        f"mean {100 * s['mean']:.1f} %, 95 % of the cloth below {100 * s['p95']:.1f} %{own}, "
        f"worst {100 * s['max']:.1f} %; {len(flat.darts)} dart{'s' * (len(flat.darts) != 1)}; {marks}"
    )
    picture = stretch_map(flat, scale=scale, limit=limit, title=name, below=below)
    (folder / "maps" / f"{name}.png").write_bytes(picture)


def _pattern_jobs(built: Built, folder: Path) -> list[Callable[[], object]]:
    suit = built.suit
    sheet = pattern_sheet(built.pieces, title=suit.name)
    overlap = suit.paper["overlap"]
    tiled = [
        partial(
            write_tiled_pdf, folder / f"pattern-{name.lower()}.pdf", sheet, name, overlap_mm=overlap
        )
        for name in ("A4", "Letter", *(n for n in suit.paper["also"] if n in PAPERS))
    ]
    extra = {"projector": (write_projector_pdf, "pdf"), "plotter": (write_plotter, "hpgl")}
    also = [
        partial(extra[n][0], folder / f"pattern-{n}.{extra[n][1]}", sheet)
        for n in suit.paper["also"]
        if n in extra
    ]
    return [
        *tiled,
        *also,
        *_foam_jobs(built, folder),
        partial(write_roll_pdf, folder / "pattern-roll.pdf", sheet),
        partial(write_svg, folder / "pattern.svg", sheet),
        partial(_write_sheet, folder / "pieces.png", sheet),
        partial(write_dxf, folder / "pattern.dxf", built.pieces, title=suit.name),
    ]


def _foam_jobs(built: Built, folder: Path) -> list[Callable[[], object]]:
    """The foam sheets, where they are asked for."""
    if not built.cushions.stacks:
        return []
    drawing = foam_drawing(built.cushions.stacks, title=built.suit.name)
    overlap = built.suit.paper["overlap"]
    jobs: list[Callable[[], object]] = [
        partial(write_tiled_pdf, folder / f"foam-{n.lower()}.pdf", drawing, n, overlap_mm=overlap)
        for n in ("A4", "Letter")
    ]
    return [*jobs, partial(write_svg, folder / "foam.svg", drawing)]


def _write_proof(path: Path, proof: Proof) -> None:
    at = proof.surface
    path.write_bytes(deviation_picture(at.vertices, at.faces, proof.deviation, lines=proof.seams))


def _write_pictures(folder: Path, flats: Sequence[Flat], colours: Mapping[str, Colour]) -> None:
    """The suit from four sides in its colours, and as a file to turn round in any viewer."""
    panels = [f.panel for f in flats]
    (folder / "suit.png").write_bytes(suit_picture(panels, colours))
    (folder / "suit.glb").write_bytes(glb_bytes(panels, colours))


def _write_sheet(path: Path, sheet: Drawing) -> None:
    path.write_bytes(sheet_picture(sheet))


def panel_colours(suit: Suit, names: Sequence[str]) -> dict[str, Colour]:
    """The colour of each panel: its cloth's, or a tone of its own where the cloth has none."""
    own = {c.name: c.colour for c in suit.cloths if c.colour}
    cloth = panel_cloths(suit, set(names))
    kinds = sorted({n.rpartition("-")[0] for n in names})
    out = {}
    for n in names:
        tone = tuple(PANEL_COLOURS[kinds.index(n.rpartition("-")[0]) % len(PANEL_COLOURS)].tolist())
        text = own.get(cloth[n], "")
        out[n] = tuple(int(text[k : k + 2], 16) / 255 for k in (1, 3, 5)) if text else tone
    return out


def _write_report(built: Built, report: Mapping[str, Any], folder: Path) -> None:
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False)
    (folder / "report.json").write_text(text + "\n", encoding="utf-8")
    suit = built.suit
    blocks = guide_blocks(
        report,
        built.pieces,
        built.lays,
        title=suit.name,
        words=suit.words,
        allowance_mm=suit.pieces["allowance"],
    )
    (folder / "guide.html").write_text(html_page(blocks, suit.name), encoding="utf-8")
    (folder / "guide.pdf").write_bytes(pdf_pages(blocks, suit.name))
    (folder / "guide.csv").write_text(csv_text(blocks), encoding="utf-8", newline="")
