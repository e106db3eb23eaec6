"""The boundary of a flat must not run into itself: a barrier between vertices and edges of it.

With no flipped triangle and no self-contact of the boundary a map stays one-to-one (Smith, Schaefer
2015). The barrier is the clamped logarithm of Li et al. (2020, "Incremental potential contact"):
-(1 - r)**2 log r of the distance r over the reach, nothing beyond the reach.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from padlib.flatten.disk import rim_lengths
from padlib.flatten.rest import Rest
from padlib.flatten.terms import Terms
from padlib.mesh.surface import Faces, Plane, Vertices

REACH = 0.2
"""Where the barrier begins, in local boundary edges or panel widths, whichever is less."""

GAIN = 5e-4
"""The barrier's energy over its reach, in mean square strain over the square root of the area."""

THIN, TINY = 0.02, 1e-3
"""Widths count from this part of the boundary edge on, edges from this part of the mean edge on."""


@dataclass(frozen=True)
class Contact:
    """A barrier. loop (b,): boundary; reach (2, b): distance at which it begins, of the loop's
    vertices and of the edges that start there (of a pair the smaller counts); gain: its strength;
    among: the pairs (2, k) of loop positions, vertex and edge, that may meet; None: all."""

    loop: NDArray[np.int64]
    reach: NDArray[np.float64]
    gain: float
    among: NDArray[np.int64] | None = None


@dataclass(frozen=True)
class Near:
    """Vertices near edges. at (k, 3): vertex, edge start, edge end; normal (k, 2); share (k,) along
    the edge; distance and reach (k,)."""

    at: NDArray[np.int64]
    normal: NDArray[np.float64]
    share: NDArray[np.float64]
    distance: NDArray[np.float64]
    reach: NDArray[np.float64]


def contact_of(at_rest: Rest, faces: Faces, vertices: Vertices, loop: NDArray[np.int64]) -> Contact:
    """The barrier of a panel: its reach is a part of the boundary edges there and of the width.

    vertices (n, 3), faces (m, 3), loop (b,) of the panel. The width at a vertex is the least height
    of its triangles: where a strip is thinner than its edges are long, its sides are not pushed
    apart.
    """
    edge = rim_lengths(vertices[loop])
    edge = np.maximum(edge, TINY * max(float(edge.mean()), np.finfo(float).tiny))
    both = np.minimum(edge, np.roll(edge, 1))
    width = np.full(len(vertices), np.inf)
    np.minimum.at(width, faces.T, 1.0 / np.hypot(at_rest.gx, at_rest.gy))
    point = np.minimum(both, np.maximum(width[loop], THIN * both))
    return Contact(loop, REACH * np.stack([point, edge]), GAIN)


def eased(contact: Contact, flat: Plane) -> Contact:
    """The barrier with its reach cut to what the edges of a flat (n, 2) are long now."""
    edge = rim_lengths(flat[contact.loop])
    now = REACH * np.stack([np.minimum(edge, np.roll(edge, 1)), edge])
    return replace(contact, reach=np.minimum(contact.reach, now))


def within(contact: Contact, flat: Plane, move: Plane) -> Contact:
    """The barrier of the pairs alone that can come within reach while a flat moves by move (n, 2)."""
    here = flat[contact.loop]
    there = here + move[contact.loop]
    lo, hi = np.minimum(here, there), np.maximum(here, there)
    edge_lo, edge_hi = np.minimum(lo, np.roll(lo, -1, 0)), np.maximum(hi, np.roll(hi, -1, 0))
    tree = shapely.STRtree(shapely.box(*edge_lo.T, *edge_hi.T))
    reach = contact.reach[0][:, None]
    vertex, edge = tree.query(shapely.box(*(lo - reach).T, *(hi + reach).T))
    apart = (vertex - edge) % len(contact.loop)
    keep = (apart != 0) & (apart != 1)
    return replace(contact, among=np.stack([vertex[keep], edge[keep]]))


def near(contact: Contact, flat: Plane) -> Near:
    """Boundary vertices within reach of boundary edges that do not hold them."""
    if contact.among is None:
        contact = within(contact, flat, np.zeros_like(flat))
    vertex, edge = contact.among
    reach = np.minimum(contact.reach[0][vertex], contact.reach[1][edge])
    found = _measured(contact.loop, vertex, edge, flat, reach)
    keep = found.distance < reach
    parts = (found.at, found.normal, found.share, found.distance, found.reach)
    return Near(*(part[keep] for part in parts))


def _measured(loop: NDArray, vertex: NDArray, edge: NDArray, flat: Plane, reach: NDArray) -> Near:
    """Distances of loop positions `vertex` to loop edges `edge`."""
    at = np.stack([loop[vertex], loop[edge], loop[(edge + 1) % len(loop)]], axis=1)
    p, a, b = flat[at[:, 0]], flat[at[:, 1]], flat[at[:, 2]]
    along = b - a
    length2 = np.maximum(np.einsum("ij,ij->i", along, along), np.finfo(float).tiny)
    share = np.clip(np.einsum("ij,ij->i", p - a, along) / length2, 0.0, 1.0)
    off = p - a - share[:, None] * along
    distance = np.hypot(off[:, 0], off[:, 1])
    normal = off / np.maximum(distance, np.finfo(float).tiny)[:, None]
    return Near(at, normal, share, distance, reach)


