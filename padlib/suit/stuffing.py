"""Cushions that hold what their pads do: a top whose filled cushion holds too much or too little is laid anew.

Filling blows a cushion round, which a pad in a hollow, or one that runs out thin, is not; so the top is cut from the
pad with its heights scaled until the filled cushion holds the pad's volume. Its rim stays, and so does its base.
A base in a deep hollow cannot lie flat and keep its rim in cloth that hardly gives: it is laid as a stretch knit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.mesh.areas import enclosed
from padlib.mesh.surface import Surface
from padlib.padding.pillow import Pillow
from padlib.proof.fill import fill, slack_top
from padlib.seams.panels import Panel
from padlib.suit.pillows import mirrored, pairs_of, pillow_panels, rim_differences

Key = tuple[str, str]  # name and side of a pad

OFF = 0.05  # share of a pad's volume by which its cushion may hold more or less before its top is laid anew
NEAR = 0.03  # the same at which it is near enough then, if that takes no more than
SOON = 3  # rounds of laying it anew
ROUNDS = 6  # of laying it anew until it holds what it should within OFF
RIM = 0.2  # mm by which rims may differ before the base is laid as a stretch knit
KNIT = (
    "its base lies in a hollow and cannot lie flat in cloth that hardly gives: cut it from a knit that stretches by a "
    "quarter both ways, or part it by a seam"
)
LEAST, MOST = 0.6, 1.5  # of a pad's heights


@dataclass(frozen=True)
class Stuffed:
    """flats: of all cushions, each on the surface that it was cut for: its pad's, with its heights scaled where it
    was laid anew; litres: what each cushion holds, sewn back and filled; cut_l: litres between
    top and base as they are cut; findings: bases that need a stretch knit."""

    flats: tuple[Flat, ...]
    litres: Mapping[Key, float] = field(default_factory=dict)
    cut_l: Mapping[Key, float] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def stuff(
    pillows: Sequence[Pillow],
    flats: Sequence[Flat],
    lay: Callable[[Sequence[Panel], bool, Sequence[Flat]], Sequence[Flat]],
) -> Stuffed:
    """Cushions filled, and those that hold too much or too little laid anew.

    pillows: as they are made (`as_pairs`); flats: of their panels; lay: lays panels flat as these were, or
    with bases of a stretch knit, darts of tops beginning with those of flats of them.
    """
    pairs = pairs_of(pillows)
    laid = {f.panel.name: f for f in flats}
    litres: dict[Key, float] = {}
    cut_l: dict[Key, float] = {}
    found = []
    for pillow in pillows:
        if pillow.side == "right" and pillow.name in pairs:
            continue
        own = [pillow, mirrored(pillow)] if pillow.name in pairs else [pillow]
        knit = _rim(pillow, laid) > RIM
        if knit:
            laid |= {f.panel.name: f for f in lay(pillow_panels(own), True, ())}
            found.append(Finding(611, KNIT, f"pad '{pillow.name}' ({pillow.side})", Grade.NOTE))
        holds = _holds(pillow, laid)
        tried, best, kept = {1.0: holds / pillow.volume_l}, holds, pillow.volume_l
        while _goes_on(tried):
            share = _next_share(tried)
            scaled = [_scaled(p, share) for p in own]
            new = {f.panel.name: f for f in lay(pillow_panels(scaled), knit, tuple(laid.values()))}
            holds = _holds(pillow, new)
            tried[share] = holds / pillow.volume_l
            even = _rim(scaled[0], new) <= max(RIM, _rim(pillow, laid))
            if even and abs(holds / pillow.volume_l - 1.0) < abs(best / pillow.volume_l - 1.0):
                best, kept = holds, _between(scaled[0])
                laid |= new
        litres |= {(p.name, p.side): best for p in own}
        cut_l |= {(p.name, p.side): kept for p in own}
    return Stuffed(tuple(laid[f.panel.name] for f in flats), litres, cut_l, tuple(found))


def _goes_on(tried: Mapping[float, float]) -> bool:
    """Whether one more share is to be tried, after shares of the heights and what of the pad's volume they held."""
    off, rounds = min(abs(held - 1.0) for held in tried.values()), len(tried) - 1
    return off > OFF and rounds < ROUNDS or off > NEAR and 0 < rounds < SOON


def _next_share(tried: Mapping[float, float]) -> float:
    """The share of a pad's heights to try next: between the nearest two that hold too little and too much,
    else in proportion. With another share darts may come to lie elsewhere, so what is held can jump."""
    last = next(reversed(tried))
    low = max((s for s, held in tried.items() if held < 1.0), default=None)
    high = min(
        (s for s, held in tried.items() if held >= 1.0 and (low is None or s > low)), default=None
    )
    if low is None or high is None:
        share = last / max(tried[last], 1e-6)
    else:
        part = (1.0 - tried[low]) / (tried[high] - tried[low])
        share = low + min(max(part, 0.2), 0.8) * (high - low)
    share = float(np.clip(share, LEAST, MOST))
    return share if share not in tried else (share + last) / 2


def _rim(pillow: Pillow, flats: Mapping[str, Flat]) -> float:
    """By how much the rims of top and base differ on paper, mm."""
    return max(rim_differences([pillow], tuple(flats.values())).values())


def _holds(pillow: Pillow, flats: Mapping[str, Flat]) -> float:
    """Litres that a cushion holds, sewn back and filled."""
    top, base = (flats[f"pillow-{pillow.name}-{pillow.side}-{w}"] for w in ("top", "base"))
    rim = np.unique(np.concatenate([e.run for e in top.panel.edges if e.kind != "dart"]))
    start = slack_top(top.panel.surface, rim)
    return fill((top, base), base.panel.surface.vertices, start).volume_l


def _between(pillow: Pillow) -> float:
    """Litres that top and base enclose as they are cut."""
    return sum(enclosed(s.vertices, s.faces) for s in (pillow.top, pillow.base)) / 1e6


def _scaled(pillow: Pillow, share: float) -> Pillow:
    """The pillow with so much of its heights; its volume stays that of the pad."""
    low = pillow.base.vertices
    top = Surface(low + share * (pillow.top.vertices - low), pillow.top.faces)
    return replace(pillow, top=top)
