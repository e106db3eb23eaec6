"""What an edge is for: its allowance, its corners and its notches follow from that.

Defaults are common practice, no source; kinds of notch are those of the interchange practice for sewn
products (VALUES 4.1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from padlib.errors import InputError

CORNERS = ("mitred", "squared", "folded")
NOTCHES = ("slit", "v", "t", "castle", "check", "u")


@dataclass(frozen=True)
class Purpose:
    """What an edge is for: words on the piece, where its allowance comes from, corners, notches.

    allowance: piece (as sewn edges), hem, or none; corner of CORNERS; notch of NOTCHES.
    """

    words: str
    allowance: str
    corner: str
    notch: str = "slit"


PURPOSES: Mapping[str, Purpose] = MappingProxyType(
    {
        "sewn": Purpose("", "piece", "mitred"),
        "hem": Purpose("hem", "hem", "folded"),
        "facing": Purpose("faced", "piece", "mitred"),
        "closure": Purpose("closure", "piece", "squared"),
        "fold": Purpose("fold, do not cut", "none", "squared"),
        "gathered": Purpose("gather", "piece", "mitred"),
        "raw": Purpose("cut, no seam", "none", "squared"),
    }
)
OF_KIND = {"sewn": "sewn", "opening": "hem", "closure": "closure"}  # of a seam's kind, if not said


@dataclass(frozen=True)
class EdgeRule:
    """What the maker says of an edge: seam, panel ("" both sides), and what differs from the usual.

    purpose of PURPOSES or "" as it is; allowance_mm or None; corner of CORNERS or ""; notch of NOTCHES
    or "".
    """

    seam: str
    panel: str = ""
    purpose: str = ""
    allowance_mm: float | None = None
    corner: str = ""
    notch: str = ""


@dataclass(frozen=True)
class Treated:
    """What an edge gets: purpose, allowance, how its corners are cut, kind of notch."""

    purpose: str
    allowance_mm: float
    corner: str
    notch: str


def treated(
    seam: str,
    kind: str,
    panel: str,
    rules: Sequence[EdgeRule],
    *,
    allowance_mm: float,
    hem_mm: float,
) -> Treated:
    """What an edge of a seam on a panel gets: the last rule that names it, the rest by its purpose."""
    purpose, mm, corner, notch = OF_KIND.get(kind, "sewn"), None, "", ""
    for rule in rules:
        if rule.seam == seam and rule.panel in ("", panel):
            purpose = rule.purpose or purpose
            mm = rule.allowance_mm if rule.allowance_mm is not None else mm
            corner, notch = rule.corner or corner, rule.notch or notch
    usual = PURPOSES[purpose]
    own = {"piece": allowance_mm, "hem": hem_mm, "none": 0.0}[usual.allowance]
    return Treated(purpose, own if mm is None else mm, corner or usual.corner, notch or usual.notch)


def check_rules(rules: Sequence[EdgeRule], edges: Mapping[str, Sequence[str]]) -> None:
    """Refuse rules for what is not there; edges: seam name to the panels that it is on.

    Raises InputError in one sentence.
    """
    for rule in rules:
        if rule.seam not in edges:
            raise InputError(
                f"an edge rule names seam '{rule.seam}', but there are {', '.join(sorted(edges))}."
            )
        if rule.panel and rule.panel not in edges[rule.seam]:
            raise InputError(
                f"an edge rule names panel '{rule.panel}', but seam '{rule.seam}' is on "
                f"{', '.join(sorted(edges[rule.seam]))}."
            )
        for word, known in (
            (rule.purpose, tuple(PURPOSES)),
            (rule.corner, CORNERS),
            (rule.notch, NOTCHES),
        ):
            if word and word not in known:
                raise InputError(f"an edge cannot be '{word}'; take one of {', '.join(known)}.")
        mm = rule.allowance_mm
        if mm is not None and not 0.0 <= mm <= 100.0:
            raise InputError(
                f"the allowance of an edge is {mm:g}; it must lie between 0 and 100 mm."
            )
