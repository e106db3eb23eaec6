"""What people of a stature mostly measure, and how their measurements go together.

Adults: ANSUR II (padlib/body/ansur2.json says how it was derived). Below a stature of 1,500 mm the
means turn into those of children, from memory after R. G. Snyder and others, "Anthropometry of
infants, children and youths" (1977), rounded; how measurements go together is taken from adults.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FIGURES = ("neutral", "female", "male", "child")
# whose spread of measurements a figure has: a child's is taken from adults
BOTH = ("men", "women")
WHO = {"male": ("men",), "female": ("women",), "neutral": BOTH, "child": BOTH}
MIDDLING_CHILD = 1220.0  # stature of a child of whom nothing else is known: about seven years
ADULT, CHILD = 1500.0, 1400.0  # statures, mm: wholly adult above, wholly child below
LEAST_STATURE, MOST_STATURE = 880.0, 2250.0

# stature, then each measurement in mm (from memory, Snyder and others 1977, rounded)
CHILDREN = {
    "stature": (950, 1220, 1450),
    "cervicale_height": (768, 1010, 1228),
    "suprasternal_height": (738, 968, 1178),
    "shoulder_height": (742, 972, 1176),
    "axilla_height": (692, 908, 1098),
    "bust_height": (648, 856, 1040),
    "trochanter_height": (440, 600, 744),
    "hip_height": (428, 585, 726),
    "crotch_height": (380, 545, 685),
    "knee_height": (236, 322, 396),
    "ankle_height": (42, 52, 60),
    "head_girth": (497, 520, 536),
    "neck_girth": (240, 268, 300),
    "neck_base_girth": (268, 300, 336),
    "chest_girth": (525, 612, 720),
    "navel_girth": (505, 565, 655),
    "hip_girth": (535, 650, 785),
    "thigh_girth": (305, 375, 460),
    "calf_girth": (205, 252, 305),
    "minimum_leg_girth": (142, 168, 196),
    "upper_arm_girth": (160, 186, 225),
    "forearm_girth": (155, 180, 208),
    "wrist_girth": (110, 125, 142),
    "hand_girth": (122, 148, 176),
    "hand_length": (106, 132, 158),
    "hand_breadth": (50, 60, 70),
    "foot_length": (152, 192, 228),
    "foot_breadth": (62, 74, 86),
    "shoulder_width": (234, 290, 355),  # from biacromial 222, 272, 330 as for adults
    "upper_arm_length": (168, 224, 274),
    "forearm_length": (130, 174, 212),
    "waist_height": (556, 742, 902),
    "waist_girth": (490, 548, 625),
    "knee_girth": (208, 256, 308),
    "elbow_girth": (150, 172, 200),
    "ankle_girth": (162, 190, 222),
}
# Taken as they are given, or worked out from the shape: no part in the table
SHAPED = ("arm_length", "back_waist_length", "mid_thigh_girth")
SAME = {"bust_girth": "chest_girth"}
# Measured on a body, but nothing of its own here moves them
UNSTEERED = (
    "total_crotch_length", "trunk_length", "body_rise", "shoulder_length", "neck_base_girth",
    "calf_height", "bust_breadth", "bust_depth", "waist_breadth", "waist_depth", "hip_breadth",
    "hip_depth", "biacromial_breadth",
)  # fmt: skip
BACK_CURVE = 1.03  # back waist length over its height (ANSUR II: 1.037 men, 1.024 women)
# a length, the heights of its ends, and how much longer it is than the way straight down
DROPS = (
    ("body_rise", "waist_height", "crotch_height", 1.0),
    ("trunk_length", "cervicale_height", "crotch_height", 1.0),
    ("back_waist_length", "cervicale_height", "waist_height", BACK_CURVE),
)


@cache
def _table() -> dict:
    text = files("padlib.body").joinpath("ansur2.json").read_text(encoding="utf-8")
    return json.loads(text)


def tabled() -> list[str]:
    """The measurements of the derived table, stature left out, in its order."""
    return _table()["names"]


def names() -> tuple[str, ...]:
    """Every measurement that a body can be asked for, by name."""
    return ("stature", *_table()["names"], *SHAPED, *SAME)


@cache
def adults(figure: str) -> tuple[Array, Array, Array, float, float]:
    """Slope, level (k,), covariance (k, k) of the logarithms; mean and variance of log stature."""
    who = WHO[figure]
    parts = [_table()["figures"][w] for w in who]
    size = len(_table()["names"])
    mean = [np.mean([p[key] for p in parts], axis=0) for key in ("slope", "level", "log_stature")]
    covariance = np.zeros((size, size))
    for part in parts:
        for i, row in enumerate(part["covariance_1e6"]):
            covariance[i, : i + 1] += np.array(row) * 1e-6 / len(parts)
    covariance += np.tril(covariance, -1).T
    return mean[0], mean[1], covariance, float(mean[2][0]), float(mean[2][1])


def usual(stature: float, figure: str) -> dict[str, float]:
    """The mean of each measurement in mm among people of this stature (mm) and figure.

    A child is one at any stature; of the other figures those below 1,400 mm are, too.
    """
    slope, level, _, _, _ = adults(figure)
    adult = level + slope * np.log(stature)
    rows = np.log([CHILDREN[name] for name in _table()["names"]])
    tall = np.log(CHILDREN["stature"])
    at = np.log(min(max(stature, tall.min()), np.exp(tall[-1])))
    child = np.array([np.interp(at, tall, row) for row in rows])
    child += np.log(stature) - at  # beyond the table a child grows in proportion
    share = np.clip((stature - CHILD) / (ADULT - CHILD), 0.0, 1.0) * (figure != "child")
    mixed = np.exp(share * adult + (1 - share) * child)
    return dict(zip(_table()["names"], mixed.tolist(), strict=True))
