"""Repairs that leave the scan's geometry alone: merge, drop, turn round, split."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from padlib.findings import Finding, Grade
from padlib.mesh.surface import Faces, Surface, Vertices

Findings = tuple[Finding, ...]

MERGED, DEGENERATE, DOUBLED = 100, 101, 102
FLIPPED, INSIDE_OUT, SPLIT = 105, 106, 107


def directed_edges(faces: Faces) -> NDArray[np.int64]:
    """The three directed edges of each face, (3m, 2): first all (0, 1), then (1, 2), then (2, 0)."""
    return faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 3, 2).transpose(1, 0, 2).reshape(-1, 2)


def edge_keys(edges: NDArray[np.int64], directed: bool = False) -> NDArray[np.int64]:
    """One integer for each edge (k, 2), the same for both directions unless directed."""
    low, high = edges[:, 0], edges[:, 1]
    if not directed:  # by columns: numpy reduces rows of two slowly
        low, high = np.minimum(low, high), np.maximum(low, high)
    return low * (int(edges.max(initial=0)) + 1) + high


def runs(keys: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Order (k,) that sorts keys, equal ones as they came, and where each run of equals begins."""
    bits = max(len(keys) - 1, 1).bit_length()
    if int(keys.max(initial=0)).bit_length() + bits <= 63:
        both = np.sort((keys << bits) | np.arange(len(keys)))  # faster than a stable argsort
        order, keys = both & ((1 << bits) - 1), both >> bits
    else:
        order = np.argsort(keys, kind="stable")
        keys = keys[order]
    return order, np.flatnonzero(np.r_[len(keys) > 0, keys[1:] != keys[:-1]])


def times(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """How often each key (k,) is there."""
    order, first = runs(keys)
    count = np.diff(np.r_[first, len(keys)])
    out = np.empty(len(keys), dtype=np.int64)
    out[order] = np.repeat(count, count)
    return out


def used_count(faces: Faces) -> int:
    """How many vertices the faces name."""
    return int(np.count_nonzero(np.bincount(faces.ravel(), minlength=1)))


def without_unused(vertices: Vertices, faces: Faces) -> Surface:
    """The same faces with the vertices that no face uses taken out."""
    used = np.zeros(len(vertices), dtype=bool)
    used[faces.ravel()] = True
    return Surface(vertices[used], (np.cumsum(used) - 1)[faces])


def pairs_across_edges(faces: Faces) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """For each edge of exactly two faces: the two faces (k, 2) and their corners' rows (k, 2).

    A row is the place of the edge in `directed_edges(faces)`; the face is that row modulo m.
    """
    order, first = runs(edge_keys(directed_edges(faces)))
    count = np.diff(np.r_[first, len(order)])
    start = first[count == 2]
    rows = np.column_stack([order[start], order[start + 1]])
    return rows % len(faces), rows


def components(faces: Faces) -> NDArray[np.int64]:
    """Number of the edge-connected piece of each face (m,), from 0."""
    order, first = runs(edge_keys(directed_edges(faces)))
    count = np.diff(np.r_[first, len(order)])
    face = order % max(len(faces), 1)
    again = np.ones(len(order), dtype=bool)
    again[first] = False
    bonds = coo_matrix(
        (np.ones(again.sum(), dtype=np.int8), (np.repeat(face[first], count - 1), face[again])),
        shape=(len(faces),) * 2,
    )
    return connected_components(bonds, directed=False)[1].astype(np.int64)


def same_places(points: Vertices) -> tuple[Vertices, NDArray[np.int64]]:
    """The points (n, 3) each once, in order of x, then y, then z, and where (n,) each is among them."""
    order = np.argsort(points[:, 0], kind="stable")
    x = points[order, 0]
    again = np.r_[False, x[1:] == x[:-1]][: len(points)]
    tied = np.flatnonzero(again | np.r_[again[1:], False][: len(points)])
    some = order[tied]  # y and z are asked only where x leaves it open
    order[tied] = some[np.lexsort(points[some].T[::-1])]
    ordered = points[order]
    new = np.r_[True, (ordered[1:] != ordered[:-1]).any(axis=1)][: len(points)]
    inverse = np.empty(len(points), dtype=np.int64)
    inverse[order] = np.cumsum(new) - 1
    return ordered[new], inverse


def merge_vertices(surface: Surface, *, tolerance: float = 1e-7) -> tuple[Surface, Findings]:
    """Make vertices that lie within `tolerance` times the mesh's size of each other one vertex."""
    points, at = same_places(surface.vertices)
    size = float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0
    # only points that have another within reach along x can have one within reach
    near = np.diff(points[:, 0]) <= tolerance * size
    some = np.flatnonzero(np.r_[near, False] | np.r_[False, near])
    close = cKDTree(points[some]).query_pairs(tolerance * size, output_type="ndarray")
    close = some[close].reshape(-1, 2)
    first = np.arange(len(points))  # of those that become one, the one with the lowest number
    if len(close):
        met, inverse = np.unique(close, return_inverse=True)
        pair = inverse.reshape(-1, 2).T
        bonds = coo_matrix((np.ones(len(close)), pair), shape=(len(met),) * 2)
        count, label = connected_components(bonds, directed=False)
        lowest = np.full(count, len(points))
        np.minimum.at(lowest, label, met)
        first[met] = lowest[label]
    keep = first == np.arange(len(points))
    faces = (np.cumsum(keep) - 1)[first][at][surface.faces]
    gone = used_count(surface.faces) - used_count(faces)
    merged = without_unused(points[keep], faces)
    return merged, told(MERGED, gone, "vertices at the same place were made one")


def drop_degenerate(surface: Surface) -> tuple[Surface, Findings]:
    """Drop faces that name a vertex twice.

    A face of three different vertices in a line stays: without it the surface would have a slit.
    """
    f = surface.faces
    good = (f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])
    found = told(DEGENERATE, int((~good).sum()), "faces without an area were dropped")
    return without_unused(surface.vertices, f[good]), found


