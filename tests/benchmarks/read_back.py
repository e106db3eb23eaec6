"""A suit's printed files read by programs that are not ours: PDF pages as lines, pixels, SVG, DXF; all mm."""

from __future__ import annotations

import ctypes
import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
import shapely

MM = 25.4 / 72.0
SVG = "{http://www.w3.org/2000/svg}"
FURNITURE = (0.2, 0.25)  # widths of page joins and frames, mm
DPI = 600
NAMED = re.compile(r"([A-Z]+)(\d+)$")


def strokes(page: pdfium.PdfPage) -> Iterator[tuple[float, np.ndarray, bool]]:
    """Width mm, points (k, 2) mm from the page's lower left corner, closed: of every stroked polyline of a page."""
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(item.raw, fill, stroke)
        if not stroke.value:
            continue
        width, turn = ctypes.c_float(), item.get_matrix()
        raw.FPDFPageObj_GetStrokeWidth(item.raw, width)
        points, shut = [], False
        for k in range(raw.FPDFPath_CountSegments(item.raw)):
            part, x, y = (
                raw.FPDFPath_GetPathSegment(item.raw, k),
                ctypes.c_float(),
                ctypes.c_float(),
            )
            raw.FPDFPathSegment_GetPoint(part, x, y)
            points.append(turn.on_point(x.value, y.value))
            shut |= bool(raw.FPDFPathSegment_GetClose(part))
        if len(points) > 1:
            yield round(width.value, 3), MM * np.array(points), shut


def bits(lines: list[tuple[float, np.ndarray, bool]]) -> dict[float, np.ndarray]:
    """Segments (s, 2, 2) by width of line."""
    out: dict[float, list[np.ndarray]] = {}
    for width, points, shut in lines:
        ring = np.concatenate([points, points[:1]]) if shut else points
        out.setdefault(width, []).append(np.stack([ring[:-1], ring[1:]], axis=1))
    return {w: np.concatenate(found) for w, found in out.items()}


def window(lines: list[tuple[float, np.ndarray, bool]]) -> np.ndarray:
    """Corners (2, 2) of a page's frame: its largest closed rectangle."""
    boxes = [p for w, p, shut in lines if shut and w == 0.25 and len(p) in (4, 5)]
    best = max(boxes, key=lambda p: float(np.prod(np.ptp(p, axis=0))))
    return np.array([best.min(axis=0), best.max(axis=0)])


def cell(name: str) -> tuple[int, int] | None:
    """Row and column of a page called by its letters and number; None for map and lists."""
    found = NAMED.match(name)
    if not found:
        return None
    row = 0
    for letter in found[1]:
        row = 26 * row + ord(letter) - 64
    return row - 1, int(found[2]) - 1


def pages(path: Path) -> list[tuple[str, pdfium.PdfPage]]:
    """Pages of a file with their names in its outline."""
    document = pdfium.PdfDocument(path)
    names = {}
    for item in document.get_toc():
        get = item.get_title if hasattr(item, "get_title") else lambda i=item: i.title
        at = item.get_dest().get_index() if hasattr(item, "get_dest") else item.page_index
        names[at] = get()
    return [(names[k], document[k]) for k in range(len(document))]


def along(segments: np.ndarray, step: float = 2.0) -> np.ndarray:
    """Points (p, 2) on segments (s, 2, 2), their ends and every `step` mm between."""
    size = np.hypot(*(segments[:, 1] - segments[:, 0]).T)
    out = []
    for count in np.unique(np.ceil(size / step).astype(int)):
        own = segments[np.ceil(size / step).astype(int) == count]
        for t in np.linspace(0.0, 1.0, count + 1):
            out.append((1 - t) * own[:, 0] + t * own[:, 1])
    return np.concatenate(out) if out else np.zeros((0, 2))


def apart(points: np.ndarray, segments: np.ndarray) -> np.ndarray:
    """Distance (p,) of each point from the nearest segment."""
    if not len(points):
        return np.zeros(0)
    if not len(segments):
        return np.full(len(points), np.inf)
    tree = shapely.STRtree(shapely.linestrings(segments))
    (which, _), off = tree.query_nearest(
        shapely.points(points), return_distance=True, all_matches=False
    )
    out = np.full(len(points), np.inf)
    out[which] = off
    return out


