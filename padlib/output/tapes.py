"""A picture of a measured body: front, side and back with every tape line drawn on it, named with its value."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.doubt import TOLD, with_doubts
from padlib.body.measure import HEIGHTS, Measurements, measure
from padlib.body.parts import unsided
from padlib.errors import InputError
from padlib.output.png import png_bytes
from padlib.output.tape_view import View, across, tape_view

Array = NDArray[np.float64]

UNITS = {"mm": (1.0, 0), "cm": (10.0, 1), "inch": (25.4, 2)}  # mm in it, decimals shown
FORMATS = ("png", "svg")
TALL, MARGIN, LETTERS = 230.0, 44.0, 2.35  # of the figure, of a column of labels, of their type, mm
STEP = 4.3  # from label to label, mm
DPI = 130
GIRTH, LENGTH, LEVEL = "#a81c16", "#1c4f8f", "#333333"
FRONT, SIDE, BACK = 0.0, 90.0, 180.0
ROUND = ("head", "neck", "neck_base", "chest", "bust", "waist", "hip")


@dataclass(frozen=True, eq=False)
class Drawn:
    """One measurement in the picture: its label, colour, lines (k, 3) on the body, and its column of labels."""

    label: str
    colour: str
    lines: tuple[Array, ...]
    turn_deg: float
    left: bool
    straight: bool = False


def shown(value: float, unit: str) -> str:
    """A length in mm in the unit of a table. Raises InputError for another unit."""
    if unit not in UNITS:
        raise InputError(f"unit must be one of {', '.join(UNITS)}, not '{unit}'.")
    size, decimals = UNITS[unit]
    return f"{value / size:.{decimals}f}"


def tape_picture(
    body: Body, *, told: Measurements | None = None, unit: str = "mm", kind: str = "png"
) -> bytes:
    """A picture of a body with landmarks from front, side and back, with its tapes: PNG or SVG bytes.

    told: its measurements, taken here if None; what is unsure by TOLD or more has that beside it. unit: of the
    values, mm, cm or inch.
    Raises InputError for another unit or kind.
    """
    if kind not in FORMATS:
        raise InputError(f"a picture is written as {' or '.join(FORMATS)}, not '{kind}'.")
    told = with_doubts(body, measure(body)) if told is None else told
    drawn = [*_tapes(told, unit), *_breadths(told, unit), *_heights(body, told, unit)]
    figure, ax, views, starts = _stage(body)
    for (turn, view), start in zip(views.items(), starts, strict=True):
        own = [d for d in drawn if d.turn_deg == turn]
        for left in (True, False):
            column = [d for d in own if d.left is left]
            _column(ax, view, start, column, left=left)
    return png_bytes(figure) if kind == "png" else _svg(figure)


def _tapes(told: Measurements, unit: str) -> list[Drawn]:
    """Tape lines, those of both limbs under one name."""
    lines: dict[str, list[Array]] = {}
    for key, line in told.tape_lines.items():
        lines.setdefault(unsided(key), []).append(line)
    out = []
    for name, own in lines.items():
        girth = name.endswith("_girth")
        back = not girth and name != "total_crotch_length"
        left = name.removesuffix("_girth") in ROUND or name in ("arm_length", "upper_arm_length")
        label = _label(name, told, unit)
        colour = GIRTH if girth else LENGTH
        out.append(Drawn(label, colour, tuple(own), BACK if back else FRONT, left))
    return out


def _breadths(told: Measurements, unit: str) -> list[Drawn]:
    """Straight breadths on the back, depths from the side, of the trunk's rings."""
    out = []
    for part in ("bust", "waist", "hip"):
        ring = told.tape_lines.get(f"{part}_girth")
        for k, (kind, turn) in enumerate((("breadth", BACK), ("depth", SIDE))):
            name = f"{part}_{kind}"
            if ring is None or name not in told.values:
                continue
            label = _label(name, told, unit)
            out.append(Drawn(label, LENGTH, (across(ring, k),), turn, turn == SIDE, straight=True))
    return out


def _heights(body: Body, told: Measurements, unit: str) -> list[Drawn]:
    """Heights: a level line from the landmark to its label, seen from the side."""
    out = []
    for name, marks in HEIGHTS.items():
        if name in told.values and marks[0] in body.landmarks:
            place = body.at(marks[0]) * [1.0, 1.0, 0.0] + [0.0, 0.0, told.values[name]]
            ends = np.array([place, place])
            label = _label(name, told, unit)
            out.append(Drawn(label, LEVEL, (ends,), SIDE, False, straight=True))
    return out


