"""Cutting a mesh along curves: curves are inserted as edges, then the mesh is split along them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from padlib.findings import Finding, Grade
from padlib.mesh.insert import SNAP, Inserted, chain_edges, insert
from padlib.mesh.point import Curve
from padlib.mesh.prune import loose_ends, prune
from padlib.mesh.split import CutPiece, Pieces, Run, boundary_runs, sides_agree, split
from padlib.mesh.surface import Faces, Vertices

__all__ = [
    "CutPiece",
    "Inserted",
    "Pieces",
    "Run",
    "boundary_runs",
    "chain_edges",
    "cut",
    "insert",
    "loose_ends",
    "prune",
    "sides_agree",
    "split",
]


def cut(
    vertices: Vertices,
    faces: Faces,
    curves: Sequence[Curve],
    *,
    snap: float = SNAP,
    prune_loose: bool = False,
) -> Pieces:
    """Cut a mesh along curves into pieces with their borders and partners.

    vertices (n, 3) in mm, faces (m, 3); curves as for `insert`, snap too. A piece's parents are
    vertices of the mesh with the curves inserted; of those, the first n are the input's. With
    prune_loose, ends of curves that end nowhere are dropped; otherwise they are slits.
    Both sides of a cut are one polyline, position for position.
    Finding 150: a curve ends inside the surface, away from any other. Raises as `insert` does.
    """
    inserted = insert(vertices, faces, curves, snap=snap)
    if prune_loose:
        inserted = prune(inserted)
    pieces = split(inserted.vertices, inserted.faces, inserted.edges)
    runs = boundary_runs(pieces.pieces, inserted.edges, inserted.edge_curve)
    findings = (*inserted.findings, *pieces.findings, *_loose_findings(inserted))
    return Pieces(runs, findings)


def _loose_findings(inserted: Inserted) -> list[Finding]:
    """One finding for each curve with loose ends."""
    found = []
    ends = loose_ends(inserted)
    for curve in np.unique(ends[:, 0]).tolist():
        count = int((ends[:, 0] == curve).sum())
        words = "the curve ends inside the surface, away from any other: it is a slit there"
        found.append(Finding(150, words, f"curve {curve}", Grade.WARNING, count))
    return found
