"""Flats that are sewn to each other made to agree, and turned so that their pile is right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from padlib.flatten.darts import pairs_of_darts
from padlib.flatten.flat import Flat
from padlib.flatten.match import match
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.together import Pair, moved_dart, sewn_pairs
from padlib.flatten.turn import turn_to_pile

# Darts aim a little under the limit, since matching the seams afterwards costs stretch; a panel that is
# still over the limit is darted again with the next share.
DART_SHARES = (0.9, 0.78, 0.66)
MATCH_SHARE = 0.8


def match_flats(flats: Sequence[Flat], *, limit: float | None = None) -> list[Flat]:
    """Flats whose sewn edges and dart legs agree in length, vertex to vertex.

    limit: the cloth's stretch limit, a fraction; with it the worst stretch is kept down as well.
    """
    pairs: list[Pair] = sewn_pairs(flats)
    for i, flat in enumerate(flats):
        pairs += [(i, one, i, other) for one, other in pairs_of_darts(flat)]
    meshes = [(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
    aim = None if limit is None else limit * MATCH_SHARE
    positions, _ = match(meshes, [f.positions for f in flats], pairs, limit=aim)
    return [_moved(f, p) for f, p in zip(flats, positions, strict=True)]


def _moved(flat: Flat, positions: np.ndarray) -> Flat:
    surface = flat.panel.surface
    return replace(
        flat,
        positions=positions,
        stretch=stretch(surface.vertices, surface.faces, positions),
        darts=tuple(moved_dart(d, positions) for d in flat.darts),
    )


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
