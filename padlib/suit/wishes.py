"""The maker's own darts: which panel's darts are pinned, and what darts must keep off."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from padlib.errors import SuitError
from padlib.flatten.pins import Ban, Pin
from padlib.seams.mirror import other_side
from padlib.seams.panels import Panel
from padlib.suit.file import AskedDart, Suit

At = Callable[[str], NDArray[np.float64]]


@dataclass(frozen=True)
class Wishes:
    """What is asked of the darts of one panel."""

    pins: tuple[Pin, ...] = ()
    bans: tuple[Ban, ...] = ()


NONE = Wishes()


def own_wishes(
    suit: Suit, panels: Sequence[Panel], at: Mapping[str, NDArray[np.float64]]
) -> Mapping[str, Wishes]:
    """What the maker asks of the darts of the suit's own panels, without those of its pads' cushions."""
    rims = tuple(f"pillow-{pad.name}-" for pad in suit.pads)
    return suit_wishes([d for d in suit.dart if not d.panel.startswith(rims)], panels, at)


def suit_wishes(
    asked: Sequence[AskedDart], panels: Sequence[Panel], at: Mapping[str, NDArray[np.float64]]
) -> Mapping[str, Wishes]:
    """For each panel that is laid by itself what the maker asks of its darts.

    asked: as the suit file has it; places are landmarks or points [x, y, z] mm on the shell; at: the
    landmarks on the shell. What is asked of a panel that is a mirror image is asked of its original.
    Raises SuitError for a panel, a seam or a landmark that is not there, and for a place at which
    there is no panel.
    """
    pins: dict[str, list[Pin]] = {}
    bans: dict[str, list[Ban]] = {}
    for dart in asked:
        chosen = _chosen(dart, panels)
        if dart.state == "pin":
            mouth, tip = (_spot(dart, place, at) for place in (dart.start, dart.end))
            for panel in chosen:
                pin = Pin(_turned(mouth, panel), _turned(tip, panel))
                pins.setdefault(panel.mirror_of or panel.name, []).append(pin)
            continue
        for panel, ban in _bans(dart, chosen, at):
            own = bans.setdefault(panel.mirror_of or panel.name, [])
            if ban not in own:
                own.append(ban)
    names = {*pins, *bans}
    return MappingProxyType(
        {n: Wishes(tuple(pins.get(n, ())), tuple(bans.get(n, ()))) for n in sorted(names)}
    )


def _chosen(dart: AskedDart, panels: Sequence[Panel]) -> list[Panel]:
    """The panels that a wish is about."""
    if not dart.panel:
        return list(panels)
    found = [panel for panel in panels if panel.name == dart.panel]
    if not found:
        known = ", ".join(sorted(panel.name for panel in panels))
        raise SuitError(
            f"{_where(dart)}there is no panel '{dart.panel}' for this dart; there are {known}."
        )
    return found


def _bans(
    dart: AskedDart, chosen: Sequence[Panel], at: Mapping[str, NDArray[np.float64]]
) -> list[tuple[Panel, Ban]]:
    """The bans that a wish makes, each with its panel."""
    if dart.seam:
        own = [panel for panel in chosen if any(e.seam == dart.seam for e in panel.edges)]
        if own:
            return [(panel, Ban(seam=_seam_of(dart.seam, panel))) for panel in own]
        known = ", ".join(sorted({e.seam for panel in chosen for e in panel.edges}))
        raise SuitError(
            f"{_where(dart)}there is no seam '{dart.seam}' to keep darts off; there are {known}."
        )
    spot = _spot(dart, dart.start, at)
    near = [
        panel
        for panel in chosen
        if np.linalg.norm(panel.surface.vertices - spot, axis=1).min() <= dart.radius
    ]
    if not near:
        x, y, z = (round(c) for c in spot)
        raise SuitError(
            f"{_where(dart)}no panel lies within {dart.radius:g} mm of x {x}, y {y}, z {z} mm; "
            "give a place on the shell, or a larger radius."
        )
    return [(panel, Ban(at=_turned(spot, panel), radius=dart.radius)) for panel in near]


def _seam_of(seam: str, panel: Panel) -> str:
    """The seam as it is called on the panel that is laid: an image's original has the other side's."""
    return seam if panel.mirror_of is None else other_side(seam)


def _spot(
    dart: AskedDart, place: str | tuple[float, float, float], at: Mapping[str, NDArray[np.float64]]
) -> tuple[float, float, float]:
    """A landmark's place, or the point itself."""
    if isinstance(place, str):
        if place not in at:
            raise SuitError(
                f"{_where(dart)}this dart names '{place}', which is no landmark of this body; there "
                f"are {', '.join(sorted(at))}."
            )
        place = tuple(at[place])
    x, y, z = (float(c) for c in place)
    return x, y, z


def _turned(spot: tuple[float, float, float], panel: Panel) -> tuple[float, float, float]:
    """A place as it is on the panel that is laid: mirrored where that is the panel's original."""
    x, y, z = spot
    return (x if panel.mirror_of is None else -x, y, z)


def _where(dart: AskedDart) -> str:
    """How a message begins."""
    return f"line {dart.line}: " if dart.line else ""