def within(points: np.ndarray, box: np.ndarray, inset: float) -> np.ndarray:
    """Which points (p,) lie in a box (2, 2) less an inset."""
    return np.all((points > box[0] + inset) & (points < box[1] - inset), axis=1)


def middles(grey: np.ndarray, axis: int) -> np.ndarray:
    """Middles (px) of the bands that are dark over most of an image's other axis."""
    on = (grey < 128).mean(axis=axis) > 0.8
    ends = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    return 0.5 * (ends[::2] + ends[1::2])


def crop(page: pdfium.PdfPage, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """A box of a page (mm) as a grey image at DPI."""
    width, height = page.get_size()
    room = (low[0] / MM, low[1] / MM, width - high[0] / MM, height - high[1] / MM)
    return page.render(scale=DPI / 72, crop=room).to_numpy()[..., :3].mean(axis=2)


def between(page: pdfium.PdfPage, low: np.ndarray, high: np.ndarray, axis: int) -> float:
    """Millimetres between the first and the last dark band across (0) or up (1) a box of a page, by its pixels."""
    found = middles(crop(page, low, high), axis)
    return float(found[-1] - found[0]) * 25.4 / DPI if len(found) > 1 else float("nan")


def squares(page: pdfium.PdfPage, side: float) -> list[tuple[float, float]]:
    """Width and height in mm, by pixels, of each square of a side on a page."""
    out = []
    for _, points, shut in strokes(page):
        low, high = points.min(axis=0), points.max(axis=0)
        if shut and len(points) in (4, 5) and np.abs(high - low - side).max() < 0.7:
            third = low + (high - low) / 3
            a = between(page, [low[0] - 3, third[1] - 4], [high[0] + 3, third[1]], 0)
            b = between(page, [third[0] - 4, low[1] - 3], [third[0], high[1] + 3], 1)
            out.append((a, b))
    return out


def svg_lines(path: Path) -> tuple[dict[tuple[str, str], list[np.ndarray]], list[np.ndarray]]:
    """Polylines by layer and piece, y up from the sheet's lower edge; and the boxes (2, 2) of what is no piece."""
    root = ElementTree.parse(path).getroot()
    height = float(root.get("height").removesuffix("mm"))
    out: dict[tuple[str, str], list[np.ndarray]] = {}
    other: dict[str, list[np.ndarray]] = {}
    for layer in root.findall(f"{SVG}g"):
        for part in layer:
            for line in part.iter(f"{SVG}path"):
                numbers = re.findall(r"-?[\d.]+", line.get("d"))
                points = np.array(numbers, dtype=float).reshape(-1, 2) * [1, -1] + [0, height]
                if part.get("class") == "piece":
                    out.setdefault((layer.get("id"), part.get("data-part")), []).append(points)
                else:
                    other.setdefault(part.get("data-part"), []).append(points)
    boxes = [np.concatenate(p) for p in other.values()]
    return out, [np.array([b.min(axis=0), b.max(axis=0)]) for b in boxes]


def dxf_lines(path: Path) -> tuple[int, dict[str, dict[str, np.ndarray]]]:
    """Errors that the audit finds (and mends), and by piece the closed lines of layers 1 (cut) and 14 (sew)."""
    document = ezdxf.readfile(path)
    audit = document.audit()
    out = {}
    for insert in document.modelspace().query("INSERT"):
        block = document.blocks.get(insert.dxf.name)
        (name,) = [
            t.dxf.text.removeprefix("PIECE NAME: ")
            for t in block.query("TEXT")
            if t.dxf.text.startswith("PIECE NAME: ")
        ]
        out[name] = {
            layer: np.array([v[:2] for v in line.vertices()])
            for layer in ("1", "14")
            for line in block.query(f'LWPOLYLINE[layer=="{layer}"]')[:1]
        }
    return len(audit.errors) + len(audit.fixes), out
