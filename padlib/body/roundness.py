"""How round the trunk is in section, and how round people of that girth are."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from padlib.body.usual import WHO

PARTS = (
    "waist",
    "hip",
)  # ANSUR II takes the breadth of the chest without the arms' muscles: no gate


@dataclass(frozen=True)
class Section:
    """A section of the trunk: depth over breadth, what is usual for its girth, and what 95 % stay below."""

    part: str
    ratio: float
    usual: float
    most: float

    @property
    def rounder(self) -> bool:
        """Whether it is rounder than 95 % of people."""
        return self.ratio > self.most


def sections(values: Mapping[str, float], figure: str) -> list[Section]:
    """The sections of a measured body; values in mm by name; figure as in padlib.body.usual.

    Depth over breadth follows girth over stature by a straight line (ANSUR II, NATICK/TR-15/007; derived by
    tests/body/derive_percentiles.py; its waist is at the navel), the 95 % about that line. A body without
    a stature is taken for one of middling girth.
    """
    table = json.loads(
        files("padlib.body").joinpath("percentiles.json").read_text(encoding="utf-8")
    )["roundness"]
    groups = WHO[figure]
    out = []
    for part in PARTS:
        depth, breadth = (values.get(f"{part}_{kind}") for kind in ("depth", "breadth"))
        girth, stature = values.get(f"{part}_girth"), values.get("stature")
        if depth is None or breadth is None or girth is None:
            continue
        rows = [table[part][g] for g in groups]
        usual, most = 0.0, 0.0
        for row in rows:
            low, middle, high = row["girth_of_stature"]
            share = min(max(girth / stature, low), high) if stature else middle
            usual += (row["level"] + row["slope"] * share) / len(rows)
            most = max(most, row["level"] + row["slope"] * share + row["above_95"])
        out.append(Section(part, depth / breadth, usual, most))
    return out
