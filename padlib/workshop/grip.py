"""A seam of the plan in hand: the numbers that bring it where the maker points, its line and the forecast about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.limb import lengths
from padlib.errors import InputError
from padlib.seams.steer import (
    KEYS,
    Plan,
    Sheet,
    kept_within,
    key_at,
    moved_with,
    sheets,
    short_of,
    steered,
    word_of,
)
from padlib.suit.schema import SEAMS
from padlib.workshop.shape import Held, Shape

Array = NDArray[np.float64]
SHORT = 1.5  # mm by which a seam may pass the place that it was brought to, its numbers being to a tenth
TWINS = {"front": "back", "back": "front"}  # the two seams of a limb


@dataclass(frozen=True)
class Grip:
    """A seam of the plan in hand, with those that move with it.

    plan: of the shape; seam: its name; key: the number that moves it where it was taken, "" where two
    do; sheets: of all that move.
    """

    shape: Shape
    plan: Plan
    held: Held
    seam: str
    key: str
    sheets: tuple[Sheet, ...]

    def numbers(self, to: Array) -> dict[str, float]:
        """The numbers with which the seam runs through a place (3,) of the shell, as near as the plan allows."""
        bounds = {key: bounds_of(key) for key in KEYS[word_of(self.seam)]}
        if self.key:
            return steered(self.plan, self.seam, to, bounds, key=self.key)
        word, which, side = self.seam.split("-")
        across = self.shape.seams[f"{word}-{TWINS[which]}-{side}"]
        return steered(self.plan, self.seam, to, bounds, across=across)

    def ends(self, to: Array, numbers: Mapping[str, float]) -> bool:
        """Whether the plan does not let the seam come to a place (3,)."""
        return not numbers or short_of(self.plan, self.seam, to, numbers) > SHORT

    def within(self, numbers: Mapping[str, float]) -> dict[str, float]:
        """Numbers of the seam within their bounds, as a suit file keeps them."""
        keys = KEYS[word_of(self.seam)]
        own = {key: value for key, value in numbers.items() if key in keys}
        return kept_within(self.plan, own, {key: bounds_of(key) for key in keys})

    def lines(self, numbers: Mapping[str, float]) -> list[Array]:
        """All that moves, as polylines (k, 3) mm on the shell."""
        each = (line for sheet in self.sheets for line in sheet.lines(numbers).values())
        return [line for found in each for line in found]


def bounds_of(key: str) -> tuple[float, float]:
    """Between which values a number of [seams] may be."""
    least, most = SEAMS[key].least, SEAMS[key].most
    return (-np.inf if least is None else least), (np.inf if most is None else most)


def gripped(shape: Shape, seam: str, at: Array | None = None, key: str = "") -> Grip:
    """A seam of the plan taken at a place (3,), or in its middle; key: the number that is to move it, where that is
    known. Raises InputError where nothing moves it."""
    word, mine = word_of(seam), {line.name for line in shape.own if line.table == "seam"}
    seams = {name: at for name, at in shape.seams.items() if name not in mine}
    if not word or seam not in seams:
        raise InputError("That seam lies where the body has its middle; nothing moves it.")
    if shape.plan is None:
        raise InputError("The seams are not cut yet; wait until the panels are drawn.")
    keys = KEYS[word]
    if shape.worn.intersection(keys):
        raise InputError("That opening follows the rim of a worn part; move the part instead.")
    if word not in ("sleeve", "leg") and not key:
        line = seams[seam]
        along = lengths(line)
        middle = line[int(np.argmin(np.abs(along - 0.5 * along[-1])))]
        key = key_at(shape.plan, seam, middle if at is None else at)
        if not key:
            raise InputError("The seam stays where it is just here; take it farther along.")
    names = moved_with(tuple(seams), keys)
    moving = tuple(sheets(shape.plan, seams, names))
    return Grip(shape, shape.plan, shape.held(*names), seam, key, moving)
