"""Repairs that leave the scan's geometry alone: merge, drop, turn round, split."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.findings import Finding, Grade
from padlib.mesh.columns import crosses, dots, three_cornered
from padlib.mesh.surface import Faces, Surface, Vertices

Findings = tuple[Finding, ...]

MERGED, DEGENERATE, DOUBLED = 100, 101, 102
FLIPPED, INSIDE_OUT, SPLIT = 105, 106, 107


def directed_edges(faces: Faces) -> NDArray[np.int64]:
    """The three directed edges of each face, (3m, 2): first all (0, 1), then (1, 2), then (2, 0)."""
    ends = np.empty((3, len(faces), 2), dtype=np.int64)
    for k in range(3):  # by columns: an index of columns is slow
        ends[k, :, 0], ends[k, :, 1] = faces[:, k], faces[:, (k + 1) % 3]
    return ends.reshape(-1, 2)


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
    return Surface(vertices.compress(used, axis=0), (np.cumsum(used) - 1)[faces])


def pairs_across_edges(faces: Faces) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """For each edge of exactly two faces: the two faces (k, 2) and their corners' rows (k, 2).

    A row is the place of the edge in `directed_edges(faces)`; the face is that row modulo m.
    """
    order, first = runs(edge_keys(directed_edges(faces)))
    count = np.diff(np.r_[first, len(order)])
    start = first[count == 2]
    rows = np.column_stack([order[start], order[start + 1]])
    return rows % len(faces), rows


def gathered(count: int, one: NDArray[np.int64], two: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number (count,) of the group of each thing, where things one (k,) and two (k,) belong together.

    Groups are numbered in the order of their lowest. Each thing follows the lowest it is bound to, what is led to the
    same one becomes one thing, and so on: faster than a search from thing to thing.
    """
    out = np.arange(count)
    while len(one):
        lead = np.arange(count)
        np.minimum.at(lead, np.maximum(one, two), np.minimum(one, two))
        ends = lead == np.arange(count)
        while not ends[lead].all():
            lead = lead[lead]
        number = (np.cumsum(ends) - 1)[lead]
        out, count = number[out], int(ends.sum())
        one, two = number[one], number[two]
        apart = one != two
        one, two = one[apart], two[apart]
    return out


def components(faces: Faces) -> NDArray[np.int64]:
    """Number of the edge-connected piece of each face (m,), from 0."""
    order, first = runs(edge_keys(directed_edges(faces)))
    face = order % max(len(faces), 1)
    again = np.ones(len(order), dtype=bool)
    again[first] = False
    again = np.flatnonzero(again)  # each with the one before it in its run
    return gathered(len(faces), face[again - 1], face[again])


def same_places(points: Vertices) -> tuple[Vertices, NDArray[np.int64]]:
    """The points (n, 3) each once, in order of x, then y, then z, and where (n,) each is among them."""
    order = np.argsort(points[:, 0], kind="stable")
    x = points[order, 0]
    again = np.r_[False, x[1:] == x[:-1]][: len(points)]
    tied = np.flatnonzero(again | np.r_[again[1:], False][: len(points)])
    some = order[tied]  # y and z are asked only where x leaves it open
    order[tied] = some[np.lexsort(points[some].T[::-1])]
    ordered = points.take(order, axis=0)
    other = ordered[1:] != ordered[:-1]
    new = np.r_[True, other[:, 0] | other[:, 1] | other[:, 2]][: len(points)]
    inverse = np.empty(len(points), dtype=np.int64)
    inverse[order] = np.cumsum(new) - 1
    return ordered.compress(new, axis=0), inverse


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
        label = gathered(len(met), *inverse.reshape(-1, 2).T)
        lowest = np.unique(label, return_index=True)[1]
        first[met] = met[lowest][label]
    keep = first == np.arange(len(points))
    faces = (np.cumsum(keep) - 1)[first][at][surface.faces]
    gone = used_count(surface.faces) - used_count(faces)
    merged = without_unused(points.compress(keep, axis=0), faces)
    return merged, told(MERGED, gone, "vertices at the same place were made one")


