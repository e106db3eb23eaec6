"""Ease: one side of a seam made longer than the other, to be gathered in when it is sewn.

Spread evenly over the eased part, so that every stretch between two notches takes its share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.flatten.flat import Flat
from padlib.flatten.together import Named
from padlib.seams.mirror import MIRROR, other_side
from padlib.seams.panels import Panel

Place = tuple[float, float, float]
FARTHEST_MM = 150.0  # a place that is further from the seam is on another one
SAME_MM = 1e-6
KEY = 2**32


@dataclass(frozen=True)
class Ease:
    """Ease on one seam: the edges of `panel` along it are (1 + share) times as long as their partners.

    between: two places in mm on the shell; only the part of the seam between the points nearest to
    them is eased. None: all of it.
    """

    seam: str
    panel: str
    share: float
    between: tuple[Place, Place] | None = None


def mirrored_ease(ease: Ease) -> Ease:
    """The same ease on the other side of the body."""
    places = ease.between
    if places is not None:
        first, second = (tuple((np.array(p) * MIRROR).tolist()) for p in places)
        places = (first, second)  # type: ignore[assignment]
    return replace(ease, seam=other_side(ease.seam), panel=other_side(ease.panel), between=places)


def eased_edges(panel: Panel, ease: Ease) -> NDArray[np.int64]:
    """The boundary edges (k, 2) of a panel that an ease makes longer.

    Raises InputError where the panel has no such seam, or the two places are one on the seam, or lie
    off it.
    """
    chain, joined = _chain(panel, ease.seam)
    edges = _edges(chain)
    if ease.between is None:
        return edges[joined]
    line = panel.surface.vertices[chain]
    spots = sorted(_nearest(line, place, ease) for place in ease.between)
    if np.linalg.norm(line[spots[0]] - line[spots[1]]) < SAME_MM:
        raise InputError(
            f"the ease on seam '{ease.seam}' runs between two places that are one on the seam; "
            "name two that are apart."
        )
    inside = np.zeros(len(edges), dtype=bool)
    inside[spots[0] : spots[1]] = True
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    round_it_goes = np.linalg.norm(line[0] - line[-1]) < SAME_MM
    if round_it_goes and steps[inside].sum() > steps[~inside].sum():  # the shorter way round
        inside = ~inside
    return edges[inside & joined]


def ease_of_pairs(
    flats: Sequence[Flat], named: Sequence[Named], eases: Sequence[Ease]
) -> list[NDArray[np.float64]]:
    """For each pair of runs how much longer each edge (k,) of the first is to be than its partner.

    Raises InputError where an edge is eased twice.
    """
    out = []
    for seam, (i, one, j, other) in named:
        panels = flats[i].panel, flats[j].panel
        mine, theirs = shares_of(panels[0], eases, one), shares_of(panels[1], eases, other)
        if (mine * theirs).any():
            raise InputError(
                f"panels '{panels[0].name}' and '{panels[1].name}' are both eased on seam "
                f"'{seam}' between them; ease one of them."
            )
        out.append((1.0 + mine) / (1.0 + theirs) - 1.0)
    return out


def shares_of(panel: Panel, eases: Sequence[Ease], run: NDArray[np.int64]) -> NDArray[np.float64]:
    """The share (k - 1,) that eases ask of each edge of a run (k,) of a panel.

    Raises InputError where an edge of the panel is eased twice.
    """
    asked = _asked(panel, eases)
    return np.array([asked.get(key, 0.0) for key in _keys(_edges(run)).tolist()])


def _asked(panel: Panel, eases: Sequence[Ease]) -> dict[int, float]:
    """The share asked of each eased edge of a panel, by the key of the edge."""
    out: dict[int, float] = {}
    for ease in eases:
        if ease.panel != panel.name or ease.share == 0.0:
            continue
        keys = _keys(eased_edges(panel, ease)).tolist()
        if out.keys() & keys:
            raise InputError(
                f"panel '{panel.name}' is eased twice on one stretch of seam '{ease.seam}'; "
                "ease it once."
            )
        out |= dict.fromkeys(keys, ease.share)
    return out


def _edges(run: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.column_stack([run[:-1], run[1:]])


def _keys(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """One number for each edge, either way round."""
    return edges.min(axis=1) * KEY + edges.max(axis=1)


def _chain(panel: Panel, seam: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The boundary vertices (k,) of a panel along one seam, from its beginning, run after run, and
    whether each is joined (k - 1,) to the next: not so across the mouth of a dart."""
    runs = [e.run for e in panel.edges if e.seam == seam and e.kind != "dart"]
    if not runs:
        raise InputError(f"panel '{panel.name}' has no seam '{seam}'.")
    places = panel.surface.vertices
    gaps = [
        np.linalg.norm(places[run[0]] - places[before[-1]])
        for run, before in zip(runs, [runs[-1], *runs[:-1]], strict=True)
    ]
    begin = int(np.argmax(gaps))  # the one whose forerunner is farthest
    runs = runs[begin:] + runs[:begin]
    joined = np.concatenate([np.append(np.ones(len(run) - 1, dtype=bool), False) for run in runs])
    chain = np.concatenate(runs)
    parents = panel.parents[chain]
    return chain, joined[:-1] & (parents[1:] != parents[:-1])


def _nearest(line: NDArray[np.float64], place: Place, ease: Ease) -> int:
    """The vertex of a line (k, 3) that is nearest to a place."""
    off = np.linalg.norm(line - np.array(place), axis=1)
    at = int(off.argmin())
    if off[at] > FARTHEST_MM:
        raise InputError(
            f"the ease on seam '{ease.seam}' begins or ends {off[at]:.0f} mm from that seam; name "
            "places on it."
        )
    return at
