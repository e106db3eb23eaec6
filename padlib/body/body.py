"""The wearer's body as a value."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.mesh.surface import Point, Surface


@dataclass(frozen=True)
class Body:
    """A closed surface in padlib's frame (mm, +Z up, facing -Y, left is +X, standing on z = 0).

    landmarks: name to Point; source: where it came from, in words;
    findings: what was repaired or assumed on the way in; sure: landmark to confidence 0..1;
    gap (n,): distance in mm of each vertex from the nearest place that was scanned, 0 where the
    surface itself was, infinite on a flat cut where a part is missing; None where all was there.
    """

    surface: Surface
    landmarks: dict[str, Point] = field(default_factory=dict)
    source: str = ""
    findings: tuple[Finding, ...] = ()
    sure: dict[str, float] = field(default_factory=dict)
    gap: NDArray[np.float64] | None = None

    def at(self, landmark: str) -> NDArray[np.float64]:
        """Position (3,) of a landmark in mm. Raises KeyError for a landmark that is not there."""
        return self.landmarks[landmark].on(self.surface.vertices, self.surface.faces)
