"""Flats: panels laid in the plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.flatten.cloth import Cloth
from padlib.mesh.surface import frozen
from padlib.seams.panels import Panel


@dataclass(frozen=True)
class Dart:
    """A wedge that is cut out of a flat and sewn shut.

    apex: panel vertex index of the tip; left, right (k,): panel vertex indices of the two legs from
    the mouth at the panel's edge to the apex (the same 3D polyline, so equally long);
    length_mm of a leg along the surface; intake_deg: angle between the legs as laid flat.
    """

    apex: int
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    length_mm: float
    intake_deg: float
    leg_difference_mm: float


@dataclass(frozen=True)
class Flat:
    """A panel laid in the plane.

    panel: the panel with its darts cut (its edges include runs of kind dart);
    positions (n, 2) mm, counter-clockwise triangles; the pile runs along -y (down the page);
    stretch (m, 2): principal cloth stretch of each triangle, largest first;
    stretch_before (m0, 2): the same of the conformal map before any dart; area_before (m0,): 3D areas;
    stretch_unmatched (m, 2): the same of the panel laid on its own, before its seams were matched;
    None where they were not.
    cloth: what it is laid for, None: one that is the same in all directions; pile (3,): which way the
    pile lies in space, where there is a cloth.
    """

    panel: Panel
    positions: NDArray[np.float64]
    stretch: NDArray[np.float64]
    stretch_before: NDArray[np.float64]
    area_before: NDArray[np.float64]
    darts: tuple[Dart, ...] = ()
    findings: tuple[Finding, ...] = ()
    stretch_unmatched: NDArray[np.float64] | None = None
    cloth: Cloth | None = None
    pile: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        for name in ("positions", "stretch", "stretch_before"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64, 2))
