"""Long edges halved, for even triangles (padlib.mesh.remesh)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.columns import norms
from padlib.mesh.edge_list import Edges
from padlib.mesh.surface import Faces, Vertices

# For a face turned so that its split sides come first: the corners (0 1 2) and mid-sides (3 4 5).
_ONE = np.array([[0, 3, 2], [3, 1, 2]])
_TWO = np.array([[3, 1, 4], [0, 3, 2], [3, 4, 2]])
_TWO_OTHER = np.array([[3, 1, 4], [0, 3, 4], [0, 4, 2]])
_THREE = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


def split_long(
    v: Vertices, f: Faces, pinned: Mask, longest: float, rounds: int = 12
) -> tuple[Vertices, Faces, Mask]:
    """Halve every edge longer than `longest`, until there is none."""
    for _ in range(rounds):
        edges = Edges(f, len(v))
        long = edges.lengths(v) > longest
        if not long.any():
            break
        middle = np.where(long, len(v) + np.cumsum(long) - 1, -1)
        v = np.concatenate([v, v[edges.ends[long]].mean(axis=1)])
        pinned = np.concatenate([pinned, np.zeros(int(long.sum()), dtype=bool)])
        f = _split_faces(v, f, middle[edges.side].reshape(-1, 3))
    return v, f, pinned


def _split_faces(v: Vertices, f: Faces, middle: Ints) -> Faces:
    """Faces (m', 3) after the sides with a middle vertex (m, 3; -1 for none) are split."""
    cut = middle >= 0
    count = cut.sum(axis=1)
    # turn each face so that its pattern starts at side 0: the lone cut side, or the uncut side last
    turn = np.where(count == 1, np.argmax(cut, axis=1), (np.argmin(cut, axis=1) + 1) % 3)
    turn = np.where(count == 3, 0, turn)
    columns = (turn[:, None] + np.arange(3)) % 3
    six = np.concatenate(
        [np.take_along_axis(f, columns, axis=1), np.take_along_axis(middle, columns, axis=1)],
        axis=1,
    )
    two = six[count == 2]
    shorter = norms(v[two[:, 4]] - v[two[:, 0]]) < norms(v[two[:, 3]] - v[two[:, 2]])
    parts = [
        f[count == 0],
        six[count == 1][:, _ONE].reshape(-1, 3),
        two[~shorter][:, _TWO].reshape(-1, 3),
        two[shorter][:, _TWO_OTHER].reshape(-1, 3),
        six[count == 3][:, _THREE].reshape(-1, 3),
    ]
    return np.concatenate(parts)