def _label(name: str, told: Measurements, unit: str) -> str:
    off = told.unsure.get(name, 0.0)
    unsure = f" \u00b1 {shown(off, unit)}" if off >= TOLD else ""
    return f"{name.replace('_', ' ')}  {shown(told.values[name], unit)}{unsure} {unit}"


def _stage(body: Body) -> tuple[Figure, Axes, dict[float, View], list[float]]:
    """Figure and axes in mm, the three views side by side at one scale, and where each begins."""
    low, high = body.surface.vertices.min(axis=0), body.surface.vertices.max(axis=0)
    scale = 1.06 * float(high[2] - low[2]) / TALL
    broad, deep = 1.04 * (high - low)[:2] / scale
    # a form without head and legs is deep for its height
    wide = {FRONT: broad, SIDE: max(0.30 * TALL, deep), BACK: broad}
    views = {
        turn: tape_view(body, turn_deg=turn, size=(wide[turn], TALL), scale=scale, tilt_deg=4.0)
        for turn in (FRONT, SIDE, BACK)
    }
    starts, x = [], 0.0
    for turn in views:
        starts.append(x + MARGIN)
        x += wide[turn] + 2 * MARGIN
    figure = Figure(figsize=(x / 25.4, (TALL + 8.0) / 25.4), dpi=DPI)
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(0.0, x)
    ax.set_ylim(-8.0, TALL)
    ax.axis("off")
    for (turn, view), start in zip(views.items(), starts, strict=True):
        extent = (start, start + view.size[0], 0.0, TALL)
        ax.imshow(view.shade(DPI), extent=extent, interpolation="antialiased", aspect="auto")
        words = {FRONT: "front", SIDE: "wearer's left side", BACK: "back"}[turn]
        middle = start + 0.5 * view.size[0]
        ax.text(middle, -5.0, words, fontsize=10, ha="center")
    return figure, ax, views, starts


def _column(ax: Axes, view: View, start: float, drawn: Sequence[Drawn], *, left: bool) -> None:
    """Draw measurements and write their labels in one column, none over another."""
    if not drawn:
        return
    ends = []
    for d in drawn:
        flats = [view.flat(line) + [start, 0.0] for line in d.lines]
        for line, flat in zip(d.lines, flats, strict=True):
            _draw(ax, view, line, flat, d)
        points = np.concatenate(flats)
        ends.append(points[np.argmin(points[:, 0]) if left else np.argmax(points[:, 0])])
    order = np.argsort([-float(e[1]) for e in ends], kind="stable")
    levels = spread(np.array([ends[k][1] for k in order]), STEP, 1.0, TALL - 3.0)
    x = start - 1.0 if left else start + view.size[0] + 1.0
    for k, level in zip(order, levels, strict=True):
        d, end = drawn[k], ends[k]
        ax.plot([end[0], x], [end[1], level], color=d.colour, lw=0.45, alpha=0.75)
        ax.text(
            x, level, f" {d.label} ", fontsize=LETTERS / 25.4 * 72, color=d.colour, va="center_baseline",
            ha="right" if left else "left",
        )  # fmt: skip


def _draw(ax: Axes, view: View, line: Array, flat: Array, d: Drawn) -> None:
    """One line: bold in front, dashed behind."""
    segments = np.stack([flat[:-1], flat[1:]], axis=1)
    seen = np.ones(len(segments), bool) if d.straight else view.seen(line)
    for chosen, style in (
        (seen, {"linewidths": 1.7}),
        (~seen, {"linewidths": 0.6, "linestyles": "--"}),
    ):
        if chosen.any():
            ax.add_collection(
                LineCollection(segments[chosen], colors=d.colour, capstyle="round", **style)
            )


def spread(levels: Array, step: float, low: float, high: float) -> Array:
    """Levels (k,), falling, moved as little as need be to lie at least `step` apart between low and high.

    The least squares answer of that is an isotonic regression (pool adjacent violators: Barlow and others 1972).
    """
    target = -np.asarray(levels, dtype=np.float64) - step * np.arange(len(levels))
    pools: list[list[float]] = []
    for value in target:
        pools.append([float(value), 1.0])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (a, m), (b, n) = pools[-2], pools[-1]
            pools[-2:] = [[(a * m + b * n) / (m + n), m + n]]
    rising = np.concatenate([np.full(int(n), value) for value, n in pools])
    last = -low - step * (len(levels) - 1)
    return -(np.clip(rising, min(-high, last), last) + step * np.arange(len(levels)))


def _svg(figure: Figure) -> bytes:
    """A figure as SVG, the same bytes every run."""
    out = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "padlib", "svg.fonttype": "none"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()
