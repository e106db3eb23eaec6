"""A worn part: a hand, foot, head or tail that is worn with the suit; the shell leaves room for it.

It is no cushion: nothing is stuffed, and its rim says where the suit's opening lies.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.padding.pad import Pad
from padlib.padding.shapes.parameter import (
    SCALE,
    TURN,
    Parameter,
    check_move,
    check_words,
    settled,
)
from padlib.padding.shapes.sculpted import UNITS
from padlib.padding.worn import PART_SIDES, Laid, Worn, put_on, room_for

Array = NDArray[np.float64]

WORN = True  # no cushion is made of it
PLACES = ("landmark", "body")

TABLE = (
    Parameter(
        "overlap",
        "mm",
        "how far sleeve or leg lies over its rim (under a head's rim the suit goes up by as much)",
        0,
        150,
        "less would gap when the wearer reaches and more would bunch up",
    ),
    SCALE,
    TURN,
)
EXTRAS = {
    "file": "a mesh beside the suit file, open at its rim, made for the left side or the middle",
    "part": f"which part it is: {', '.join(PART_SIDES)}",
    "unit": f"its unit, one of {', '.join(UNITS)}; not given: mm",
    "place": "landmark: its origin goes to the wrist (its -z axis along the forearm), to the floor under the ankle, to "
    "the middle of the neck's base or between the seats; body: it lies in the body's coordinates",
    "move": "[x, y, z] in mm by which it is moved then (on the right side mirrored)",
}
DEFAULTS = {"overlap": 30.0, "scale": 1.0, "turn": 0.0}


def checked(who: str, parameters: Mapping[str, object]) -> None:
    """Raise InputError for parameters that cannot be used on any body."""
    _numbers(who, parameters)
    if not isinstance(parameters.get("file"), str) or not parameters["file"]:
        raise InputError(f"{who} needs a 'file', the mesh of the worn part beside the suit file")
    if parameters.get("part") not in PART_SIDES:
        raise InputError(
            f"{who}: 'part' is '{parameters.get('part')}' but must be one of {', '.join(PART_SIDES)}"
        )
    check_words(who, parameters, {"unit": UNITS, "place": PLACES})
    check_move(who, parameters)


def worn_parts(body: Body, pad: Pad, who: str) -> tuple[Worn, ...]:
    """The part on each side that it is asked for. Raises InputError as `checked` does, and for the file."""
    checked(who, pad.parameters)
    use = _numbers(who, pad.parameters)
    part = str(pad.parameters["part"])
    size = UNITS[str(pad.parameters.get("unit", "mm"))]
    raw = read_mesh(Path(str(pad.parameters["file"])))
    mesh = Surface(size * raw.vertices, raw.faces)
    move = pad.parameters.get("move", (0.0, 0.0, 0.0))
    laid = Laid(
        use["scale"], use["turn"], move, pad.parameters.get("place", "landmark") == "landmark"
    )
    if not PART_SIDES[part]:
        if pad.side != "both":
            raise InputError(
                f"{who}: a {part} has no side, so side cannot be '{pad.side}'; leave side out"
            )
        return (put_on(body, mesh, pad.name, part, "both", laid),)
    sides = ("left", "right") if pad.side == "both" else (pad.side,)
    return tuple(put_on(body, mesh, pad.name, part, side, laid) for side in sides)


def layers(body: Body, pad: Pad, who: str) -> list[tuple[str, str, Array]]:
    """Name, side and the room (n,) mm that the shell leaves for the part on each of its sides."""
    return [(pad.name, w.side, room_for(body, w)) for w in worn_parts(body, pad, who)]


def overlap(who: str, pad: Pad) -> float:
    """How far sleeve or leg lies over the part's rim, mm."""
    return _numbers(who, pad.parameters)["overlap"]


def _numbers(who: str, parameters: Mapping[str, object]) -> dict[str, float]:
    numbers = {k: v for k, v in parameters.items() if k not in EXTRAS}
    return settled(who, TABLE, numbers, DEFAULTS)  # type: ignore[arg-type]


def thickness(
    body: Body, parameters: Mapping[str, object], side: str, who: str = "the worn part"
) -> Array:
    """The room (n,) mm that the shell leaves for the part on one side."""
    pad = Pad("worn", "worn", side, parameters)  # type: ignore[arg-type]
    return layers(body, pad, who)[0][2]
