"""DXF: one block for each piece, layers by the numbers of the sewn-products interchange practice.

Layer numbers and text keys after ASTM D6673 (withdrawn 2019), VALUES 4.1. The seam partners, which
that practice has no place for, are in the edge texts on layer 15.
"""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Iterator, Sequence

import ezdxf
import numpy as np
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import BlockLayout
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.output.drawing import Line, notch_lines
from padlib.output.whole import write_whole
from padlib.pattern.edge import corners
from padlib.pattern.label import lines_of
from padlib.pattern.lettering import clean
from padlib.pattern.piece import Piece

LAYERS = {
    "1": "piece boundary",
    "2": "turn points",
    "4": "notches",
    "7": "grain line",
    "8": "internal lines",
    "11": "internal cutouts",
    "13": "drill holes",
    "14": "sew lines",
    "15": "annotation text",
    "80": "T notches",
    "81": "castle notches",
    "82": "check notches",
    "83": "U notches",
}
NOTCH_LAYERS = {"slit": "4", "v": "4", "t": "80", "castle": "81", "check": "82", "u": "83"}
DASHES = {"8": ("DART", [12.0, 9.0, -1.2, 0.0, -1.8]), "14": ("SEW", [6.0, 4.0, -2.0])}
RELEASE = "R2010"  # text in UTF-8, so that every name survives
MILLIMETRES = 4  # value of $INSUNITS
APART_MM = 50.0  # between blocks that are placed in a row


def write_dxf(
    path: str | os.PathLike,
    pieces: Sequence[Piece],
    *,
    title: str = "",
    places: Sequence[NDArray[np.float64]] | None = None,
) -> tuple[Finding, ...]:
    """Write pieces as DXF in mm: a block each, inserted once.

    places (2,) each: where the origin of each piece goes; side by side if None.
    Raises OutputError where the file cannot be written.
    """
    write_whole(path, dxf_bytes(pieces, title=title, places=places))
    return ()


def dxf_bytes(
    pieces: Sequence[Piece],
    *,
    title: str = "",
    places: Sequence[NDArray[np.float64]] | None = None,
) -> bytes:
    """The file's bytes, the same for the same pieces."""
    with _still():
        document = _document(pieces, title, _in_a_row(pieces) if places is None else places)
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)  # ezdxf goes through a set, in another order each run
        stream = io.StringIO()
        document.write(stream)
        return document.encode(stream.getvalue())


def _document(
    pieces: Sequence[Piece], title: str, places: Sequence[NDArray[np.float64]]
) -> Document:
    """The pieces as a DXF document."""
    document = ezdxf.new(RELEASE, units=MILLIMETRES)
    document.header["$MEASUREMENT"] = 1
    for layer in LAYERS:
        document.layers.add(layer)
    for layer, (name, pattern) in DASHES.items():
        document.linetypes.add(name, pattern)
        document.layers.get(layer).dxf.linetype = name
    space = document.modelspace()
    for piece, place in zip(pieces, places, strict=True):
        block = document.blocks.new(f"PIECE_{piece.number}")
        _draw_piece(block, piece, title)
        space.add_blockref(block.name, tuple(map(float, place)), dxfattribs={"layer": "1"})
    return document


def _in_a_row(pieces: Sequence[Piece]) -> list[NDArray[np.float64]]:
    """Origins that put the pieces side by side on one line."""
    out, x = [], 0.0
    for piece in pieces:
        low = piece.cut_line.min(axis=0)
        out.append(np.array([x, 0.0]) - low)
        x += float(np.ptp(piece.cut_line[:, 0])) + APART_MM
    return out


