"""What long studies share: modules of the tests, and the rows that a study has so far and adds."""

from __future__ import annotations

import csv
import importlib.util
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import ModuleType

HERE = Path(__file__).resolve().parent


def beside(room: str, name: str) -> ModuleType:
    """A module of tests/ROOM."""
    spec = importlib.util.spec_from_file_location(name, HERE.parent / room / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def rows(path: Path) -> list[dict[str, str]]:
    """The whole rows of a study's CSV; the last one may have been cut off when it was stopped."""
    if not path.exists():
        return []
    with path.open(newline="") as file:
        return [row for row in csv.DictReader(file) if None not in row.values()]


def add(path: Path, head: Sequence[str], *new: Mapping[str, object]) -> None:
    """Rows more in a study's CSV, which begins with its head."""
    begun = path.exists()
    with path.open("a", newline="") as file:
        out = csv.DictWriter(file, head)
        if not begun:
            out.writeheader()
        out.writerows(new)
