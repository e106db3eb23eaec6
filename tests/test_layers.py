"""The rooms of the design: each imports only from rooms above it, inside functions too."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import padlib

ROOT = Path(padlib.__file__).parent
ROOMS = (
    "mesh",
    "body",
    "padding",
    "seams",
    "flatten",
    "proof",
    "pattern",
    "lay",
    "output",
    "suit",
    "workshop",
    "cli",
)
ANYWHERE = {"errors", "findings", "version", "progress"}
MODULES = sorted(p for p in ROOT.rglob("*.py") if p.parent != ROOT)


def imported_rooms(path: Path) -> set[str]:
    """First names below padlib that a module imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
            if node.module == "padlib":
                names = [f"padlib.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        else:
            continue
        found |= {n.split(".")[1] for n in names if n.startswith("padlib.")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_only_from_rooms_above(path: Path) -> None:
    """A module imports from its own room, from rooms above it and from the shared modules only."""
    own = path.relative_to(ROOT).parts[0]
    allowed = set(ROOMS[: ROOMS.index(own) + 1]) | ANYWHERE

    below = imported_rooms(path) - allowed - ({"Suit", "__version__"} if own == "cli" else set())

    assert below == set()


def test_every_room_is_listed() -> None:
    """No folder of the package stands outside of the list of rooms."""
    folders = {p.name for p in ROOT.iterdir() if p.is_dir() and (p / "__init__.py").exists()}

    assert folders == set(ROOMS)


def test_no_import_of_what_the_rooms_must_not_know() -> None:
    """Only the output room writes files of paper; the pattern room asks the font for widths only."""
    formats = ("reportlab.pdfgen", "reportlab.lib", "reportlab.platypus", "ezdxf")
    guilty = []
    for path in ROOT.rglob("*.py"):
        if path.relative_to(ROOT).parts[0] == "output":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else []
            )
            if any(n.startswith(formats) for n in names):
                guilty.append(str(path.relative_to(ROOT)))

    assert guilty == []
