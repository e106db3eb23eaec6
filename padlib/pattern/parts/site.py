"""Where a part goes in: the panels' edges that it is sewn to, and the seams that it runs across.

From these follow when it can be sewn: after the seams that it runs across, before those that it is let
into, and on cloth that still lies flat where it lies within a panel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.limb import lengths
from padlib.flatten.flat import Flat
from padlib.seams.panels import Panel

Key = tuple[str, int]  # panel and edge
NEAR_MM = 3.0  # an edge is touched where a part's run comes so near
SAMPLES = 24  # places tried along a run


@dataclass(frozen=True)
class Site:
    """Where a part is sewn on.

    edges: the panels' edges that it runs along, which form `runs` unbroken runs when it is sewn, each a
    closed ring if `ring`; panels: those within which it lies, flat if `flat`; across: edges (one of each
    pair) of seams that it lies over; sewn: whether its edges are sewn by then (a channel over a seam).
    """

    edges: tuple[Key, ...] = ()
    runs: int = 1
    ring: bool = False
    panels: tuple[str, ...] = ()
    flat: bool = False
    across: tuple[Key, ...] = ()
    sewn: bool = False


def along(flats: Sequence[Flat], seam: str, *, runs: int = 1, ring: bool = False) -> Site:
    """The whole of a seam or opening."""
    keys = tuple(
        (f.panel.name, k)
        for f in flats
        for k, e in enumerate(f.panel.edges)
        if e.seam == seam and e.kind != "dart"
    )
    return Site(keys, runs, ring)


def beside_run(flats: Sequence[Flat], seam: str, run: NDArray[np.float64], *, runs: int) -> Site:
    """The edges of a seam that a part of it, a polyline (k, 3) on the shell, comes along."""
    s = lengths(run)
    at = np.linspace(0.0, s[-1], SAMPLES + 2)[1:-1]
    places = np.column_stack([np.interp(at, s, run[:, c]) for c in range(3)])
    keys = []
    for flat in flats:
        for k, edge in enumerate(flat.panel.edges):
            if edge.seam == seam and edge.kind != "dart":
                own = flat.panel.surface.vertices[edge.run]
                if apart(places, own).min() < NEAR_MM:
                    keys.append((flat.panel.name, k))
    return Site(tuple(keys), runs)


def over(flats: Sequence[Flat], names: Sequence[str], at: Sequence[float], reach: float) -> Site:
    """Panels that a part lies on, and the seams between them that come within its reach (mm) of a place."""
    edges = {(f.panel.name, k): e for f in flats for k, e in enumerate(f.panel.edges)}
    shells = {f.panel.name: f.panel.surface.vertices for f in flats}
    across = []
    for key, edge in edges.items():
        twin = edge.partner
        if edge.kind != "sewn" or twin is None or twin < key:
            continue
        if key[0] in names and twin[0] in names:
            own = shells[key[0]][edge.run]
            if apart(np.array([at]), own).min() < reach:
                across.append(key)
    return Site(panels=tuple(names), flat=True, across=tuple(across))


def crossed(panels: Sequence[Panel], site: Site) -> tuple[str, ...]:
    """Names of the sewn seams that a site runs across, each once, sorted."""
    edges = {(p.name, k): e for p in panels for k, e in enumerate(p.edges)}
    beside: set[Key] = set()
    for panel in panels:
        own = [(panel.name, k) for k, e in enumerate(panel.edges) if e.kind != "dart"]
        for i, key in enumerate(own):
            if key in site.edges:
                beside |= {own[i - 1], own[(i + 1) % len(own)]}
    seams = {
        edges[key].seam
        for key in beside
        if edges[key].kind == "sewn" and edges[key].partner in beside and key not in site.edges
    }
    seams |= {edges[key].seam for key in site.across if key in edges}
    if site.sewn:
        seams |= {edges[key].seam for key in site.edges if key in edges}
    return tuple(sorted(seams))


def apart(places: NDArray[np.float64], line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance of each place (p, 3) from a polyline (k, 3)."""
    a, d = line[:-1], np.diff(line, axis=0)
    along_ = np.einsum("pkc,kc->pk", places[:, None] - a, d) / np.maximum(
        (d * d).sum(axis=1), 1e-12
    )
    foot = a + np.clip(along_, 0.0, 1.0)[..., None] * d
    return np.linalg.norm(places[:, None] - foot, axis=2).min(axis=1)
