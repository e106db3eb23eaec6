"""Thread and time: what sewing a suit takes.

Thread per length of seam from the geometry of a stitch (formulas per inch of seam in VALUES 4.3: T
total thickness of the plies, W width of the stitch, S stitches per inch; ISO 4915 numbers). Times are
common practice, no source: long pile is pinned, combed and picked out, which takes longer than sewing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from padlib.errors import InputError

INCH = 25.4
Formula = Callable[[float, float, float], float]
STITCHES: Mapping[int, tuple[str, Formula]] = MappingProxyType(
    {
        301: ("lockstitch", lambda t, w, s: 2 + 2 * t * s),
        401: ("two-thread chain", lambda t, w, s: 4 + 2 * t * s),
        504: ("three-thread over-edge", lambda t, w, s: 5 + 4 * s * (w + t)),
        514: ("four-thread over-edge", lambda t, w, s: 5 + 2 * s * (3 * t + 2 * w)),
        516: ("five-thread safety stitch", lambda t, w, s: 9 + 2 * s * (2 * w + 3 * t)),
    }
)
MACHINE_M_MIN = (0.04, 0.12)  # metres of seam a minute, pinning, combing and picking out included
HAND_M_MIN = (0.03, 0.08)  # hems and tapes felled by hand
CUT_M_MIN = (0.1, 0.3)  # metres of outline marked and cut with a blade


def thread_ratio(
    stitch: int, *, thickness_mm: float, length_mm: float, width_mm: float = 5.0
) -> float:
    """Thread over seam length; thickness of all plies, length of a stitch, width of an over-edge.

    Raises InputError for a stitch that is not known.
    """
    if stitch not in STITCHES:
        known = ", ".join(map(str, STITCHES))
        raise InputError(f"there is no stitch {stitch}; take one of {known} (ISO 4915).")
    per_inch = INCH / length_mm
    return STITCHES[stitch][1](thickness_mm / INCH, width_mm / INCH, per_inch)


def hours(metres: float, speed: tuple[float, float]) -> tuple[float, float]:
    """Least and most hours that a length takes at a range of speeds in metres a minute."""
    return metres / speed[1] / 60.0, metres / speed[0] / 60.0
