"""The maker's own seams drawn into a plan that is cut already: only the pieces that they touch are cut again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import SuitError
from padlib.mesh.areas import face_areas
from padlib.mesh.cut import insert, split
from padlib.mesh.insert import Inserted
from padlib.mesh.onto import Divided
from padlib.mesh.point import Curve, arrays, points
from padlib.mesh.prune import prune
from padlib.mesh.split import CutPiece
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.topology import Edges, edge_numbers, edges, face_components
from padlib.seams.plan import Line
from padlib.seams.settle import settle

Indices = NDArray[np.int64]

LEAST_AREA = 400.0  # mm2; smaller patches between nearly equal curves join their neighbour


@dataclass(frozen=True)
class Seams:
    """Names and kinds of seams; labels of edges are places in them."""

    names: tuple[str, ...]
    kinds: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Parted:
    """A shell taken apart: its pieces, edges (k, 2) of seams, the seam (k,) that each is of, as a place in seams."""

    pieces: tuple[CutPiece, ...]
    edges: Indices
    labels: Indices
    seams: Seams


@dataclass(frozen=True, eq=False)
class Ground:
    """A shell into which a plan is drawn.

    mesh: its faces against those of the shell as it was; vertices (n, 3) mm; taken (n,): those on seams and marks,
    which stay; cut: along the plan, pieces in the order of their lowest face; parts: what was taken out of it.
    """

    mesh: Divided
    vertices: Vertices
    taken: NDArray[np.bool_]
    cut: Parted
    parts: dict[tuple[int, ...], _Part] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Part:
    """Some pieces of a ground as one mesh: its faces and vertices in the ground, its own faces, their edges, and the
    seam edge of the ground (e,) that each edge is, -1 none; rest: the ground's seam edges that are not in it."""

    of_face: Indices
    of_vertex: Indices
    faces: Faces
    edges: Edges
    seam: Indices
    rest: Indices


def draw_own(ground: Ground, drawn: Sequence[Line]) -> Parted:
    """A ground taken apart along the maker's own seams, too, which are curves of the shell as it was.

    A vertex of the ground keeps its number, new ones come after; face_parents of the pieces are faces of the ground.
    Raises SuitError for one that neither closes nor ends on other seams, and what `insert` raises.
    """
    curves = ground.mesh.curves([line.curve for line in drawn])
    touched = _touched(ground, curves)
    key = tuple(touched.tolist())
    if key not in ground.parts:
        ground.parts.clear()  # one is enough while a seam is dragged
        ground.parts[key] = _part(ground, touched)
    part = ground.parts[key]
    moved, settled = settle(
        ground.vertices[part.of_vertex],
        part.faces,
        [_within(curve, part) for curve in curves],
        taken=ground.taken[part.of_vertex],
    )
    new = insert(moved, part.faces, settled, mesh_edges=part.edges)
    every, seams = _names(drawn, ground.cut.seams)
    pairs, labels = _seam_edges(part, new, ground)
    known = edges(new.faces)
    count = len(new.chains)
    whole = replace(
        new,
        edges=np.concatenate((pairs, new.edges)),
        edge_curve=np.concatenate((np.full(len(pairs), count), new.edge_curve)),
    )
    whole = prune(whole, keep=[count], mesh_edges=known)
    _check_drawn(whole, drawn)
    own = whole.edge_curve < count
    told = np.concatenate((labels, every[whole.edge_curve[own]]))
    cut, labels = joined(whole.vertices, whole.faces, known, whole.edges, told)
    _check_left(whole, drawn, known, cut)
    made = split(whole.vertices, whole.faces, cut, mesh_edges=known)
    first = len(ground.vertices)
    number = np.concatenate(
        (part.of_vertex, first + np.arange(len(new.vertices) - len(part.of_vertex)))
    )
    pieces = tuple(
        replace(
            piece,
            parents=number[piece.parents],
            face_parents=part.of_face[new.parent_face[piece.face_parents]],
        )
        for piece in made
    )
    stay = np.delete(np.arange(len(ground.cut.pieces)), touched).tolist()
    return Parted(
        (*(ground.cut.pieces[k] for k in stay), *pieces),
        np.concatenate((ground.cut.edges[part.rest], number[cut])),
        np.concatenate((ground.cut.labels[part.rest], labels)),
        seams,
    )


def _touched(ground: Ground, curves: Sequence[Curve]) -> Indices:
    """The pieces with a corner of a face in which a curve has a point: they are cut, or their border gets a vertex."""
    faces = ground.mesh.faces
    near = np.zeros(len(ground.vertices), dtype=bool)
    for curve in curves:
        near[faces[arrays(curve.points)[0]]] = True
    return np.array(
        [k for k, piece in enumerate(ground.cut.pieces) if near[piece.parents].any()], np.int64
    )


def _part(ground: Ground, touched: Indices) -> _Part:
    """The mesh of some pieces."""
    of_face = np.sort(np.concatenate([ground.cut.pieces[k].face_parents for k in touched]))
    of_vertex, corner = np.unique(ground.mesh.faces[of_face], return_inverse=True)
    faces = corner.reshape(-1, 3).astype(np.int64)
    known = edges(faces)
    local = np.full(len(ground.vertices), -1)
    local[of_vertex] = np.arange(len(of_vertex))
    pairs = local[ground.cut.edges]
    number = np.full(len(pairs), -1)
    here = (pairs >= 0).all(axis=1)
    number[here] = edge_numbers(known, pairs[here])
    seam = np.full(len(known.ends), -1)
    seam[number[number >= 0]] = np.flatnonzero(number >= 0)
    return _Part(of_face, of_vertex, faces, known, seam, np.flatnonzero(number < 0))


