"""The cushions of a suit's pads as panels and flats: top and base, sewn to each other all round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.flatten.together import chains
from padlib.mesh.surface import Surface
from padlib.padding.pillow import Pillow
from padlib.seams.mirror import MIRROR, mirror_panel
from padlib.seams.panels import Edge, Panel

DOWN = np.array([0.0, 0.0, -1.0])
ALIKE = 0.04  # of a pillow's volume by which two of a pair may differ
EDGES = 4  # into which the rim is parted, so that top and base have marks to meet at


def as_pairs(pillows: Sequence[Pillow]) -> tuple[Pillow, ...]:
    """Pillows as they are made: a pad on both sides is one pair, the right one the left one's image.

    Nobody's two sides are quite alike, but cushions are cut in pairs, once face up and once face down;
    where their volumes differ too much for that, each keeps its own shape.
    """
    pairs = pairs_of(pillows)
    return tuple(
        mirrored(pairs[p.name]) if p.side == "right" and p.name in pairs else p for p in pillows
    )


def pairs_of(pillows: Sequence[Pillow]) -> dict[str, Pillow]:
    """The left pillow of each pair whose sides are alike, by name."""
    right = {p.name: p.volume_l for p in pillows if p.side == "right"}
    return {
        p.name: p
        for p in pillows
        if p.side == "left"
        and p.name in right
        and abs(right[p.name] - p.volume_l) <= ALIKE * 0.5 * (right[p.name] + p.volume_l)
    }


def mirrored(pillow: Pillow) -> Pillow:
    """The right pillow that is a left one's image."""
    top, base = (
        Surface(s.vertices * MIRROR, s.faces[:, [0, 2, 1]]) for s in (pillow.top, pillow.base)
    )
    return replace(
        pillow,
        side="right",
        top=top,
        base=base,
        boundary_top=pillow.boundary_top[::-1],
        boundary_base=pillow.boundary_base[::-1],
    )


def pillow_panels(pillows: Sequence[Pillow]) -> tuple[Panel, ...]:
    """Top and base panel of each pillow; of a pair, the right panels are images of the left ones."""
    pairs = pairs_of(pillows)
    panels: list[Panel] = []
    for pillow in pillows:
        own = _two_panels(pillow)
        if pillow.side == "left" and pillow.name in pairs:
            counts = {p.name: len(p.edges) for p in own}
            panels += [*own, *(mirror_panel(p, counts) for p in own)]
        elif not (pillow.side == "right" and pillow.name in pairs):
            panels += own
    return tuple(panels)


def _two_panels(pillow: Pillow) -> tuple[Panel, Panel]:
    names = [f"pillow-{pillow.name}-{pillow.side}-{what}" for what in ("top", "base")]
    start = _start(pillow)
    rim_top, rim_base = (np.roll(r, -start) for r in (pillow.boundary_top, pillow.boundary_base))
    cuts = _even_cuts(pillow.top.vertices[rim_top])
    closed_top, closed_base = np.append(rim_top, rim_top[0]), np.append(rim_base, rim_base[0])
    runs_top = [closed_top[a : b + 1] for a, b in zip(cuts[:-1], cuts[1:], strict=True)]
    runs_base = [closed_base[a : b + 1][::-1] for a, b in zip(cuts[:-1], cuts[1:], strict=True)][
        ::-1
    ]
    seams = [f"{pillow.name}-rim-{k + 1}" for k in range(len(runs_top))]
    last = len(runs_top) - 1
    parents_top = np.arange(len(pillow.top.vertices))
    parents_base = len(parents_top) + np.arange(len(pillow.base.vertices))
    parents_base[rim_base] = parents_top[rim_top]
    edges_top = tuple(
        Edge(seams[k], "sewn", run, (names[1], last - k)) for k, run in enumerate(runs_top)
    )
    edges_base = tuple(
        Edge(seams[last - k], "sewn", run, (names[0], last - k)) for k, run in enumerate(runs_base)
    )
    return (
        Panel(names[0], pillow.side, pillow.top, parents_top, edges_top),
        Panel(names[1], pillow.side, pillow.base, parents_base, edges_base),
    )


def rim_runs(pillow: Pillow) -> tuple[NDArray[np.float64], list[int]]:
    """The rim (k, 3) mm from its first mark on, and where its runs begin, k included."""
    rim = pillow.top.vertices[np.roll(pillow.boundary_top, -_start(pillow))]
    return rim, _even_cuts(rim)


def _start(pillow: Pillow) -> int:
    """Where the rim's first run begins: at its highest place."""
    return int(np.argmax(pillow.top.vertices[pillow.boundary_top, 2]))


def _even_cuts(rim: NDArray[np.float64]) -> list[int]:
    """Indices that part a closed line (k, 3) into runs of about the same length, 0 and k included."""
    step = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    inner = [int(np.argmin(np.abs(along - along[-1] * k / EDGES))) for k in range(1, EDGES)]
    return sorted({0, *inner, len(rim)})


def rim_differences(
    pillows: Sequence[Pillow], flats: Sequence[Flat]
) -> Mapping[tuple[str, str], float]:
    """By how much top and base of each pillow differ along their rim on paper, mm; by name and side."""
    by_name = {f.panel.name: f for f in flats}
    return {(p.name, p.side): _difference(p, by_name) for p in pillows}


def _difference(pillow: Pillow, flats: Mapping[str, Flat]) -> float:
    """The largest difference of a run of the rim between top and base on paper, mm."""
    top = flats[f"pillow-{pillow.name}-{pillow.side}-top"]
    base = flats[f"pillow-{pillow.name}-{pillow.side}-base"]
    worst = 0.0
    for edge in top.panel.edges:
        if edge.partner is None or edge.kind == "dart":
            continue
        back = base.panel.edges[edge.partner[1]]
        worst = max(worst, abs(_length(top, edge) - _length(base, back)))
    return worst


def _length(flat: Flat, edge: Edge) -> float:
    runs = chains(flat.panel, edge)
    return float(
        sum(np.linalg.norm(np.diff(flat.positions[r], axis=0), axis=1).sum() for r in runs)
    )
