"""Our own quick packing: each piece drops onto the profile of those before it, where it lands lowest.

No time budget and no chance in it: the same pieces give the same lay on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Outline = NDArray[np.float64]  # (k, 2) mm, closed, first point not repeated


def columns(outline: Outline, step: float, gap: float) -> tuple[NDArray, NDArray]:
    """Lowest and highest y (c,) of an outline over each column of width `step`, grown by `gap` mm.

    Columns count from the outline's own least x, less the gap.
    """
    x0 = outline[:, 0].min() - gap
    count = int(np.ceil((np.ptp(outline[:, 0]) + 2 * gap) / step)) + 1
    a, b = outline, np.roll(outline, -1, axis=0)
    pieces = np.maximum(1, np.ceil(np.abs(b - a).max(axis=1) / (0.5 * step)).astype(int))
    edge = np.repeat(np.arange(len(a)), pieces + 1)
    t = np.concatenate([np.linspace(0.0, 1.0, p + 1) for p in pieces])
    points = a[edge] + (b - a)[edge] * t[:, None]
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    reach = int(np.ceil(gap / step)) + 1
    index = np.floor((points[:, 0] - x0) / step).astype(int)
    for shift in range(-reach, reach + 1):
        at = np.clip(index + shift, 0, count - 1)
        np.minimum.at(low, at, points[:, 1] - gap)
        np.maximum.at(high, at, points[:, 1] + gap)
    return low, high


def skyline(
    outlines: Sequence[Outline],
    width: float,
    gap: float,
    step: float = 4.0,
    avoid: Sequence[tuple[float, float, float, float]] = (),
) -> tuple[list[tuple[float, float]], float]:
    """Offsets (x, y) of outlines on a strip of given width, and the strip's length; all in mm.

    Outlines keep `gap` between each other and from the boxes to avoid (x, y, width, height). Raises
    ValueError if one is wider than the strip.
    """
    if any(np.ptp(o[:, 0]) > width + 1e-6 for o in outlines):
        raise ValueError("a piece is wider than the cloth")
    order = sorted(range(len(outlines)), key=lambda i: (-np.ptp(outlines[i][:, 1]), i))
    margin = gap / 2
    profile = np.full(int(np.ceil((width + 2 * margin) / step)) + 1, -margin)
    offsets: list[tuple[float, float]] = [(0.0, 0.0)] * len(outlines)
    for i in order:
        low, high = columns(outlines[i], step, margin)
        room = int((width + 2 * margin - np.ptp(outlines[i][:, 0]) - 2 * margin) / step)
        windows = sliding_window_view(profile, len(low))[: room + 1]
        drop = (windows - low).max(axis=1)
        if avoid:
            drop = _over(drop, outlines[i], avoid, step, gap)
        at = int(np.argmin(drop))
        y = max(float(drop[at]), -outlines[i][:, 1].min())
        profile[at : at + len(high)] = np.maximum(profile[at : at + len(high)], high + y)
        offsets[i] = (at * step - outlines[i][:, 0].min(), y)
    length = max(float((o[:, 1] + off[1]).max()) for o, off in zip(outlines, offsets, strict=True))
    return offsets, length


def _over(
    drop: NDArray[np.float64],
    outline: Outline,
    avoid: Sequence[tuple[float, float, float, float]],
    step: float,
    gap: float,
) -> NDArray[np.float64]:
    """Heights (c,) raised so that the outline's box, at each column, lies on no box to avoid."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    left = step * np.arange(len(drop))
    out = np.maximum(drop, -low[1])
    for x, y, wide, tall in sorted(avoid, key=lambda box: box[1]):
        beside = (left + (high - low)[0] + gap <= x) | (left >= x + wide + gap)
        below = out + high[1] + gap <= y
        above = out + low[1] >= y + tall + gap
        out = np.where(beside | below | above, out, y + tall + gap - low[1])
    return out
