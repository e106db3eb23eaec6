"""The sheets of foam that pads are carved from, as a drawing at true scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from padlib.output.drawing import CUT, NOTCH, Drawing, Mark, Part, Stroke, Words, bbox, box, moved
from padlib.padding.foam import Sheet, Stack

GAP_MM = 15.0
WIDTH_MM = 1000.0
EDGE_MM = 10.0
CROSS_MM = 6.0


def foam_drawing(stacks: Sequence[Stack], *, title: str) -> Drawing:
    """All sheets of all stacks in rows, each with its number, and a cross that lies over that of the next sheet."""
    heading = Part(
        "title", "sheet", (Words(f"{title}: foam sheets", np.zeros(2), 8.0),), np.zeros((1, 2))
    )
    sheets = [(stack, sheet) for stack in stacks for sheet in stack.sheets]
    parts = [heading, *(_sheet(k, *each) for k, each in enumerate(sheets, 1))]
    placed, x, y, high = [], EDGE_MM, EDGE_MM, 0.0
    for part in parts:
        low, top = bbox(part.marks)
        size = top - low
        if x > EDGE_MM and x + size[0] > WIDTH_MM:
            x, y, high = EDGE_MM, y + high + GAP_MM, 0.0
        placed.append(moved(part, np.array([x, y]) - low))
        x, high = x + size[0] + GAP_MM, max(high, size[1])
    corners = np.concatenate([bbox(part.marks) for part in placed])
    wide, tall = corners.max(axis=0) + EDGE_MM
    return Drawing(tuple(placed), float(wide), float(tall), f"{title}: foam sheets")


def _sheet(number: int, stack: Stack, sheet: Sheet) -> Part:
    """One sheet: outlines, its words, and the cross at the stack's own origin."""
    every = np.concatenate(sheet.outlines)
    middle = np.round(
        np.mean([np.concatenate(s.outlines).mean(axis=0) for s in stack.sheets], axis=0)
    )
    marks: list[Mark] = [Stroke(CUT, line, closed=True) for line in sheet.outlines]
    for way in (np.array([CROSS_MM, 0.0]), np.array([0.0, CROSS_MM])):
        marks.append(Stroke(NOTCH, np.array([middle - way, middle + way])))
    count = "cut 2, one turned over" if stack.count == 2 else "cut 1"
    words = (
        f"{number}  {stack.name} {'' if stack.side == 'both' else stack.side}".strip(),
        f"sheet {sheet.number} of {len(stack.sheets)} from the body, {stack.thickness:g} mm",
        f"{count}; crosses lie over each other, up is up",
    )
    for k, line in enumerate(words):
        marks.append(Words(line, middle + np.array([0.0, -12.0 - 6.0 * k]), 3.2, anchor="middle"))
    low, high = every.min(axis=0), every.max(axis=0)
    room = box(float(low[0]), float(low[1]), *(float(c) for c in high - low))
    name = f"{number} {stack.name} {stack.side} sheet {sheet.number}"
    return Part(name, "piece", tuple(marks), room)
