"""Even triangles: isotropic remeshing of a surface to one edge length.

Split what is long, collapse what is short, flip toward valence six, smooth in the tangent plane,
pull back onto the input (M. Botsch, L. Kobbelt, "A remeshing approach to multiresolution modeling",
SGP 2004), worked in batches of changes that do not touch each other.
"""

from __future__ import annotations

from functools import cached_property

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.errors import MeshError
from padlib.mesh.patch import locally
from padlib.mesh.summits import settled
from padlib.mesh.surface import Faces, Vertices

LONG, SHORT = 4 / 3, 4 / 5  # split above, collapse below, in edge lengths (Botsch and Kobbelt)
FIRST = 1.5  # ... in the first turn of a brisk run: of the few long edges it begins from most halves would go again
EVEN = 0.97  # the mean edge comes out at 1.03 of what the bounds aim at (measured)
TURN = 0.5  # a face may turn by at most 60 degrees in one change
MOST_NEIGHBOURS = 9
THIN = np.deg2rad(22)  # triangles with a smaller angle are taken out at the end
MENDS, SETTLES = 3, 3
FEW = 0.002  # of the faces: fewer flips in a round are the last
CLOSE = 0.3  # edge lengths within which a place on a thin part's own sheet is looked for first
BATCH = 500  # points whose faces are looked at together
RINGS = 4  # about what is mended or settled, in which the mesh is evened again
NONE = np.iinfo(np.int64).max

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


def remesh(
    vertices: Vertices,
    faces: Faces,
    edge_length: float,
    *,
    iterations: int = 5,
    start: tuple[Vertices, Faces] | None = None,
    least: float | NDArray[np.float64] = np.inf,
    brisk: bool = False,
) -> tuple[Vertices, Faces]:
    """Cover a manifold surface with triangles whose edges are close to edge_length.

    vertices (n, 3) mm; faces (m, 3), consistently oriented, closed or with boundary; every
    boundary vertex of the result lies on the input's boundary, whose corners stay.
    start: vertices and faces near the surface, of its topology, to begin from instead of the surface itself.
    least: mm by which a vertex of the surface, one (n,) for each or one for all, stands out over flat triangles or lies
    under them to get a vertex of its own; those make triangles finer where summits and folds are narrow.
    brisk: leave off where little is left to collapse or flip, mend about thin triangles alone, and begin with longer
    edges.
    Returns new vertices and faces of the same topology and orientation.
    Raises MeshError for an edge length that is not positive and for a surface that is not an
    edge-manifold.
    """
    v = np.array(vertices, dtype=np.float64)
    f = np.array(faces, dtype=np.int64)
    if not (np.isfinite(edge_length) and edge_length > 0):
        raise MeshError(f"remeshing needs a positive edge length in mm, not {edge_length}")
    if len(f) == 0:
        raise MeshError("remeshing needs a surface with faces; this one has none")
    least = np.broadcast_to(np.asarray(least, dtype=np.float64), len(v))[np.unique(f)]
    v, f = _compact(v, f)
    target = _Target(v, f, edge_length)
    if start is not None:
        v, f = _compact(np.array(start[0], dtype=np.float64), np.array(start[1], dtype=np.int64))
    pinned = _corners(v, f, edge_length)
    aim = EVEN * edge_length
    few = FEW if brisk else 0.0
    enough = (0.02, 0.003) if brisk else (0.01, 0.001)
    v, f, pinned = _thin_out(v, f, pinned, aim)
    for turn in range(iterations):
        last = turn == iterations - 1
        longest = FIRST if brisk and turn == 0 else LONG
        v, f, pinned = _split_long(v, f, pinned, longest * aim)
        v, f, pinned = _collapse_short(v, f, pinned, aim, enough=enough[last])
        f = _flip(v, f, _valence_gain, rounds=4, few=few)
        v = _relax(v, f, pinned, target, steps=2)
    f = _flip(v, f, _angle_gain, rounds=6, few=few)
    if np.isfinite(least).any():
        v, f, pinned = _on_summits(v, f, pinned, target, least)
    for turn in range(MENDS):

        def mend(v: Vertices, f: Faces, pinned: Mask) -> tuple[Vertices, Faces, Mask]:
            v, f, pinned = _mend(v, f, pinned, aim)
            v = _relax(v, f, pinned, target, steps=1)
            return v, _flip(v, f, _angle_gain, rounds=4, few=few), pinned

        thin = _thin_corners(v, f)
        if (turn or brisk) and not thin.any():
            break
        if not brisk:
            thin = np.ones(len(v), dtype=bool)
        v, f, pinned = locally(v, f, pinned, thin, RINGS, mend)
    return v, f


