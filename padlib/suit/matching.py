"""Flats that are sewn to each other made to agree, and turned so that their pile is right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.darts import pairs_of_darts
from padlib.flatten.flat import Flat
from padlib.flatten.isometric import isometric
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.together import Pair, moved_dart, sewn_pairs
from padlib.flatten.turn import turn_to_pile

# Darts aim a little under the limit, since matching the seams afterwards costs stretch; a panel that is
# still over the limit is darted again with the next share.
DART_SHARES = (0.9, 0.78, 0.66)
MATCH_SHARE = 0.8
SEAM_MM = 0.002  # by which an edge of a seam may miss its length on the first try


def match_flats(
    flats: Sequence[Flat], *, limit: float | None = None, pool: Executor | None = None
) -> list[Flat]:
    """Flats whose sewn edges and dart legs agree in length, vertex to vertex.

    Each edge of a seam is asked to be as long as its two sides are on average, and every panel is laid
    anew with those lengths; that costs about as much stretch as solving all panels in one, and a
    tenth of the time. limit: the cloth's stretch limit, a fraction; with it the worst stretch is kept
    down as well. pool: where panels are laid side by side.
    """
    pairs: list[Pair] = sewn_pairs(flats)
    for i, flat in enumerate(flats):
        pairs += [(i, one, i, other) for one, other in pairs_of_darts(flat)]
    asked: list[list[tuple[NDArray, NDArray]]] = [[] for _ in flats]
    for i, one, j, other in pairs:
        mean = (_steps(flats[i], one) + _steps(flats[j], other)) / 2
        asked[i].append((np.stack([one[:-1], one[1:]], axis=1), mean))
        asked[j].append((np.stack([other[:-1], other[1:]], axis=1), mean))
    aim = None if limit is None else limit * MATCH_SHARE
    work = [(flat, _together(targets), aim) for flat, targets in zip(flats, asked, strict=True)]
    laid = pool.map(_laid, work) if pool else map(_laid, work)
    return [_moved(flat, positions) for flat, positions in zip(flats, laid, strict=True)]


def _steps(flat: Flat, run: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.linalg.norm(np.diff(flat.positions[run], axis=0), axis=1)


def _together(targets: Sequence[tuple[NDArray, NDArray]]) -> tuple[NDArray, NDArray] | None:
    if not targets:
        return None
    return np.concatenate([e for e, _ in targets]), np.concatenate([v for _, v in targets])


def _laid(work: tuple[Flat, tuple[NDArray, NDArray] | None, float | None]) -> NDArray[np.float64]:
    flat, targets, limit = work
    surface = flat.panel.surface
    mesh = surface.vertices, surface.faces
    laid = isometric(*mesh, flat.positions, limit=limit, edge_targets=targets)
    if targets is None or _off(laid, targets) < SEAM_MM:
        return laid
    # Where the limit pulls harder than the seams do, the seams come first.
    return isometric(*mesh, laid, edge_targets=targets)


def _off(flat: NDArray[np.float64], targets: tuple[NDArray, NDArray]) -> float:
    """The largest difference of an edge of a flat from the length asked of it, mm."""
    edges, lengths = targets
    got = np.linalg.norm(flat[edges[:, 0]] - flat[edges[:, 1]], axis=1)
    return float(np.abs(got - lengths).max())


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
