"""The unit of a file, told from how tall its figure is; where two units would do, from how large its head is.

A figure of 70 to 91 units can be a small child in centimetres or a tall adult in inches. Their proportions differ so
much that the head alone tells: read in the wrong unit it is 2.54 times too large or too small for anybody.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from padlib.errors import InputError

UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "dm": 100.0}
SHORTEST_MM, TALLEST_MM = 700.0, 2300.0
SHORTEST_FORM_MM = 400.0  # a dress form without head and legs, where its unit is said
SHORTEST_IN_INCHES_MM = 1200.0  # below this an inch reading is more likely a mistake than a child
# Girth of a head in mm, hair or a helmet included: from 420 mm (third percentile at nine months, WHO Child Growth
# Standards 2007, from memory) and 574 mm (mean of men, ANSUR II), with room on both sides, less than 2.54 times apart.
LEAST_HEAD, MOST_HEAD = 340.0, 820.0
STEP = 0.01  # of the height: thickness of the level slabs in which a head's girth is looked for
DOWN = 0.35  # of the height, from the top: so far down a neck is looked for; a baby's head is a quarter of it
NECK = 0.9  # a neck is thinner than this part of the head over it
FEW = 12  # points of a slab below which its girth is not told

Points = NDArray[np.float64]


def find_unit(height: float, unit: str | None, standing: Points) -> tuple[str, float, float]:
    """The unit, mm per unit and how sure; InputError when no unit, or more than one, will do.

    height: of the figure in the file's unit; unit: as the user gave it, or None; standing: points (n, 3) spread over
    the figure in the file's unit, up along +Z.
    """
    if unit is not None:
        return _forced(height, unit)
    fits = [name for name, scale in UNITS.items() if _human(height * scale, name)]
    if "dm" in fits and len(fits) > 1:
        fits.remove("dm")
    if not fits:
        raise InputError(
            f"the figure is {height:.4g} units tall, which is not a person's height in mm, cm, m or"
            f" inches ({SHORTEST_MM:.0f} to {TALLEST_MM:.0f} mm); scale the file or leave out what"
            " does not belong to the body, or give the unit of a shorter dress form."
        )
    if len(fits) > 1:
        fits = _by_head(fits, head_girth(standing)) or _refused(height, fits)
    return fits[0], UNITS[fits[0]], 1.0 if fits[0] in ("mm", "cm", "m") else 0.7


def head_girth(standing: Points) -> float | None:
    """Greatest taut girth of what sits on the neck, in the points' unit; None where nothing does.

    standing (n, 3): points spread over a figure, up along +Z.
    """
    top, tall = float(standing[:, 2].max()), float(np.ptp(standing[:, 2]))
    slab = np.floor((top - standing[:, 2]) / (STEP * tall)).astype(np.int64)
    most = 0.0
    for k in range(round(DOWN / STEP)):
        girth = _girth(standing[slab == k, :2])
        if girth is None:
            continue
        if girth < NECK * most:
            return most
        most = max(most, girth)
    return None


def _girth(points: Points) -> float | None:
    """Perimeter of the hull of points (k, 2); None where they are too few to tell."""
    try:
        return float(ConvexHull(points).area) if len(points) >= FEW else None
    except QhullError:
        return None


def _by_head(fits: Sequence[str], head: float | None) -> list[str]:
    """Those units in which a head's girth (in the file's unit) is a person's: one of them, or none."""
    if head is None:
        return []
    return [name for name in fits if LEAST_HEAD <= head * UNITS[name] <= MOST_HEAD]


def _refused(height: float, fits: Sequence[str]) -> list[str]:
    """Raise the sentence for a figure of which two units would make a person."""
    shown = " or ".join(f"{height * UNITS[u]:.0f} mm in {u}" for u in fits)
    words = {"in": "inch"}
    asked = " or ".join(f"--unit {words.get(u, u)}" for u in fits)
    raise InputError(
        f"the figure is {height:.4g} units tall, which could be {shown}, and has no head that tells;"
        f" give the unit (on the command line {asked})."
    )


def _forced(height: float, unit: str) -> tuple[str, float, float]:
    """The unit that the user gave, checked."""
    name = {"inch": "in", "inches": "in"}.get(unit.lower(), unit.lower())
    if name not in UNITS:
        raise InputError(f"the unit {unit} is not known; use one of {', '.join(UNITS)}.")
    tall = height * UNITS[name]
    if not SHORTEST_FORM_MM <= tall <= TALLEST_MM:
        raise InputError(
            f"read in {name} the figure is {tall:,.0f} mm tall, and persons and dress forms stand between"
            f" {SHORTEST_FORM_MM:.0f} and {TALLEST_MM:.0f} mm; give another unit or leave it out."
        )
    return name, UNITS[name], 1.0


def _human(tall: float, unit: str) -> bool:
    """Whether a height in mm can be a standing person's."""
    least = SHORTEST_IN_INCHES_MM if unit == "in" else SHORTEST_MM
    return least <= tall <= TALLEST_MM