def drop_doubled(surface: Surface) -> tuple[Surface, Findings]:
    """Of faces with the same three vertices, in any order, keep the first."""
    ordered = np.sort(surface.faces, axis=1)
    pairs = ordered[:, :2]
    order, start = runs(edge_keys(pairs))
    number = np.empty(len(pairs), dtype=np.int64)
    number[order] = np.repeat(np.arange(len(start)), np.diff(np.r_[start, len(pairs)]))
    order, start = runs(edge_keys(np.column_stack([number, ordered[:, 2]]), True))
    first = order[start]
    gone = len(ordered) - len(first)
    found = told(DOUBLED, gone, "faces that were there twice were dropped")
    return without_unused(surface.vertices, surface.faces[np.sort(first)]), found


def boundary_edges(faces: Faces) -> NDArray[np.int64]:
    """Directed edges (k, 2) that belong to one face only."""
    edges = directed_edges(faces)
    return edges[times(edge_keys(edges)) == 1]


def signed_volume(vertices: Vertices, faces: Faces) -> float:
    """Volume inside, seen from the middle of the mesh (positive when the faces look outward)."""
    if not len(faces):
        return 0.0
    a, b, c = (vertices[faces[:, k]] - vertices[faces].mean(axis=(0, 1)) for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def orient(surface: Surface) -> tuple[Surface, Findings]:
    """Turn the faces of each piece the same way round, and each piece outward.

    Faces are followed over edges of exactly two faces (igl.bfs_orient); which way is outward is
    told by the signed volume of the piece.
    """
    faces, patch = igl.bfs_orient(surface.faces)
    faces, patch = faces.astype(np.int64), np.asarray(patch).reshape(-1)
    centre = np.stack([_patch_mean(surface.vertices, faces, patch, k) for k in range(3)], axis=1)
    a, b, c = (surface.vertices[faces[:, k]] - centre[patch] for k in range(3))
    volume = np.bincount(patch, np.einsum("ij,ij->i", a, np.cross(b, c)))
    back = (volume < 0)[patch]
    faces[back] = faces[back][:, [0, 2, 1]]
    turned = _turned(surface.faces, faces)
    if 2 * turned.sum() > len(faces):
        words = "the surface was inside out and was turned"
        found = (Finding(INSIDE_OUT, words, grade=Grade.REPAIR, count=1),)
        return Surface(surface.vertices, faces), found + _flips(int((~turned).sum()))
    return Surface(surface.vertices, faces), _flips(int(turned.sum()))


def _patch_mean(
    vertices: Vertices, faces: Faces, patch: NDArray[np.int64], axis: int
) -> NDArray[np.float64]:
    """Mean coordinate of the faces' corners of each patch along one axis."""
    total = np.bincount(patch, vertices[faces, axis].mean(axis=1))
    return total / np.bincount(patch)


def _turned(before: Faces, after: Faces) -> NDArray[np.bool_]:
    """Which faces run the other way round than before."""
    out = np.zeros(len(before), dtype=bool)
    other = np.flatnonzero((before != after).any(axis=1))
    turns = [np.roll(before[other], k, axis=1) for k in (1, 2)]
    out[other] = ~np.any([np.all(after[other] == turn, axis=1) for turn in turns], axis=0)
    return out


def _flips(count: int) -> Findings:
    """The finding for single faces that looked the wrong way."""
    return told(FLIPPED, count, "faces that looked inward were turned outward")


def split_nonmanifold(surface: Surface) -> tuple[Surface, Findings]:
    """Make every edge belong to one or two faces of like direction, and every vertex to one fan.

    Corners stay together only across sound edges; where that does not part the sheets (the end of
    a fin), the faces at the edge are dropped and the hole is left to be filled.
    """
    vertices, faces = surface.vertices, surface.faces
    gone, split = 0, 0
    while True:
        before = used_count(faces)
        vertices, faces = _parted(vertices, faces)
        split += len(vertices) - before
        bad = _unsound_faces(faces)
        if not bad.any():
            break
        gone += int(bad.sum())
        faces = faces[~bad]
    found = told(SPLIT, split + gone, "places where sheets met in one edge or vertex were parted")
    return without_unused(vertices, faces), found


def _parted(vertices: Vertices, faces: Faces) -> tuple[Vertices, Faces]:
    """One vertex for each fan of corners that hang together across sound edges."""
    count = len(faces)
    edges = directed_edges(faces)
    _, rows = pairs_across_edges(faces)
    rows = rows[edges[rows[:, 0], 0] == edges[rows[:, 1], 1]]
    # corner c of face f is number c * m + f; edge row r runs from corner r to the next corner
    following = (rows + count) % (3 * count)
    one = np.concatenate([rows[:, 0], following[:, 0]])
    two = np.concatenate([following[:, 1], rows[:, 1]])
    bonds = coo_matrix((np.ones(len(one), dtype=np.int8), (one, two)), shape=(3 * count,) * 2)
    fans, fan = connected_components(bonds, directed=False)
    where = np.zeros(fans, dtype=np.int64)
    where[fan] = faces.T.ravel()
    order = np.argsort(where, kind="stable")
    rank = np.empty(fans, dtype=np.int64)
    rank[order] = np.arange(fans)
    return vertices[where[order]], rank[fan].reshape(3, count).T.copy()


def _unsound_faces(faces: Faces) -> NDArray[np.bool_]:
    """Faces at an edge of more than two faces or of two faces of unlike direction, (m,)."""
    edges = directed_edges(faces)
    bad = (times(edge_keys(edges)) > 2) | (times(edge_keys(edges, True)) > 1)
    return bad.reshape(3, -1).any(axis=0)


def is_closed_manifold(faces: Faces) -> bool:
    """Whether every edge has two faces of like direction and every vertex a single fan."""
    if not len(faces) or len(boundary_edges(faces)) or _unsound_faces(faces).any():
        return False
    return _fans(faces) == used_count(faces)


def _fans(faces: Faces) -> int:
    """How many fans of corners there are, where every edge has two faces of like direction."""
    count = len(faces)
    _, rows = pairs_across_edges(faces)
    after = np.empty(3 * count, dtype=np.int64)  # as in `_parted`: each corner's next in its fan
    after[rows[:, 0]] = (rows[:, 1] + count) % (3 * count)
    after[rows[:, 1]] = (rows[:, 0] + count) % (3 * count)
    ring = csr_matrix((np.ones(3 * count), after, np.arange(3 * count + 1)), shape=(3 * count,) * 2)
    return int(connected_components(ring, directed=False)[0])


def genus(faces: Faces) -> int:
    """Number of handles of a closed manifold of one piece (Euler: V - E + F = 2 - 2 g)."""
    euler = used_count(faces) - len(faces) * 3 // 2 + len(faces)
    return (2 - euler) // 2


def told(number: int, count: int, words: str) -> Findings:
    """A finding of a repair, or none when nothing was done."""
    if not count:
        return ()
    return (Finding(number, f"{count:,} {words}", grade=Grade.REPAIR, count=count),)
