"""Panels: pieces of the shell between seams, and the edges that they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Surface, frozen


def whole_name(name: str) -> str:
    """A panel's name without the number that it has where a seam parts it: leg-outer-left of leg-outer-1-left."""
    return "-".join(word for word in name.split("-") if not word.isdigit())


def stem(name: str) -> str:
    """A panel's name without number and side."""
    return whole_name(name).rpartition("-")[0]


def is_called(name: str, asked: str) -> bool:
    """Whether a panel answers to what a suit file calls it: its name, without side, without number."""
    return asked in (name, name.rpartition("-")[0], whole_name(name), stem(name))


@dataclass(frozen=True)
class Edge:
    """A run of a panel's boundary that belongs to one seam.

    seam: its name; kind: sewn, opening, closure or dart; run (k,): panel vertex indices in
    boundary order (counter-clockwise, the panel lies to the left); partner: (panel name, index of
    its edge in that panel) or None; the partner's run is the same polyline, backwards.
    """

    seam: str
    kind: str
    run: NDArray[np.int64]
    partner: tuple[str, int] | None = None

    def __post_init__(self) -> None:
        """Freeze the run."""
        object.__setattr__(self, "run", frozen(self.run, np.int64))


@dataclass(frozen=True)
class Panel:
    """One piece of shell between seams, a disk.

    surface: its own vertices (n, 3) and faces; parents (n,): for each vertex the vertex of the cut
    shell it is a copy of (twins on both sides of a seam have the same parent);
    edges: the whole boundary, one run after the other; side: left, right or both (on the middle).
    mirror_of: name of the panel of which this one is the exact mirror image in x = 0, or None.
    """

    name: str
    side: str
    surface: Surface
    parents: NDArray[np.int64]
    edges: tuple[Edge, ...]
    mirror_of: str | None = None

    def __post_init__(self) -> None:
        """Freeze the parents."""
        object.__setattr__(self, "parents", frozen(self.parents, np.int64))
