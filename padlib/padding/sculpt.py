"""A sculpted mesh laid on a body: where it leaves the skin, and by how much."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.mesh.areas import face_areas, vertex_areas, vertex_normals
from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.padding.fairing import nearby
from padlib.padding.profile import smoothstep
from padlib.padding.skin import Skin, skin
from padlib.padding.smooth import heat, unit

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

UNDER = 8.0  # mm under the skin at which a sculpted pad is looked for: foam is scanned pressed in
GAP = 15.0  # mm by which foam may stand off the skin
DEEPEST = 300.0  # mm of pad at most
WAY = 20.0  # mm: scale of the directions in which pads grow
GRAIN = 4.0  # mm: relief of the sculpted surface finer than this is a scan's noise
SEEN = 1.0  # mm of pad from which a place belongs to a piece
STEPS = 25  # rounds of bringing a scan onto the body
KEPT = 0.5  # share of a scan's points, the nearest ones, that are taken as skin
TALLER = 0.08  # share by which a double may be taller or shorter than the body
MISFIT = 12.0  # mm: median distance of those from the body beyond which it is not this wearer


def stands_off(body: Body, sculpted: Surface, least: float) -> Array:
    """By how much (n,) mm a sculpted surface stands off the skin at each vertex of a body; 0 where less than least.

    From a little under the skin a ray goes out; where it leaves the sculpted solid is its outside. A gap up to
    GAP between skin and foam counts as foam. What is thinner than `least` runs out smoothly from there.
    """
    vertices, faces = body.surface.vertices, body.surface.faces
    flow = heat(vertices, faces)
    way = unit(flow.blur(vertex_normals(vertices, faces), WAY))
    solid = skin(sculpted.vertices, sculpted.faces)
    out = _left(solid, vertices - UNDER * way, way) - UNDER
    out = np.where((out > 0) & (out <= DEEPEST), out, 0.0)
    share = smoothstep((out - 0.5 * least) / max(0.5 * least, 1e-9))
    out = out * share
    return np.maximum(flow.blur(out, GRAIN), 0.0) if (out > 0).any() else out


def _left(solid: Skin, start: Vertices, way: Array) -> Array:
    """Distance (n,) mm from start along a way to where the solid is left for good; 0 where it is not met."""
    end = np.zeros(len(start))
    at = np.zeros(len(start))
    asked = np.arange(len(start))
    for reach in (UNDER + GAP, GAP, GAP):
        origin = start[asked] + at[asked, None] * way[asked]
        face, t, _ = solid.tree.intersect_ray_first(
            solid.vertices,
            solid.faces,
            np.ascontiguousarray(origin),
            np.ascontiguousarray(way[asked]),
        )
        face, t = np.ravel(face), np.ravel(t)
        out = np.where(face[:, None] >= 0, solid.face[face], 0.0)
        outward = np.einsum("ij,ij->i", out, way[asked])
        leaving, entering = outward > 0, (outward < 0) & (t <= reach)
        end[asked[leaving]] = at[asked[leaving]] + t[leaving]
        at[asked] += t + 1e-4  # through the underside of foam, on to its outside
        asked = asked[entering]
        if not len(asked):
            break
    return end


def pieces(body: Body, thickness: Array, little: float) -> list[tuple[str, Array]]:
    """The separate pads in a thickness (n,): side and thickness of each, the largest first.

    little: cm2 of skin under which a piece is left out. side: left, right, or both where it lies across the middle.
    """
    faces, points = body.surface.faces, body.surface.vertices
    on = thickness > SEEN
    label = _labels(faces, on)
    out = []
    area = _areas(points, faces)
    sizes = np.bincount(label[on], area[on]) if on.any() else np.zeros(0)
    for k in np.argsort(-sizes):
        if sizes[k] < 100.0 * little:
            break
        own = on & (label == k)
        x = points[own, 0]
        across = min(-x.min(), x.max()) > 0.25 * max(-x.min(), x.max())
        side = "both" if across else "left" if x.mean() > 0 else "right"
        out.append((side, np.where(nearby(own, faces, rings=2), thickness, 0.0)))
    return out


def _labels(faces: Faces, on: NDArray[np.bool_]) -> Ints:
    """Number of the connected part (n,) of each vertex that is on; -1 elsewhere."""
    kept = faces[on[faces].all(axis=1)]
    ends = np.concatenate([kept[:, :2], kept[:, 1:]])
    graph = coo_array((np.ones(len(ends), dtype=np.int8), ends.T), shape=(len(on), len(on)))
    part = connected_components(graph, directed=False)[1]
    label = np.full(len(on), -1)
    label[on] = np.unique(part[on], return_inverse=True)[1]
    return label


def _areas(points: Vertices, faces: Faces) -> Array:
    return vertex_areas(faces, face_areas(points, faces), len(points))


def brought_on(body: Body, scan: Surface, who: str) -> Surface:
    """A scan of the padded double moved onto the body without changing its shape.

    It already stands in padlib's frame. The half of its points that lie nearest to the skin are taken as
    skin, and brought onto it by turns and moves (P. Besl, N. McKay 1992, trimmed as by D. Chetverikov and others 2002).
    Raises InputError where they stay far from it.
    """
    tall, asked = (float(np.ptp(s.vertices[:, 2])) for s in (scan, body.surface))
    if abs(tall / asked - 1.0) > TALLER:
        raise InputError(
            f"{who}: the sculpted double is {tall:.0f} mm tall but the body {asked:.0f} mm; it is of another "
            "wearer, or its unit is wrong"
        )
    own = skin(body.surface.vertices, body.surface.faces)
    points = scan.vertices[:: max(len(scan.vertices) // 6000, 1)]
    turn, move = np.eye(3), np.zeros(3)
    low = body.surface.vertices.min(axis=0) + body.surface.vertices.max(axis=0)
    start = (scan.vertices.min(axis=0) + scan.vertices.max(axis=0)) / 2
    move[:2] = (low / 2 - start)[:2]
    far = np.zeros(1)
    for _ in range(STEPS):
        now = points @ turn.T + move
        distance, close, _ = own.signed(now)
        far = np.abs(distance)
        use = far <= np.quantile(far, KEPT)
        a, b = now[use], close[use]
        u, _, w = np.linalg.svd((a - a.mean(axis=0)).T @ (b - b.mean(axis=0)))
        spin = (u @ np.diag([1.0, 1.0, np.linalg.det(u @ w)]) @ w).T
        turn, move = spin @ turn, spin @ (move - a.mean(axis=0)) + b.mean(axis=0)
    misfit = float(np.median(np.sort(far)[: int(KEPT * len(far))]))
    if misfit > MISFIT:
        raise InputError(
            f"{who}: half of the sculpted mesh should lie on the body but lies {misfit:.0f} mm off it; it is of "
            "another wearer or another pose, or its unit or its up axis is wrong"
        )
    return Surface(scan.vertices @ turn.T + move, scan.faces)


def mirror(surface: Surface) -> Surface:
    """The mirror image of a surface in x = 0."""
    return Surface(surface.vertices * [-1.0, 1.0, 1.0], surface.faces[:, ::-1])
