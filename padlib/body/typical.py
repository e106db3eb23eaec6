"""Measurements that were not taken, from those that were: what people of that size mostly have.

Adults: ANSUR II (padlib/body/ansur2.json says how it was derived). Below a stature of 1,500 mm the
means turn into those of children, from memory after R. G. Snyder and others, "Anthropometry of
infants, children and youths" (1977), rounded; how measurements go together is taken from adults.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError

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
# Orderings that hold for every one of ANSUR II's 6,068 subjects (VALUES of the project: hard gates)
ORDERED = (
    ("ankle_girth", "calf_girth"),
    ("minimum_leg_girth", "calf_girth"),
    ("minimum_leg_girth", "ankle_girth"),
    ("knee_girth", "thigh_girth"),
    ("mid_thigh_girth", "thigh_girth"),
    ("wrist_girth", "forearm_girth"),
    ("upper_arm_girth", "thigh_girth"),
    ("wrist_girth", "minimum_leg_girth"),
    ("neck_girth", "head_girth"),
    ("thigh_girth", "hip_girth"),
    ("ankle_height", "knee_height"),
    ("knee_height", "crotch_height"),
    ("crotch_height", "hip_height"),
    ("hip_height", "waist_height"),
    ("waist_height", "bust_height"),
    ("bust_height", "axilla_height"),
    ("axilla_height", "shoulder_height"),
    ("shoulder_height", "cervicale_height"),
    ("suprasternal_height", "cervicale_height"),
    ("cervicale_height", "stature"),
)
# the widest that a person is taken to be, as multiples of what is usual for the stature
LEAST, MOST = 0.6, 1.75
MOST_FLESH = 2.3  # ... of these, which a very heavy build has
FLESH = (
    "chest_girth", "waist_girth", "navel_girth", "hip_girth", "thigh_girth", "mid_thigh_girth", "upper_arm_girth",
)  # fmt: skip
BACK_CURVE = 1.03  # back waist length over its height (ANSUR II: 1.037 men, 1.024 women)
# a length, the heights of its ends, and how much longer it is than the way straight down
DROPS = (
    ("body_rise", "waist_height", "crotch_height", 1.0),
    ("trunk_length", "cervicale_height", "crotch_height", 1.0),
    ("back_waist_length", "cervicale_height", "waist_height", BACK_CURVE),
)
STEADY = 0.15  # of the variance: keeps a few odd measurements from driving the others far away

Array = NDArray[np.float64]


@cache
def _table() -> dict:
    text = files("padlib.body").joinpath("ansur2.json").read_text(encoding="utf-8")
    return json.loads(text)


def names() -> tuple[str, ...]:
    """Every measurement that a body can be asked for, by name."""
    return ("stature", *_table()["names"], *SHAPED, *SAME)


@cache
def _adults(figure: str) -> tuple[Array, Array, Array, float, float]:
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
    slope, level, _, _, _ = _adults(figure)
    adult = level + slope * np.log(stature)
    rows = np.log([CHILDREN[name] for name in _table()["names"]])
    tall = np.log(CHILDREN["stature"])
    at = np.log(min(max(stature, tall.min()), np.exp(tall[-1])))
    child = np.array([np.interp(at, tall, row) for row in rows])
    child += np.log(stature) - at  # beyond the table a child grows in proportion
    share = np.clip((stature - CHILD) / (ADULT - CHILD), 0.0, 1.0) * (figure != "child")
    mixed = np.exp(share * adult + (1 - share) * child)
    return dict(zip(_table()["names"], mixed.tolist(), strict=True))


def fill(given: Mapping[str, float], figure: str) -> dict[str, float]:
    """Every measurement in mm: those given (checked), and the most likely rest.

    Raises InputError for an unknown name or figure, a value that no person has, or two that
    contradict each other.
    """
    if figure not in FIGURES:
        raise InputError(f"figure must be one of {', '.join(FIGURES)}, not '{figure}'.")
    known = _checked(given)
    _check_size(known, figure)
    told, known = known, {**_implied(known), **known}
    stature = known.get("stature") or _stature_from(known, figure)
    out = {"stature": stature, **_rest(known, stature, figure)}
    _check_range(known, stature, figure)
    out |= known
    _shaped(out, known)
    out.setdefault("mid_thigh_girth", _mid_thigh(out))
    _check_order(out, told)
    return out


def _implied(known: Mapping[str, float]) -> dict[str, float]:
    """Heights that follow from given lengths and other given heights."""
    out: dict[str, float] = {}
    have = dict(known)
    for drop, high, low, curve in 2 * DROPS:
        if drop not in known:
            continue
        if low in have and high not in have:
            have[high] = out[high] = have[low] + known[drop] / curve
        elif high in have and low not in have:
            have[low] = out[low] = have[high] - known[drop] / curve
    return out


def _checked(given: Mapping[str, float]) -> dict[str, float]:
    """The given values by name, the names and numbers checked, bust taken for chest."""
    allowed = (*names(), *UNSTEERED)
    known: dict[str, float] = {}
    for name, value in given.items():
        if name not in allowed:
            near = difflib.get_close_matches(str(name), allowed, n=1, cutoff=0.0)[0]
            raise InputError(f"There is no measurement '{name}'; did you mean '{near}'?")
        if isinstance(value, bool) or not isinstance(value, (int, float, np.number)):
            raise InputError(f"{name} must be a number in mm, not {value!r}.")
        if not np.isfinite(value):
            raise InputError(f"{name} must be a finite number in mm, not {value}.")
        known[name] = float(value)
    for name, same in SAME.items():
        if name in known:
            value = known.pop(name)
            known.setdefault(same, value)
    stature = known.get("stature")
    if stature is not None and not LEAST_STATURE <= stature <= MOST_STATURE:
        raise InputError(
            f"stature {stature:g} mm is outside {LEAST_STATURE:g} to {MOST_STATURE:g} mm; "
            "give it in millimetres."
        )
    return known


def _stature_from(known: Mapping[str, float], figure: str) -> float:
    """The most likely stature where it is not given: adults, unless the rest fits a child better."""
    table = _table()["names"]
    have = [n for n in table if n in known]
    slope, level, covariance, mean, variance = _adults(figure)
    if not have:
        return MIDDLING_CHILD if figure == "child" else float(np.exp(mean))
    index = [table.index(n) for n in have]
    seen = np.log([known[n] for n in have])
    if any(v <= 0 for v in known.values()):
        raise InputError("every measurement must be more than zero mm.")
    tall = np.linspace(np.log(LEAST_STATURE), np.log(MOST_STATURE), 400)
    noise = covariance[np.ix_(index, index)]
    noise = np.linalg.inv(noise + STEADY * np.diag(np.diag(noise)))
    best, least = mean, np.inf
    for t in tall:
        u = usual(float(np.exp(t)), figure)
        off = seen - np.log([u[n] for n in have])
        # children are a twentieth of an adult wearer's likelihood, of any stature alike
        prior = 0.0 if figure == "child" else min((t - mean) ** 2 / variance, 6.0)
        cost = float(off @ noise @ off) + prior
        if cost < least:
            best, least = float(t), cost
    return float(np.exp(best))


def _rest(known: Mapping[str, float], stature: float, figure: str) -> dict[str, float]:
    """The most likely value of every measurement of the table, given the known ones."""
    table = _table()["names"]
    base = np.log([usual(stature, figure)[n] for n in table])
    have = [i for i, n in enumerate(table) if n in known and known[n] > 0]
    if not have:
        return dict(zip(table, np.exp(base).tolist(), strict=True))
    covariance = _adults(figure)[2]
    inner = covariance[np.ix_(have, have)]
    inner = inner + STEADY * np.diag(np.diag(inner))
    off = np.log([known[table[i]] for i in have]) - base[have]
    shift = covariance[:, have] @ np.linalg.solve(inner, off)
    return dict(zip(table, np.exp(base + shift).tolist(), strict=True))


def _mid_thigh(full: Mapping[str, float]) -> float:
    """Girth in mm halfway from knee to hip: a little slimmer than a straight taper to the thigh under the crotch.

    On adults 0.56 of the way from the knee's girth to the thigh's; a child's short thigh has it nearer to the crotch.
    """
    knee, thigh = full["knee_height"], full["crotch_height"] - 0.015 * full["stature"]
    up = 0.5 * (full["trochanter_height"] - knee) / max(thigh - knee, 0.01 * full["stature"])
    share = np.clip(0.9 * up, 0.45, 0.8)
    return float(share * full["thigh_girth"] + (1 - share) * full["knee_girth"])


def _shaped(out: dict[str, float], known: Mapping[str, float]) -> None:
    """Keep filled-in measurements such that they make a body: changes `out`."""
    if "bust_height" not in known:  # the tape of the chest runs below the armpits
        out["bust_height"] = min(out["bust_height"], out["axilla_height"] - 0.033 * out["stature"])
    if "navel_girth" not in known:  # no deep fold between a wide waist and the hip
        most = 0.55 * out["waist_girth"] + 0.46 * out["hip_girth"]
        out["navel_girth"] = min(out["navel_girth"], most)
    long = out["upper_arm_length"] + out["forearm_length"]
    longer = out.setdefault("arm_length", long) / long
    for name in ("upper_arm_length", "forearm_length"):
        if name not in known:
            out[name] *= longer
    if "back_waist_length" in known and "waist_height" not in known:
        out["waist_height"] = out["cervicale_height"] - known["back_waist_length"] / BACK_CURVE


def _check_size(known: Mapping[str, float], figure: str) -> None:
    """Refuse a value that is out of range for a person of any stature: a wrong unit, mostly."""
    small, large = usual(LEAST_STATURE, figure), usual(MOST_STATURE, figure)
    for name, value in known.items():
        most = MOST_FLESH if name in FLESH else MOST
        if name in small and not LEAST * small[name] <= value <= most * large[name]:
            raise InputError(
                f"{name} {value:g} mm is outside {LEAST * small[name]:.0f} to "
                f"{most * large[name]:.0f} mm, what people have; give it in millimetres."
            )


def _check_range(known: Mapping[str, float], stature: float, figure: str) -> None:
    mean = usual(stature, figure)
    mean["arm_length"] = mean["upper_arm_length"] + mean["forearm_length"]
    mean["back_waist_length"] = BACK_CURVE * (mean["cervicale_height"] - mean["waist_height"])
    mean["mid_thigh_girth"] = 0.8 * mean["thigh_girth"]
    for name, value in known.items():
        if name not in mean:
            continue
        low, high = LEAST * mean[name], (MOST_FLESH if name in FLESH else MOST) * mean[name]
        if name.endswith(("_height", "_length")):
            low, high = 0.75 * mean[name], 1.3 * mean[name]
        if not low <= value <= high:
            raise InputError(
                f"{name} {value:g} mm is outside {low:.0f} to {high:.0f} mm, what people of "
                f"stature {stature:.0f} mm have; give it in millimetres."
            )


def _check_order(out: dict[str, float], known: Mapping[str, float]) -> None:
    """Refuse given values that contradict each other; bring filled-in ones into order."""
    for _ in range(3):
        for small, large in ORDERED:
            if out[small] < 0.985 * out[large] or (
                small in known and large in known and out[small] < out[large]
            ):
                continue
            if small in known and large in known:
                raise InputError(
                    f"{small} {known[small]:g} mm must be less than {large} {known[large]:g} mm, "
                    "as it is on everybody; measure both again."
                )
            if small in known:
                out[large] = out[small] / 0.97
            else:
                out[small] = 0.97 * out[large]
