"""The shape of a person as one smooth solid, from a full set of measurements.

Trunk, neck, head, arms and legs are swept sections and ellipsoids that join with fillets.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import Anatomy
from padlib.body.person_head import head, neck
from padlib.body.person_limbs import arm, foot, leg, thumb, web
from padlib.body.person_trunk import bust, buttock, shoulder, trunk
from padlib.body.solids import Part, Solid, meet, union

Array = NDArray[np.float64]
REGIONS = ("legs", "trunk", "neck", "head", "arms")


def parts(an: Anatomy) -> dict[str, list[Part]]:
    """The parts of a person in the order of their joining, by region."""
    h = an.h
    legs = leg(an)
    return {
        "legs": [
            Part(legs, 0.01 * h),
            Part(legs, 0.01 * h, mirrored=True),
            Part(foot(an), 0.018 * h),
        ],
        "trunk": [
            Part(trunk(an), 0.018 * h),
            *(Part(buttock(an), 0.022 * h, mirrored) for mirrored in (False, True)),
            *(Part(bust(an), 0.030 * h, mirrored) for mirrored in (False, True)),
            *(Part(shoulder(an), 0.042 * h, mirrored) for mirrored in (False, True)),
        ],
        "neck": [Part(neck(an), 0.022 * h)],
        "head": head(an),
        "arms": [Part(arm(an), 0.024 * h), Part(web(an), 0.020 * h), Part(thumb(an), 0.016 * h)],
    }


def person(an: Anatomy, regions: Sequence[str] = REGIONS) -> Solid:
    """The whole person, or some regions, as one solid for points with x >= 0; the other side is its mirror image."""
    h = an.h
    made = parts(an)
    body = union([part for name in regions for part in made[name]], 0.06 * h)

    def value(points: Array) -> Array:
        out = body(points)
        low = points[:, 2] < 0.05 * h
        out[low] = meet(out[low], -points[low, 2], 0.014 * h)
        return out

    return value
