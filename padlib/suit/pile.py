"""Which way the pile lies on each panel of a suit: the default, or as the maker's strokes say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import SuitError
from padlib.findings import Finding, Grade
from padlib.mesh.geodesic import ground_of
from padlib.mesh.point import nearest
from padlib.mesh.smooth import smooth_path
from padlib.padding.shell import Shell
from padlib.seams.mirror import MIRROR
from padlib.seams.panels import Panel
from padlib.seams.pile import mean_pile, pile_field
from padlib.seams.place import Place
from padlib.suit.file import Suit
from padlib.suit.marks import Worn

Array = NDArray[np.float64]

TURNS = 25.0  # degrees by which strokes may leave a panel's pile before it is told


def pile_direction(panel: Panel, place: Place) -> Array:
    """The way the pile lies (3,): toward the ground along the limb, the default."""
    limb = (
        "arm" if panel.name.startswith("sleeve") else "leg" if panel.name.startswith("leg") else ""
    )
    if not limb or panel.side not in ("left", "right"):
        return np.array([0.0, 0.0, -1.0])
    axis = place.axes[f"{limb}_{panel.side}"]
    return (axis[-1] - axis[0]) / np.linalg.norm(axis[-1] - axis[0])


def suit_pile(
    suit: Suit, body: Body, shell: Shell, place: Place, panels: Sequence[Panel]
) -> tuple[tuple[Panel, ...], dict[str, Array], tuple[Finding, ...]]:
    """The panels, the way (3,) that the pile lies on each, and what is to be told.

    A panel is cut from one cloth, so it has one way: the mean of the field that follows the strokes over it. Where
    strokes make left and right differ, panels are no longer images of each other. Raises SuitError.
    """
    pile = {p.name: pile_direction(p, place) for p in panels}
    if not suit.strokes:
        return tuple(panels), pile, ()
    strokes = _strokes(suit, body, shell, place)
    found = []
    for panel in panels:
        here = [own for side, *own in strokes if {side, panel.side} != {"left", "right"}]
        field = pile_field(panel.surface, pile[panel.name], here)
        if field is None:
            continue
        pile[panel.name], off = mean_pile(panel.surface, field)
        if off > TURNS:
            words = (
                f"cannot follow its strokes on one piece: they leave its pile by {off:.0f} degrees on average; part it "
                "by a seam where the pile turns, or draw shorter strokes"
            )
            found.append(Finding(942, words, f"panel '{panel.name}'", Grade.WARNING))
    images = [p for p in panels if p.mirror_of is not None]
    if any(np.abs(pile[p.name] - MIRROR * pile[p.mirror_of]).max() > 1e-3 for p in images):
        panels = [replace(p, mirror_of=None) for p in panels]
    return tuple(panels), pile, tuple(found)


def _strokes(suit: Suit, body: Body, shell: Shell, place: Place) -> list[tuple[str, Array, float]]:
    """The side, line (k, 3) on the shell and reach of each stroke, and of its image where it counts on both sides."""
    v, f = place.surface.vertices, place.surface.faces
    worn = Worn(body, shell, place, ground_of(place.surface))
    out = []
    for stroke in suit.strokes:
        who = f"{f'line {stroke.line}: ' if stroke.line else ''}stroke '{stroke.name}'"
        own = worn.spots(stroke.through, who)
        drawn = "left" if own[:, 0].mean() > 0 else "right"
        if stroke.side not in ("both", drawn):
            raise SuitError(
                f"{who} is drawn on the wearer's {drawn}, so side cannot be '{stroke.side}'."
            )
        lines = [own]
        if stroke.side == "both":
            lines.append(worn.spots(stroke.through, who, mirrored=True))
        for line in lines:
            path = smooth_path(v, f, nearest(v, f, line), ground=worn.ground)
            out.append((stroke.side, path.positions(v, f), stroke.reach))
    return out
