"""Two panels as one, without the seam between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from padlib.mesh.surface import Surface
from padlib.mesh.topology import is_disk
from padlib.seams.panels import Edge, Panel


def joined(one: Panel, other: Panel, seam: str) -> Panel | None:
    """The panel that two make when a seam between them is left out; None where that is not a disk.

    It has the first one's name; its vertices are the first one's, then those of the other that are not on the seam. An
    edge at which it would meet itself has no partner.
    """
    at = np.full(len(other.surface.vertices), -1)
    gone: list[Edge] = []
    for edge in one.edges:
        if edge.seam == seam and edge.partner is not None and edge.partner[0] == other.name:
            across = other.edges[edge.partner[1]]
            at[across.run] = edge.run[::-1]
            gone += [edge, across]
    if not gone:
        return None
    new = np.flatnonzero(at < 0)
    at[new] = len(one.surface.vertices) + np.arange(len(new))
    vertices = np.concatenate([one.surface.vertices, other.surface.vertices[new]])
    faces = np.concatenate([one.surface.faces, at[other.surface.faces]])
    if not is_disk(faces):
        return None
    kept = [edge for edge in one.edges if not any(edge is g for g in gone)]
    kept += [replace(e, run=at[e.run]) for e in other.edges if not any(e is g for g in gone)]
    names = {one.name, other.name}
    edges = [
        e if e.partner is None or e.partner[0] not in names else replace(e, partner=None)
        for e in kept
    ]
    parents = np.concatenate([one.parents, other.parents[new]])
    return replace(
        one,
        surface=Surface(vertices, faces),
        parents=parents,
        edges=_in_turn(edges),
        mirror_of=None,
    )


def _in_turn(edges: list[Edge]) -> tuple[Edge, ...]:
    """Edges in the order in which they follow each other around a panel."""
    left = {int(edge.run[0]): edge for edge in edges}
    out = [edges[0]]
    while len(out) < len(edges):
        out.append(left[int(out[-1].run[-1])])
    return tuple(out)
