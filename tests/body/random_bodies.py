"""Tape measurements of people who could be: correlated draws from ANSUR II, and a part of each taken as given."""

from __future__ import annotations

import json
from collections.abc import Collection
from importlib.resources import files

import numpy as np

from padlib.body.plausible import ORDERED

WHO = {"male": ("men",), "female": ("women",), "neutral": ("men", "women")}
MEASURED = frozenset((  # what can be given and measured again
    "stature", "cervicale_height", "suprasternal_height", "shoulder_height", "axilla_height", "bust_height",
    "waist_height", "trochanter_height", "hip_height", "crotch_height", "knee_height", "ankle_height", "body_rise",
    "trunk_length", "head_girth", "neck_base_girth", "neck_girth", "chest_girth", "waist_girth", "hip_girth",
    "back_waist_length", "thigh_girth", "mid_thigh_girth", "knee_girth", "calf_girth", "ankle_girth",
    "minimum_leg_girth", "upper_arm_girth", "forearm_girth", "elbow_girth", "wrist_girth", "shoulder_width",
    "upper_arm_length", "arm_length", "foot_length", "hand_length",
))  # fmt: skip
WITHIN = 2.326  # standard deviations of each logarithm: the 1st to the 99th percentile


def person(rng: np.random.Generator, who: str) -> dict[str, float]:
    """Measurements in mm of one adult, men or women, all within their own 1st to 99th percentile.

    A draw from the log-normal distribution of ANSUR II (padlib/body/ansur2.json), taken again until it is, and
    until its measurements come in the order that they have on every subject (a crotch below the seat, and so on).
    """
    text = files("padlib.body").joinpath("ansur2.json").read_text(encoding="utf-8")
    table = json.loads(text)
    row = table["figures"][who]
    size = len(table["names"])
    covariance = np.zeros((size, size))
    for i, part in enumerate(row["covariance_1e6"]):
        covariance[i, : i + 1] = np.array(part) * 1e-6
    covariance += np.tril(covariance, -1).T
    slope, level = np.array(row["slope"]), np.array(row["level"])
    mean, variance = row["log_stature"]
    spread = np.sqrt(np.diag(covariance) + slope**2 * variance)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    while True:
        tall = rng.normal() * np.sqrt(variance)
        rest = slope * tall + root @ rng.normal(size=size)
        inside = (np.abs(rest) < WITHIN * spread).all() and abs(tall) < WITHIN * np.sqrt(variance)
        if not inside:
            continue
        logs = level + slope * mean + rest
        out = {"stature": float(np.exp(mean + tall))}
        out = _whole(out | dict(zip(table["names"], np.exp(logs).tolist(), strict=True)))
        if all(out[small] < out[large] for small, large in ORDERED):
            return out


def _whole(out: dict[str, float]) -> dict[str, float]:
    """The measurements with those that follow from others by their definition."""
    out["arm_length"] = out["upper_arm_length"] + out["forearm_length"]
    out["mid_thigh_girth"] = 0.56 * out["thigh_girth"] + 0.44 * out["knee_girth"]
    out["body_rise"] = out["waist_height"] - out["crotch_height"]
    out["trunk_length"] = out["cervicale_height"] - out["crotch_height"]
    out["back_waist_length"] = 1.03 * (out["cervicale_height"] - out["waist_height"])
    return out


def case(number: int, measured: Collection[str] = MEASURED) -> tuple[str, dict[str, float]]:
    """Figure and given measurements (mm) of one of the study's bodies; `measured`: names that can be checked."""
    rng = np.random.default_rng([4, number])
    figure = ("female", "male", "neutral")[number % 3]
    who = WHO[figure][int(rng.integers(len(WHO[figure])))]
    full = person(rng, who)
    names = [n for n in full if n in measured]
    count = int(rng.integers(1, len(names) + 1))
    chosen = set(rng.choice(names, count, replace=False))
    return figure, {n: full[n] for n in names if n in chosen}
