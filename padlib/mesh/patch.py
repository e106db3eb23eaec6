"""Work on a part of a mesh: what lies about some vertices is taken out, worked on, and put back."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.repair import edge_keys, same_places
from padlib.mesh.surface import Faces, Vertices

Mask = NDArray[np.bool_]
Mesh = tuple[Vertices, Faces, Mask]


def locally(
    v: Vertices, f: Faces, pinned: Mask, about: Mask, rings: int, work: Callable[..., Mesh]
) -> Mesh:
    """`work` done to the faces within some rings of marked vertices alone; to all where that would not be sound.

    v (n, 3), f (m, 3), pinned (n,): a mesh and which vertices stay; about (n,): the marks; work: gives vertices, faces
    and pinned again, the pinned ones exactly where they were. Returns the same for the whole mesh.
    """
    near = about.copy()
    for _ in range(rings):
        near[f.compress(_any(near[f]), axis=0)] = True
    inside = _all(near[f])
    if not inside.any() or inside.mean() > 0.5:
        return work(v, f, pinned) if inside.any() else (v, f, pinned)
    kept, part = f.compress(~inside, axis=0), f.compress(inside, axis=0)
    used, outside = np.zeros(len(v), dtype=bool), np.zeros(len(v), dtype=bool)
    used[part], outside[kept] = True, True
    shared = used & outside
    number = np.cumsum(used) - 1
    points, faces, stays = work(v.compress(used, axis=0), number[part], (pinned | shared)[used])
    own = np.cumsum(outside) - 1  # those of the rest come first
    target = np.flatnonzero(shared)
    place = _found(points, v[target])
    if (place < 0).any():
        return work(v, f, pinned)
    name = np.full(len(points), -1)
    name[place] = own[target]
    new = name < 0
    name[new] = int(outside.sum()) + np.arange(int(new.sum()))
    f_all = np.concatenate([own[kept], name[faces]])
    if not _manifold(f_all):
        return work(v, f, pinned)
    return (
        np.concatenate([v.compress(outside, axis=0), points[new]]),
        f_all,
        np.concatenate([pinned[outside], stays[new]]),
    )


def _any(rows: Mask) -> Mask:
    return rows[:, 0] | rows[:, 1] | rows[:, 2]


def _all(rows: Mask) -> Mask:
    return rows[:, 0] & rows[:, 1] & rows[:, 2]


def _found(points: Vertices, wanted: Vertices) -> NDArray[np.int64]:
    """The number (k,) of each wanted point (k, 3) among points (n, 3), exactly; -1 where it is not there."""
    _, group = same_places(np.concatenate([points, wanted]))
    at = np.full(int(group.max()) + 1, -1)
    at[group[: len(points)]] = np.arange(len(points))
    return at[group[len(points) :]]


def _manifold(faces: Faces) -> bool:
    """Whether no edge has more than two faces."""
    sides = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    key = np.sort(edge_keys(sides))
    return not bool((key[2:] == key[:-2]).any())
