"""Every file of a built suit.

Results are made in a folder beside the wanted one and moved into it file by file when all are there,
so that a failure on the way leaves an earlier result untouched.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from padlib.body.carried import own_places
from padlib.flatten.flat import Flat
from padlib.output.blocks import csv_text
from padlib.output.blocks_html import html_page
from padlib.output.blocks_pdf import pdf_pages
from padlib.output.drawing import Drawing
from padlib.output.dxf import write_dxf
from padlib.output.foam import foam_drawing
from padlib.output.folder import results
from padlib.output.guide_content import guide_blocks
from padlib.output.lay_drawing import lay_drawing
from padlib.output.mesh import obj_text, ply_bytes
from padlib.output.moves_picture import moves_picture
from padlib.output.paper import PAPERS
from padlib.output.pdf import write_projector_pdf, write_roll_pdf, write_tiled_pdf
from padlib.output.plotter import write_plotter
from padlib.output.png import deviation_picture, map_scale, stretch_map
from padlib.output.portrait import Colour, glb_bytes, sheet_picture, suit_picture
from padlib.output.sheet import pattern_sheet
from padlib.output.svg import write_svg
from padlib.pattern.carved import outline
from padlib.progress import Tell, quiet
from padlib.proof.motion import Move
from padlib.proof.proof import Proof
from padlib.suit.built import Built, Clock
from padlib.suit.file import Suit
from padlib.suit.marks import mark_lines
from padlib.suit.matching import flat_summary, share_used
from padlib.suit.steps import (
    panel_cloths,
)
from padlib.suit.whole_report import make_report

STALE = (
    "foam*",
    "proof.png",
    "moves.png",
    "panels/*.obj",
    "maps/*.png",
    "lay-*.svg",
    "pattern-*.*",
)  # of an earlier suit in the same folder  # of an earlier suit in the same folder


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
MARK_COLOUR = (0.93, 0.90, 0.82)  # of a mark whose cloth has no colour


def write_built(
    built: Built,
    out: str | Path,
    *,
    workers: int = 1,
    clock: Clock | None = None,
    tell: Tell = quiet,
    panels: bool = True,
) -> dict[str, Any]:
    """Write every output of a suit into the folder `out`; returns the report.

    workers: processes that write side by side; the files are the same for any number; panels: also each panel's OBJ
    and map.
    """
    clock = clock or Clock()
    with results(Path(out), STALE) as work:
        with clock.step("output"):
            tell("writing", 0.95)
            _write_all(built, work, workers, panels=panels)
        report = make_report(built, clock.seconds)
        _write_report(built, report, work)
    return report


def _write_all(built: Built, folder: Path, workers: int, *, panels: bool) -> None:
    """Write every file but the report and the guide; workers: processes that write side by side."""
    (folder / "panels").mkdir()
    (folder / "maps").mkdir()
    jobs = [*_pattern_jobs(built, folder), *(_panel_jobs(built, folder) if panels else [])]
    jobs.append(partial(_write_pictures, folder, built.flats, *suit_look(built)))
    if built.proof is not None:
        jobs.append(partial(_write_proof, folder / "proof.png", built.proof))
    if built.moves:
        jobs.append(partial(_write_moves, folder / "moves.png", built.moves))
    if workers <= 1:
        _write_surfaces(built, folder)
        for job in jobs:
            job()
        return
    with ProcessPoolExecutor(workers) as pool:
        begun = [pool.submit(job) for job in jobs]
        _write_surfaces(built, folder)
        for done in begun:
            done.result()


def _write_surfaces(built: Built, folder: Path) -> None:
    """Body and outline, and the lays."""
    surface, own = built.body.surface, own_places(built.body)
    data = ply_bytes(surface.vertices, surface.faces, landmarks=own, gap=built.body.gap)
    (folder / "body.ply").write_bytes(data)
    surface = built.shell.surface
    (folder / "shell.ply").write_bytes(ply_bytes(surface.vertices, surface.faces))
    for lay in built.lays:
        write_svg(folder / f"lay-{lay.cloth}.svg", lay_drawing(lay, built.pieces))


def _panel_jobs(built: Built, folder: Path) -> list[Callable[[], object]]:
    limit = built.suit.darts["limit"]
    flats = (*built.flats, *built.pillow_flats)
    scale = map_scale(flats, limit)
    lines = mark_lines(built.carved, flats)
    return [
        partial(_write_panel, flat, folder, scale, limit, lines.get(flat.panel.name, ()))
        for flat in flats
    ]


def _write_panel(
    flat: Flat, folder: Path, scale: float, limit: float, lines: Sequence[np.ndarray]
) -> None:
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
        f"worst {100 * s['max']:.1f} %; {len(flat.darts)} dart{'s' * (len(flat.darts) != 1)}\n{marks}"
    )
    picture = stretch_map(flat, scale=scale, limit=limit, title=name, below=below, lines=lines)
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


def _write_moves(path: Path, moves: Sequence[Move]) -> None:
    path.write_bytes(moves_picture(moves))


def _write_pictures(
    folder: Path,
    flats: Sequence[Flat],
    colours: Mapping[str, Colour | np.ndarray],
    lines: Sequence[np.ndarray],
) -> None:
    """The suit from four sides in its colours, and as a file to turn round in any viewer."""
    panels = [f.panel for f in flats]
    (folder / "suit.png").write_bytes(suit_picture(panels, colours, lines=lines))
    (folder / "suit.glb").write_bytes(glb_bytes(panels, colours))


def _write_sheet(path: Path, sheet: Drawing) -> None:
    path.write_bytes(sheet_picture(sheet))


def suit_look(built: Built) -> tuple[dict[str, Colour | np.ndarray], list[np.ndarray]]:
    """The colour of each panel, of each of its faces where there are marks, and the outlines (k, 3) of marks."""
    out: dict[str, Colour | np.ndarray] = {}
    out |= panel_colours(built.suit, [f.panel.name for f in built.flats])
    lines: list[np.ndarray] = []
    own = {c.name: rgb(c.colour) for c in built.suit.cloths if c.colour}
    if built.carved is None:
        return out, lines
    asked = built.panels.marks.asked
    for flat in built.flats:
        name, tint = flat.panel.name, built.carved.tints[flat.panel.name]
        tones = np.tile(np.array(out[name]), (len(tint), 1))
        for k in np.unique(tint[tint >= 0]).tolist():
            if asked[k].cloth:
                tones[tint == k] = own.get(asked[k].cloth, MARK_COLOUR)
            chains = outline(flat.panel.surface.faces, tint == k)
            lines += [flat.panel.surface.vertices[chain] for chain, _ in chains]
        out[name] = tones
    return out, lines


def panel_colours(suit: Suit, names: Sequence[str]) -> dict[str, Colour]:
    """The colour of each panel: its cloth's, or a tone of its own where the cloth has none."""
    own = {c.name: c.colour for c in suit.cloths if c.colour}
    cloth = panel_cloths(suit, set(names))
    kinds = sorted({n.rpartition("-")[0] for n in names})
    out = {}
    for n in names:
        tone = tuple(PANEL_COLOURS[kinds.index(n.rpartition("-")[0]) % len(PANEL_COLOURS)].tolist())
        text = own.get(cloth[n], "")
        out[n] = rgb(text) if text else tone
    return out


def rgb(text: str) -> Colour:
    """Red, green and blue from 0 to 1 of #rrggbb."""
    return tuple(int(text[k : k + 2], 16) / 255 for k in (1, 3, 5))


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
