"""Flats turned so that their pile is right, and what they ask of their cloth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from padlib.flatten.cloth import cloth_use
from padlib.flatten.fit import summary_at
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import areas, summary
from padlib.flatten.turn import turn_to_pile

# Darts aim a little under the limit, since matching the seams afterwards costs stretch; a panel that is
# still over the limit is darted again with the next share.
DART_SHARES = (0.9, 0.78, 0.66)


def turned(flat: Flat, pile: np.ndarray) -> Flat:
    """The flat turned so that the pile, which runs along `pile` (3,) in space, runs down the page."""
    surface = flat.panel.surface
    way = np.broadcast_to(pile, (len(surface.faces), 3))
    return replace(
        flat, positions=turn_to_pile(surface.vertices, surface.faces, flat.positions, way)
    )


def flat_summary(flat: Flat) -> Mapping[str, float]:
    """mean, p95, p99 and max of a flat's stretch as delivered."""
    surface = flat.panel.surface
    return summary(flat.stretch, areas(surface.vertices, surface.faces))


def share_used(flat: Flat, limit: float, percentile: float = 95.0) -> float:
    """What so many per cent of a flat's area keep, 1 being what the cloth bears.

    The use of the flat's own cloth; where it has none, its stretch over the limit, a fraction.
    """
    surface = flat.panel.surface
    area = areas(surface.vertices, surface.faces)
    if flat.cloth is None:
        return summary_at(flat.stretch, area, percentile) / limit
    told = cloth_use(flat.cloth, surface.vertices, surface.faces, flat.positions)
    return summary_at(told.use[:, None], area, percentile)
