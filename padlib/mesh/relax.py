"""Vertices moved to the middle of their neighbours along the surface, for even triangles (padlib.mesh.remesh)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.columns import (
    corners_of,
    dots,
    face_normals,
    shapes,
    sharpness,
    sum_at,
    sum_at_corners,
    units,
)
from padlib.mesh.edge_list import Edges
from padlib.mesh.surface import Faces, Vertices
from padlib.mesh.target import Target

Mask = NDArray[np.bool_]


def relax(v: Vertices, f: Faces, pinned: Mask, target: Target | None, steps: int) -> Vertices:
    """Move vertices to the middle of their neighbours in the tangent plane, and project if asked."""
    edges = Edges(f, len(v))
    border = edges.on_border(len(v))
    looks = face_normals(v, f)
    for turn in range(steps):
        normal = units(sum_at_corners(looks, f, len(v)))
        step = _mean_of_neighbours(v, edges, border) - v
        inner = ~border
        step = np.where(inner[:, None], _along_surface(f, units(looks), normal, step), step)
        moved = v + 0.7 * step
        last = turn == steps - 1 and target is not None
        place = _projected(v, moved, normal, border & ~pinned, target) if last else moved
        place[pinned] = v[pinned]
        v, looks = _unless_turned(v, place, f, looks, normal)
    return v


def _projected(
    v: Vertices, moved: Vertices, normal: NDArray[np.float64], border: Mask, target: Target
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
    step = step - dots(step, normal)[:, None] * normal
    sharp = np.flatnonzero(sharpness(f, unit, normal) > 0.1)
    place = np.full(len(step), -1)
    place[sharp] = np.arange(len(sharp))
    who = place[f].ravel()
    face = np.flatnonzero(who >= 0)
    who, looks = who[face], unit[face // 3]
    tilt = looks - dots(looks, normal[sharp][who])[:, None] * normal[sharp][who]
    products = (tilt[:, :, None] * tilt[:, None, :]).reshape(-1, 9)
    spread = np.stack([np.bincount(who, x, minlength=len(sharp)) for x in products.T], axis=1)
    spread = (spread / np.bincount(who, minlength=len(sharp))[:, None]).reshape(-1, 3, 3)
    size, axis = np.linalg.eigh(spread)
    weight = np.clip(1 - 2 * size, 0, 1)  # nothing is left across a right-angled edge
    step[sharp] = np.einsum("kij,kj,klj,kl->ki", axis, weight, axis, step[sharp])
    return step


def _mean_of_neighbours(v: Vertices, edges: Edges, border: Mask) -> Vertices:
    """Mean place of the neighbours (n, 3); on the boundary, of the two along it."""
    a, b = edges.ends.T
    along_a, along_b = edges.border | ~border[a], edges.border | ~border[b]
    to = np.concatenate([a[along_a], b[along_b]])
    source = np.concatenate([b[along_a], a[along_b]])
    count = np.maximum(np.bincount(to, minlength=len(v)), 1)
    return sum_at(to, v.take(source, axis=0), len(v)) / count[:, None]


def _unless_turned(
    old: Vertices, new: Vertices, f: Faces, looks: NDArray[np.float64], normal: NDArray[np.float64]
) -> tuple[Vertices, NDArray[np.float64]]:
    """New places, except at vertices of faces that would turn over or thin out; and the normals (m, 3) of the faces.

    looks (m, 3), normal (n, 3): of the faces, twice the area long, and of the vertices as they were.
    """
    a, b, c = corners_of(normal, f)
    before, about, was = units(looks), units(a + b + c), shapes(old, f, looks)
    looked = np.maximum(dots(before, about), 0.3)
    who = np.arange(len(f))  # only faces at vertices that have just moved back can be bad anew
    looks = np.empty_like(looks)
    for _ in range(8):
        g = f.take(who, axis=0)
        looks[who] = cross = face_normals(new, g)
        now, shape = units(cross), shapes(new, g, cross)
        turned = (dots(before[who], now) < 0.3) & (dots(about[who], now) < looked[who])
        bad = who[turned | ((shape < 0.1) & (shape < was[who]))]
        bad = bad[(old[f[bad]] != new[f[bad]]).any(axis=(1, 2))]
        if len(bad) == 0:
            return new, looks
        new = new.copy()
        new[f[bad]] = old[f[bad]]
        back = np.zeros(len(new), dtype=bool)
        back[f[bad]] = True
        who = np.flatnonzero(back[f[:, 0]] | back[f[:, 1]] | back[f[:, 2]])
    looks[who] = face_normals(new, f[who])
    return new, looks
