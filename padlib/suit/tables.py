"""A body as the object that `measure --json` and `scan --json` print."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from padlib.body.body import Body
from padlib.body.doubt import with_doubts
from padlib.body.fit import Fitted
from padlib.body.measure import Measurements, measure
from padlib.findings import Finding, Grade


def warnings_of(findings: tuple[Finding, ...] | list[Finding]) -> list[str]:
    """The findings that a maker should read, as sentences, each once."""
    return list(dict.fromkeys(str(f) for f in findings if f.grade >= Grade.WARNING))


def measured(
    body: Body, given: Collection[str] = (), *, told: Measurements | None = None
) -> dict[str, Any]:
    """landmarks_mm, how sure each is (0 to 1), measurements_mm, unsure_mm and warnings of a body with landmarks.

    given: names of measurements that a tape said, which no hole in the scan makes unsure. told: its measurements
    with their doubts, taken here if None.
    """
    found = with_doubts(body, measure(body), given) if told is None else told
    return {
        "landmarks_mm": {k: [round(float(c), 3) for c in body.at(k)] for k in body.landmarks},
        "confidence": {k: body.sure[k] for k in body.landmarks if k in body.sure},
        "measurements_mm": {k: round(float(v), 2) for k, v in found.values.items()},
        "unsure_mm": {k: round(mm, 1) for k, mm in found.unsure.items()},
        "warnings": warnings_of([*body.findings, *found.warnings]),
    }


def fit_told(fitted: Fitted) -> dict[str, Any]:
    """What was moved to bring a body to a tape: a table in mm, and how far the surface went."""
    rows = [
        {
            "name": row.name,
            "asked_mm": row.asked,
            "before_mm": round(row.before, 2),
            "after_mm": round(row.after, 2),
        }
        for row in fitted.moved
    ]
    return {
        "moved": rows,
        "moved_mm": {"mean": round(fitted.mean_mm, 2), "max": round(fitted.farthest_mm, 2)},
        "findings": [str(f) for f in fitted.findings],
    }
