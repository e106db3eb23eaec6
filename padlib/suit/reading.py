"""Reading a suit file's values: each checked against its key, each message naming file and line."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from padlib.errors import SuitError
from padlib.padding.spot import Spot
from padlib.suit.extras import read_spot
from padlib.suit.lines import line_of
from padlib.suit.schema import Key


@dataclass(frozen=True)
class Reader:
    """The text being read, for messages that name file and line."""

    name: str
    lines: Mapping[tuple[str | int, ...], int]

    def wrong(self, path: tuple[str | int, ...], words: str) -> SuitError:
        """The error of a place in the file: its name, the line, and words."""
        line = line_of(dict(self.lines), path)
        where = f"{self.name}, line {line}" if line else self.name
        return SuitError(f"{where}: {words}")


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint that names the nearest right word, or all of them when none is near."""
    known = sorted(known)
    near = difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.5)
    return f"did you mean '{near[0]}'?" if near else f"known here: {', '.join(known)}."


def need_table(reader: Reader, path: tuple[str | int, ...], value: object) -> dict[str, Any]:
    """A value that must be a table; raises SuitError in one sentence."""
    if not isinstance(value, dict):
        raise reader.wrong(path, f"'{path[-1]}' must be a table, [{path[0]}], not a value.")
    return value


def need_array(reader: Reader, name: str, value: object) -> list[dict[str, Any]]:
    """A value that must be a list of tables; raises SuitError in one sentence."""
    if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
        raise reader.wrong((name,), f"each {name} must be a table under its own [[{name}]].")
    return value


def settings(
    reader: Reader,
    path: tuple[str | int, ...],
    given: dict[str, Any],
    keys: Mapping[str, Key],
    *,
    extra: tuple[str, ...] = (),
) -> Mapping[str, Any]:
    """The keys of one table, checked, with defaults filled in."""
    for key in given:
        if key not in keys:
            table = f"[{path[0]}]" if path else "the top of the file"
            hint = nearest(key, [*keys, *extra])
            raise reader.wrong((*path, key), f"'{key}' is unknown in {table}; {hint}")
    return MappingProxyType(
        {
            k: _value(reader, (*path, k), given[k], key) if k in given else key.default
            for k, key in keys.items()
        }
    )


def _value(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> object:
    checks = {
        "text": _text,
        "number": _number,
        "whole": _whole,
        "yesno": _yesno,
        "texts": _texts,
        "points": _through,
        "place": _place,
        "spots": _spots,
        "boxes": _boxes,
    }
    return checks[key.kind](reader, path, value, key)


def _text(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> str:
    if not isinstance(value, str):
        raise reader.wrong(path, f"'{path[-1]}' must be text in quotes, not {value!r}.")
    if len(value) > 2000:
        raise reader.wrong(path, f"'{path[-1]}' is longer than 2000 characters; shorten it.")
    if key.choices and value not in key.choices:
        hint = nearest(value, [c for c in key.choices if c])
        raise reader.wrong(path, f"'{path[-1]}' cannot be '{value}'; {hint}")
    return value


def _number(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise reader.wrong(path, f"'{path[-1]}' must be a number, not {value!r}.")
    least, most = key.least, key.most
    if (least is not None and value < least) or (most is not None and value > most):
        raise reader.wrong(
            path, f"'{path[-1]}' is {value:g}; it must lie between {least:g} and {most:g}."
        )
    return float(value)


def _whole(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise reader.wrong(path, f"'{path[-1]}' must be a whole number, not {value!r}.")
    return int(_number(reader, path, value, key))


def _yesno(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> bool:
    if not isinstance(value, bool):
        raise reader.wrong(path, f"'{path[-1]}' must be true or false, not {value!r}.")
    return value


def _texts(reader: Reader, path: tuple[str | int, ...], value: object, key: Key) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise reader.wrong(path, f"'{path[-1]}' must be a list of names in quotes.")
    for word in value if key.choices else ():
        if word not in key.choices:
            hint = nearest(word, key.choices)
            raise reader.wrong(path, f"'{path[-1]}' cannot hold '{word}'; {hint}")
    return tuple(value)


def _xyz(reader: Reader, path: tuple[str | int, ...], value: object) -> tuple[float, float, float]:
    ok = (
        isinstance(value, list)
        and len(value) == 3
        and all(
            isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v)
            for v in value
        )
    )
    if not ok:
        raise reader.wrong(path, f"'{path[-1]}' needs points as [x, y, z] in mm, not {value!r}.")
    x, y, z = (float(v) for v in value)  # type: ignore[union-attr]
    return x, y, z


def _through(
    reader: Reader, path: tuple[str | int, ...], value: object, key: Key
) -> tuple[str | tuple[float, float, float], ...]:
    if not isinstance(value, list):
        raise reader.wrong(
            path, f"'{path[-1]}' must be a list of landmark names or [x, y, z] points."
        )
    return tuple(v if isinstance(v, str) else _xyz(reader, path, v) for v in value)


def _place(
    reader: Reader, path: tuple[str | int, ...], value: object, key: Key
) -> str | tuple[float, float, float]:
    return value if isinstance(value, str) else _xyz(reader, path, value)


def _spots(
    reader: Reader, path: tuple[str | int, ...], value: object, key: Key
) -> tuple[Spot, ...]:
    """Places on the body; one that stands alone is a list of one."""
    alone = (
        isinstance(value, list) and len(value) == 3 and not isinstance(value[0], list | str | dict)
    )
    if isinstance(value, str | dict) or alone:
        value = [value]
    if not isinstance(value, list):
        raise reader.wrong(path, f"'{path[-1]}' must be a list of places on the body.")
    return tuple(read_spot(reader, path, entry) for entry in value)


def _boxes(
    reader: Reader, path: tuple[str | int, ...], value: object, key: Key
) -> tuple[tuple[float, ...], ...]:
    whole = Key("number", 0.0, "", least=0.0, most=100_000.0)
    if not isinstance(value, list) or any(
        not isinstance(box, list) or len(box) != 4 for box in value
    ):
        raise reader.wrong(path, f"'{path[-1]}' must be a list of [x, y, width, height] in mm.")
    return tuple(tuple(_number(reader, path, v, whole) for v in box) for box in value)


def numbers(reader: Reader, path: tuple[str | int, ...], given: object) -> Mapping[str, float]:
    """A table of names and numbers from 0 to 10,000."""
    table = need_table(reader, path, given)
    any_number = Key("number", 0.0, "", least=0.0, most=10_000.0)
    return MappingProxyType(
        {k: _number(reader, (*path, k), v, any_number) for k, v in table.items()}
    )


def points(
    reader: Reader, path: tuple[str | int, ...], given: object
) -> Mapping[str, tuple[float, float, float]]:
    """A table of names and places [x, y, z], mm."""
    table = need_table(reader, path, given)
    return MappingProxyType({k: _xyz(reader, (*path, k), v) for k, v in table.items()})


def file_name(reader: Reader, name: str) -> str:
    """A name that can name a file; raises SuitError in one sentence."""
    if (
        not name.strip()
        or any(c in '/\\:*?"<>|\0' or ord(c) < 32 for c in name)
        or name.startswith(".")
    ):
        raise reader.wrong(
            ("name",), f"'{name}' cannot name a folder; use letters, digits, - and _."
        )
    return name


def new_name(
    reader: Reader, path: tuple[str | int, ...], what: str, name: str, old: list[str]
) -> None:
    """Refuse a name that another entry has, or that cannot name a file."""
    if name in old:
        raise reader.wrong(
            (*path, "name"), f"two {what}s are called '{name}'; give each its own name."
        )
    file_name(reader, name)
