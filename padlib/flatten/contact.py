"""The boundary of a flat must not run into itself: a barrier between vertices and edges of it.

With no flipped triangle and no self-contact of the boundary a map stays one-to-one (Smith, Schaefer
2015). The barrier is the clamped logarithm of Li et al. (2020, "Incremental potential contact"):
-(1 - r)**2 log r of the distance r over the reach, nothing beyond the reach.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from padlib.flatten.terms import Terms
from padlib.mesh.surface import Plane


@dataclass(frozen=True)
class Contact:
    """A barrier. loop (b,): boundary; reach: distance at which it begins; gain: its strength."""

    loop: NDArray[np.int64]
    reach: float
    gain: float


@dataclass(frozen=True)
class Near:
    """Vertices near edges. at (k, 3): vertex, edge start, edge end; normal (k, 2); share (k,) along
    the edge; distance (k,)."""

    at: NDArray[np.int64]
    normal: NDArray[np.float64]
    share: NDArray[np.float64]
    distance: NDArray[np.float64]


def near(contact: Contact, flat: Plane) -> Near:
    """Boundary vertices within reach of boundary edges that do not hold them."""
    loop = contact.loop
    ends = np.stack([flat[loop], flat[np.roll(loop, -1)]], axis=1)
    tree = shapely.STRtree(shapely.linestrings(ends))
    points = shapely.points(flat[loop])
    vertex, edge = tree.query(points, predicate="dwithin", distance=contact.reach)
    return _measured(loop, vertex, edge, flat)


def _measured(loop: NDArray, vertex: NDArray, edge: NDArray, flat: Plane) -> Near:
    """Distances of loop positions `vertex` to loop edges `edge`, own edges left out."""
    count = len(loop)
    apart = (vertex - edge) % count
    keep = (apart != 0) & (apart != 1)
    vertex, edge = vertex[keep], edge[keep]
    at = np.column_stack([loop[vertex], loop[edge], loop[(edge + 1) % count]])
    p, a, b = flat[at[:, 0]], flat[at[:, 1]], flat[at[:, 2]]
    along = b - a
    length2 = np.maximum(np.einsum("ij,ij->i", along, along), np.finfo(float).tiny)
    share = np.clip(np.einsum("ij,ij->i", p - a, along) / length2, 0.0, 1.0)
    off = p - a - share[:, None] * along
    distance = np.linalg.norm(off, axis=1)
    normal = off / np.maximum(distance, np.finfo(float).tiny)[:, None]
    return Near(at, normal, share, distance)


def barrier(contact: Contact, flat: Plane) -> float:
    """The barrier's energy of a flat (n, 2); infinity at contact."""
    ratio = near(contact, flat).distance / contact.reach
    if (ratio <= 0).any():
        return np.inf
    ratio = np.minimum(ratio, 1.0)
    return contact.gain * float(-((1.0 - ratio) ** 2) @ np.log(ratio))


def barrier_terms(contact: Contact, flat: Plane) -> Terms:
    """The barrier's derivatives, without the negative part that the turning of the normals adds."""
    found = near(contact, flat)
    r = np.clip(found.distance / contact.reach, 1e-12, 1.0)
    log = np.log(r)
    slope = 2 * (1 - r) * log - (1 - r) ** 2 / r
    bend = -2 * log + 4 * (1 - r) / r + ((1 - r) / r) ** 2
    share = found.share[:, None]
    way = np.stack([found.normal, (share - 1) * found.normal, -share * found.normal], axis=1)
    gain = contact.gain
    return Terms(found.at, way, slope * gain / contact.reach, bend * gain / contact.reach**2)


def contact_step(loop: NDArray[np.int64], flat: Plane, move: Plane, limit: float) -> float:
    """The part of `move` (n, 2), at most `limit`, until a boundary vertex first meets an edge."""
    here, there = flat[loop], flat[loop] + limit * move[loop]
    lo, hi = np.minimum(here, there), np.maximum(here, there)
    edge_lo, edge_hi = np.minimum(lo, np.roll(lo, -1, 0)), np.maximum(hi, np.roll(hi, -1, 0))
    tree = shapely.STRtree(shapely.box(*edge_lo.T, *edge_hi.T))
    vertex, edge = tree.query(shapely.box(*lo.T, *hi.T))
    apart = (vertex - edge) % len(loop)
    keep = (apart != 0) & (apart != 1)
    at = np.stack([loop[vertex[keep]], loop[edge[keep]], loop[(edge[keep] + 1) % len(loop)]])
    return first_meeting(flat[at], limit * move[at]) * limit


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
