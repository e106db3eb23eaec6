"""Edges taken out of a mesh where that keeps it sound, for even triangles (padlib.mesh.remesh)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.columns import (
    dots,
    face_normals,
    largest,
    longest_sides,
    norms,
    sharpness,
    sum_at_corners,
    three_cornered,
    units,
)
from padlib.mesh.edge_list import Edges, apart
from padlib.mesh.surface import Faces, Vertices

LONG, SHORT = 4 / 3, 4 / 5  # split above, collapse below, in edge lengths (Botsch and Kobbelt)
MOST_NEIGHBOURS = 9
TURN = 0.5  # a face may turn by at most 60 degrees in one change

Mask = NDArray[np.bool_]
Ints = NDArray[np.int64]


def collapse_short(
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
        edges = Edges(f, len(v))
        size = edges.lengths(v)
        sound = may_collapse(edges, pinned, len(v))
        wanted = np.flatnonzero(sound & (size < SHORT * length))
        if len(wanted) == 0:
            break
        wanted = wanted[random.permutation(len(wanted))]
        v, f, pinned, count = collapse(v, f, pinned, edges, wanted, LONG * length)
        if count < enough * len(v):
            break
    return v, f, pinned


def collapse(
    v: Vertices,
    f: Faces,
    pinned: Mask,
    edges: Edges,
    wanted: Ints,
    longest: float,
    turn: float = TURN,
) -> tuple[Vertices, Faces, Mask, int]:
    """Collapse those of the wanted edges, first come first served, that can be; and how many."""
    if len(wanted) == 0:
        return v, f, pinned, 0
    chosen = apart(edges.ends, f, wanted, len(v))
    chosen = chosen[_link_holds(edges, chosen, len(v))]
    place, normal = _meeting(v, f, edges, chosen, pinned)
    keep = _stays_sound(
        v, f, edges.ends.take(chosen, axis=0), place, normal, longest=longest, turn=turn
    )
    chosen, place = chosen[keep], place[keep]
    keep = _spares_neighbours(edges, chosen, len(v))
    chosen, place = chosen[keep], place[keep]
    return *_merge(v, f, pinned, edges.ends[chosen], place), len(chosen)


def may_collapse(edges: Edges, pinned: Mask, n: int) -> Mask:
    """Edges (k,) whose collapse keeps the boundary and the valences in bounds."""
    border = edges.on_border(n)
    valence = edges.valence(n)
    a, b = edges.ends.T
    merged = valence[a] + valence[b] - np.where(edges.border, 3, 4)
    # an inner vertex may go to the boundary's vertex, but never two boundary vertices across a face
    sound = np.where(edges.border, ~(pinned[a] & pinned[b]), ~(border[a] & border[b]))
    return sound & (merged <= MOST_NEIGHBOURS) & (merged >= 3)


def _link_holds(edges: Edges, chosen: Ints, n: int) -> Mask:
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
    v: Vertices, f: Faces, edges: Edges, chosen: Ints, pinned: Mask
) -> tuple[Vertices, Vertices]:
    """Where the ends of each edge meet: half-way, or at the end that is sharper or must stay.

    And the unit normal (k, 3) of the surface about each edge.
    """
    ends = edges.ends.take(chosen, axis=0)
    at_ends = np.zeros(len(v), dtype=bool)
    at_ends[ends] = True
    around = f.compress(at_ends[f[:, 0]] | at_ends[f[:, 1]] | at_ends[f[:, 2]], axis=0)
    looks = face_normals(v, around)
    normal = units(sum_at_corners(looks, around, len(v)))
    sharp = sharpness(around, units(looks), normal)[ends]
    border = edges.on_border(len(v))[ends]
    pins = pinned[ends]
    weight = np.full(ends.shape, 0.5)
    sharper = sharp > sharp[:, ::-1] + 0.15
    for stays in (sharper, border & ~border.all(axis=1, keepdims=True), pins):
        some = stays.any(axis=1)
        weight[some] = stays[some]
    weight /= weight.sum(axis=1, keepdims=True)
    return np.einsum("ke,kec->kc", weight, v[ends]), units(normal[ends].sum(axis=1))


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
    g, who = f.take(touched, axis=0), largest(at.take(touched, axis=0))
    before, after = face_normals(v, g), face_normals(moved, g)
    size, was = norms(after), norms(before)
    turned = dots(before, after) < turn * size * was
    # a sliver's own normal means nothing: one that looks askew may turn to where the surface looks
    about = normal.take(who, axis=0)
    turned &= (dots(before, about) > 0.3 * was) | (dots(after, about) < TURN * size)
    side, side_was = longest_sides(moved, g), longest_sides(v, g)
    grew = side > np.maximum(longest, side_was)
    # a thin face may get thinner yet: collapsing around it is how it goes
    thin = (size < 0.15 * side**2) & (was > 0.15 * side_was**2)
    good = np.ones(len(ends), dtype=bool)
    good[who[turned | thin | grew]] = False
    return good


def _spares_neighbours(edges: Edges, chosen: Ints, n: int) -> Mask:
    """Whether every vertex that loses a face by the merges keeps at least three neighbours."""
    opposite = edges.opposite.take(chosen, axis=0)
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
    f = three_cornered(name[f])
    used = np.ones(len(v), dtype=bool)
    used[ends[:, 1]] = False
    return v.compress(used, axis=0), (np.cumsum(used) - 1)[f], pinned[used]
