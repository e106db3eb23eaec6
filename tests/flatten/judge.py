"""Whether a flat is sound, asked without any of padlib: signs in exact arithmetic, outline by GEOS.

A map of a disk whose triangles all lie the same way up is one-to-one if and only if its outline is a
simple polygon; then the triangles' areas add up to the polygon's, which is asked as well.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import shapely

ROUNDING = (
    4e-16  # (3 + 16 e) e with e = 2^-53: Shewchuk (1997), "Adaptive precision ... predicates"
)


@dataclass(frozen=True)
class Verdict:
    """flips: triangles clockwise or without area; overlap: outline crosses, touches or is doubled."""

    flips: int
    overlap: bool

    @property
    def sound(self):
        """Neither."""
        return self.flips == 0 and not self.overlap


def judge(faces, flat):
    """The verdict on a flat (n, 2) of faces (m, 3)."""
    if not np.isfinite(flat).all():
        return Verdict(len(faces), True)
    flips = int((orientations(faces, flat) <= 0).sum())
    outline = shapely.Polygon(flat[rim(faces)])
    corner = flat[faces]
    a, b = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    total = 0.5 * float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    once = abs(total - outline.area) <= 1e-6 * abs(total)
    return Verdict(flips, not (outline.is_valid and once))


def orientations(faces, flat):
    """The sign (m,) of each triangle's area, exact: rationals where rounding could decide."""
    corner = flat[faces]
    left = (corner[:, 0, 0] - corner[:, 2, 0]) * (corner[:, 1, 1] - corner[:, 2, 1])
    right = (corner[:, 0, 1] - corner[:, 2, 1]) * (corner[:, 1, 0] - corner[:, 2, 0])
    sign = np.sign(left - right)
    unsure = np.abs(left - right) <= ROUNDING * (np.abs(left) + np.abs(right))
    sign[unsure] = [_exact(corner[at]) for at in np.flatnonzero(unsure)]
    return sign


def _exact(corner):
    """The sign of one triangle's area in rational numbers."""
    (ax, ay), (bx, by), (cx, cy) = [[Fraction(float(x)) for x in p] for p in corner]
    area = (ax - cx) * (by - cy) - (ay - cy) * (bx - cx)
    return (area > 0) - (area < 0)


def rim(faces):
    """The boundary of a disk as a list of vertices."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    run = set(zip(start.tolist(), end.tolist(), strict=True))
    after = {a: b for a, b in run if (b, a) not in run}
    first = min(after)
    out, at = [first], after[first]
    while at != first:
        out.append(at)
        at = after[at]
    return out