def _on_summits(
    v: Vertices, f: Faces, pinned: Mask, target: _Target, least: NDArray[np.float64]
) -> tuple[Vertices, Faces, Mask]:
    """The mesh with vertices on the summits of the surface that stand out by `least` (n,) or more; they stay there."""
    asked = np.isfinite(least)
    for _ in range(SETTLES):
        before = pinned
        v, f, pinned, asked = settled(v, f, pinned, target.v, target.f, asked, target.length, least)
        about = pinned.copy()
        about[: len(before)] &= ~before
        if not about.any():
            break

        def even(v: Vertices, f: Faces, pinned: Mask) -> tuple[Vertices, Faces, Mask]:
            v = _relax(v, f, pinned, target, steps=1)
            return v, _flip(v, f, _angle_gain, rounds=4, few=FEW), pinned

        v, f, pinned = locally(v, f, pinned, about, RINGS, even)
    return v, f, pinned


def _thin_corners(v: Vertices, f: Faces) -> Mask:
    """Which vertices (n,) belong to a triangle with a smaller angle than THIN."""
    out = np.zeros(len(v), dtype=bool)
    out[f[_least_angle(v, f[:, 0], f[:, 1], f[:, 2]) < THIN]] = True
    return out


# -- edges ----------------------------------------------------------------------------------------


