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
    drawn,
    hip,
    hump,
    sculpted,
    seat,
    shoulder,
    tail,
    thigh,
    upper_arm,
    worn,
)
from padlib.padding.shapes.parameter import settled

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
    "drawn": drawn,
    "sculpted": sculpted,
    "worn": worn,
}

SIDES = {"left": ("left",), "right": ("right",), "both": ("left", "right")}


def thickness(body: Body, pad: Pad, side: str) -> NDArray[np.float64]:
    """Thickness (n,) mm of a pad at each vertex of the body, on one of its `sides`.

    Smooth (C1) along the body and 0 outside the pad. Raises InputError for a kind that is not
    there, for parameters that cannot be used, and where a landmark of the body is missing.
    """
    return _kind(pad).thickness(body, pad.parameters, side, f"pad '{pad.name}'")


def layers(body: Body, pad: Pad) -> list[tuple[str, str, NDArray[np.float64]]]:
    """Name, side and thickness (n,) mm of each cushion that a pad is: one a side, or one in the middle.

    A sculpted mesh may make several, which are numbered. Raises InputError as `thickness` does.
    """
    kind, who = _kind(pad), f"pad '{pad.name}'"
    if hasattr(kind, "layers"):
        sides(pad)
        return kind.layers(body, pad, who)
    return [
        (pad.name, side, kind.thickness(body, pad.parameters, side, who)) for side in sides(pad)
    ]


def even(pad: Pad) -> bool:
    """Whether a pad is its own mirror image on a body that is."""
    return pad.side == "both" and not hasattr(_kind(pad), "layers")


def is_worn(pad: Pad) -> bool:
    """Whether a pad is a worn part, of which no cushion is made."""
    return getattr(_kind(pad), "WORN", False)


def checked(pad: Pad) -> None:
    """Raise InputError for what cannot be used on any body: kind, side, parameters."""
    kind, who = _kind(pad), f"pad '{pad.name}'"
    if hasattr(kind, "checked"):
        kind.checked(who, pad.parameters)
    else:
        settled(who, kind.TABLE, pad.parameters, {entry.name: entry.low for entry in kind.TABLE})
    sides(pad)


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
