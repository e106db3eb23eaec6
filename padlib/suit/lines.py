"""Where in a TOML text each key stands, so that a message can name the line.

The parser of the standard library gives values without lines; this scanner finds the lines and leaves
the meaning of the text to the parser.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


def _parts(dotted: str) -> Path:
    return tuple(p.strip("\"'") for p in _PART.findall(dotted))


def _depth(line: str, depth: int, quote: str) -> tuple[int, str]:
    """Bracket depth and open multi-line quote after one line of a value."""
    i = 0
    while i < len(line):
        if quote:
            end = line.find(quote, i)
            if end < 0:
                return depth, quote if len(quote) == 3 else ""
            i, quote = end + len(quote), ""
            continue
        if line[i : i + 3] in ('"""', "'''"):
            quote, i = line[i : i + 3], i + 3
            continue
        if line[i] in "\"'":
            quote = line[i]
        elif line[i] == "#":
            break
        else:
            depth += (line[i] in "[{") - (line[i] in "]}")
        i += 1
    return depth, quote if len(quote) == 3 else ""


def key_lines(text: str) -> dict[Path, int]:
    """Line number (from 1) of each table and key of a TOML text.

    A path is the names from the top; an entry of an array of tables is its index from 0, so the
    second pad's depth is ("pad", 1, "depth").
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    depth, quote = 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if depth > 0 or quote:
            depth, quote = _depth(line, depth, quote)
            continue
        if header := _HEADER.match(line):
            table = _open_table(_parts(header[2]), header[1] == "[[", counts)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            path = table + _parts(key[1])
            for k in range(len(table) + 1, len(path) + 1):
                lines.setdefault(path[:k], number)
            depth, quote = _depth(line[key.end() :], 0, "")
    return lines


def _open_table(names: Path, is_array: bool, counts: dict[Path, int]) -> Path:
    """The path of a table whose header was read, with the indices of the arrays that it is in."""
    path: Path = ()
    for i, name in enumerate(names):
        path += (name,)
        if is_array and i == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path += (counts[path],)
    return path


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of the longest known beginning of a path, or None."""
    for k in range(len(path), 0, -1):
        if path[:k] in lines:
            return lines[path[:k]]
    return None