def drop_degenerate(surface: Surface) -> tuple[Surface, Findings]:
    """Drop faces that name a vertex twice.

    A face of three different vertices in a line stays: without it the surface would have a slit.
    """
    good = three_cornered(surface.faces)
    gone = len(surface.faces) - len(good)
    found = told(DEGENERATE, gone, "faces without an area were dropped")
    return without_unused(surface.vertices, good), found


def drop_doubled(surface: Surface) -> tuple[Surface, Findings]:
    """Of faces with the same three vertices, in any order, keep the first."""
    order, start = runs(face_numbers(surface.faces))
    first = order[start]
    gone = len(surface.faces) - len(first)
    found = told(DOUBLED, gone, "faces that were there twice were dropped")
    return without_unused(surface.vertices, surface.faces.take(np.sort(first), axis=0)), found


def face_numbers(faces: Faces) -> NDArray[np.int64]:
    """One integer for each face (m,), the same for the same three vertices in any order."""
    a, b, c = faces.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    middle = a + b + c - low - high
    order, start = runs(edge_keys(np.column_stack([low, middle])))
    pair = np.empty(len(faces), dtype=np.int64)
    pair[order] = np.repeat(np.arange(len(start)), np.diff(np.r_[start, len(faces)]))
    return edge_keys(np.column_stack([pair, high]), True)


def boundary_edges(faces: Faces) -> NDArray[np.int64]:
    """Directed edges (k, 2) that belong to one face only."""
    edges = directed_edges(faces)
    return edges.compress(times(edge_keys(edges)) == 1, axis=0)


