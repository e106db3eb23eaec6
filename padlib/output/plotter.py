"""HPGL/2 for pen plotters and cutters: cut lines with one pen, everything else with another.

Written through ezdxf's plotter backend. One plotter unit is 0.025 mm; coordinates carry two decimals of it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import ezdxf
from ezdxf.addons.drawing import Frontend, RenderContext, layout
from ezdxf.addons.drawing.hpgl2 import PlotterBackend

from padlib.findings import Finding
from padlib.output.drawing import CUT, Drawing, Fill, Line, Mark, Words, box
from padlib.output.letters import letter_lines
from padlib.output.whole import write_whole

CUT_PEN, DRAW_PEN = 1, 3  # colour numbers, which the backend takes as pens
MILLIMETRES = 4  # value of $INSUNITS


def write_plotter(path: str | os.PathLike, drawing: Drawing) -> tuple[Finding, ...]:
    """Write a drawing as HPGL/2 at true scale. Raises OutputError where the file cannot be written."""
    write_whole(path, plotter_bytes(drawing))
    return ()


def plotter_bytes(drawing: Drawing) -> bytes:
    """The file's bytes: every line solid, words as outlines, a frame round the sheet, origin
    at its lower left corner."""
    document = ezdxf.new(units=MILLIMETRES)
    space = document.modelspace()
    frame = box(0.0, 0.0, drawing.width_mm, drawing.height_mm)
    space.add_lwpolyline(frame.tolist(), close=True, dxfattribs={"color": DRAW_PEN})
    for part in drawing.parts:
        for mark in part.marks:
            pen = CUT_PEN if not isinstance(mark, Words) and mark.style == CUT else DRAW_PEN
            for line, closed in _lines(mark):
                space.add_lwpolyline(line.tolist(), close=closed, dxfattribs={"color": pen})
    backend = PlotterBackend()
    Frontend(RenderContext(document), backend).draw_layout(space)
    page = layout.Page(drawing.width_mm, drawing.height_mm, layout.Units.mm, layout.Margins.all(0))
    return backend.get_bytes(
        page, settings=layout.Settings(fit_page=False), curves=False, decimal_places=2
    )


def _lines(mark: Mark) -> Iterator[tuple[Line, bool]]:
    """The polylines of a mark, and whether each is closed."""
    if isinstance(mark, Words):
        yield from ((line, True) for line in letter_lines(mark))
    else:
        yield mark.points, isinstance(mark, Fill) or mark.closed
