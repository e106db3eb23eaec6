"""The kinds of pad: one module a kind, listed here."""

from __future__ import annotations

import difflib
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.padding.pad import Pad
from padlib.padding.shapes import (
    belly,
    calf,
    chest,
    hip,
    hump,
    seat,
    shoulder,
    tail,
    thigh,
    upper_arm,
)

KINDS: dict[str, ModuleType] = {
    "seat": seat,
    "thigh": thigh,
    "hip": hip,
    "calf": calf,
    "belly": belly,
    "chest": chest,
    "shoulder": shoulder,
    "upper_arm": upper_arm,
    "hump": hump,
    "tail": tail,
}

SIDES = {"left": ("left",), "right": ("right",), "both": ("left", "right")}


def thickness(body: Body, pad: Pad, side: str) -> NDArray[np.float64]:
    """Thickness (n,) mm of a pad at each vertex of the body, on one of its `sides`.

    Smooth (C1) along the body and 0 outside the pad. Raises InputError for a kind that is not
    there, for parameters that cannot be used, and where a landmark of the body is missing.
    """
    return _kind(pad).thickness(body, pad.parameters, side, f"pad '{pad.name}'")


def sides(pad: Pad) -> tuple[str, ...]:
    """The sides that a pad is on; both for a pad that is one piece across the middle.

    Raises InputError for anything but left, right or both, and for one side of a pad in the middle.
    """
    if pad.side not in SIDES:
        raise InputError(f"pad '{pad.name}': side is '{pad.side}' but must be left, right or both")
    if not getattr(_kind(pad), "MIDDLE", False):
        return SIDES[pad.side]
    if pad.side != "both":
        raise InputError(
            f"pad '{pad.name}': a {pad.kind} pad lies across the middle, so side cannot be "
            f"'{pad.side}'; leave side out"
        )
    return ("both",)


def _kind(pad: Pad) -> ModuleType:
    if pad.kind not in KINDS:
        close = difflib.get_close_matches(pad.kind, KINDS, n=1, cutoff=0.5)
        hint = f"did you mean '{close[0]}'" if close else f"there are {', '.join(KINDS)}"
        raise InputError(f"pad '{pad.name}': there is no kind '{pad.kind}'; {hint}")
    return KINDS[pad.kind]
