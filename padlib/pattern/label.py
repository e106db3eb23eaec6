"""Labels: where the words and the pile arrow of a piece go, so that all stay inside and upright."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.pattern.lettering import CAPITAL, DESCENT, LEADING, width_mm
from padlib.pattern.piece import EdgeLabel, Line, Notch

HEAD = 1.5  # the first line is so much larger than the others
SIZES_MM = (7.0, 6.0, 5.0, 4.2, 3.6, 3.0, 2.5, 2.1, 1.8)
ARROW_MM = (160.0, 120.0, 90.0, 70.0, 50.0, 35.0, 25.0, 16.0, 10.0)
ARROW_ROOM = 9.0  # clear width for the arrow
EDGE_MM = (3.2, 2.6, 2.1)  # capitals of edge labels
INSET_MM = 2.2  # from the sew line to the letters of an edge label
NOTCH_TEXT_MM = 2.3  # capitals of a notch's name
GRID = 36  # places tried along the longer side of a piece


@dataclass(frozen=True)
class Block:
    """Words placed in a piece: left end of the first base line (2,), height of capitals, pile arrow (2, 2).

    fits: whether all of it lies inside the piece.
    """

    at: NDArray[np.float64]
    height_mm: float
    pile: Line
    fits: bool


def lines_of(
    labels: Sequence[str], at: NDArray[np.float64], height: float
) -> list[tuple[str, Line, float]]:
    """Words, left end of their base line (2,) and height of each line of a block."""
    out, y = [], float(at[1])
    for k, words in enumerate(labels):
        if k:
            y -= LEADING * height
        out.append((words, np.array([float(at[0]), y]), HEAD * height if k == 0 else height))
    return out


def place_block(labels: Sequence[str], inside: Polygon, taken: Sequence[BaseGeometry]) -> Block:
    """Where the block of words and the pile arrow go: as large as fits, as far inside as can be.

    inside: the area within the sew line; taken: what is written or drawn there already.
    """
    free = inside.buffer(-1.5)
    if taken:
        free = free.difference(shapely.union_all(list(taken)))
    if free.is_empty:
        free = inside
    shapely.prepare(free)
    spots = _spots(free)
    for least in (3.6, 1.8):
        for height in (h for h in SIZES_MM if h >= least):
            for beside in (True, False):
                block = _try(labels, free, spots, height, beside)
                if block is not None:
                    return block
    return _fallback(labels, inside, spots)


def edge_label(
    words: Sequence[str], run: Line, inside: Polygon, taken: list[BaseGeometry]
) -> tuple[EdgeLabel, BaseGeometry, bool]:
    """The label of one edge, the room (polygon) that it takes, and whether it lies free and inside.

    words: from the fullest to the shortest text; the first that fits is taken. run (k, 2) is the edge
    with the piece on its left.
    """
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    busy = shapely.union_all(taken) if taken else Polygon()
    shapely.prepare(busy)
    shares = np.array([0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82])
    for text in words:
        for height in EDGE_MM:
            wide = width_mm(text, height)
            if wide > 0.9 * s[-1] and text is not words[-1]:
                continue
            for inset in (INSET_MM, INSET_MM + 4.0):
                for share in shares:
                    label, box = _along(text, height, run, s, share, wide, inset)
                    if inside.contains(box) and not busy.intersects(box):
                        return label, box, True
    last = words[-1]
    label, box = _along(last, EDGE_MM[-1], run, s, 0.5, width_mm(last, EDGE_MM[-1]), INSET_MM)
    return label, box, False


def notch_text_at(notch: Notch) -> NDArray[np.float64]:
    """Middle (2,) of a notch's name, inside the sew line."""
    half = 0.5 * np.array([width_mm(notch.pair, NOTCH_TEXT_MM), NOTCH_TEXT_MM])
    return notch.at - notch.outward * (1.6 + float(half @ np.abs(notch.outward)))


def notch_room(notch: Notch) -> BaseGeometry:
    """The room (polygon) that a notch's name takes inside the piece."""
    x, y = notch_text_at(notch)
    half = 0.5 * width_mm(notch.pair, NOTCH_TEXT_MM) + 1.0
    return shapely.box(x - half, y - NOTCH_TEXT_MM / 2 - 1.0, x + half, y + NOTCH_TEXT_MM / 2 + 1.0)


