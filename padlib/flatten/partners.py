"""Edges of panels that are sewn to each other, and how far their lengths differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import MeshError
from padlib.mesh.surface import Faces, Plane, Vertices

Checked = tuple[Vertices, Faces, NDArray[np.int64]]
Pair = tuple[int, ArrayLike, int, ArrayLike]


@dataclass(frozen=True)
class Partners:
    """Edges mine (k, 2) that are to be ratio (k,) times as long as their partners, theirs (k, 2).

    The vertices are those of all panels, one panel after the other, first (p + 1,) where each
    begins; pair (k,): the number of the pair of runs; count: how many there are.
    """

    mine: NDArray[np.int64]
    theirs: NDArray[np.int64]
    ratio: NDArray[np.float64]
    pair: NDArray[np.int64]
    count: int
    first: NDArray[np.int64]

    def lengths(self, flats: Sequence[Plane]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lengths (k,) mm of mine, and the lengths (k,) mm asked of them, in flats (n_i, 2)."""
        every = np.concatenate(list(flats))
        mine, theirs = (
            np.linalg.norm(every[e[:, 1]] - every[e[:, 0]], axis=1)
            for e in (self.mine, self.theirs)
        )
        return mine, self.ratio * theirs

    def differences(
        self, flats: Sequence[Plane]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Per pair, mm: what mine is too long (p,), and the worst difference over a part (p,)."""
        mine, asked = self.lengths(flats)
        whole = np.bincount(self.pair, mine - asked, self.count)
        off = [(mine - asked)[self.pair == number] for number in range(self.count)]
        return whole, np.array([worst_part(part) for part in off])


def worst_part(differences: NDArray[np.float64]) -> float:
    """The largest difference over any stretch of a run, from the differences (k,) of its edges.

    No two notches on the run can lie further from their partners than this, mm.
    """
    return float(np.ptp(np.concatenate([[0.0], np.cumsum(differences)])))


def partners(
    checked: Sequence[Checked], pairs: Sequence[Pair], ease: Sequence[ArrayLike] | None
) -> Partners:
    """The partners that pairs of runs name, edge by edge.

    checked: vertices, faces and boundary loop of each panel; pairs: (i, run_i, j, run_j); ease: for
    each pair how much longer the first run is to be than the second, one number or one an edge.
    Raises MeshError where a run follows no boundary, two runs differ in edges, an edge is in two
    pairs, or the ease is no number above -1 for each.
    """
    first = np.concatenate([[0], np.cumsum([len(v) for v, _, _ in checked])]).astype(np.int64)
    more = [0.0] * len(pairs) if ease is None else list(ease)
    if len(more) != len(pairs):
        raise MeshError(f"ease names {len(more)} pairs of runs, but there are {len(pairs)}")
    mine, theirs, ratio = [np.zeros((0, 2), np.int64)], [np.zeros((0, 2), np.int64)], [np.zeros(0)]
    for number, ((i, run_i, j, run_j), extra) in enumerate(zip(pairs, more, strict=True)):
        one, other = (_run(checked, first, k, run) for k, run in ((i, run_i), (j, run_j)))
        if len(one) != len(other):
            raise MeshError(f"the runs of pair {number} have {len(one)} and {len(other)} edges")
        mine.append(one)
        theirs.append(other)
        ratio.append(_ratio(extra, len(one)))
    pair = np.repeat(np.arange(len(pairs)), [len(edges) for edges in mine[1:]])
    both = np.concatenate(mine), np.concatenate(theirs)
    _check_once(int(first[-1]), *both)
    return Partners(*both, np.concatenate(ratio), pair, len(pairs), first)


def _ratio(ease: ArrayLike, count: int) -> NDArray[np.float64]:
    """How much longer each of `count` edges is to be than its partner."""
    more = np.asarray(ease, dtype=np.float64)
    if more.shape not in ((), (count,)) or not (more > -1).all():
        raise MeshError("ease must be numbers above -1, one for a pair of runs or one an edge")
    return np.broadcast_to(1.0 + more, (count,))


def _run(
    checked: Sequence[Checked], first: NDArray[np.int64], panel: int, run: ArrayLike
) -> NDArray[np.int64]:
    """The edges (k, 2) of a run of a panel, as vertices of all panels."""
    if not 0 <= panel < len(checked):
        raise MeshError(f"a pair names panel {panel}, but there are {len(checked)} panels")
    run = np.asarray(run, dtype=np.int64).ravel()
    loop = checked[panel][2]
    place = np.full(int(loop.max()) + 1, -1)
    place[loop] = np.arange(len(loop))
    inside = (run >= 0) & (run < len(place))
    spots = np.where(inside, place[np.where(inside, run, 0)], -1)
    gap = np.diff(spots) % len(loop)
    if len(run) < 2 or (spots < 0).any() or not np.isin(gap, (1, len(loop) - 1)).all():
        raise MeshError(f"a run of panel {panel} does not follow the panel's boundary")
    at = run + first[panel]
    return np.column_stack([at[:-1], at[1:]])


def _check_once(size: int, mine: NDArray[np.int64], theirs: NDArray[np.int64]) -> None:
    """No edge is sewn to two others."""
    ends = np.sort(np.concatenate([mine, theirs]), axis=1)
    keys = ends[:, 0] * size + ends[:, 1]
    if len(np.unique(keys)) != len(keys):
        raise MeshError("an edge of a panel is in more than one pair of runs; name it once")
