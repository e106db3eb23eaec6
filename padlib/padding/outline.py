"""The outline of a pad on the skin, evened out: as it is to be drawn on cloth, without the mesh's own steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from padlib.body.limb import resampled
from padlib.mesh.areas import vertex_normals
from padlib.mesh.point import Curve
from padlib.mesh.section import level_set
from padlib.mesh.surface import Faces, Vertices
from padlib.padding.smooth import unit

Array = NDArray[np.float64]

STEP = 2.0  # mm between the places at which an outline is evened
WAVES = 15.0  # mm: standard deviation of what is taken out of it
OFF = 0.02  # edges of the mesh that its vertices keep off the outline
REACH = 2.0  # edges of the mesh on each side within which the outline may move


def even_level(vertices: Vertices, faces: Faces, values: Array) -> list[Curve]:
    """The zero set of values (n,) at vertices (n, 3) as `level_set` gives it, its longest curve evened out.

    Where a pad runs out, its height is curved and the triangles are wider than the run, so that the exact level
    has a step at every one of them. The curve goes through a low pass that does not shrink it (2S - S^2), and is
    drawn anew as the zero set of the distance from what that gives. A curve that is open, or would not come out as
    one, is left as it is.
    """
    curves = level_set(vertices, faces, values)
    if not curves or not curves[0].closed:
        return curves
    line = _low_pass(curves[0].positions(vertices, faces))
    corner = vertices[faces]
    edge = float(np.median(np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1)))
    tree = cKDTree(line)
    far, at = tree.query(vertices, distance_upper_bound=2 * REACH * edge)
    near = np.flatnonzero(np.isfinite(far))
    at = at[near]
    along = unit(np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0))[at]
    away = vertices[near] - line[at]
    left = np.cross(vertex_normals(vertices, faces)[near], along)
    across = np.linalg.norm(away - np.einsum("ij,ij->i", away, along)[:, None] * along, axis=1)
    distance = np.where(values >= 0, 2.0, -2.0) * REACH * edge
    distance[near] = np.copysign(across, np.einsum("ij,ij->i", away, left))
    # what has the sign of another stretch of skin than the curve's own, as the other thigh, keeps its own
    astray = (np.sign(distance) != np.sign(values)) & (np.abs(distance) > REACH * edge)
    distance[astray] *= -1.0
    # no vertex on the curve itself, so that no triangle has all its corners there
    distance = np.where(np.abs(distance) < OFF * edge, np.copysign(OFF * edge, distance), distance)
    evened = level_set(vertices, faces, distance)
    if len(evened) != len(curves) or not evened[0].closed:
        return curves
    return [evened[0], *curves[1:]]


def _low_pass(points: Array) -> Array:
    """A closed polyline (k, 3) at even steps without its short waves."""
    line = resampled(np.vstack([points, points[:1]]), STEP)[:-1]
    once = gaussian_filter1d(line, WAVES / STEP, axis=0, mode="wrap")
    return 2 * once - gaussian_filter1d(once, WAVES / STEP, axis=0, mode="wrap")
