"""Seams: curves on a surface along which cloth is cut and sewn."""

from __future__ import annotations

from dataclasses import dataclass

from padlib.mesh.surface import Point


@dataclass(frozen=True)
class Seam:
    """A curve on the shell.

    curve: points of which each two neighbours share a face, so that the straight line between them
    lies in the surface; closed: the last point joins the first again; kind: sewn, opening or closure;
    pinned: suggestions leave it where it is.
    """

    name: str
    curve: tuple[Point, ...]
    closed: bool = False
    kind: str = "sewn"
    pinned: bool = False
