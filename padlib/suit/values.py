"""Plain numbers for a report."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


def rounded(value: float, digits: int = 4) -> float:
    """A plain float, rounded so that the report reads well and is the same on every run."""
    return round(float(value), digits)


def run_length(points: NDArray[np.float64], runs: Sequence[NDArray[np.int64]]) -> float:
    """Length of an edge whose run may be broken by dart mouths, mm."""
    return float(
        sum(np.linalg.norm(np.diff(points[r], axis=0), axis=1).sum() for r in runs if len(r) > 1)
    )