def _draw_piece(block: BlockLayout, piece: Piece, title: str) -> None:
    """Everything of one piece on its layer."""
    block.add_lwpolyline(piece.cut_line.tolist(), close=True, dxfattribs={"layer": "1"})
    block.add_lwpolyline(piece.sew_line.tolist(), close=True, dxfattribs={"layer": "14"})
    for line in (piece.cut_line, piece.sew_line):
        for point in line[corners(line)[1]]:
            block.add_point(tuple(point), dxfattribs={"layer": "2"})
    for notch in piece.notches:
        for line in notch_lines(notch):
            layer = NOTCH_LAYERS[notch.style]
            if len(line) == 2:
                block.add_line(tuple(line[0]), tuple(line[1]), dxfattribs={"layer": layer})
            else:
                block.add_lwpolyline(line.tolist(), dxfattribs={"layer": layer})
        _add_text(block, notch.pair, notch.at - 4.0 * notch.outward, 2.3, middle=True)
    block.add_line(tuple(piece.pile[0]), tuple(piece.pile[1]), dxfattribs={"layer": "7"})
    for barb in _barbs(piece.pile):
        block.add_line(tuple(piece.pile[1]), tuple(barb), dxfattribs={"layer": "7"})
    for dart in piece.darts:
        block.add_lwpolyline(dart.tolist(), dxfattribs={"layer": "8"})
        apex = dart[int(np.argmax(np.hypot(*(dart - 0.5 * (dart[0] + dart[-1])).T)))]
        block.add_circle(tuple(apex), 1.6, dxfattribs={"layer": "13"})
    for line in piece.inner:  # layer 11 is cut, layer 8 is not
        layer = "11" if line.purpose == "cutout" else "8"
        points = line.points[:-1] if line.closed and _shut(line.points) else line.points
        block.add_lwpolyline(points.tolist(), close=line.closed, dxfattribs={"layer": layer})
        words = line.words or line.purpose
        _add_text(block, words, points[int(np.argmin(points[:, 1]))] + [0.0, 2.0], 2.2, middle=True)
    for label in piece.edge_labels:
        _add_text(block, label.text, label.at, label.height_mm, angle=label.angle_deg, middle=True)
    for words, at, height in lines_of(piece.labels, piece.label_at, piece.label_mm):
        _add_text(block, words, at, height)
    _add_keys(block, piece, title)


def _shut(points: Line) -> bool:
    """Whether a line ends where it begins."""
    return bool(np.hypot(*(points[0] - points[-1])) < 1e-9)


def _add_keys(block: BlockLayout, piece: Piece, title: str) -> None:
    """The practice's texts of a piece, below its block of words."""
    keys = [
        ("PIECE NAME", f"{piece.number} {piece.name}"),
        (
            "QUANTITY",
            f"{piece.count}" if not piece.mirrored else f"{piece.count // 2},{piece.count // 2}",
        ),
        ("MATERIAL", piece.cloth),
        ("ANNOTATION", f"side {piece.side}, allowance {piece.allowance_mm:g} mm"),
    ]
    keys += [("STYLE NAME", title)] if title else []
    x, y = piece.label_at - [0.0, 1.75 * piece.label_mm * len(piece.labels) + 2.0]
    for k, (key, value) in enumerate(keys):
        at = np.array([x, y - 3.2 * k])
        block.add_text(
            f"{key}: {clean(value)}", height=1.8, dxfattribs={"layer": "1"}
        ).set_placement(tuple(at))


def _add_text(
    block: BlockLayout,
    words: str,
    at: Line,
    height: float,
    *,
    angle: float = 0.0,
    middle: bool = False,
) -> None:
    """Words on layer 15."""
    text = block.add_text(clean(words), height=height, rotation=angle, dxfattribs={"layer": "15"})
    align = TextEntityAlignment.MIDDLE_CENTER if middle else TextEntityAlignment.LEFT
    text.set_placement(tuple(map(float, at)), align=align)


def _barbs(shaft: Line) -> Line:
    """Ends (2, 2) of the two barbs of the pile arrow."""
    way = (shaft[1] - shaft[0]) / max(float(np.hypot(*(shaft[1] - shaft[0]))), 1e-9)
    aside = np.array([-way[1], way[0]])
    return np.array([shaft[1] - 7.0 * way + 2.5 * aside, shaft[1] - 7.0 * way - 2.5 * aside])


@contextlib.contextmanager
def _still() -> Iterator[None]:
    """Dates and identities held still while a document is made and written, so that its bytes repeat."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
