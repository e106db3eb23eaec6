"""Parameters of a pad kind: their table, their defaults from the body, their limits."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from padlib.errors import InputError


@dataclass(frozen=True)
class Parameter:
    """One number that shapes a pad.

    name: the trade word; unit: mm, degrees or share; help: one line for the maker;
    low, high: hard limits; reason: why they are there, in words.
    """

    name: str
    unit: str
    help: str
    low: float
    high: float
    reason: str


Table = tuple[Parameter, ...]

BLEND = Parameter(
    "blend",
    "mm",
    "width of the band in which its edge runs out into the body",
    5,
    150,
    "less leaves a ridge that shows through the cloth",
)


SCALE = Parameter("scale", "share", "how much larger the mesh is made", 0.01, 100, "it is a share")
TURN = Parameter(
    "turn",
    "degrees",
    "how far the mesh is turned about the vertical, counter-clockwise seen from above",
    -360,
    360,
    "more is once round again",
)


def depth(where: str, most: float, too_much: str) -> Parameter:
    """How far a pad stands off; where: of what part; too_much: what more than `most` mm would do."""
    return Parameter(
        "depth",
        "mm",
        f"how far it stands off {where} where it is fullest",
        5,
        most,
        f"less is lost in the cloth's ease and more {too_much}",
    )


def fullest(start: str, end: str, low: float = 0.2, high: float = 0.8) -> Parameter:
    """Where a pad is fullest, from one of its edges (0) to the other (1)."""
    return Parameter(
        "fullest",
        "share",
        f"where it is fullest, from its {start} (0) to its {end} (1)",
        low,
        high,
        "nearer to an edge it would overhang",
    )


def settled(
    who: str, table: Table, given: Mapping[str, float | str], defaults: Mapping[str, float]
) -> dict[str, float]:
    """All parameters of a pad: what was given, the rest from the body, each within its limits.

    who: the pad as messages name it. Defaults from the body are brought into the limits silently;
    given values are not. Raises InputError for an unknown name, for a value that is not a number,
    and for one out of limits.
    """
    names = [entry.name for entry in table]
    for name in given:
        if name not in names:
            close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
            hint = f"did you mean '{close[0]}'" if close else f"it has {', '.join(names)}"
            raise InputError(f"{who} has no parameter '{name}' (given as {given[name]}); {hint}")
    return {entry.name: _value(who, entry, given, defaults) for entry in table}


def _value(
    who: str, entry: Parameter, given: Mapping[str, float | str], defaults: Mapping[str, float]
) -> float:
    if entry.name not in given:
        return min(max(float(defaults[entry.name]), entry.low), entry.high)
    told = given[entry.name]
    try:
        value = float(told)
    except (TypeError, ValueError):
        value = float("nan")
    if isinstance(told, bool) or not entry.low <= value <= entry.high:
        raise InputError(
            f"{who}: '{entry.name}' is {told} but must be a number from {entry.low:g} to "
            f"{entry.high:g} {entry.unit}, because {entry.reason}"
        )
    return value


def check_words(
    who: str, given: Mapping[str, object], choices: Mapping[str, Collection[str]]
) -> None:
    """Raise InputError where a word that was given is none of its choices."""
    for name, allowed in choices.items():
        value = given.get(name)
        if value is not None and value not in allowed:
            raise InputError(
                f"{who}: '{name}' is '{value}' but must be one of {', '.join(allowed)}"
            )


def check_move(who: str, given: Mapping[str, object]) -> None:
    """Raise InputError where 'move' is given and is not three numbers."""
    move = given.get("move", (0.0, 0.0, 0.0))
    if not isinstance(move, tuple) or len(move) != 3:
        raise InputError(f"{who}: 'move' must be [x, y, z] in mm")
