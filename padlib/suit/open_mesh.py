"""`padlib flatten`: any open mesh laid flat, with outline, stretch map and report."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from padlib.errors import InputError, MeshError
from padlib.findings import Finding
from padlib.flatten.agree import match_flats
from padlib.flatten.cloth import PRESETS
from padlib.flatten.darts import dart_panel
from padlib.flatten.flat import Flat
from padlib.flatten.pins import Pin
from padlib.flatten.together import chains
from padlib.mesh.read import read_mesh
from padlib.mesh.repair import drop_degenerate, drop_doubled, merge_vertices, orient
from padlib.mesh.split import split
from padlib.mesh.surface import Surface
from padlib.mesh.topology import boundary_loops, is_disk
from padlib.output.drawing import CUT, DART, FRAME, Drawing, Part, Stroke, Words, box
from padlib.output.folder import check_folder, results
from padlib.output.mesh import obj_text
from padlib.output.pdf import write_roll_pdf
from padlib.output.png import map_scale, stretch_map
from padlib.output.svg import write_svg
from padlib.seams.panels import Edge, Panel
from padlib.suit.matching import flat_summary
from padlib.suit.reading import nearest
from padlib.suit.report import panel_report
from padlib.version import __version__

UNITS = {"mm": 1.0, "cm": 10.0, "dm": 100.0, "m": 1000.0, "inch": 25.4}
APART = 20.0  # mm between outlines on the sheet
SQUARE = 100.0  # mm, the test square
DOWN = (0.0, 0.0, -1.0)


def open_panels(surface: Surface, name: str) -> tuple[Panel, ...]:
    """The connected parts of an open mesh as panels of one edge each.

    Raises MeshError, naming the part and where to cut it, for one that is not a disk.
    """
    pieces = split(surface.vertices, surface.faces, np.zeros((0, 2), np.int64)).pieces
    panels = []
    for k, piece in enumerate(pieces):
        own = f"{name}-{k + 1}" if len(pieces) > 1 else name
        if not is_disk(piece.faces):
            raise MeshError(_not_a_disk(own, piece.vertices, piece.faces))
        loop = boundary_loops(piece.faces)[0]
        edge = Edge("rim", "sewn", np.append(loop, loop[0]))
        mesh = Surface(piece.vertices, piece.faces)
        panels.append(Panel(own, "both", mesh, np.arange(len(piece.vertices)), (edge,)))
    return tuple(panels)


def _not_a_disk(name: str, vertices: np.ndarray, faces: np.ndarray) -> str:
    loops = boundary_loops(faces)
    if not loops:
        return f"{name}: the mesh is closed, so it cannot be laid flat; cut it open along a seam first."
    at = vertices[min(loops, key=len)].mean(axis=0)
    return (
        f"{name}: the mesh has {len(loops)} borders instead of one; cut it open between them, "
        f"for example near ({at[0]:.0f}, {at[1]:.0f}, {at[2]:.0f})."
    )


def flatten_file(
    path: str | Path,
    out: str | Path,
    *,
    limit: float = 0.05,
    darts: int = 0,
    unit: str = "mm",
    cloth: str = "",
    pile: tuple[float, float, float] = DOWN,
    percentile: float = 95.0,
    pinned: Sequence[Pin] = (),
) -> dict[str, Any]:
    """Lay an open mesh flat and write outline, stretch map, OBJ and report.json into `out`.

    limit: the stretch that the cloth bears, a fraction; darts: most darts; unit: of the file; cloth: a
    kind of cloth, whose own limits go before `limit`; pile: which way its pile lies in space;
    percentile: share of the area, per cent, that must keep the limit; pinned: darts that are cut
    whatever they do, each on the part nearest to its mouth.
    Returns the report. Raises InputError for values out of range and for a pinned dart that is not on
    the mesh, MeshError for a mesh that is no disk.
    """
    checked(limit=limit, percentile=percentile)
    if not 0 <= darts <= 12:
        raise InputError(f"darts is {darts}; it must lie between 0 and 12.")
    own = _own(cloth, pile)
    path, out = Path(path), Path(out)
    check_folder(out)
    panels, found = read_panels(path, unit)
    own |= {"limit": limit if own["cloth"] is None else 1.0, "percentile": percentile}
    most = max(darts, len(pinned))
    flats = [
        dart_panel(panel, max_darts=most, pinned=_pins_on(panel, panels, pinned), **own)
        for panel in panels
    ]
    if any(f.darts for f in flats):
        flats = match_flats(flats, limit=limit)
    report = {
        "padlib": __version__,
        "source": path.name,
        "panels": [panel_report(f) for f in flats],
        "warnings": [str(f) for f in (*found, *(w for flat in flats for w in flat.findings))],
    }
    with results(out) as work:
        _write(flats, limit, report, work)
    return report


def checked(*, limit: float, percentile: float) -> None:
    """Raise InputError where one of these is out of range."""
    if not 0.005 <= limit <= 0.5:
        raise InputError(f"limit is {limit:g}; it must lie between 0.005 and 0.5 (0.05 is 5 %).")
    if not 50.0 <= percentile <= 99.9:
        raise InputError(f"percentile is {percentile:g}; it must lie between 50 and 99.9.")


def read_panels(path: Path, unit: str) -> tuple[tuple[Panel, ...], list[Finding]]:
    """The parts of an open mesh file as panels, in mm, and what was repaired.

    Raises MeshError for a file that cannot be read and for a part that is not a disk.
    """
    surface = read_mesh(path)
    surface = Surface(surface.vertices * UNITS[unit], surface.faces)
    found: list[Finding] = []
    for repair in (merge_vertices, drop_degenerate, drop_doubled, orient):
        surface, told = repair(surface)
        found += told
    return open_panels(surface, path.stem), found


def _pins_on(panel: Panel, panels: Sequence[Panel], pinned: Sequence[Pin]) -> list[Pin]:
    """Those pinned darts whose mouth is nearer to this panel than to any other."""

    def off(other: Panel, pin: Pin) -> float:
        return float(np.linalg.norm(other.surface.vertices - pin.mouth, axis=1).min())

    return [pin for pin in pinned if min(panels, key=lambda p: off(p, pin)) is panel]


def _own(cloth: str, pile: tuple[float, float, float]) -> dict[str, Any]:
    """The kind of cloth and its pile as options of flattening, or InputError."""
    if not cloth:
        return {"cloth": None, "pile": None}
    if cloth not in PRESETS:
        raise InputError(f"cloth kind '{cloth}' is unknown; {nearest(cloth, PRESETS)}")
    return {"cloth": PRESETS[cloth], "pile": pile}


def _write(flats: list[Flat], limit: float, report: dict[str, Any], work: Path) -> None:
    (work / "panels").mkdir()
    (work / "maps").mkdir()
    scale = map_scale(flats, limit)
    for flat in flats:
        name, surface = flat.panel.name, flat.panel.surface
        s = flat_summary(flat)
        below = f"mean {100 * s['mean']:.2f} %, 95 % below {100 * s['p95']:.2f} %, worst {100 * s['max']:.1f} %"
        picture = stretch_map(flat, scale=scale, limit=limit, title=name, below=below)
        (work / "maps" / f"{name}.png").write_bytes(picture)
        text = obj_text(surface.vertices, surface.faces, flat.positions, name=name)
        (work / "panels" / f"{name}.obj").write_text(text)
    sheet = outline_sheet(flats)
    write_svg(work / "outline.svg", sheet)
    write_roll_pdf(work / "outline.pdf", sheet)
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False)
    (work / "report.json").write_text(text + "\n", encoding="utf-8")


def outline_sheet(flats: list[Flat]) -> Drawing:
    """Outlines and dart legs of flats side by side at true scale, with a 100 mm test square."""
    square = box(APART, APART, SQUARE, SQUARE)
    words = Words("100 mm test square", np.array([APART, 0.35 * APART]), 4.0)
    parts = [Part("square", "sheet", (Stroke(FRAME, square, closed=True), words), square)]
    x, top = 2 * APART + SQUARE, 2 * APART + SQUARE
    for flat in flats:
        at = flat.positions - flat.positions.min(axis=0) + [x, APART]
        rim = boundary_loops(flat.panel.surface.faces)[0]
        marks = [Stroke(CUT, at[rim], closed=True)]
        marks += [
            Stroke(DART, at[run])
            for edge in flat.panel.edges
            if edge.kind == "dart"
            for run in chains(flat.panel, edge)
        ]
        marks.append(Words(flat.panel.name, np.array([x, 0.35 * APART]), 4.0))
        parts.append(Part(flat.panel.name, "piece", tuple(marks), at[rim]))
        x, top = at[:, 0].max() + APART, max(top, at[:, 1].max() + APART)
    return Drawing(tuple(parts), float(x), float(top), "outlines")
