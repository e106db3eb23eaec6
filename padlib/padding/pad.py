"""One pad, as a suit file says it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Pad:
    """A volume added over the body.

    name: the maker's name for it; kind: one of `padlib.padding.shapes.KINDS`;
    side: left, right or both; parameters: trade words to numbers (mm, or a fraction where said), to words,
    or to places on the body (`padlib.padding.spot`).
    """

    name: str
    kind: str
    side: str = "both"
    parameters: Mapping[str, Any] = field(default_factory=dict)
