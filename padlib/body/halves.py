"""A scan of half a figure: one side is made whole by its mirror image, a front or a back alone is refused.

A half ends in one wide flat rim that runs along the figure. What is on the other side of it is not known: of a left or
right half the image stands for it, and is told; of a front nothing can.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.frame import spread_points
from padlib.body.upright import mirror_step
from padlib.errors import MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.repair import Findings, boundary_edges, merge_vertices, split_nonmanifold
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]

MIRRORED = 207  # number of the finding
LONG, TALL = (
    0.45,
    0.75,
)  # of its longest extent: so far the rim of a half runs (crotch to crown), so tall it stands
ASIDE = 0.03  # of it: the rim's jags, and how far the half may reach over the rim's plane
SEWN = 0.012  # of it: so far from the plane a place of the rim is laid onto it; what is farther is a hole's rim
ROUND = 0.6  # share of all rims that lie in that plane
EVEN = 0.008  # of the longest extent: mean distance from its own image up to which a front or back is even


def made_whole(surface: Surface) -> tuple[Surface, Findings]:
    """A repaired, oriented scan in its own unit, with the other half where only one side was scanned.

    Raises MeshError, one sentence, for a front or a back alone.
    """
    plane = _cut_plane(surface)
    if plane is None:
        return surface, ()
    normal, offset, along = plane
    if _even_across(surface, normal, along):
        raise MeshError(
            "only the front or only the back of a figure is there, so that half of every girth is missing; scan it"
            " all round."
        )
    words = (
        "only one side of the figure was scanned; the other was made its mirror image, so that what differs between"
        " the sides, or was lost at the cut, is not known"
    )
    return _with_image(surface, normal, offset), (Finding(MIRRORED, words, "scan", Grade.WARNING),)


def _cut_plane(surface: Surface) -> tuple[Array, float, Array] | None:
    """Normal (3,) out of the half, offset and direction (3,) along the figure of the plane of its rim, or None."""
    rim = np.unique(boundary_edges(surface.faces))
    if len(rim) < 20:
        return None
    v = surface.vertices
    size = float(np.ptp(v, axis=0).max())
    points, normal, offset = v[rim], None, 0.0
    for _ in range(4):
        middle = np.median(points, axis=0) if normal is None else points.mean(axis=0)
        axes = np.linalg.svd(points - middle, full_matrices=False)[2]
        normal, along, offset = axes[2], axes[0], float(middle @ axes[2])
        near = np.abs(v[rim] @ normal - offset) < ASIDE * size
        if near.sum() < 20:
            return None
        points = v[rim][near]
    height = v @ normal - offset
    if np.median(height) > 0:
        normal, offset, height = -normal, -offset, -height
    reach = np.ptp(v @ along)
    whole = (
        near.mean() > ROUND
        and np.ptp(points @ along) > LONG * size
        and reach > TALL * size
        and np.quantile(height, 0.999) < ASIDE * size
    )
    return (normal, offset, along) if whole else None


def _even_across(surface: Surface, normal: Array, along: Array) -> bool:
    """Whether the half is its own mirror image in a plane square to the cut: a front or a back."""
    points = spread_points(surface, 12_000)
    size = float(np.ptp(points @ along))
    tree, across = cKDTree(points), np.cross(normal, along)
    offset = float(np.mean(np.quantile(points @ across, [0.01, 0.99])))
    for cap in np.geomspace(0.06 * size, 0.02 * size, 12):
        across, offset, apart = mirror_step(points[::4], tree, points, across, offset, cap)
    return bool(apart < EVEN * size and abs(across @ normal) < 0.3)


def _with_image(surface: Surface, normal: Array, offset: float) -> Surface:
    """The half and its image, sewn where the rim, moved onto the plane, meets itself."""
    v, f = np.array(surface.vertices), surface.faces
    size = float(np.ptp(v, axis=0).max())
    rim = np.unique(boundary_edges(f))
    height = v @ normal - offset
    sewn = rim[np.abs(height[rim]) < SEWN * size]
    onto = np.zeros(len(v), dtype=bool)
    onto[sewn] = True
    onto |= height > 0.0  # what reaches over the plane is laid onto it
    v[onto] -= height[onto, None] * normal
    f = f[~onto[f].all(axis=1)]  # faces that would lie in the plane
    height = np.where(onto, 0.0, height)
    image = v - 2.0 * height[:, None] * normal
    both = Surface(np.concatenate([v, image]), np.concatenate([f, f[:, ::-1] + len(v)]))
    return split_nonmanifold(merge_vertices(both)[0])[0]