class _Edges:
    """Edges of a mesh: ends (k, 2), faces (k, 2), opposite vertices (k, 2); -1 where there is none.

    side (3m,): the edge of the half-edge that starts at corner c of face f, at place 3 f + c.
    """

    def __init__(self, f: Faces, n: int) -> None:
        a, b = f.ravel(), f[:, [1, 2, 0]].ravel()
        ordered, order = _sorted(np.minimum(a, b) * n + np.maximum(a, b), n * n)
        first = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
        self._f, self._order, self._count = f, order, np.diff(np.r_[first, len(a)])
        if self._count.max() > 2:
            raise MeshError(
                "remeshing needs at most two triangles at every edge;"
                f" {int((self._count > 2).sum())} edges have more, so repair the mesh first"
            )
        self._one = order[first]
        self.border = self._count == 1
        self._two = np.where(self.border, -1, order[np.minimum(first + 1, len(a) - 1)])
        self.ends = np.stack([a.take(self._one), b.take(self._one)], axis=1)
        self.keys = ordered[first]

    # what follows is asked for by some steps only

    @cached_property
    def faces(self) -> Ints:
        return np.stack([self._one // 3, np.where(self.border, -1, self._two // 3)], axis=1)

    @cached_property
    def opposite(self) -> Ints:
        corner = self._f[:, [2, 0, 1]].ravel()
        other = np.where(self.border, -1, corner.take(self._two))
        return np.stack([corner.take(self._one), other], axis=1)

    @cached_property
    def side(self) -> Ints:
        out = np.empty(len(self._order), dtype=np.int64)
        out[self._order] = np.repeat(np.arange(len(self._count)), self._count)
        return out

    def lengths(self, v: Vertices) -> NDArray[np.float64]:
        """Length (k,) of each edge."""
        return _length(v.take(self.ends[:, 0], axis=0) - v.take(self.ends[:, 1], axis=0))

    def on_border(self, n: int) -> Mask:
        """Which vertices (n,) lie on the boundary."""
        out = np.zeros(n, dtype=bool)
        out[self.ends[self.border]] = True
        return out

    def valence(self, n: int) -> Ints:
        """Number of neighbours (n,) of each vertex."""
        return np.bincount(self.ends.ravel(), minlength=n)


def _sorted(key: Ints, top: int) -> tuple[Ints, Ints]:
    """Keys (k,) below `top` in order, and the order; equal keys stay as they came."""
    bits = max(len(key) - 1, 1).bit_length()
    if top.bit_length() + bits > 63:
        order = np.argsort(key, kind="stable")
        return key[order], order
    both = np.sort((key << bits) | np.arange(len(key)))  # much faster than a stable argsort
    return both >> bits, both & ((1 << bits) - 1)


# numpy reduces a short last axis slowly; these do it by columns


def _length(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sqrt(np.einsum("...c,...c->...", x, x))


def _dot(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.einsum("...c,...c->...", x, y)


def _most(x: NDArray) -> NDArray:
    return np.maximum(np.maximum(x[:, 0], x[:, 1]), x[:, 2])


def _longest_side(v: Vertices, f: Faces) -> NDArray[np.float64]:
    a, b, c = _three(v, f)
    return np.maximum(np.maximum(_length(a - b), _length(b - c)), _length(c - a))


def _compact(v: Vertices, f: Faces) -> tuple[Vertices, Faces]:
    used = np.zeros(len(v), dtype=bool)
    used[f] = True
    return v[used], (np.cumsum(used) - 1)[f]


def _face_normals(v: Vertices, f: Faces) -> NDArray[np.float64]:
    """Normals (m, 3), twice the area long."""
    a, b, c = _three(v, f)
    return _cross(b - a, c - a)


def _three(v: Vertices, f: Faces) -> tuple[Vertices, Vertices, Vertices]:
    """The corners of each face, (m, 3) each; take is several times faster than an index."""
    return v.take(f[:, 0], axis=0), v.take(f[:, 1], axis=0), v.take(f[:, 2], axis=0)


def _cross(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    out = np.empty(np.broadcast_shapes(x.shape, y.shape))
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        out[..., i] = x[..., j] * y[..., k] - x[..., k] * y[..., j]
    return out


def _unit(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return x / np.maximum(_length(x), 1e-300)[..., None]


def _sum_at(index: Ints, values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    return np.stack([np.bincount(index, values[:, k], minlength=n) for k in range(3)], axis=1)


def _vertex_normals(v: Vertices, f: Faces) -> NDArray[np.float64]:
    return _unit(_sum_at_corners(_face_normals(v, f), f, len(v)))


def _sum_at_corners(x: NDArray[np.float64], f: Faces, n: int) -> NDArray[np.float64]:
    """Sums (n, 3) at vertices of what their faces (m, 3) have."""
    return _sum_at(f.ravel(), np.repeat(x, 3, axis=0), n)


def _corners(v: Vertices, f: Faces, length: float) -> Mask:
    """Boundary vertices where the boundary turns, seen over half an edge length, by more than 40 degrees."""
    edges = _Edges(f, len(v))
    corner = np.zeros(len(v), dtype=bool)
    if not edges.border.any():
        return corner
    ends = edges.ends[edges.border]
    after, before = np.arange(len(v)), np.arange(len(v))
    after[ends[:, 0]], before[ends[:, 1]] = ends[:, 1], ends[:, 0]
    here = ends[:, 0]
    on, back = _walk(v, here, after, length / 2), _walk(v, here, before, length / 2)
    turn = np.zeros(len(v))
    turn[here] = 1 - _dot(_unit(v[on] - v[here]), _unit(v[here] - v[back]))
    sharpest = turn[here] >= np.maximum(turn[after[here]], turn[before[here]])
    corner[here] = sharpest & (turn[here] > 1 - np.cos(np.deg2rad(40)))
    return corner


def _walk(v: Vertices, start: Ints, step: Ints, far: float) -> Ints:
    """For each start the first vertex along `step` that is `far` mm away, or where 40 steps end."""
    at = step[start]
    for _ in range(40):
        near = _length(v[at] - v[start]) < far
        if not near.any():
            break
        at = np.where(near, step[at], at)
    return at


# -- split ----------------------------------------------------------------------------------------

# For a face turned so that its split sides come first: the corners (0 1 2) and mid-sides (3 4 5).
_ONE = np.array([[0, 3, 2], [3, 1, 2]])
_TWO = np.array([[3, 1, 4], [0, 3, 2], [3, 4, 2]])
_TWO_OTHER = np.array([[3, 1, 4], [0, 3, 4], [0, 4, 2]])
_THREE = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])


def _split_long(
    v: Vertices, f: Faces, pinned: Mask, longest: float, rounds: int = 12
) -> tuple[Vertices, Faces, Mask]:
    """Halve every edge longer than `longest`, until there is none."""
    for _ in range(rounds):
        edges = _Edges(f, len(v))
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
    shorter = _length(v[two[:, 4]] - v[two[:, 0]]) < _length(v[two[:, 3]] - v[two[:, 2]])
    parts = [
        f[count == 0],
        six[count == 1][:, _ONE].reshape(-1, 3),
        two[~shorter][:, _TWO].reshape(-1, 3),
        two[shorter][:, _TWO_OTHER].reshape(-1, 3),
        six[count == 3][:, _THREE].reshape(-1, 3),
    ]
    return np.concatenate(parts)


# -- collapse -------------------------------------------------------------------------------------


def _thin_out(v: Vertices, f: Faces, pinned: Mask, aim: float) -> tuple[Vertices, Faces, Mask]:
    """Bring a surface of much shorter edges near to `aim` in steps, so that each step stays even."""
    for _ in range(12):
        mean = _Edges(f, len(v)).lengths(v).mean()
        if mean > 0.6 * aim:
            break
        v, f, pinned = _collapse_short(v, f, pinned, min(2 * mean, aim), enough=0.02)
        f = _flip(v, f, _valence_gain, rounds=2)
        v = _relax(v, f, pinned, None, steps=1)
    return v, f, pinned


def _collapse_short(
    v: Vertices, f: Faces, pinned: Mask, length: float, enough: float, rounds: int = 60
) -> tuple[Vertices, Faces, Mask]:
    """Collapse edges shorter than SHORT * length where that keeps the surface sound.

    It ends when a round takes fewer than this part `enough` of the vertices away: what is left is
    held by its surroundings, and goes after smoothing.
    """
    random = np.random.default_rng(
        0
    )  # only an order of work: any order will do, but always the same
    for _ in range(rounds):
        edges = _Edges(f, len(v))
        size = edges.lengths(v)
        sound = _may_collapse(edges, pinned, len(v))
        wanted = np.flatnonzero(sound & (size < SHORT * length))
        if len(wanted) == 0:
            break
        wanted = wanted[random.permutation(len(wanted))]
        v, f, pinned, count = _collapse(v, f, pinned, edges, wanted, LONG * length)
        if count < enough * len(v):
            break
    return v, f, pinned


def _collapse(
    v: Vertices,
    f: Faces,
    pinned: Mask,
    edges: _Edges,
    wanted: Ints,
    longest: float,
    turn: float = TURN,
) -> tuple[Vertices, Faces, Mask, int]:
    """Collapse those of the wanted edges, first come first served, that can be; and how many."""
    if len(wanted) == 0:
        return v, f, pinned, 0
    chosen = _apart(edges.ends, f, wanted, len(v))
    chosen = chosen[_link_holds(edges, chosen, len(v))]
    place, normal = _meeting(v, f, edges, chosen, pinned)
    keep = _stays_sound(v, f, edges.ends[chosen], place, normal, longest=longest, turn=turn)
    chosen, place = chosen[keep], place[keep]
    keep = _spares_neighbours(edges, chosen, len(v))
    chosen, place = chosen[keep], place[keep]
    return *_merge(v, f, pinned, edges.ends[chosen], place), len(chosen)


def _mend(v: Vertices, f: Faces, pinned: Mask, aim: float) -> tuple[Vertices, Faces, Mask]:
    """Take out thin triangles that are left, by their shortest sides, and even out around them."""
    for _ in range(4):
        thin = _least_angle(v, f[:, 0], f[:, 1], f[:, 2]) < THIN
        if not thin.any():
            break
        edges = _Edges(f, len(v))
        sides = edges.side.reshape(-1, 3)[thin]
        size = edges.lengths(v)
        shortest = np.take_along_axis(sides, size[sides].argmin(axis=1)[:, None], axis=1)
        wanted = np.unique(shortest)
        wanted = wanted[_may_collapse(edges, pinned, len(v))[wanted]]
        v, f, pinned, count = _collapse(v, f, pinned, edges, wanted, 1.6 * aim, turn=0.1)
        if not count:
            break
        f = _flip(v, f, _angle_gain, rounds=2)
    return v, f, pinned


def _may_collapse(edges: _Edges, pinned: Mask, n: int) -> Mask:
    """Edges (k,) whose collapse keeps the boundary and the valences in bounds."""
    border = edges.on_border(n)
    valence = edges.valence(n)
    a, b = edges.ends.T
    merged = valence[a] + valence[b] - np.where(edges.border, 3, 4)
    # an inner vertex may go to the boundary's vertex, but never two boundary vertices across a face
    sound = np.where(edges.border, ~(pinned[a] & pinned[b]), ~(border[a] & border[b]))
    return sound & (merged <= MOST_NEIGHBOURS) & (merged >= 3)


def _apart(ends: Ints, f: Faces, wanted: Ints, n: int) -> Ints:
    """Edges out of `wanted` (first come, first served) of which no two are joined by a face."""
    chosen = []
    free = np.ones(n, dtype=bool)
    for _ in range(3):
        best = np.full(n, NONE)
        rank = np.arange(len(wanted))
        for side in (0, 1):  # written backwards, so that the lowest rank is what remains
            at = ends[wanted[::-1], side]
            other = np.full(n, NONE)
            other[at] = rank[::-1]
            best = np.minimum(best, other)
        per_face = best[f]
        lowest = np.minimum(np.minimum(per_face[:, 0], per_face[:, 1]), per_face[:, 2])
        beaten = np.zeros(n, dtype=bool)
        beaten[f[per_face > lowest[:, None]]] = True
        a, b = ends[wanted, 0], ends[wanted, 1]
        # only the ends of an edge share its rank, so an end beaten by its own edge cannot be
        won = (best[a] == rank) & (best[b] == rank) & ~beaten[a] & ~beaten[b]
        chosen.append(wanted[won])
        taken = np.zeros(n, dtype=bool)
        taken[ends[wanted[won]]] = True
        near = taken[f[:, 0]] | taken[f[:, 1]] | taken[f[:, 2]]
        free[f[near]] = False
        wanted = wanted[free[a] & free[b]]
        if len(wanted) == 0:
            break
    return np.concatenate(chosen)


def _link_holds(edges: _Edges, chosen: Ints, n: int) -> Mask:
    """Whether the ends of each chosen edge share only its opposite vertices as neighbours."""
    owner = np.full(n, -1)
    owner[edges.ends[chosen]] = np.arange(len(chosen))[:, None]
    a, b = edges.ends[:, 0], edges.ends[:, 1]
    inner = owner[a] == owner[b]
    from_a, from_b = (owner[a] >= 0) & ~inner, (owner[b] >= 0) & ~inner
    key = np.sort(
        np.concatenate([owner[a][from_a] * n + b[from_a], owner[b][from_b] * n + a[from_b]])
    )
    twice = key[1:][key[1:] == key[:-1]] // n
    shared = np.bincount(twice, minlength=len(chosen))
    return shared == np.where(edges.border[chosen], 1, 2)


def _meeting(
    v: Vertices, f: Faces, edges: _Edges, chosen: Ints, pinned: Mask
) -> tuple[Vertices, Vertices]:
    """Where the ends of each edge meet: half-way, or at the end that is sharper or must stay.

    And the unit normal (k, 3) of the surface about each edge.
    """
    ends = edges.ends[chosen]
    at_ends = np.zeros(len(v), dtype=bool)
    at_ends[ends] = True
    around = f[at_ends[f[:, 0]] | at_ends[f[:, 1]] | at_ends[f[:, 2]]]
    looks = _face_normals(v, around)
    normal = _unit(_sum_at_corners(looks, around, len(v)))
    sharp = _sharpness(around, _unit(looks), normal)[ends]
    border = edges.on_border(len(v))[ends]
    pins = pinned[ends]
    weight = np.full(ends.shape, 0.5)
    sharper = sharp > sharp[:, ::-1] + 0.15
    for stays in (sharper, border & ~border.all(axis=1, keepdims=True), pins):
        some = stays.any(axis=1)
        weight[some] = stays[some]
    weight /= weight.sum(axis=1, keepdims=True)
    return np.einsum("ke,kec->kc", weight, v[ends]), _unit(normal[ends].sum(axis=1))


def _stays_sound(
    v: Vertices,
    f: Faces,
    ends: Ints,
    place: Vertices,
    normal: Vertices,
    *,
    longest: float,
    turn: float,
) -> Mask:
    """Whether no face turns over or thins out, and no edge grows over `longest`, at each merge."""
    owner = np.full(len(v), -1)
    owner[ends] = np.arange(len(ends))[:, None]
    moved = v.copy()
    moved[ends] = place[:, None]
    at = owner[f]
    there = (at >= 0).view(np.int8)
    touched = np.flatnonzero(there[:, 0] + there[:, 1] + there[:, 2] == 1)
    g, who = f[touched], _most(at[touched])
    before, after = _face_normals(v, g), _face_normals(moved, g)
    size, was = _length(after), _length(before)
    turned = _dot(before, after) < turn * size * was
    # a sliver's own normal means nothing: one that looks askew may turn to where the surface looks
    about = normal[who]
    turned &= (_dot(before, about) > 0.3 * was) | (_dot(after, about) < TURN * size)
    side, side_was = _longest_side(moved, g), _longest_side(v, g)
    grew = side > np.maximum(longest, side_was)
    # a thin face may get thinner yet: collapsing around it is how it goes
    thin = (size < 0.15 * side**2) & (was > 0.15 * side_was**2)
    good = np.ones(len(ends), dtype=bool)
    good[who[turned | thin | grew]] = False
    return good


def _spares_neighbours(edges: _Edges, chosen: Ints, n: int) -> Mask:
    """Whether every vertex that loses a face by the merges keeps at least three neighbours."""
    opposite = edges.opposite[chosen]
    there = opposite >= 0
    loss = np.bincount(opposite[there], minlength=n)
    least = np.where(edges.on_border(n), 2, 3)
    good = edges.valence(n) - loss >= least
    return (good[opposite] | ~there).all(axis=1)


def _merge(
    v: Vertices, f: Faces, pinned: Mask, ends: Ints, place: Vertices
) -> tuple[Vertices, Faces, Mask]:
    """Carry out collapses that do not touch each other."""
    v, pinned = v.copy(), pinned.copy()
    v[ends[:, 0]] = place
    pinned[ends[:, 0]] = pinned[ends].any(axis=1)
    name = np.arange(len(v))
    name[ends[:, 1]] = ends[:, 0]
    f = name[f]
    f = f[(f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])]
    used = np.ones(len(v), dtype=bool)
    used[ends[:, 1]] = False
    return v[used], (np.cumsum(used) - 1)[f], pinned[used]


# -- flip -----------------------------------------------------------------------------------------


def _flip(v: Vertices, f: Faces, gain_of, rounds: int, few: float = 0.0) -> Faces:
    """Turn edges where that gains, in rounds of edges that share no vertex of their two faces."""
    for _ in range(rounds):
        edges = _Edges(f, len(v))
        gain = np.where(edges.border, 0.0, gain_of(v, edges))
        wanted = np.flatnonzero(gain > 0)
        wanted = wanted[_flip_is_sound(v, f, edges, wanted)]
        if len(wanted) == 0:
            break
        wanted = wanted[np.argsort(-gain[wanted], kind="stable")]
        chosen = _disjoint(edges, wanted, len(v))
        f = f.copy()
        a, b = edges.ends[chosen].T
        c, d = edges.opposite[chosen].T
        f[edges.faces[chosen, 0]] = np.stack([a, d, c], axis=1)
        f[edges.faces[chosen, 1]] = np.stack([d, b, c], axis=1)
        if len(chosen) < few * len(f):
            break
    return f


def _valence_gain(v: Vertices, edges: _Edges) -> NDArray[np.float64]:
    """By how much a flip brings the four valences nearer to six (four on the boundary)."""
    border = edges.on_border(len(v))
    excess = (edges.valence(len(v)) - np.where(border, 4, 6)).astype(float)
    (a, b), (c, d) = edges.ends.T, edges.opposite.T
    return (
        2.0 * (excess[a] + excess[b] - excess[c] - excess[d]) - 4.0
    )  # of the four excesses' squares


def _angle_gain(v: Vertices, edges: _Edges) -> NDArray[np.float64]:
    """By how much the two angles opposite an edge exceed a half turn together (Delaunay)."""
    a, b = v[edges.ends[:, 0]], v[edges.ends[:, 1]]
    total = np.zeros(len(edges.ends))
    for side in (0, 1):
        o = v[edges.opposite[:, side]]
        p, q = a - o, b - o
        total += np.arctan2(_length(_cross(p, q)), _dot(p, q))
    return np.where(total > np.pi + 1e-3, total - np.pi, 0.0)


def _flip_is_sound(v: Vertices, f: Faces, edges: _Edges, wanted: Ints) -> Mask:
    """Whether each flip makes a new edge, of two good faces that lie as the old ones did."""
    n = len(v)
    a, b = edges.ends[wanted].T
    c, d = edges.opposite[wanted].T
    key = np.minimum(c, d) * n + np.maximum(c, d)
    at = np.minimum(np.searchsorted(edges.keys, key), len(edges.keys) - 1)
    new = (edges.keys[at] != key) & (c != d)
    old = _unit(_face_normals(v, f[edges.faces[wanted].ravel()])).reshape(-1, 2, 3)
    one = _unit(_face_normals(v, np.stack([a, d, c], axis=1)))
    two = _unit(_face_normals(v, np.stack([d, b, c], axis=1)))
    least = np.full(len(wanted), np.inf)
    for x in (one, two):
        least = np.minimum(least, np.einsum("kec,kc->ke", old, x).min(axis=1))
    # where an old face is folded over, what counts is how the surface looks about it
    bent = np.flatnonzero(_dot(old[:, 0], old[:, 1]) < TURN)
    if len(bent):
        about = _vertex_normals(v, f)
        about = _unit(about[a[bent]] + about[b[bent]] + about[c[bent]] + about[d[bent]])
        folded = np.einsum("kec,kc->ke", old[bent], about).min(axis=1) < 0
        flat = np.minimum(_dot(one[bent], about), _dot(two[bent], about))
        least[bent] = np.where(folded, flat, least[bent])
    before = np.minimum(_least_angle(v, a, b, c), _least_angle(v, b, a, d))
    after = np.minimum(_least_angle(v, a, d, c), _least_angle(v, d, b, c))
    fair = (after > np.deg2rad(25)) | (after > before)
    return new & (least > 0.7) & fair


def _least_angle(v: Vertices, a: Ints, b: Ints, c: Ints) -> NDArray[np.float64]:
    x = np.stack([v[b] - v[c], v[c] - v[a], v[a] - v[b]], axis=1)
    x = _unit(x)
    cosine = -np.einsum("kij,kij->ki", x, np.roll(x, 1, axis=1))
    return np.arccos(np.clip(_most(cosine), -1, 1))


def _disjoint(edges: _Edges, wanted: Ints, n: int) -> Ints:
    """Edges out of `wanted` (best first) whose two faces share no vertex with another's."""
    corners = np.concatenate([edges.ends[wanted], edges.opposite[wanted]], axis=1)
    rank = np.arange(len(wanted))
    best = np.full(n, NONE)
    for k in range(4):
        other = np.full(n, NONE)
        other[corners[::-1, k]] = rank[::-1]
        best = np.minimum(best, other)
    return wanted[(best[corners] == rank[:, None]).all(axis=1)]


# -- smooth and project ---------------------------------------------------------------------------


class _Target:
    """The input surface, to project onto."""

    def __init__(self, v: Vertices, f: Faces, length: float) -> None:
        self.v, self.f, self.length = v, f, length
        self.normal = _unit(_face_normals(v, f))
        edges = _Edges(f, len(v))
        self.border = edges.ends[edges.border]
        self.boxes = igl.AABB()
        self.boxes.init(v, f)
        self.middles: tuple | None = None

    def nearest(self, points: Vertices, normal: NDArray[np.float64]) -> tuple[Vertices, Mask]:
        """Nearest places of the surface whose normal agrees with `normal`; and where there is one."""
        _, face, place = self.boxes.squared_distance(self.v, self.f, points)
        agree = _dot(self.normal[face], normal) > 0
        wrong = np.flatnonzero(~agree)
        if len(wrong):
            place[wrong], agree[wrong] = self._on_own_sheet(points[wrong], normal[wrong])
        return place, agree

    def nearest_border(self, points: Vertices) -> Vertices:
        """Nearest places of the boundary."""
        return igl.point_mesh_squared_distance(points, self.v, self.border)[2]

    def _on_own_sheet(self, points: Vertices, normal: NDArray[np.float64]) -> tuple[Vertices, Mask]:
        """Nearest places among nearby faces that look the same way: thin parts have two sheets.

        Most are found close by; only for the others is it looked as far as an edge's length.
        """
        place, found = points.copy(), np.zeros(len(points), dtype=bool)
        for reach in (CLOSE * self.length, self.length):
            left = np.flatnonzero(~found)
            for first in range(0, len(left), BATCH):
                some = left[first : first + BATCH]
                row, face = self._faces_near(points[some], reach)
                row = some[row]
                alike = _dot(self.normal[face], normal[row]) > 0.3
                row, face = row[alike], face[alike]
                foot = _closest_on_triangles(points[row], self.v[self.f[face]])
                away = _length(foot - points[row])
                order = np.lexsort((-away, row))
                order = order[away[order] < reach]
                place[row[order]], found[row[order]] = foot[order], True  # the nearest comes last
        return place, found

    def _faces_near(self, points: Vertices, reach: float) -> tuple[Ints, Ints]:
        """Numbers (k,) of points and of faces: where the face may have a place within `reach` of the point."""
        if self.middles is None:
            corners = _three(self.v, self.f)
            middle = (corners[0] + corners[1] + corners[2]) / 3.0
            size = _most(np.stack([_length(x - middle) for x in corners], axis=1))
            usual = 2.0 * float(np.median(size))
            groups = [np.flatnonzero(size <= usual), np.flatnonzero(size > usual)]
            self.middles = size, [(g, _loose_tree(middle[g])) for g in groups if len(g)]
        size, groups = self.middles
        about = _loose_tree(points)
        rows, faces = [], []
        for group, tree in groups:
            most = reach + float(size[group].max())
            pairs = about.sparse_distance_matrix(tree, most, output_type="ndarray")
            face = group[pairs["j"]]
            near = pairs["v"] <= reach + size[face]
            rows.append(pairs["i"][near])
            faces.append(face[near])
        return np.concatenate(rows), np.concatenate(faces)


def _loose_tree(points: Vertices) -> cKDTree:
    """A tree that is soon made."""
    return cKDTree(points, compact_nodes=False, balanced_tree=False)


def _closest_on_triangles(p: Vertices, t: NDArray[np.float64]) -> NDArray[np.float64]:
    """Closest point of each triangle t (..., 3, 3) to p (..., 3)."""
    a, b, c = t[..., 0, :], t[..., 1, :], t[..., 2, :]
    normal = _cross(b - a, c - a)
    size = np.maximum(_dot(normal, normal), 1e-300)
    foot = p - normal * (_dot(p - a, normal) / size)[..., None]
    best = foot
    inside = np.ones(foot.shape[:-1], dtype=bool)
    for x, y in ((a, b), (b, c), (c, a)):
        inside &= _dot(_cross(y - x, foot - x), normal) >= 0
    gap = np.where(inside, _length(foot - p), np.inf)
    for x, y in ((a, b), (b, c), (c, a)):
        d = y - x
        s = _dot(p - x, d) / np.maximum(_dot(d, d), 1e-300)
        q = x + np.clip(s, 0, 1)[..., None] * d
        away = _length(q - p)
        nearer = away < gap
        best = np.where(nearer[..., None], q, best)
        gap = np.where(nearer, away, gap)
    return best


def _relax(v: Vertices, f: Faces, pinned: Mask, target: _Target | None, steps: int) -> Vertices:
    """Move vertices to the middle of their neighbours in the tangent plane, and project if asked."""
    edges = _Edges(f, len(v))
    border = edges.on_border(len(v))
    for turn in range(steps):
        looks = _face_normals(v, f)
        normal = _unit(_sum_at_corners(looks, f, len(v)))
        step = _mean_of_neighbours(v, edges, border) - v
        inner = ~border
        step = np.where(inner[:, None], _along_surface(f, _unit(looks), normal, step), step)
        moved = v + 0.7 * step
        last = turn == steps - 1 and target is not None
        place = _projected(v, moved, normal, border & ~pinned, target) if last else moved
        place[pinned] = v[pinned]
        v = _unless_turned(v, place, f, looks, normal)
    return v


def _projected(
    v: Vertices, moved: Vertices, normal: NDArray[np.float64], border: Mask, target: _Target
) -> Vertices:
    """Places on the target near `moved`; where its own sheet is not found, the old place in v."""
    place, agree = target.nearest(moved, normal)
    place = np.where(agree[:, None], place, v)
    if border.any():
        place[border] = target.nearest_border(moved[border])
    return place


def _along_surface(
    f: Faces, unit: NDArray[np.float64], normal: NDArray[np.float64], step: Vertices
) -> Vertices:
    """The part of each step in the tangent plane, and on a sharp rim only along the rim.

    unit (m, 3), normal (n, 3): unit normals of faces and vertices.
    """
    step = step - _dot(step, normal)[:, None] * normal
    sharp = np.flatnonzero(_sharpness(f, unit, normal) > 0.1)
    place = np.full(len(step), -1)
    place[sharp] = np.arange(len(sharp))
    who = place[f].ravel()
    face = np.flatnonzero(who >= 0)
    who, looks = who[face], unit[face // 3]
    tilt = looks - _dot(looks, normal[sharp][who])[:, None] * normal[sharp][who]
    products = (tilt[:, :, None] * tilt[:, None, :]).reshape(-1, 9)
    spread = np.stack([np.bincount(who, x, minlength=len(sharp)) for x in products.T], axis=1)
    spread = (spread / np.bincount(who, minlength=len(sharp))[:, None]).reshape(-1, 3, 3)
    size, axis = np.linalg.eigh(spread)
    weight = np.clip(1 - 2 * size, 0, 1)  # nothing is left across a right-angled edge
    step[sharp] = np.einsum("kij,kj,klj,kl->ki", axis, weight, axis, step[sharp])
    return step


def _sharpness(
    f: Faces, unit: NDArray[np.float64], normal: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean squared sine (n,) of the angle between the unit normals of a vertex (n, 3) and of its faces (m, 3)."""
    corner = f.T.ravel()
    cosine = np.concatenate([_dot(unit, x) for x in _three(normal, f)])
    total = np.bincount(corner, 1 - np.clip(cosine, 0, 1) ** 2, minlength=len(normal))
    return total / np.maximum(np.bincount(corner, minlength=len(normal)), 1)


def _mean_of_neighbours(v: Vertices, edges: _Edges, border: Mask) -> Vertices:
    """Mean place of the neighbours (n, 3); on the boundary, of the two along it."""
    a, b = edges.ends.T
    along_a, along_b = edges.border | ~border[a], edges.border | ~border[b]
    to = np.concatenate([a[along_a], b[along_b]])
    source = np.concatenate([b[along_a], a[along_b]])
    count = np.maximum(np.bincount(to, minlength=len(v)), 1)
    return _sum_at(to, v[source], len(v)) / count[:, None]


def _unless_turned(
    old: Vertices, new: Vertices, f: Faces, looks: NDArray[np.float64], normal: NDArray[np.float64]
) -> Vertices:
    """New places, except at vertices of faces that would turn over or thin out.

    looks (m, 3), normal (n, 3): of the faces, twice the area long, and of the vertices as they were.
    """
    a, b, c = _three(normal, f)
    before, about, was = _unit(looks), _unit(a + b + c), _shape(old, f, looks)
    looked = np.maximum(_dot(before, about), 0.3)
    who = np.arange(len(f))  # only faces at vertices that have just moved back can be bad anew
    for _ in range(8):
        g = f[who]
        cross = _face_normals(new, g)
        now, shape = _unit(cross), _shape(new, g, cross)
        turned = (_dot(before[who], now) < 0.3) & (_dot(about[who], now) < looked[who])
        bad = who[turned | ((shape < 0.1) & (shape < was[who]))]
        bad = bad[(old[f[bad]] != new[f[bad]]).any(axis=(1, 2))]
        if len(bad) == 0:
            break
        new = new.copy()
        new[f[bad]] = old[f[bad]]
        back = np.zeros(len(new), dtype=bool)
        back[f[bad]] = True
        who = np.flatnonzero(back[f[:, 0]] | back[f[:, 1]] | back[f[:, 2]])
    return new


def _shape(v: Vertices, f: Faces, looks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the area over the square of the longest side (m,): 0.87 for an even triangle; looks: normals (m, 3)."""
    return _length(looks) / np.maximum(_longest_side(v, f) ** 2, 1e-300)
