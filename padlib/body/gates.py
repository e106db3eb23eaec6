"""What no body has: measurements outside published percentiles, and orderings that hold for everyone measured."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from importlib.resources import files

import numpy as np

from padlib.findings import Finding, Grade

# Orderings that hold for all 6,068 subjects of ANSUR II (computed from the public release), smaller first.
ORDERED = (
    ("minimum_leg_girth", "calf_girth"),
    ("knee_girth", "thigh_girth"),
    ("mid_thigh_girth", "thigh_girth"),
    ("wrist_girth", "forearm_girth"),
    ("upper_arm_girth", "thigh_girth"),
    ("wrist_girth", "minimum_leg_girth"),
    ("neck_girth", "neck_base_girth"),
    ("neck_girth", "head_girth"),
    ("axilla_height", "shoulder_height"),
    ("crotch_height", "trochanter_height"),
)
RISE_TIMES = 2.0  # crotch length is more than twice the rise, in all of ANSUR II


def percentiles() -> dict[str, dict[str, list[float]]]:
    """Published percentiles: measurement to {"men": [1st, 50th, 99th], "women": ..., "slack": [below, above]}, mm.

    ANSUR II (2012), US Government work, NATICK/TR-15/007; the source note and the script are named in the file.
    """
    return json.loads(
        files("padlib.body").joinpath("percentiles.json").read_text(encoding="utf-8")
    )["measurements"]


def gates(values: Mapping[str, float]) -> Iterator[Finding]:
    """Findings for measurements that contradict each other or lie outside what people have."""
    for small, large in ORDERED:
        if small in values and large in values and values[small] > values[large]:
            words = (
                f"{_words(small)} {values[small]:.0f} mm is more than {_words(large)} {values[large]:.0f} mm, "
                "which it is on no body measured for the published tables; check the landmarks and the pose."
            )
            yield Finding(261, words, small, Grade.WARNING)
    rise = values.get("body_rise", 0.0)
    if values.get("total_crotch_length", np.inf) <= RISE_TIMES * rise:
        words = "total crotch length is not more than twice the body rise; check crotch and waist."
        yield Finding(261, words, "total_crotch_length", Grade.WARNING)
    yield from _outside(values)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _outside(values: Mapping[str, float]) -> Iterator[Finding]:
    """Findings for measurements outside the 1st to 99th percentile of adults, men and women taken together."""
    table = percentiles()
    stature = values.get("stature")
    if stature is not None and stature < table["stature"]["women"][0]:
        words = (
            f"Stature {stature:.0f} mm is below the 1st percentile of adults "
            f"({table['stature']['women'][0]:.0f} mm): a child, or a wrong unit; nothing else was compared."
        )
        yield Finding(263, words, "stature", Grade.NOTE)
        return
    for name, row in table.items():
        if name not in values:
            continue
        low = min(row["men"][0], row["women"][0]) - row["slack"][0]
        high = max(row["men"][2], row["women"][2]) + row["slack"][1]
        if not low <= values[name] <= high:
            words = (
                f"{_words(name)} {values[name]:.0f} mm is outside the 1st to 99th percentile of adults "
                f"({low:.0f} to {high:.0f} mm); check unit, pose and landmarks."
            )
            yield Finding(260, words, name, Grade.WARNING)
