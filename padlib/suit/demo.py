"""The demo suit: a walk-about woodland giant for a museum festival."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from padlib.errors import MeshError
from padlib.suit.file import Suit, read_suit

DEMO_SUIT = Path(__file__).with_name("woodland-giant.toml")
DEMO_BODY = Path(__file__).with_name("demo_body.ply")


def demo_suit(
    body_file: str | None = None,
    *,
    unit: str | None = None,
    up: str | None = None,
    facing: str | None = None,
    middle: str | None = None,
    trim: Sequence[str] = (),
    even: bool = False,
) -> Suit:
    """The demo suit on the built-in body, or on the scan in `body_file`.

    Raises MeshError for a file that is not there.
    """
    suit = read_suit(DEMO_SUIT)
    if body_file is None:
        return suit
    path = Path(body_file)
    if not path.is_file():
        raise MeshError(f"{path}: there is no such file; check the name and the folder.")
    body = dict(suit.body) | {
        "file": str(path.resolve()),
        "unit": unit or "",
        "up": up or "",
        "facing": facing or "",
        "middle": middle or "",
        "trim": tuple(trim),
        "even": even,
    }
    return replace(suit, body=MappingProxyType(body))