def _along(
    text: str,
    height: float,
    run: Line,
    s: NDArray[np.float64],
    share: float,
    wide: float,
    inset: float,
) -> tuple[EdgeLabel, BaseGeometry]:
    """A label beside a place of a run, and its box."""
    middle = share * s[-1]
    ends = [
        np.array([np.interp(np.clip(middle + d, 0, s[-1]), s, run[:, c]) for c in (0, 1)])
        for d in (-0.5 * wide, 0.5 * wide)
    ]
    way = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    inward = np.array([-way[1], way[0]])
    part = run[(s >= middle - 0.5 * wide) & (s <= middle + 0.5 * wide)]
    part = np.concatenate([part, ends])
    # a curved edge may bulge into the piece: the letters keep clear of its innermost point
    bulge = float(np.max((part - 0.5 * (ends[0] + ends[1])) @ inward))
    at = 0.5 * (ends[0] + ends[1]) + inward * (bulge + inset + 0.5 * height)
    angle = float(np.degrees(np.arctan2(way[1], way[0])))
    upright = (angle + 90.0) % 180.0 - 90.0
    upright = 90.0 if abs(upright + 90.0) < 0.5 else upright
    half = np.array([0.5 * wide + 0.8, 0.5 * height + 0.9])
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    box = Polygon(at + square[:, :1] * way + square[:, 1:] * inward)
    return EdgeLabel(text, at, round(upright, 3), height), box


def _spots(free: BaseGeometry) -> Line:
    """Places (p, 2) inside an area, the one farthest from its edge first."""
    x0, y0, x1, y1 = free.bounds
    step = max(x1 - x0, y1 - y0) / GRID
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    grid = np.column_stack([x.ravel(), y.ravel()])
    grid = grid[shapely.contains_xy(free, grid[:, 0], grid[:, 1])]
    circle = shapely.maximum_inscribed_circle(free, tolerance=max(step / 8, 0.1))
    grid = np.concatenate([np.asarray(circle.coords)[:1], grid])
    clear = np.round(shapely.distance(shapely.points(grid), free.boundary), 3)
    return grid[np.argsort(-clear, kind="stable")]


def _size(labels: Sequence[str], height: float) -> tuple[float, float, float]:
    """Width, height above the first base line and depth below it of a block of words."""
    wide = max(width_mm(w, h) for w, _, h in lines_of(labels, np.zeros(2), height))
    depth = height * (LEADING * (len(labels) - 1) + DESCENT)
    return wide, HEAD * height, depth


def _try(
    labels: Sequence[str], free: BaseGeometry, spots: Line, height: float, beside: bool
) -> Block | None:
    """The block at one size, the arrow beside the words or below them, or None if it does not fit."""
    wide, up, down = _size(labels, height)
    for arrow in ARROW_MM:
        long = max(arrow, 0.0)
        if beside and not 0.7 * (up + down) <= long <= 3.2 * (up + down):
            continue
        whole_w = wide + ARROW_ROOM if beside else max(wide, ARROW_ROOM)
        whole_h = max(up + down, long) if beside else up + down + long + 4.0
        half_w, half_h = 0.5 * whole_w + 1.0, 0.5 * whole_h + 1.0
        boxes = shapely.box(
            spots[:, 0] - half_w, spots[:, 1] - half_h, spots[:, 0] + half_w, spots[:, 1] + half_h
        )
        fits = np.flatnonzero(shapely.contains_properly(free, boxes))
        if not len(fits):
            continue
        x, y = spots[fits[0]]
        left, top = x - 0.5 * whole_w, y + 0.5 * whole_h
        if beside:
            ax, ay = left + 0.5 * ARROW_ROOM - 1.0, y
            at = np.array([left + ARROW_ROOM, y + 0.5 * (up + down) - up])
        else:
            ax, ay = x, top - up - down - 4.0 - 0.5 * long
            at = np.array([x - 0.5 * wide, top - up])
        return Block(at, height, np.array([[ax, ay + 0.5 * long], [ax, ay - 0.5 * long]]), True)
    return None


def _fallback(labels: Sequence[str], inside: Polygon, spots: Line) -> Block:
    """Smallest words and arrow about the innermost place of a piece that is too small for them."""
    height = SIZES_MM[-1]
    wide, up, down = _size(labels, height)
    x, y = spots[0]
    long = max(min(ARROW_MM[-1], 0.4 * (inside.bounds[3] - inside.bounds[1])), 4.0)
    at = np.array([x - 0.5 * wide, y + 0.5 * (up + down) - up])
    ax = x - 0.5 * wide - 3.0
    return Block(at, height, np.array([[ax, y + 0.5 * long], [ax, y - 0.5 * long]]), False)


def em_mm(height_mm: float) -> float:
    """Size of the font in mm (one em) whose capitals are height_mm high."""
    return height_mm / CAPITAL
