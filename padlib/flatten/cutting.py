"""Cutting darts into a panel: exact slits, doubled vertices, edges that stay in step with partners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.sketch import Wedge, part_legs
from padlib.flatten.slit import Line, draw_line, open_slit
from padlib.mesh.surface import Faces, Plane, Surface, Vertices
from padlib.seams.panels import Edge, Panel

PARTED = 0.02  # mm: how far legs are drawn apart on the flat
NUDGES = (0.0, 2.0, -2.0, 4.0, -4.0)  # mm

Legs = tuple[tuple[NDArray[np.int64], NDArray[np.int64]], ...]


@dataclass(frozen=True, eq=False)
class Opened:
    """A panel with slits opened; its flat (n, 2) with the legs a hair apart; legs, mouth to tip."""

    panel: Panel
    flat: Plane
    legs: Legs


def cut_darts(panel: Panel, flat: Plane, wedges: Sequence[Wedge]) -> Opened | None:
    """Cut wedges, straight lines of a panel's flat, into the panel; None where one leaves the flat.

    flat (n, 2) mm, no flips. The surface stays as it is: new vertices lie on its edges and faces.
    Edges keep their numbers: where a mouth lies in an edge, both its copies are in that edge's run,
    one after the other, with the same parent. One edge of kind "dart" for each dart follows behind
    them: left leg from mouth to tip, back along the right leg. New vertices have the parent -1.
    """
    vertices, faces = panel.surface.vertices, panel.surface.faces
    paths = []
    for wedge in wedges:
        line = _line(vertices, faces, flat, wedge)
        if line is None:
            return None
        vertices, faces, flat = line.vertices, line.faces, line.flat
        paths.append(line.path)
    new = np.full(len(vertices) - len(panel.parents), -1, dtype=np.int64)
    parents = np.concatenate([panel.parents, new])
    legs = []
    for path in paths:
        slit = open_slit(faces, path, len(vertices))
        faces = slit.faces
        vertices, flat, parents = slit.spread(vertices), slit.spread(flat), slit.spread(parents)
        flat = part_legs(flat, slit.left, slit.right, PARTED)
        legs.append((slit.left, slit.right))
    edges = _edges(panel.edges, tuple(legs))
    surface = Surface(vertices, faces)
    return Opened(replace(panel, surface=surface, parents=parents, edges=edges), flat, tuple(legs))


def _line(vertices: Vertices, faces: Faces, flat: Plane, wedge: Wedge) -> Line | None:
    """A wedge drawn into the mesh, its tip a little aside where the mesh does not allow it there."""
    tip = np.asarray(wedge.tip)
    way = tip - flat[wedge.mouth]
    aside = np.array([-way[1], way[0]]) / np.hypot(*way)
    for shift in NUDGES:
        line = draw_line(vertices, faces, flat, wedge.mouth, tip + shift * aside)
        if line is not None:
            return line
    return None


def _edges(edges: tuple[Edge, ...], legs: Legs) -> tuple[Edge, ...]:
    """The edges with both copies of each mouth in their run, and an edge for each dart behind."""
    twin = {int(left[0]): int(right[0]) for left, right in legs}
    out = []
    for edge in edges:
        run = [[v, twin[v]] if v in twin else [v] for v in edge.run.tolist()]
        out.append(replace(edge, run=np.array([v for part in run for v in part], dtype=np.int64)))
    for k, (left, right) in enumerate(legs):
        out.append(Edge(f"dart {k + 1}", "dart", np.concatenate([left, right[-2::-1]])))
    return tuple(out)
