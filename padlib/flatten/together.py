"""All flats of a suit at once: pairs of edges that are sewn together, and mirror images."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Dart, Flat
from padlib.seams.mirror import mirror_panel
from padlib.seams.panels import Edge, Panel

Run = NDArray[np.int64]
Pair = tuple[int, Run, int, Run]
Named = tuple[str, Pair]


def mirror_flat(flat: Flat, edge_counts: Mapping[str, int]) -> Flat:
    """The flat of a panel's mirror image: the same outline, turned face down.

    edge_counts: for each panel name how many edges it has apart from darts.
    """
    positions = flat.positions * [-1.0, 1.0]
    positions = positions - [positions[:, 0].min(), 0.0]
    darts = tuple(replace(d, left=d.right, right=d.left) for d in flat.darts)
    panel = mirror_panel(flat.panel, edge_counts)
    pile = None if flat.pile is None else (-flat.pile[0], *flat.pile[1:])
    return replace(flat, panel=panel, positions=positions, darts=darts, pile=pile)


def with_images(own: Sequence[Flat], panels: Sequence[Panel]) -> tuple[Flat, ...]:
    """Flats of all panels in their order: those given, and mirror images of them."""
    counts = {f.panel.name: sum(e.kind != "dart" for e in f.panel.edges) for f in own}
    by_name = {f.panel.name: f for f in own}
    images = [panel for panel in panels if panel.mirror_of is not None]
    counts |= {panel.name: counts[panel.mirror_of] for panel in images}
    by_name |= {p.name: mirror_flat(by_name[p.mirror_of], counts) for p in images}
    return tuple(by_name[panel.name] for panel in panels)


def chains(panel: Panel, edge: Edge) -> list[Run]:
    """An edge's run broken where a dart's mouth lies in it (two neighbours with one parent)."""
    parent = panel.parents[edge.run]
    breaks = np.flatnonzero((parent[1:] == parent[:-1]) & (parent[1:] >= 0)) + 1
    return np.split(edge.run, breaks)


def sewn_pairs(flats: Sequence[Flat]) -> list[Pair]:
    """Runs of boundary vertices that are sewn to each other, vertex to vertex, over all flats.

    Each pair is (index of flat, run, index of flat, run). An edge whose partner is the mirror image of
    itself agrees by construction and is left out; a partner that is the mirror image of another flat
    here stands for that flat. Dart legs are not in it; see `padlib.flatten.darts.pairs_of_darts`.
    """
    return [pair for _, pair in named_pairs(flats)]


def named_pairs(flats: Sequence[Flat]) -> list[Named]:
    """The pairs of `sewn_pairs`, each with the name of its seam, as it is on the first panel."""
    index = {f.panel.name: i for i, f in enumerate(flats)}
    pairs: list[Named] = []
    for i, flat in enumerate(flats):
        for k, edge in enumerate(flat.panel.edges):
            if edge.partner is None or edge.partner[0] not in index:
                continue
            j, m = index[edge.partner[0]], edge.partner[1]
            if (j, m) > (i, k):
                runs = matched_runs(flat, edge, flats[j])
                pairs += [(edge.seam, (i, one, j, two)) for one, two in runs]
    return pairs


def matched_runs(flat: Flat, edge: Edge, other: Flat) -> list[tuple[Run, Run]]:
    """Runs of a flat's edge and of its partner edge on another flat, between the breaks of both."""
    back = other.panel.edges[edge.partner[1]] if edge.partner else edge
    one = _by_parent(flat.panel, chains(flat.panel, edge))
    two = _by_parent(other.panel, [c[::-1] for c in chains(other.panel, back)[::-1]])
    parents = [p for chain in one for p in chain]
    order = list(dict.fromkeys(parents))
    cut = {next(iter(c)) for c in (*one[1:], *two[1:])}
    pairs, start = [], 0
    for end in range(1, len(order)):
        if order[end] in cut or end == len(order) - 1:
            stretch = order[start : end + 1]
            a, b = _run_of(one, stretch), _run_of(two, stretch)
            if a is not None and b is not None:
                pairs.append((a, b))
            start = end
    return pairs


def _by_parent(panel: Panel, runs: Sequence[Run]) -> list[dict[int, int]]:
    return [{int(panel.parents[v]): int(v) for v in run} for run in runs]


def _run_of(parts: Sequence[Mapping[int, int]], stretch: Sequence[int]) -> Run | None:
    """The vertices of the one part that holds the whole stretch of parents."""
    for part in parts:
        if all(p in part for p in stretch):
            return np.array([part[p] for p in stretch], dtype=np.int64)
    return None


def moved_dart(dart: Dart, positions: NDArray[np.float64]) -> Dart:
    """A dart with its intake and leg difference measured again on new flat positions."""
    left, right = positions[dart.left], positions[dart.right]
    lengths = [float(np.linalg.norm(np.diff(leg, axis=0), axis=1).sum()) for leg in (left, right)]
    a, b = left[0] - left[-1], right[0] - right[-1]
    cosine = float(a @ b / (np.linalg.norm(a) * np.linalg.norm(b)))
    intake = float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))
    return replace(dart, intake_deg=intake, leg_difference_mm=abs(lengths[0] - lengths[1]))
