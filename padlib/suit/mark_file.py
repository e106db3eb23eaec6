"""Marks and strokes of the pile as a suit file has them, checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from padlib.padding.spot import Spot
from padlib.suit.lines import line_of
from padlib.suit.reading import Reader, nearest, need_array, new_name, settings
from padlib.suit.schema import MARK, PILE


@dataclass(frozen=True)
class AskedMark:
    """A mark: closed loops inside which the cloth is another; see the keys of [[mark]] for what each says."""

    name: str
    shape: str
    cloth: str
    style: str
    side: str
    through: tuple[Spot, ...] = ()
    round: bool = True
    at: tuple[Spot, ...] = ()
    width: float = 120.0
    height: float = 0.0
    limb: str = "arm"
    place: float = 0.5
    count: int = 1
    gap: float = 40.0
    line: int | None = None


@dataclass(frozen=True)
class Stroke:
    """A stroke that the pile follows: places on the body in order, side, reach in mm."""

    name: str
    through: tuple[Spot, ...]
    side: str
    reach: float
    line: int | None = None


NEEDED = {"loop": ("through", 3), "oval": ("at", 1), "band": ("", 0)}  # places of a mark's shape


def read_marks(reader: Reader, given: object, cloths: Sequence[str]) -> tuple[AskedMark, ...]:
    """The marks of a suit file; cloths: names of those there are. Raises SuitError in one sentence."""
    marks: list[AskedMark] = []
    for i, entry in enumerate(need_array(reader, "mark", given)):
        plain = dict(settings(reader, ("mark", i), entry, MARK))
        plain["name"] = plain["name"] or f"mark-{i + 1}"
        new_name(reader, ("mark", i), "mark", plain["name"], [m.name for m in marks])
        key, least = NEEDED[plain["shape"]]
        if key and len(plain[key]) < least:
            words = f"mark '{plain['name']}' is a {plain['shape']} and needs '{key}' with "
            words += f"{'one place' if least == 1 else f'{least} places'} at least."
            raise reader.wrong(("mark", i), words)
        if plain["style"] == "inset" and not plain["cloth"]:
            words = (
                f"mark '{plain['name']}' is set in, but no cloth is named for it; add cloth = \"NAME\" and "
                '[cloth.NAME] with use = "parts", or style = "line".'
            )
            raise reader.wrong(("mark", i), words)
        if plain["cloth"] and plain["cloth"] not in cloths:
            hint = nearest(plain["cloth"], cloths)
            words = f"there is no cloth '{plain['cloth']}'; {hint} Or add [cloth.{plain['cloth']}]."
            raise reader.wrong(("mark", i, "cloth"), words)
        marks.append(AskedMark(**plain, line=line_of(dict(reader.lines), ("mark", i))))
    return tuple(marks)


def read_strokes(reader: Reader, given: object) -> tuple[Stroke, ...]:
    """The strokes that the pile follows. Raises SuitError in one sentence."""
    strokes: list[Stroke] = []
    for i, entry in enumerate(need_array(reader, "pile", given)):
        plain = dict(settings(reader, ("pile", i), entry, PILE))
        plain["name"] = plain["name"] or f"stroke-{i + 1}"
        new_name(reader, ("pile", i), "stroke", plain["name"], [s.name for s in strokes])
        if len(plain["through"]) < 2:
            raise reader.wrong(("pile", i), f"stroke '{plain['name']}' needs at least two places.")
        strokes.append(Stroke(**plain, line=line_of(dict(reader.lines), ("pile", i))))
    return tuple(strokes)
