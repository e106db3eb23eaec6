"""Cutting a mesh open along a set of its edges, and the runs of the cut pieces' borders."""

from __future__ import annotations

import weakref
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Faces, Vertices, frozen
from padlib.mesh.topology import (
    Edges,
    boundary_sides,
    corner_fans,
    edge_numbers,
    edges,
    face_components,
)

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of a piece's border between two junctions.

    vertices (k,): the piece's vertices in order, the piece to the left; a whole loop without a
    junction starts and ends at the same vertex. curve: index of the curve along which it was cut, or
    -1 for the border of the mesh itself. partner: (piece, run) whose vertices are the same places
    backwards, or None at the border of the mesh.
    """

    vertices: Indices
    curve: int
    partner: tuple[int, int] | None = None

    def __post_init__(self) -> None:
        """Freeze the vertices."""
        object.__setattr__(self, "vertices", frozen(self.vertices, np.int64))


@dataclass(frozen=True, eq=False)
class CutPiece:
    """One connected piece of a cut mesh.

    vertices (n, 3) in mm; faces (m, 3); parents (n,): vertex of the uncut mesh of which each vertex
    is a copy; face_parents (m,): face of the uncut mesh; runs: the border, in order along each loop.
    """

    vertices: Vertices
    faces: Faces
    parents: Indices
    face_parents: Indices
    runs: tuple[Run, ...] = ()

    def __post_init__(self) -> None:
        """Freeze the arrays."""
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64, 3))
        for name in ("faces", "parents", "face_parents"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.int64))


@dataclass(frozen=True, eq=False)
class Pieces:
    """The pieces of a cut mesh, in the order of their lowest face, and what was noticed."""

    pieces: tuple[CutPiece, ...]
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        """How many pieces."""
        return len(self.pieces)

    def __iter__(self) -> Iterator[CutPiece]:
        """The pieces in order."""
        return iter(self.pieces)

    def __getitem__(self, index: int) -> CutPiece:
        """One piece."""
        return self.pieces[index]


_borders: weakref.WeakKeyDictionary[CutPiece, list[Indices]] = weakref.WeakKeyDictionary()


def split(
    vertices: Vertices, faces: Faces, cut_edges: Indices, *, mesh_edges: Edges | None = None
) -> Pieces:
    """Cut a mesh open along some of its edges.

    vertices (n, 3), faces (m, 3), cut_edges (k, 2) vertex pairs, either way round; mesh_edges: those of the
    faces, where they are known. Both sides of a
    cut get their own copy of its vertices, with the very same positions; an end of a cut inside a
    piece stays one vertex, so that a slit of a single edge does not open. Fans of faces that meet in
    a vertex only are parted.
    Raises InputError if a cut edge is not an edge of the mesh. Finding 151: more than two faces meet
    in an edge; the mesh comes apart there.
    """
    f = np.asarray(faces, dtype=np.int64)
    mesh_edges = edges(f) if mesh_edges is None else mesh_edges
    cut = _marked(mesh_edges, cut_edges)
    crowded = mesh_edges.count > 2
    fan = corner_fans(f, cut=cut, mesh_edges=mesh_edges)
    piece = face_components(f, cut=cut | crowded, mesh_edges=mesh_edges)
    v = np.asarray(vertices, dtype=np.float64)
    count = np.arange(int(piece.max(initial=-1)) + 2)
    order = np.argsort(piece, kind="stable")
    bounds = np.searchsorted(piece[order], count)
    # each fan is one vertex of one piece; there they are numbered by parent, then by where they first come
    first = np.empty(int(fan.max(initial=-1)) + 1, dtype=np.int64)
    first[fan.ravel()[::-1]] = np.arange(fan.size)[::-1]
    of_fan, parent = piece[first // 3], f.ravel()[first]
    by_piece = np.lexsort((first, parent, of_fan))
    starts = np.searchsorted(of_fan[by_piece], count)
    rank = np.empty(len(first), dtype=np.int64)
    rank[by_piece] = np.arange(len(first)) - starts[of_fan[by_piece]]
    out = []
    for k, (a, b) in enumerate(zip(bounds[:-1], bounds[1:], strict=True)):
        mine = order[a:b]
        parents = parent[by_piece[starts[k] : starts[k + 1]]]
        out.append(CutPiece(v[parents], rank[fan[mine]], parents, mine))
    findings = ()
    if crowded.any():
        words = "more than two faces meet in an edge; the surface was parted there"
        findings = (Finding(151, words, grade=Grade.REPAIR, count=int(crowded.sum())),)
    return Pieces(tuple(out), findings)


def _marked(mesh_edges: Edges, wanted: Indices) -> NDArray[np.bool_]:
    """Which edges (e,) are among wanted (k, 2); InputError for one that is not there."""
    pairs = np.sort(np.asarray(wanted, dtype=np.int64).reshape(-1, 2), axis=1)
    at = edge_numbers(mesh_edges, pairs)
    if (at < 0).any():
        one, other = min(pairs[at < 0].tolist())
        raise InputError(
            f"vertices {one} and {other} are not joined by an edge of the mesh; "
            "insert the curve before splitting"
        )
    out = np.zeros(len(mesh_edges.ends), dtype=bool)
    out[at] = True
    return out


def boundary_runs(
    pieces: Sequence[CutPiece],
    cut_edges: Indices,
    labels: NDArray[np.integer],
    *,
    breaks: Iterable[int] = (),
) -> tuple[CutPiece, ...]:
    """The pieces with their border told as runs between junctions, each with its partner.

    cut_edges (k, 2): vertex pairs of the uncut mesh; labels (k,): the curve of each; where an edge
    has several, the lowest counts. A junction is a vertex of the uncut mesh where a curve or the
    mesh border ends, where three or more of them meet or where the label changes, and each vertex in
    breaks. Runs of one piece follow each other along its border loops; each loop begins at a
    junction if it has one.
    """
    span = 1 + max((int(p.parents.max(initial=0)) for p in pieces), default=0)
    keys, curve = _label_table(np.asarray(cut_edges).reshape(-1, 2), np.asarray(labels), span)
    loops = _loops(pieces)
    steps = [pieces[k].parents[np.column_stack((loop, np.roll(loop, -1)))] for k, loop in loops]
    tags = [_labels_of(step, keys, curve, span) for step in steps]
    junction = _junctions(steps, tags, span)
    junction[list(breaks)] = True
    runs: list[list[Run]] = [[] for _ in pieces]
    for (k, loop), step, tag in zip(loops, steps, tags, strict=True):
        runs[k].extend(_runs(loop, step[:, 0], tag, junction[step[:, 0]]))
    partners = _partners(pieces, runs)
    return tuple(
        replace(p, runs=tuple(replace(r, partner=partners[k, i]) for i, r in enumerate(runs[k])))
        for k, p in enumerate(pieces)
    )


def _label_table(pairs: Indices, labels: Indices, span: int) -> tuple[Indices, Indices]:
    """Sorted keys of the cut edges, each once, and the lowest label of each."""
    low = np.sort(pairs, axis=1)
    keys = low[:, 0] * span + low[:, 1]
    order = np.lexsort((labels, keys))
    unique, first = np.unique(keys[order], return_index=True)
    return unique, labels[order][first].astype(np.int64)


def _labels_of(step: Indices, keys: Indices, curve: Indices, span: int) -> Indices:
    """The label (k,) of each border step (k, 2) in uncut vertices, -1 where nothing was cut."""
    low = np.sort(step, axis=1)
    wanted = low[:, 0] * span + low[:, 1]
    if not len(keys):
        return np.full(len(step), -1)
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, curve[at], -1)


def _loops(pieces: Sequence[CutPiece]) -> list[tuple[int, Indices]]:
    """Border loops of all pieces, each with its piece and from its lowest vertex on."""
    return [(k, loop) for k, piece in enumerate(pieces) for loop in _loops_of(piece)]


def _loops_of(piece: CutPiece) -> list[Indices]:
    """The border loops of a piece, found once for as long as it lives.

    Every vertex of a piece has one fan, so that one border step leaves it at most.
    """
    if piece not in _borders:
        onward = dict(boundary_sides(piece.faces).tolist())
        loops = []
        for start in sorted(onward):
            if start not in onward:
                continue
            loop = [start]
            here = onward.pop(start)
            while here != start:
                loop.append(here)
                here = onward.pop(here)
            loops.append(np.array(loop, dtype=np.int64))
        _borders[piece] = loops
    return _borders[piece]


def _junctions(steps: list[Indices], tags: list[Indices], span: int) -> NDArray[np.bool_]:
    """Which uncut vertices end a run: not exactly two border edges there, or of two labels."""
    out = np.zeros(span, dtype=bool)
    if not steps:
        return out
    low, tag = np.sort(np.concatenate(steps), axis=1), np.concatenate(tags)
    _, first = np.unique(low[:, 0] * span + low[:, 1], return_index=True)
    low, tag = low[first], tag[first]
    ends, twice = low.ravel(), np.repeat(tag, 2)
    degree = np.bincount(ends, minlength=span)
    least, most = np.full(span, np.iinfo(np.int64).max), np.full(span, -2)
    np.minimum.at(least, ends, twice)
    np.maximum.at(most, ends, twice)
    return (degree > 0) & ((degree != 2) | (least != most))


def _runs(loop: Indices, parents: Indices, tag: Indices, stop: NDArray[np.bool_]) -> list[Run]:
    """The runs of one loop of vertices (k,): broken where stop; tag k is of the step from k on."""
    at = np.flatnonzero(stop)
    if not len(at):
        start = int(np.argmin(parents))
        whole = np.roll(loop, -start)
        return [Run(np.append(whole, whole[0]), int(tag[0]))]
    turned, tags = np.roll(loop, -at[0]), np.roll(tag, -at[0])
    turned = np.append(turned, turned[0])
    cuts = [*(at - at[0]).tolist(), len(loop)]
    return [Run(turned[a : b + 1], int(tags[a])) for a, b in zip(cuts[:-1], cuts[1:], strict=True)]


def _partners(
    pieces: Sequence[CutPiece], runs: list[list[Run]]
) -> dict[tuple[int, int], tuple[int, int] | None]:
    """For each (piece, run) the one that runs the same uncut vertices backwards."""
    lines = {
        (k, i): tuple(pieces[k].parents[r.vertices].tolist())
        for k, mine in enumerate(runs)
        for i, r in enumerate(mine)
    }
    found = {line: key for key, line in lines.items()}
    return {
        key: None if runs[key[0]][key[1]].curve < 0 else found.get(line[::-1])
        for key, line in lines.items()
    }


def sides_agree(pieces: Sequence[CutPiece]) -> bool:
    """Whether every run and its partner are one polyline: the same positions backwards, bit for bit."""
    for k, piece in enumerate(pieces):
        for i, run in enumerate(piece.runs):
            if run.partner is None:
                continue
            other, j = run.partner
            back = pieces[other].runs[j]
            here, there = piece.vertices[run.vertices], pieces[other].vertices[back.vertices[::-1]]
            if back.partner != (k, i) or not np.array_equal(here, there):
                return False
    return True
