"""What a pad may say besides numbers: places on the body, words, files beside the suit file."""

from __future__ import annotations

import math
from pathlib import Path, PurePath
from typing import Any, Protocol

from padlib.body.coordinates import LIMBS, OnLimb
from padlib.errors import SuitError
from padlib.padding.spot import Beside, InFace, Spot

Where = tuple[str | int, ...]


class _Reads(Protocol):
    def wrong(self, path: Where, words: str) -> SuitError:
        """The error of a place in the file."""


def pad_value(reader: _Reads, path: Where, value: Any, folder: Path) -> Any:
    """The value of a pad's key that is no number, ready for the pad.

    outline: places; move: three numbers; file: the path below `folder`; others as they are.
    """
    name = path[-1]
    if name == "outline":
        if not isinstance(value, list):
            raise reader.wrong(path, "'outline' must be a list of places on the body.")
        return tuple(read_spot(reader, path, entry) for entry in value)
    if name == "move":
        return _three(reader, path, value, "'move' must be [x, y, z] in mm")
    if name == "file":
        return _file(reader, path, value, folder)
    if not isinstance(value, str):
        raise reader.wrong(path, f"'{name}' must be text in quotes, not {value!r}.")
    return value


def read_spot(reader: _Reads, path: Where, entry: Any) -> Spot:
    """A place on the body. Raises SuitError in one sentence."""
    if isinstance(entry, str):
        return entry
    if isinstance(entry, list):
        return _three(reader, path, entry, f"'{path[-1]}' needs points as [x, y, z] in mm")
    keys = set(entry) if isinstance(entry, dict) else set()
    if keys == {"near", "move"} and isinstance(entry["near"], str):
        return Beside(
            entry["near"], _three(reader, path, entry["move"], "'move' must be [x, y, z]")
        )
    if keys == {"limb", "along", "around"}:
        if entry["limb"] not in LIMBS:
            raise reader.wrong(path, f"'limb' is {entry['limb']!r}; there are {', '.join(LIMBS)}.")
        numbers = _three(
            reader,
            path,
            [entry["along"], entry["around"], 0.0],
            "'along' and 'around' must be numbers",
        )
        return OnLimb(entry["limb"], numbers[0], numbers[1])
    if keys == {"face", "weights"} and isinstance(entry["face"], int):
        weights = _three(reader, path, entry["weights"], "'weights' must be three numbers")
        if min(weights) < 0 or sum(weights) <= 0:
            raise reader.wrong(path, f"'weights' {list(weights)} must not be negative, nor all 0.")
        return InFace(entry["face"], weights)
    raise reader.wrong(
        path,
        f"a place in '{path[-1]}' is a landmark, [x, y, z], {{near = landmark, move = [x, y, z]}}, "
        "{limb = name, along = share, around = degrees} or "
        f"{{face = number, weights = [a, b, c]}}, not {entry!r}.",
    )


def written(spot: Spot) -> Any:
    """A place as a suit file writes it."""
    if isinstance(spot, OnLimb):
        return {
            "limb": spot.limb,
            "along": round(spot.along, 5),
            "around": round(spot.around, 3),
        }
    if isinstance(spot, Beside):
        return {"near": spot.landmark, "move": [round(c, 1) + 0.0 for c in spot.move]}
    if isinstance(spot, InFace):
        return {"face": spot.face, "weights": list(spot.weights)}
    return spot if isinstance(spot, str) else [round(c, 1) + 0.0 for c in spot]


def as_written(spot: Spot) -> Spot:
    """A place as it is read again from what a suit file writes."""
    if isinstance(spot, OnLimb):
        return OnLimb(**written(spot))
    if isinstance(spot, Beside):
        x, y, z = written(spot)["move"]
        return Beside(spot.landmark, (x, y, z))
    return spot


def _three(reader: _Reads, path: Where, value: Any, words: str) -> tuple[float, float, float]:
    good = isinstance(value, list) and len(value) == 3
    if not good or not all(
        isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in value
    ):
        raise reader.wrong(path, f"{words}, not {value!r}.")
    return float(value[0]), float(value[1]), float(value[2])


def _file(reader: _Reads, path: Where, value: Any, folder: Path) -> str:
    """A file below the suit file's folder; nowhere else is read from."""
    if not isinstance(value, str) or not value:
        raise reader.wrong(path, f"'file' must be the name of a file in quotes, not {value!r}.")
    if PurePath(value).is_absolute() or ".." in PurePath(value).parts or "\\" in value:
        raise reader.wrong(
            path, f"'file' is '{value}'; put it beside the suit file, or in a folder there."
        )
    return str(folder / value)
