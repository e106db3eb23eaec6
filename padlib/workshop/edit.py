"""Changing one value in a suit file's text and leaving everything else as the maker wrote it."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from padlib.errors import SuitError
from padlib.suit.lines import Path, key_lines

Value = float | int | str | bool | list | dict

# What a slider or a list can have written: a number, a plain word in quotes, true or false, or a
# list that stands on one line.
_BARE = re.compile(r"^[A-Za-z0-9_-]+$")
_PLAIN = re.compile(r"""^(\s*[^=]*=\s*)("[^"\\]*"|'[^']*'|\[[^#]*\]|[^\s#"'\[{]+)(\s*(?:#.*)?)$""")


def set_value(text: str, path: Path, value: Value | None) -> str:
    """The text with the value at `path` changed, added where it is not there, or taken out (None).

    path: as `padlib.suit.lines.key_lines` names it, ("pad", 0, "depth"); its table must be there,
    except one of a single name, which is added at the end. Comments and order stay. Raises SuitError
    where the text is written in a way that this cannot change safely; then nothing was changed.
    """
    lines = text.splitlines()
    where = key_lines(text)
    if path in where:
        changed = _replaced(lines, where[path] - 1, value)
    elif value is None:
        return text
    else:
        changed = _added(lines, where, path, value)
    new = "\n".join(changed) + "\n"
    _check(text, new, path, value)
    return new


def add_entry(text: str, table: str, values: Mapping[str, Value]) -> str:
    """The text with one more [[table]] after the last of its kind, or at the end.

    Raises SuitError where the text cannot be changed safely.
    """
    lines = text.splitlines()
    new = [f"[[{table}]]", *(f"{key} = {toml_value(value)}" for key, value in values.items())]
    own = [n for path, n in key_lines(text).items() if path[0] == table and len(path) > 1]
    if own:
        at = _end(lines, max(own))
        changed = [*lines[:at], "", *new, *lines[at:]]
    else:
        changed = [*lines, "", *new]
    out = "\n".join(changed) + "\n"
    wanted = _loaded(text)
    wanted.setdefault(table, []).append(
        {k: tomllib.loads(f"v = {toml_value(v)}")["v"] for k, v in values.items()}
    )
    if _loaded(out) != wanted:
        raise SuitError(f"[[{table}]] is written in a way that only you can add to; edit the text.")
    return out


def with_seams(text: str, moves: Mapping[str, Value], seams: Sequence[Mapping[str, Value]]) -> str:
    """The text with numbers of [seams] changed and entries of [[seam]] added, as `padlib suggest` finds them."""
    for key, value in moves.items():
        text = set_value(text, ("seams", key), value)
    for seam in seams:
        text = add_entry(text, "seam", seam)
    return text


def add_table(text: str, path: tuple[str, ...], values: Mapping[str, Value]) -> str:
    """The text with one more table [a.b] at its end. Raises SuitError where it cannot be, or is there."""
    head = ".".join(part if _BARE.match(part) else toml_value(part) for part in path)
    new = [f"[{head}]", *(f"{key} = {toml_value(value)}" for key, value in values.items())]
    out = "\n".join([*text.splitlines(), "", *new]) + "\n"
    wanted = _loaded(text)
    inner = wanted
    for part in path[:-1]:
        inner = inner.setdefault(part, {})
    if path[-1] in inner:
        raise SuitError(f"there is a [{head}] already; take another name.")
    inner[path[-1]] = {k: tomllib.loads(f"v = {toml_value(v)}")["v"] for k, v in values.items()}
    if _loaded(out) != wanted:
        raise SuitError(f"[{path[0]}] is written in a way that only you can add to; edit the text.")
    return out


def drop_entry(text: str, table: str, number: int) -> str:
    """The text without one entry of [[table]]. Raises SuitError where that is not safe, or not there."""
    lines, where = text.splitlines(), key_lines(text)
    start = where.get((table, number))
    if start is None or not lines[start - 1].lstrip().startswith("[["):
        raise SuitError(f"there is no [[{table}]] number {number + 1} here to take out.")
    last = max(n for path, n in where.items() if path[:2] == (table, number))
    end = _end(lines, last)
    if end < len(lines) and not lines[end].strip():
        end += 1
    out = "\n".join([*lines[: start - 1], *lines[end:]]) + "\n"
    wanted = _loaded(text)
    del wanted[table][number]
    if not wanted[table]:
        del wanted[table]
    if _loaded(out) != wanted:
        raise SuitError(f"[[{table}]] is written in a way that only you can change; edit the text.")
    return out


def _end(lines: list[str], last: int) -> int:
    """How many lines there are up to the end of the value that begins on line `last`."""
    end = last
    while end < len(lines):
        try:
            tomllib.loads("\n".join(lines[last - 1 : end]))
        except tomllib.TOMLDecodeError:
            end += 1
        else:
            break
    return end


def _loaded(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        raise SuitError(f"the text cannot be changed as it stands: {e}; mend it first.") from None


def toml_value(value: Value) -> str:
    """A number, a word, a yes-or-no, or a list or table of them on one line as TOML writes it."""
    if isinstance(value, list):
        return f"[{', '.join(toml_value(v) for v in value)}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {toml_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # TOML's basic strings escape as JSON does, and DEL besides.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if not math.isfinite(value):
        raise SuitError(f"{value} is no number that a suit file can hold; choose another.")
    return f"{value + 0.0:.10g}"  # never -0


def _replaced(lines: list[str], at: int, value: Value | None) -> list[str]:
    found = _PLAIN.match(lines[at])
    if found is None:
        raise SuitError(
            f"line {at + 1} is written in a way that only you can change; edit it in the text."
        )
    if value is None:
        return lines[:at] + lines[at + 1 :]
    return [*lines[:at], found[1] + toml_value(value) + found[3], *lines[at + 1 :]]


def _added(lines: list[str], where: dict[Path, int], path: Path, value: Value) -> list[str]:
    table, key = path[:-1], path[-1]
    new = f"{key} = {toml_value(value)}"
    if table not in where and len(table) == 1:
        return [*lines, "", f"[{table[0]}]", new]
    if table not in where:
        raise SuitError(f"there is no [{'.'.join(map(str, table))}] in the suit file to add to.")
    if not lines[where[table] - 1].lstrip().startswith("["):
        raise SuitError(
            f"line {where[table]} is written in a way that only you can change; edit it in the text."
        )
    own = [n for p, n in where.items() if p == table or (p[:-1] == table and _is_key(lines, n))]
    at = max(own)
    return [*lines[:at], new, *lines[at:]]


def _is_key(lines: list[str], number: int) -> bool:
    """Whether a key, not the header of a table within, stands on a line."""
    return not lines[number - 1].lstrip().startswith("[")


def _check(old: str, new: str, path: Path, value: Value | None) -> None:
    """SuitError unless the new text says what the old one said, with the one value changed."""
    try:
        wanted, got = tomllib.loads(old), tomllib.loads(new)
    except tomllib.TOMLDecodeError as e:
        raise SuitError(f"the text cannot be changed as it stands: {e}; mend it first.") from None
    table: Any = wanted
    for step in path[:-1]:
        table = table.setdefault(step, {}) if isinstance(table, dict) else table[step]
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = tomllib.loads(f"v = {toml_value(value)}")["v"]
    if wanted != got:
        raise SuitError(
            f"'{path[-1]}' is written in a way that only you can change; edit the text."
        )