def _within(curve: Curve, part: _Part) -> Curve:
    """A curve of the ground on a part of it."""
    face, weights = arrays(curve.points)
    return Curve(tuple(points(np.searchsorted(part.of_face, face), weights)), curve.closed)


def _names(drawn: Sequence[Line], seams: Seams) -> tuple[Indices, Seams]:
    """The label of each own seam, and all seams with them."""
    names, kinds = list(seams.names), list(seams.kinds)
    labels = []
    for line in drawn:
        known = [
            k
            for k, both in enumerate(zip(names, kinds, strict=True))
            if both == (line.name, line.kind)
        ]
        if not known:
            names.append(line.name)
            kinds.append(line.kind)
        labels.append(known[0] if known else len(names) - 1)
    return np.array(labels, dtype=np.int64), Seams(tuple(names), tuple(kinds))


def _seam_edges(part: _Part, new: Inserted, ground: Ground) -> tuple[Indices, Indices]:
    """The ground's seam edges in a part into which curves were drawn (k, 2), and their labels; where a curve ends on
    one or crosses it there are two."""
    first = len(part.of_vertex)
    added = np.arange(first, len(new.vertices))
    weights, face = new.point_barycentric[added], new.point_face[added]
    two = np.count_nonzero(weights, axis=1) == 2
    side = weights.argmin(axis=1)
    edge = part.edges.of_face[face, side]
    on = two & (part.seam[edge] >= 0)
    added, edge, weights, face, side = (x[on] for x in (added, edge, weights, face, side))
    ends = part.edges.ends[edge]
    rows = np.arange(len(edge))
    high = part.faces[face, (side + 1) % 3] == ends[:, 1]
    share = weights[rows, np.where(high, side + 1, side + 2) % 3]
    whole = np.flatnonzero(part.seam >= 0)
    edge = np.concatenate((whole, edge, whole))
    vertex = np.concatenate((part.edges.ends[whole, 0], added, part.edges.ends[whole, 1]))
    at = np.concatenate((np.full(len(whole), -1.0), share, np.full(len(whole), 2.0)))
    order = np.lexsort((at, edge))
    edge, vertex = edge[order], vertex[order]
    step = np.flatnonzero(edge[1:] == edge[:-1])
    pairs = np.sort(np.column_stack((vertex[step], vertex[step + 1])), axis=1)
    return pairs, ground.cut.labels[part.seam[edge[step]]]


def _check_drawn(mesh: Inserted, drawn: Sequence[Line]) -> None:
    """SuitError for a drawn seam that neither closes nor ends on other seams: it would part nothing."""
    pairs = np.unique(np.sort(mesh.edges, axis=1), axis=0)
    degree = np.bincount(pairs.ravel(), minlength=len(mesh.vertices))
    for line, chain, closed in zip(drawn, mesh.chains, mesh.closed, strict=True):
        if len(chain) < 2 or (not closed and min(degree[chain[0]], degree[chain[-1]]) < 2):
            raise SuitError(
                f"seam '{line.name}' does not close: an end of it meets no other seam or "
                "opening; move that end onto one, or set closed = true."
            )


def _check_left(mesh: Inserted, drawn: Sequence[Line], e: Edges, cut: Indices) -> None:
    """SuitError for a drawn seam of which nothing is among the edges (k, 2) that are cut; e: the mesh's edges."""
    left = np.isin(edge_numbers(e, mesh.edges), edge_numbers(e, cut))
    for k, line in enumerate(drawn):
        if not left[mesh.edge_curve == k].any():
            raise SuitError(
                f"seam '{line.name}' parts nothing off: it runs along another seam, or round less than "
                f"{LEAST_AREA / 100:.0f} cm2; move it away from there."
            )


def joined(
    vertices: Vertices, faces: Faces, e: Edges, seam_edges: Indices, labels: Indices
) -> tuple[Indices, Indices]:
    """Seam edges (k, 2) and their labels, each once and without those round tiny patches, which join their neighbour.

    e: the mesh's edges; of an edge that comes twice the first label counts.
    """
    cut_edges, first = np.unique(np.sort(seam_edges, axis=1), axis=0, return_index=True)
    kept = labels[first]
    area = face_areas(vertices, faces)
    at = edge_numbers(e, cut_edges)
    for _ in range(16):
        cut = np.zeros(len(e.ends), dtype=bool)
        cut[at] = True
        component = face_components(faces, cut=cut, mesh_edges=e)
        size = np.bincount(component, weights=area)
        if size.min() >= LEAST_AREA:
            break
        side = components_beside(e, component)
        patch = int(size.argmin())
        around = cut & (side == patch).any(axis=1) & (side[:, 0] != side[:, 1])
        other = np.where(side[around, 0] == patch, side[around, 1], side[around, 0])
        gone = np.flatnonzero(around)[other == np.bincount(other).argmax()]
        keep = ~np.isin(at, gone)
        cut_edges, kept, at = cut_edges[keep], kept[keep], at[keep]
    return cut_edges, kept


def components_beside(e: Edges, component: Indices) -> Indices:
    """The lowest and highest component (e, 2) of the faces at each edge."""
    low = np.full(len(e.ends), np.iinfo(np.int64).max)
    high = np.full(len(e.ends), -1)
    np.minimum.at(low, e.of_face.ravel(), np.repeat(component, 3))
    np.maximum.at(high, e.of_face.ravel(), np.repeat(component, 3))
    return np.stack([low, high], axis=1)