def signed_volume(vertices: Vertices, faces: Faces) -> float:
    """Volume inside, seen from the middle of the mesh (positive when the faces look outward)."""
    if not len(faces):
        return 0.0
    a, b, c = (vertices[faces[:, k]] - vertices[faces].mean(axis=(0, 1)) for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def orient(surface: Surface) -> tuple[Surface, Findings]:
    """Turn the faces of each piece the same way round, and each piece outward.

    Faces are followed over edges of exactly two faces; which way is outward is told by the signed volume of the piece.
    """
    faces, patch = _alike(surface.faces)
    centre = np.stack([_patch_mean(surface.vertices, faces, patch, k) for k in range(3)], axis=1)
    centre = centre.take(patch, axis=0)
    a, b, c = (surface.vertices.take(faces[:, k], axis=0) - centre for k in range(3))
    volume = np.bincount(patch, dots(a, crosses(b, c)))
    back = (volume < 0)[patch]
    faces[back] = faces[back][:, [0, 2, 1]]
    turned = _turned(surface.faces, faces)
    if 2 * turned.sum() > len(faces):
        words = "the surface was inside out and was turned"
        found = (Finding(INSIDE_OUT, words, grade=Grade.REPAIR, count=1),)
        return Surface(surface.vertices, faces), found + _flips(int((~turned).sum()))
    return Surface(surface.vertices, faces), _flips(int(turned.sum()))


def _alike(faces: Faces) -> tuple[Faces, NDArray[np.int64]]:
    """Faces (m, 3) turned as the first of each patch is, and the patch (m,) of each.

    Each face is taken twice, as it is and turned over, and what may lie side by side is gathered: where both of a
    face come together there is a patch that cannot be turned alike (a Moebius strip), which igl.bfs_orient takes.
    """
    count = len(faces)
    pair, rows = pairs_across_edges(faces)
    start = faces.T.ravel()[rows]
    against = start[:, 0] == start[:, 1]  # both run the same way along their edge
    one, two = pair.T
    over = two + np.where(against, count, 0), two + np.where(against, 0, count)
    way = gathered(2 * count, np.concatenate([one, one + count]), np.concatenate(over))
    plain, turned = way[:count], way[count:]
    if (plain == turned).any():
        alike, patch = igl.bfs_orient(faces)
        return alike.astype(np.int64), np.asarray(patch).reshape(-1).astype(np.int64)
    patch = np.minimum(plain, turned)
    out = np.where((plain > turned)[:, None], faces[:, ::-1], faces)
    number = np.cumsum(np.bincount(patch) > 0) - 1
    return out, number[patch]


def _patch_mean(
    vertices: Vertices, faces: Faces, patch: NDArray[np.int64], axis: int
) -> NDArray[np.float64]:
    """Mean coordinate of the faces' corners of each patch along one axis."""
    a, b, c = (vertices[:, axis].take(corner) for corner in faces.T)
    total = np.bincount(patch, (a + b + c) / 3.0)
    return total / np.bincount(patch)


def _turned(before: Faces, after: Faces) -> NDArray[np.bool_]:
    """Which faces run the other way round than before."""
    out = np.zeros(len(before), dtype=bool)
    new = before != after
    other = np.flatnonzero(new[:, 0] | new[:, 1] | new[:, 2])
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
    fan = gathered(3 * count, one, two)
    fans = int(fan.max(initial=-1)) + 1
    where = np.zeros(fans, dtype=np.int64)
    where[fan] = faces.T.ravel()
    order = np.argsort(where, kind="stable")
    rank = np.empty(fans, dtype=np.int64)
    rank[order] = np.arange(fans)
    return vertices.take(where[order], axis=0), rank[fan].reshape(3, count).T.copy()


def _unsound_faces(faces: Faces) -> NDArray[np.bool_]:
    """Faces at an edge of more than two faces or of two faces of unlike direction, (m,)."""
    edges = directed_edges(faces)
    order, first = runs(edge_keys(edges))
    count = np.diff(np.r_[first, len(order)])
    bad = np.zeros(len(order), dtype=bool)
    bad[order] = np.repeat(count > 2, count)
    start = edges[order, 0]
    pair = first[count == 2]
    pair = pair[start[pair] == start[pair + 1]]
    bad[order[pair]] = bad[order[pair + 1]] = True
    return bad.reshape(3, -1).any(axis=0)


def is_closed_manifold(faces: Faces) -> bool:
    """Whether every edge has two faces of like direction and every vertex a single fan."""
    if not len(faces) or len(faces) % 2:
        return False
    edges = directed_edges(faces)
    order, first = runs(edge_keys(edges))
    if len(first) * 2 != len(order) or not np.array_equal(first, np.arange(0, len(order), 2)):
        return False
    start = edges[order, 0].reshape(-1, 2)
    if (start[:, 0] == start[:, 1]).any():
        return False
    return _fans(len(faces), order.reshape(-1, 2)) == used_count(faces)


def _fans(count: int, rows: NDArray[np.int64]) -> int:
    """How many fans of corners `count` faces have, where every edge has two faces of like direction.

    rows (k, 2): those of the edges in `directed_edges`.
    """
    after = np.empty(3 * count, dtype=np.int64)  # as in `_parted`: each corner's next in its fan
    after[rows[:, 0]] = (rows[:, 1] + count) % (3 * count)
    after[rows[:, 1]] = (rows[:, 0] + count) % (3 * count)
    fan = gathered(3 * count, np.arange(3 * count), after)
    return int(fan.max()) + 1


def genus(faces: Faces) -> int:
    """Number of handles of a closed manifold of one piece (Euler: V - E + F = 2 - 2 g)."""
    euler = used_count(faces) - len(faces) * 3 // 2 + len(faces)
    return (2 - euler) // 2


def told(number: int, count: int, words: str) -> Findings:
    """A finding of a repair, or none when nothing was done."""
    if not count:
        return ()
    return (Finding(number, f"{count:,} {words}", grade=Grade.REPAIR, count=count),)
