"""What a seam across a panel would leave of its stretch, told by the forecast, for many seams of one panel.

As `forecast.Forecaster`, but of the panel itself: of its inverse Laplacian only the columns of some hundred even
vertices are found. Good to a tenth, which is enough to say which few of thousands are worth a try.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from padlib.flatten.conformal import conformal
from padlib.flatten.cotangent import laplacian
from padlib.flatten.disk import check_disk
from padlib.flatten.forecast import defects
from padlib.flatten.rest import rest
from padlib.flatten.sketch import inside
from padlib.mesh.areas import face_areas, vertex_areas
from padlib.mesh.solve import factor
from padlib.mesh.surface import Faces, Plane, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

SPOTS = 500  # vertices at which the forecast is kept


@dataclass(frozen=True, eq=False)
class Parting:
    """The forecast of one panel, ready to tell many seams across it apart.

    loop (b,): its boundary; flat (n, 2): its conformal map; spots (s,): vertices inside at which u is kept; u (s,):
    there, without a seam; green (s, s): what one held at another does; mean (s + b,), spread (s + b, s): both, as means
    over what lies nearest to each spot and each place of the boundary; weight (s + b,): the area of that, mm2; tree: of
    the spots in space.
    """

    loop: Ints
    flat: Plane
    spots: Ints
    u: Array
    green: Array
    mean: Array
    spread: Array
    weight: Array
    tree: cKDTree

    @property
    def strain(self) -> float:
        """Sum over the area of the squared stretch that the panel asks without a seam."""
        return _strain(self.mean, self.weight)

    @property
    def summit(self) -> int:
        """The vertex, of those at which the forecast is kept, where it is farthest from its mean: a dome's summit."""
        level = float(self.mean @ self.weight / self.weight.sum())
        return int(self.spots[np.argmax(np.abs(self.u - level))])

    def parted(self, way: Array, drawn: Plane, off: Ints) -> tuple[float, float]:
        """The same with a seam across the panel, and the smaller of the shares of the area that it parts.

        way (p, 3): the seam; drawn (p, 2): on the conformal map; off (q,): places of the loop from its end round to
        its beginning, without both.
        """
        held = np.unique(self.tree.query(way)[1])
        block = self.green[np.ix_(held, held)]
        u = self.mean - self.spread[:, held] @ np.linalg.solve(block, self.u[held])
        polygon = np.concatenate([drawn, self.flat[self.loop[off]]])
        one = np.zeros(len(self.weight), dtype=bool)
        one[: len(self.spots)] = inside(polygon, self.flat[self.spots])
        one[len(self.spots) + off] = True
        share = float(self.weight[one].sum() / self.weight.sum())
        left = sum(_strain(u[k], self.weight[k]) for k in (one, ~one))
        return left, min(share, 1.0 - share)


def _strain(u: Array, weight: Array) -> float:
    """Sum of the squared stretch over an area, level in its mean."""
    total = float(weight.sum())
    return float(weight @ (np.exp(weight @ u / total - u) - 1.0) ** 2) if total > 0 else 0.0


def parting(vertices: Vertices, faces: Faces) -> Parting:
    """Prepare a panel, vertices (n, 3) mm, faces (m, 3). Raises MeshError where it is not a disk."""
    vertices, faces, loop = check_disk(vertices, faces)
    free = np.ones(len(vertices), dtype=bool)
    free[loop] = False
    inner = np.flatnonzero(free)
    area = face_areas(vertices, faces)
    pick = _even(vertices[inner], float(np.sqrt(area.sum() / SPOTS)))
    solve = factor(laplacian(rest(vertices, faces), faces)[inner][:, inner]).solve
    unit = np.zeros((len(inner), len(pick)))
    unit[pick, np.arange(len(pick))] = 1.0
    columns = np.column_stack([solve(column) for column in unit.T])
    u = -solve(defects(vertices, faces)[inner])
    spots = inner[pick]
    own = vertex_areas(faces, area, len(vertices))
    near = cKDTree(vertices[np.concatenate([spots, loop])]).query(vertices)[1]
    weight = np.bincount(near, own, len(spots) + len(loop))
    share = (
        csr_array(
            (own[inner], (near[inner], np.arange(len(inner)))), shape=(len(weight), len(inner))
        )
        / np.maximum(weight, 1e-300)[:, None]
    )
    flat, tree = conformal(vertices, faces), cKDTree(vertices[spots])
    return Parting(
        loop, flat, spots, u[pick], columns[pick], share @ u, share @ columns, weight, tree
    )


def _even(places: Vertices, size: float) -> Ints:
    """Indices of some of the places (n, 3), no two nearer than `size`, all others nearer to one."""
    near = cKDTree(places).query_ball_point(places, size)
    open_ = np.ones(len(places), dtype=bool)
    out: list[int] = []
    for k in range(len(places)):
        if open_[k]:
            out.append(k)
            open_[near[k]] = False
    return np.array(out, dtype=np.int64)
