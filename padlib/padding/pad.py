"""One pad, as a suit file says it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Pad:
    """A volume added over the body.

    name: the maker's name for it; kind: one of `padlib.padding.shapes.KINDS`;
    side: left, right or both; parameters: trade words to numbers (mm, or a fraction where said).
    """

    name: str
    kind: str
    side: str = "both"
    parameters: Mapping[str, float | str] = field(default_factory=dict)
