"""Loose ends of curves in a mesh: found, and dropped."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.insert import Inserted
from padlib.mesh.topology import Edges, boundary_sides

Indices = NDArray[np.int64]


def prune(
    inserted: Inserted, *, keep: Iterable[int] = (), mesh_edges: Edges | None = None
) -> Inserted:
    """Drop the loose ends of the curves, so that a curve may be drawn too long.

    An edge of a curve is loose if one of its vertices is on no other curve edge and not on the mesh
    boundary; that is repeated until none is loose. Curves whose index is in keep stay whole. The
    mesh stays as it is; chains, edges and edge_curve lose what is dropped. A chain that has lost an
    inner part keeps its vertices. mesh_edges: those of the mesh, where they are known.
    """
    border = np.unique(boundary_sides(inserted.faces, mesh_edges=mesh_edges))
    kept = np.isin(inserted.edge_curve, list(keep))
    anchored = np.zeros(len(inserted.vertices), dtype=bool)
    anchored[border] = True
    anchored[inserted.edges[kept]] = True
    alive = np.ones(len(inserted.edges), dtype=bool)
    while True:
        pairs = np.unique(inserted.edges[alive], axis=0)
        degree = np.bincount(pairs.ravel(), minlength=len(inserted.vertices))
        loose = ((degree == 1) & ~anchored)[inserted.edges].any(axis=1) & alive & ~kept
        if not loose.any():
            break
        alive &= ~loose
    gone = {tuple(e) for e in inserted.edges[~alive].tolist()}
    chains = [
        c if k in set(keep) else _trimmed(c, gone, round_)
        for k, (c, round_) in enumerate(zip(inserted.chains, inserted.closed, strict=True))
    ]
    return replace(
        inserted,
        chains=tuple(chains),
        edges=inserted.edges[alive],
        edge_curve=inserted.edge_curve[alive],
    )


def _trimmed(chain: Indices, gone: set[tuple[int, int]], closed: bool) -> Indices:
    """An open chain without the edges at its two ends that are gone."""
    if closed or len(chain) < 2 or not gone:
        return chain
    steps = np.sort(np.column_stack((chain[:-1], chain[1:])), axis=1).tolist()
    stay = [i for i, s in enumerate(steps) if tuple(s) not in gone]
    return chain[stay[0] : stay[-1] + 2] if stay else chain[:0]


def loose_ends(inserted: Inserted) -> NDArray[np.int64]:
    """Pairs (k, 2) of a curve and the vertex at which it ends away from any other and the border."""
    border = np.unique(boundary_sides(inserted.faces))
    pairs = np.unique(inserted.edges, axis=0)
    degree = np.bincount(pairs.ravel(), minlength=len(inserted.vertices))
    single = degree == 1
    single[border] = False
    row, column = np.nonzero(single[inserted.edges])
    return np.column_stack((inserted.edge_curve[row], inserted.edges[row, column]))