def barrier(contact: Contact, flat: Plane) -> float:
    """The barrier's energy of a flat (n, 2); infinity at contact."""
    found = near(contact, flat)
    ratio = found.distance / found.reach
    if (ratio <= 0).any():
        return np.inf
    return contact.gain * float(-(found.reach * (1.0 - ratio) ** 2) @ np.log(ratio))


def barrier_terms(contact: Contact, flat: Plane) -> Terms:
    """The barrier's derivatives, the Hessian's negative part left out.

    Of a distance d to the inside of an edge at angle t, with n across and w the point's move against
    the edge, d'' = -2 t' w.along - d t'^2 (elementary); its part that counts is of rank one.
    """
    found = near(contact, flat)
    r = np.clip(found.distance / found.reach, 1e-12, 1.0)
    log = np.log(r)
    slope = contact.gain * (2 * (1 - r) * log - (1 - r) ** 2 / r)
    bend = contact.gain * (-2 * log + 4 * (1 - r) / r + ((1 - r) / r) ** 2) / found.reach
    share = found.share[:, None]
    way = np.stack([found.normal, (share - 1) * found.normal, -share * found.normal], axis=1)
    inside = (found.share > 0) & (found.share < 1)
    turned, stiff = _turning(found, flat, inside)
    return Terms(
        np.concatenate([found.at, found.at[inside]]),
        np.concatenate([way, turned]),
        np.concatenate([slope, np.zeros(len(stiff))]),
        np.concatenate([bend, -slope[inside] * stiff]),
    )


def _turning(found: Near, flat: Plane, inside: NDArray[np.bool_]) -> tuple[NDArray, NDArray]:
    """Eigenvectors (k, 3, 2) and eigenvalues (k,) of the positive part of -d'' of the pairs inside.

    -d'' = h s' + s h' + d h h' with h the gradient of the edge's angle and s that of the slide
    along it, which are at right angles.
    """
    normal, share, distance = found.normal[inside], found.share[inside], found.distance[inside]
    at = found.at[inside]
    along = flat[at[:, 2]] - flat[at[:, 1]]
    length = np.hypot(along[:, 0], along[:, 1])
    along = along / length[:, None]
    h_size = np.sqrt(2.0) / length
    s_size = np.sqrt(1.0 + (1.0 - share) ** 2 + share**2)
    zero = np.zeros_like(normal)
    h = np.stack([zero, -normal, normal], axis=1) / np.sqrt(2.0)
    weights = np.stack([np.ones_like(share), share - 1.0, -share], axis=1) / s_size[:, None]
    s = weights[:, :, None] * along[:, None]
    own, cross = 0.5 * distance * h_size**2, h_size * s_size
    value = own + np.hypot(own, cross)
    size = np.hypot(value, cross)
    vector = (value / size)[:, None, None] * h + (cross / size)[:, None, None] * s
    return vector, value


def meeting(contact: Contact, flat: Plane, move: Plane) -> float:
    """The part of `move` (n, 2), at most 1, until a boundary vertex first meets an edge."""
    vertex, edge = contact.among if contact.among is not None else within(contact, flat, move).among
    loop = contact.loop
    at = np.stack([loop[vertex], loop[edge], loop[(edge + 1) % len(loop)]])
    return first_meeting(flat[at], move[at])


def first_meeting(place: NDArray[np.float64], move: NDArray[np.float64]) -> float:
    """The first time in [0, 1] at which a moving point lies on its moving segment; 1 if never.

    place, move (3, k, 2): point, segment start, segment end. Collinearity is a quadratic in time.
    """
    p, q = place[0] - place[1], place[2] - place[1]
    dp, dq = move[0] - move[1], move[2] - move[1]
    cross = lambda s, t: s[:, 0] * t[:, 1] - s[:, 1] * t[:, 0]  # noqa: E731
    times = smallest_roots(cross(dp, dq), cross(p, dq) + cross(dp, q), cross(p, q))
    first = 1.0
    for time in times:
        ask = (time > 0) & (time < first)
        at = np.where(ask, time, 0.0)[:, None]
        point, along = p + at * dp, q + at * dq
        length2 = np.einsum("ij,ij->i", along, along)
        share = np.einsum("ij,ij->i", point, along)
        hit = ask & (share >= -1e-9 * length2) & (share <= (1 + 1e-9) * length2)
        first = float(time[hit].min()) if hit.any() else first
    return first


def smallest_roots(a: NDArray, b: NDArray, c: NDArray) -> tuple[NDArray, NDArray]:
    """Both real roots (k,) of a t^2 + b t + c, without cancellation; infinity where there is none."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        inside = b * b - 4 * a * c
        q = -0.5 * (b + np.copysign(np.sqrt(np.maximum(inside, 0.0)), b))
        roots = (q / a, c / q)
    return tuple(np.where((inside >= 0) & np.isfinite(t), t, np.inf) for t in roots)
