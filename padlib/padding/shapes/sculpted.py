"""The sculpted pad: a mesh of carved foam, or of the padded double; the pad is where it leaves the body.

Common practice, no source: foam is carved on a dress form or on a double of the wearer, then scanned.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.scan import import_scan
from padlib.errors import InputError
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.padding.pad import Pad
from padlib.padding.place import on_side
from padlib.padding.sculpt import brought_on, mirror, pieces, stands_off
from padlib.padding.shapes.parameter import (
    SCALE,
    TURN,
    Parameter,
    check_move,
    check_words,
    settled,
)

Array = NDArray[np.float64]

UNITS = {"mm": 1.0, "cm": 10.0, "dm": 100.0, "m": 1000.0, "inch": 25.4}
PLACES = ("body", "double")
LITTLE = 20.0  # cm2 of skin: a patch smaller than this is no pad but a fold in the scan

TABLE = (
    Parameter(
        "least",
        "mm",
        "what stands off the body by less than this is no pad",
        0.5,
        30,
        "less is a scan's noise and more would swallow a pad's rim",
    ),
    SCALE,
    TURN,
)
EXTRAS = {
    "file": "a mesh beside the suit file (PLY, OBJ, STL, GLB, OFF, 3MF)",
    "unit": f"its unit, one of {', '.join(UNITS)}; not given: mm, or found for a double",
    "place": "body: it lies in the body's coordinates, as body.ply is written; double: a scan of the padded "
    "double, which is stood up and brought onto the body",
    "move": "[x, y, z] in mm by which it is moved, after it is scaled and turned",
    "mirrored": "left or right: only that side is used, and its mirror image for the other",
}


def checked(who: str, parameters: Mapping[str, object]) -> None:
    """Raise InputError for parameters that cannot be used on any body."""
    numbers = {k: v for k, v in parameters.items() if k not in EXTRAS}
    settled(who, TABLE, numbers, {entry.name: entry.low for entry in TABLE})  # type: ignore[arg-type]
    if not isinstance(parameters.get("file"), str) or not parameters["file"]:
        raise InputError(f"{who} needs a 'file', the sculpted mesh beside the suit file")
    choices = {"unit": UNITS, "place": PLACES, "mirrored": ("left", "right")}
    check_words(who, parameters, choices)
    check_move(who, parameters)
    if parameters.get("place") == "double" and set(parameters) & {"move", "turn", "scale"}:
        raise InputError(
            f"{who}: a double is stood up and brought onto the body by itself; leave out move, turn and scale"
        )


def layers(body: Body, pad: Pad, who: str) -> list[tuple[str, str, Array]]:
    """Name, side and thickness (n,) mm of each separate pad that the sculpted mesh makes.

    Pads that mirror each other have one name; others are numbered. Raises InputError where the file or
    its place cannot be used, and where it nowhere leaves the body.
    """
    checked(who, pad.parameters)
    surface = _placed(body, pad.parameters, who)
    least = float(pad.parameters.get("least", 3.0))
    side = str(pad.parameters.get("mirrored", pad.side))
    if side != "both" and pad.parameters.get("mirrored"):
        own = stands_off(body, surface, least) * on_side(body, side)
        image = stands_off(body, mirror(surface), least)
        other = {"left": "right", "right": "left"}[side]
        pairs = [(side, own), (other, image * on_side(body, other))]
        pairs = [p for p in pairs if pad.side in ("both", p[0])]
    else:
        every = stands_off(body, surface, least)
        pairs = [(pad.side, every if pad.side == "both" else every * on_side(body, pad.side))]
    parts = [part for _, thick in pairs for part in pieces(body, thick, LITTLE)]
    if not parts:
        raise InputError(
            f"{who}: its mesh nowhere stands off the body by {least:g} mm; check its unit and that it lies "
            "on the body, or give less 'least'"
        )
    return _named(pad, parts)


def _named(pad: Pad, parts: list[tuple[str, Array]]) -> list[tuple[str, str, Array]]:
    """Parts with names: the first of each side is called as the pad, the others are numbered."""
    count = {"left": 0, "right": 0, "both": 0}
    out = []
    middles = any(side == "both" for side, _ in parts) and any(side != "both" for side, _ in parts)
    for side, thick in parts:
        count[side] += 1
        word = "-middle" if middles and side == "both" else ""
        number = f"-{count[side]}" if count[side] > 1 else ""
        out.append((f"{pad.name}{word}{number}", side, thick))
    return out


def _placed(body: Body, parameters: Mapping[str, object], who: str) -> Surface:
    """The sculpted mesh in the body's frame, mm."""
    path = Path(str(parameters["file"]))
    unit = parameters.get("unit")
    if parameters.get("place") == "double":
        found = import_scan(path, unit=None if unit is None else str(unit))
        return brought_on(body, found.body.surface, who)
    raw = read_mesh(path)
    turn = np.radians(float(parameters.get("turn", 0.0)))  # type: ignore[arg-type]
    spin = np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
    )
    size = UNITS[str(unit or "mm")] * float(parameters.get("scale", 1.0))  # type: ignore[arg-type]
    move = np.asarray(parameters.get("move", (0.0, 0.0, 0.0)))
    return Surface(size * raw.vertices @ spin.T + move, raw.faces)


def thickness(
    body: Body, parameters: Mapping[str, object], side: str, who: str = "the sculpted pad"
) -> Array:
    """Thickness (n,) mm of the largest piece of the pad at each vertex of the body."""
    pad = Pad("sculpted", "sculpted", side, parameters)  # type: ignore[arg-type]
    return layers(body, pad, who)[0][2]
