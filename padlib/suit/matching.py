"""Flats that are sewn to each other made to agree, and turned so that their pile is right."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.cloth import cloth_use
from padlib.flatten.darts import pairs_of_darts
from padlib.flatten.ease import Ease, ease_of_pairs
from padlib.flatten.fit import summary_at
from padlib.flatten.flat import Flat
from padlib.flatten.match import match
from padlib.flatten.nap import nap_of
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.together import Pair, moved_dart, named_pairs
from padlib.flatten.turn import turn_to_pile

# Darts aim a little under the limit, since matching the seams afterwards costs stretch; a panel that is
# still over the limit is darted again with the next share.
DART_SHARES = (0.9, 0.78, 0.66)


def match_flats(
    flats: Sequence[Flat],
    *,
    limit: float | None = None,
    ease: Sequence[Ease] = (),
    held: Collection[str] = (),
) -> list[Flat]:
    """Flats whose sewn edges and dart legs agree in length, vertex to vertex, laid in one solve.

    limit: the cloth's stretch limit, a fraction; with it the worst stretch is kept down as well, and
    the use of its cloth where a flat is laid for one.
    ease: where one side of a seam is to be longer. held: names of panels that stay as they are, so
    that the others agree with them. Raises InputError where two eases are asked of one edge.
    """
    named = named_pairs(flats)
    pairs: list[Pair] = [pair for _, pair in named]
    more: list[NDArray] = list(ease_of_pairs(flats, named, ease))
    for i, flat in enumerate(flats):
        legs = pairs_of_darts(flat)
        pairs += [(i, one, i, other) for one, other in legs]
        more += [np.zeros(len(one) - 1) for one, _ in legs]
    meshes = [(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
    stay = {k for k, f in enumerate(flats) if f.panel.name in held}
    naps = [nap_of(f.cloth, f.pile, *mesh) for f, mesh in zip(flats, meshes, strict=True)]
    options = {"ease": more, "limit": limit, "held": stay, "naps": naps}
    laid, _ = match(meshes, [f.positions for f in flats], pairs, **options)
    return [
        flat if k in stay else _moved(flat, positions)
        for k, (flat, positions) in enumerate(zip(flats, laid, strict=True))
    ]


def _moved(flat: Flat, positions: NDArray[np.float64]) -> Flat:
    surface = flat.panel.surface
    return replace(
        flat,
        positions=positions,
        stretch=stretch(surface.vertices, surface.faces, positions),
        stretch_unmatched=flat.stretch,
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
