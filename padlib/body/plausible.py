"""Whether given measurements can be those of a person: names, sizes, and orderings that hold for everybody."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

import numpy as np

from padlib.body.usual import BACK_CURVE, LEAST_STATURE, MOST_STATURE, SAME, UNSTEERED, names, usual
from padlib.errors import InputError

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


def checked(given: Mapping[str, float]) -> dict[str, float]:
    """The given values by name, the names and numbers checked, bust taken for chest. Raises InputError."""
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


def check_size(known: Mapping[str, float], figure: str) -> None:
    """Refuse a value that is out of range for a person of any stature: a wrong unit, mostly. Raises InputError."""
    small, large = usual(LEAST_STATURE, figure), usual(MOST_STATURE, figure)
    for name, value in known.items():
        most = MOST_FLESH if name in FLESH else MOST
        if name in small and not LEAST * small[name] <= value <= most * large[name]:
            raise InputError(
                f"{name} {value:g} mm is outside {LEAST * small[name]:.0f} to "
                f"{most * large[name]:.0f} mm, what people have; give it in millimetres."
            )


def check_range(known: Mapping[str, float], stature: float, figure: str) -> None:
    """Refuse a value (mm) that hardly a person of this stature has. Raises InputError."""
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


def check_order(out: dict[str, float], known: Mapping[str, float]) -> None:
    """Refuse given values that contradict each other; bring filled-in ones into order (changes `out`).

    Raises InputError.
    """
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
