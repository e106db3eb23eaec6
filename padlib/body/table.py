"""A table of measurements from a file: lines of `name = value`, or CSV with name and value."""

from __future__ import annotations

import math
import re
from pathlib import Path

from padlib.errors import InputError

MOST_BYTES = 200_000
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4}
_BLANK = re.compile(  # a name that was not measured
    r"^\s*\"?[A-Za-z_][A-Za-z0-9_ -]*\"?\s*[=,;\t:][\s,;\"]*(mm|cm|m|in|inch)?[\s,;\"]*$",
    re.IGNORECASE,
)
_LINE = re.compile(
    r"^\s*\"?([A-Za-z0-9_ -]+?)\"?\s*[=,;\t:]\s*\"?(-?[0-9.]+)\"?\s*[,;\t]?\s*([A-Za-z]*)\"?\s*$"
)


def read_measurements(path: str | Path) -> dict[str, float]:
    """Measurements in mm by name, in the order of the file.

    A line is `chest_girth = 980`, `chest girth, 98, cm`, `chest_girth = "98 cm"` or the like; # starts a
    comment; a first line of headings is passed over, and so is a name without a number. Between semicolons or
    tabs a number may have a decimal comma. Raises InputError, naming file and line, for anything else.
    """
    path = Path(path)
    if "\0" in str(path):
        raise InputError("a file's name cannot hold a NUL; check the name.")
    try:
        raw = path.read_bytes()
        text = raw[: MOST_BYTES + 1].decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name}: not a text file in UTF-8; save the table as plain text."
        ) from None
    except OSError as e:
        raise InputError(
            f"{path}: cannot be read ({e.strerror}); check the name and the folder."
        ) from None
    if len(raw) > MOST_BYTES:
        raise InputError(f"{path.name}: too long for a table of measurements ({len(raw)} bytes).")
    values: dict[str, float] = {}
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.split("#", 1)[0].strip()
        if not bare or _BLANK.match(bare) or (not values and not re.search(r"\d", bare)):
            continue
        name, value = _entry(path.name, number, bare)
        if name in values:
            raise InputError(
                f"{path.name}, line {number}: '{name}' stands twice; keep one of them."
            )
        values[name] = value
    if not values:
        raise InputError(
            f"{path.name}: no measurement in it; write lines such as chest_girth = 980."
        )
    return values


def _entry(file: str, number: int, line: str) -> tuple[str, float]:
    """Name and value in mm of one line."""
    if ";" in line or "\t" in line:
        line = re.sub(r"(?<=\d),(?=\d)", ".", line)
    found = _LINE.match(line)
    unit = (found[3].lower() or "mm") if found else ""
    if not found or unit not in UNITS:
        raise InputError(
            f"{file}, line {number}: '{line[:60]}' is not a measurement; write for example chest_girth = 980."
        )
    try:
        value = float(found[2]) * UNITS[unit]
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{file}, line {number}: '{found[2]}' is not a number.")
    return re.sub(r"[ -]+", "_", found[1].strip().lower()), value
