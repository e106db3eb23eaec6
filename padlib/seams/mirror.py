"""Mirror images of panels in the plane x = 0."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel

MIRROR = np.array([-1.0, 1.0, 1.0])
_OTHER = {"left": "right", "right": "left"}


def other_side(name: str) -> str:
    """The name with left and right exchanged at its end or before a last number."""
    words = name.split("-")
    return "-".join(_OTHER.get(w, w) for w in words)


def mirror_panel(panel: Panel, edge_counts: Mapping[str, int]) -> Panel:
    """The mirror image of a panel in x = 0, with its edges running counter-clockwise again.

    edge_counts: for each panel name how many edges it has apart from darts, because edge k of a panel
    becomes edge (count - 1 - k) of its image; dart edges stay behind the others, in reverse order.
    """
    surface = Surface(panel.surface.vertices * MIRROR, panel.surface.faces[:, [0, 2, 1]])
    own = [e for e in panel.edges if e.kind != "dart"]
    darts = [e for e in panel.edges if e.kind == "dart"]
    count, first = len(own), len(own)

    def turned(edge: Edge) -> Edge:
        partner = edge.partner
        if partner is not None and edge.kind == "dart":
            partner = (other_side(partner[0]), first + len(darts) - 1 - (partner[1] - first))
        elif partner is not None:
            partner = (other_side(partner[0]), edge_counts[partner[0]] - 1 - partner[1])
        return Edge(other_side(edge.seam), edge.kind, edge.run[::-1], partner)

    edges = tuple(turned(e) for e in own[::-1]) + tuple(turned(e) for e in darts[::-1])
    if count != edge_counts[panel.name]:
        raise ValueError(f"panel {panel.name} has {count} edges, not {edge_counts[panel.name]}")
    return Panel(
        other_side(panel.name),
        _OTHER.get(panel.side, panel.side),
        surface,
        panel.parents,
        edges,
        mirror_of=panel.name,
    )


def mirrored(panels: Sequence[Panel]) -> tuple[Panel, ...]:
    """The left panels of a symmetric suit, and their mirror images in place of the right ones.

    If a seam joins a left panel to a right one that is not its own image, nothing is changed.
    """
    left = [p for p in panels if p.side == "left"]
    names = {p.name for p in panels}
    if len(left) * 2 != len(panels) or any(other_side(p.name) not in names for p in left):
        return tuple(panels)
    counts = {p.name: len(p.edges) for p in left} | {other_side(p.name): len(p.edges) for p in left}
    fixed = []
    for panel in left:
        edges = []
        for k, edge in enumerate(panel.edges):
            if edge.partner is not None and edge.partner[0] == other_side(panel.name):
                edge = replace(edge, partner=(edge.partner[0], len(panel.edges) - 1 - k))
            elif edge.partner is not None and edge.partner[0] not in {p.name for p in left}:
                return tuple(panels)
            edges.append(edge)
        fixed.append(replace(panel, edges=tuple(edges)))
    return tuple(fixed) + tuple(mirror_panel(p, counts) for p in fixed)
