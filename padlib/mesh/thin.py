"""A dense scan brought to fewer triangles at once: each vertex that is kept is the mean of those around it.

Vertices are gathered about a maximal independent set of the mesh's own graph (M. Luby, "A simple parallel algorithm for
the maximal independent set problem", 1986; the gathering is the aggregation of algebraic multigrid, P. Vanek and
others, 1996): sheets that only come near each other stay apart. One round takes three of four triangles away
and a third of independent noise. Works on any soup of triangles; what it pinches is parted and filled by the repairs
after it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.mesh.areas import face_areas, lengths, sums, vertex_normals
from padlib.mesh.columns import three_cornered
from padlib.mesh.repair import (
    Findings,
    drop_doubled,
    edge_keys,
    face_numbers,
    genus,
    is_closed_manifold,
    runs,
    times,
    without_unused,
)
from padlib.mesh.surface import Faces, Surface, Vertices

THINNED = 118
DENSE = 0.72  # edges shorter than this part of the wanted ones get a round
ROUNDS = 4
CALM = 2  # rounds in which the heights of neighbours are taken together
EVEN = 0.433  # area of the even triangle in parts of the square of its edge

Ints = NDArray[np.int64]


def thinned(surface: Surface, edge: float) -> tuple[Surface, Findings]:
    """Fewer triangles, rounds of four to one, until their edges are nearly `edge` long; as it was when they are."""
    before = len(surface.faces)
    for _ in range(ROUNDS):
        if even_edge(surface) > DENSE * edge:
            break
        surface = _gathered(surface)
    if len(surface.faces) == before:
        return surface, ()
    words = f"{before:,} triangles were brought down to {len(surface.faces):,} by taking means"
    return surface, (Finding(THINNED, words),)


def sparser(surface: Surface) -> Surface | None:
    """One round on a closed surface, or None where it would not stay closed and of the same handles.

    Two triangles back to back, which a vertex that is shut in between two groups leaves, go together.
    """
    v, f = surface.vertices, surface.faces
    group, _ = _groups(v, f)
    faces = three_cornered(group[f])
    faces = faces.compress(times(face_numbers(faces)) == 1, axis=0)
    if not is_closed_manifold(faces) or genus(faces) != genus(f):
        return None
    means = _means(v, group, np.zeros(len(v), dtype=bool))
    return without_unused(means, faces)


def even_edge(surface: Surface) -> float:
    """Edge of the even triangle of which the surface would need as many."""
    area = float(face_areas(surface.vertices, surface.faces).sum())
    return float(np.sqrt(area / max(len(surface.faces), 1) / EVEN))


def _gathered(surface: Surface) -> Surface:
    """One round: vertices gathered about roots, three of four of them gone."""
    group, rim = _groups(surface.vertices, surface.faces)
    means = _means(surface.vertices, group, rim)
    return drop_doubled(Surface(means, three_cornered(group[surface.faces])))[0]


def _groups(v: Vertices, f: Faces) -> tuple[Ints, NDArray[np.bool_]]:
    """The number (n,) of the nearest root beside each vertex, and which vertices (n,) lie on a rim."""
    one, two, border = _edges(f)
    rim = np.zeros(len(v), dtype=bool)
    rim[one[border]] = rim[two[border]] = True
    return _nearest(v, one, two, _roots(len(v), one, two)), rim


def _edges(faces: Faces) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """The ends (k,), (k,) of each edge once, and whether it belongs to one face only."""
    a, b = faces.T.ravel(), faces[:, [1, 2, 0]].T.ravel()
    pair = np.column_stack([np.minimum(a, b), np.maximum(a, b)])
    order, first = runs(edge_keys(pair, True))
    count = np.diff(np.r_[first, len(order)])
    one, two = pair[order[first]].T
    return one, two, count == 1


def _roots(count: int, one: Ints, two: Ints) -> NDArray[np.bool_]:
    """A maximal set (n,) of vertices of which no two share an edge; always the same one."""
    rank = np.random.default_rng(0).permutation(count)
    root, open_ = np.zeros(count, dtype=bool), np.ones(count, dtype=bool)
    while len(one):
        beaten = np.zeros(count, dtype=bool)
        beaten[np.where(rank[one] < rank[two], one, two)] = True
        new = open_ & ~beaten
        root |= new
        open_ &= ~new
        open_[two[new[one]]] = False
        open_[one[new[two]]] = False
        both = open_[one] & open_[two]
        one, two = one[both], two[both]
    return root | open_


def _nearest(v: Vertices, one: Ints, two: Ints, root: NDArray[np.bool_]) -> Ints:
    """The number (n,) of the nearest root beside each vertex, from 0."""
    number = np.cumsum(root) - 1
    vertex = np.concatenate([one[root[two]], two[root[one]]])
    beside = np.concatenate([two[root[two]], one[root[one]]])
    way = (v.take(vertex, axis=0) - v.take(beside, axis=0)) ** 2
    apart = way[:, 0] + way[:, 1] + way[:, 2]
    order = np.argsort(-apart, kind="stable")
    out = np.where(root, number, -1)
    out[vertex[order]] = number[beside[order]]  # the nearest is written last
    return out


def _means(v: Vertices, group: Ints, rim: NDArray[np.bool_]) -> Vertices:
    """The mean place of each group; of its rim alone where it has some, so that holes and cuts do not grow."""
    count = int(group.max()) + 1
    on_rim = np.bincount(group, rim, count) > 0
    weight = np.where(on_rim[group], rim, True).astype(np.float64)
    return sums(group, weight[:, None] * v, count) / np.bincount(group, weight, count)[:, None]


def raised(v: Vertices, f: Faces, by: float, most: float) -> Vertices:
    """Vertices moved along their normals so that flat triangles lie about a curved surface, not inside it.

    by: how far, in parts of a vertex's height over the mean of its neighbours: a quarter where the vertices lie on the
    surface, since the middle of an edge of length h lies h^2 / 8 R inside a sphere of radius R, and a neighbour
    h^2 / 2 R below the tangent plane. most: bound of the move, in edge lengths. Vertices on a rim stay.
    """
    one, two, border = _edges(f)
    ends, count = np.concatenate([one, two]), len(v)
    others = np.concatenate([two, one])
    valence = np.maximum(np.bincount(ends, minlength=count), 1)
    along = v.take(others, axis=0)
    edge = np.bincount(ends, lengths(*(v.take(ends, axis=0) - along).T), count) / valence
    normal = vertex_normals(v, f)
    middle = sums(ends, along, count) / valence[:, None]
    height = np.einsum("ij,ij->i", v - middle, normal)
    for _ in range(CALM):  # noise changes sign from vertex to vertex, curvature does not
        height = 0.5 * (height + np.bincount(ends, height[others], count) / valence)
    move = np.clip(by * height, -most * edge, most * edge)
    move[one[border]] = move[two[border]] = 0.0
    return v + move[:, None] * normal
