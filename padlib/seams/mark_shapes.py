"""Shapes of marks on a shell: ovals about a place, bands round limbs and trunk; loops are `mesh.smooth`'s."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import project
from padlib.errors import SuitError
from padlib.mesh.geodesic import Ground, geodesic
from padlib.mesh.point import Curve, nearest
from padlib.mesh.surface import Faces, Vertices
from padlib.seams.loops import parting_loop
from padlib.seams.place import Place

Array = NDArray[np.float64]

STEP = 4.0  # mm of a walk over the surface
WAYS = 48  # walks of an oval
LIMBS = ("arm_left", "arm_right", "leg_left", "leg_right", "trunk")


def oval(
    ground: Ground, centre: Array, *, width: float, height: float, up: Array | None = None
) -> Curve:
    """The oval about a place: half its width and height are lengths of straight walks over the surface, mm.

    centre (3,): its nearest place counts; height lies along `up` (3,), straight up if None. Of equal width
    and height it is the circle of all places at that distance along the surface.
    """
    middle, ways = _fan(ground, centre, np.array([0.0, 0.0, 1.0]) if up is None else up)
    angle = np.linspace(0.0, 2 * np.pi, WAYS, endpoint=False)
    reach = 0.5 / np.hypot(np.cos(angle) / width, np.sin(angle) / height)
    ring = _walked(*_near(ground, middle, 0.8 * max(width, height) + 20.0), middle, ways, reach)
    points = nearest(ground.vertices, ground.faces, ring)
    return geodesic(ground.vertices, ground.faces, points, closed=True, ground=ground)


def _fan(ground: Ground, centre: Array, up: Array) -> tuple[Array, Array]:
    """The place nearest to a centre, and unit directions (WAYS, 3) from it, the first across, then towards up."""
    v, f = ground.vertices, ground.faces
    at = nearest(v, f, np.asarray(centre)[None])[0]
    normals = igl.per_vertex_normals(
        np.ascontiguousarray(v), np.ascontiguousarray(f)
    )  # smooth, so that one triangle's tilt does not turn the oval
    normal = np.asarray(at.barycentric) @ np.nan_to_num(np.asarray(normals))[f[at.face]]
    normal /= max(float(np.linalg.norm(normal)), 1e-300)
    high = np.asarray(up) - (np.asarray(up) @ normal) * normal
    if np.linalg.norm(high) < 0.2:  # on a place that faces up or down
        high = np.array([0.0, -1.0, 0.0]) + normal[1] * normal
    high /= np.linalg.norm(high)
    across = np.cross(high, normal)
    angle = np.linspace(0.0, 2 * np.pi, WAYS, endpoint=False)[:, None]
    return at.on(v, f), np.cos(angle) * across + np.sin(angle) * high


def _near(ground: Ground, middle: Array, reach: float) -> tuple[Vertices, Faces]:
    """The part of a surface within a distance of a place, so that walks on it are quick."""
    v, f = ground.vertices, ground.faces
    close = (np.linalg.norm(v - middle, axis=1) < reach)[f].any(axis=1)
    used, faces = np.unique(f[close], return_inverse=True)
    return np.ascontiguousarray(v[used]), np.ascontiguousarray(faces.reshape(-1, 3))


def _walked(v: Vertices, f: Faces, middle: Array, ways: Array, reach: Array) -> Array:
    """Where straight walks (k, 3) over a surface end: each from the middle, `reach` (k,) mm along it."""
    at, way = np.tile(middle, (len(ways), 1)), ways.copy()
    steps = max(int(np.ceil(reach.max() / STEP)), 1)
    for _ in range(steps):
        ahead = at + way * (reach / steps)[:, None]
        found = np.asarray(igl.point_mesh_squared_distance(ahead, v, f)[2]).reshape(-1, 3)
        # the chord leaves the surface by half of what the surface turns; putting its end back takes that out
        chord = found - at
        way = chord / np.maximum(np.linalg.norm(chord, axis=1), 1e-9)[:, None]
        found = at + way * (reach / steps)[:, None]
        at = np.asarray(igl.point_mesh_squared_distance(found, v, f)[2]).reshape(-1, 3)
    return at


def band(
    place: Place, limb: str, at: float, width: float, who: str, *, shift: float = 0.0
) -> tuple[Curve, Curve]:
    """The two loops of a band round a limb or the trunk.

    limb of LIMBS; at: its middle as a share of the way from the root to wrist or ankle, of the trunk from the
    neck's base to the crotch; width in mm along the limb; shift: mm farther down. Raises SuitError where it cannot lie.
    """
    line = place.axes.get(limb)
    if line is None:
        raise SuitError(f"{who} lies on '{limb}', whose landmarks this body does not have.")
    kind, _, side = limb.partition("_")
    if kind == "trunk":
        line = line[::-1]
        one, others = "crown", ("foot_left", "foot_right")
    else:
        one = f"{'hand' if kind == 'arm' else 'foot'}_{side}"
        others = tuple(k for k in place.ends if k != one)
    s, _ = project(line, place.surface.vertices)
    whole = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    if kind != "trunk":
        end = place.at[f"{'wrist' if kind == 'arm' else 'ankle'}_{side}"]
        whole = float(project(line, end[None])[0][0])
    loops = []
    for edge in (-0.5, 0.5):
        level = s - (at * whole + shift + edge * width)
        ends = [place.ends[k] for k in others if k in place.ends]
        loop = parting_loop(place.surface, level, place.ends[one], ends)
        if loop is None:
            raise SuitError(
                f"{who} does not go round '{limb}' at {at:g} with {width:g} mm; move it along the limb (at), or "
                "make it narrower."
            )
        loops.append(loop)
    return loops[0], loops[1]
