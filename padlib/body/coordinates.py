"""Places of the skin in coordinates of the body: a limb or the trunk, how far along it, and the angle around it.

They follow the wearer: on a new scan, with other triangles or in another pose, the same numbers mean the same place,
since the lines along limbs and trunk begin and end at landmarks and turn with them.
"""

from __future__ import annotations

import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import limb_axes, limb_frame, project
from padlib.body.body import Body
from padlib.body.limb import lengths
from padlib.errors import InputError
from padlib.mesh.point import nearest
from padlib.mesh.surface import Point, Surface, per_surface

Array = NDArray[np.float64]

LIMBS = ("arm_left", "arm_right", "leg_left", "leg_right", "trunk")
ENDS = {"arm": "wrist", "leg": "ankle"}  # landmark at which a limb is 1 long
ROUNDS = 8  # of moving coordinates until they lead back
CLOSE = 0.05  # mm that is near enough
NECK = 1.1  # of the trunk from crotch to neck, up to which a place may be told along it
FAR = 0.35  # how far beyond wrist or ankle a place may still be told along its limb
ROOT = 0.12  # of a limb from its root on which places are told on the trunk if they can
SQUARE = 0.5  # cosine between ray and skin below which a place is too unsure
_axes: weakref.WeakKeyDictionary[Surface, Mapping[str, Array]] = weakref.WeakKeyDictionary()


@dataclass(frozen=True)
class OnLimb:
    """A place of the skin: limb of LIMBS; along: 0 at its root, 1 at wrist, ankle or the neck's base; around: degrees,
    0 in front, 90 outward (on the trunk to the wearer's left), 180 behind."""

    limb: str
    along: float
    around: float

    def mirrored(self) -> OnLimb:
        """The same place on the other side of the wearer."""
        kind, _, side = self.limb.partition("_")
        other = {"left": "right", "right": "left"}.get(side)
        if other:
            return OnLimb(f"{kind}_{other}", self.along, self.around)
        return OnLimb(self.limb, self.along, -self.around)


def body_axes(body: Body) -> Mapping[str, Array]:
    """The centre lines of a body's limbs and trunk, found once for each body."""
    if body.surface not in _axes:
        _axes[body.surface] = limb_axes(body.surface, body.landmarks)
    return _axes[body.surface]


def _line(body: Body, limb: str) -> tuple[Array, float, str]:
    """A limb's line, its length up to where it counts 1, and its side."""
    axes = body_axes(body)
    if limb not in axes:
        raise InputError(
            f"a place lies on '{limb}', whose landmarks this body does not have; there are "
            f"{', '.join(axes) or 'none'}"
        )
    line = axes[limb]
    kind, _, side = limb.partition("_")
    whole = float(lengths(line)[-1])
    if kind in ENDS:
        whole = float(project(line, body.at(f"{ENDS[kind]}_{side}")[None])[0][0])
    return line, whole, side or "left"


def place_on_limb(body: Body, place: OnLimb) -> Point:
    """The point of the skin at coordinates of the body: where the ray from the limb's line leaves the skin first.

    Raises InputError where the limb is missing or no skin lies that way.
    """
    line, whole, side = _line(body, place.limb)
    at = lengths(line)
    s = place.along * whole
    front, outward = limb_frame(line, side)
    turn = np.radians(place.around)
    way = np.cos(turn) * front + np.sin(turn) * outward
    start = np.array([np.interp(s, at, line[:, k]) for k in range(3)])
    if s > at[-1]:
        start = line[-1] + (line[-1] - line[-2]) / (at[-1] - at[-2]) * (s - at[-1])
    if s < 0.0:
        start = line[0] + (line[1] - line[0]) / at[1] * s
    ray = np.array([np.interp(s, at, way[:, k]) for k in range(3)])
    hit = _first_out(body.surface, start, ray / np.linalg.norm(ray))
    if hit is None:
        raise InputError(
            f"no skin lies {place.along:g} along '{place.limb}', {place.around:g} degrees around it; draw that "
            "place again"
        )
    return hit


def _first_out(surface: Surface, start: Array, ray: Array) -> Point | None:
    """Where a ray first leaves a closed surface (Moeller, Trumbore 1997), None where it never does."""
    middle, reach = _middles(surface)
    off = middle - start
    ahead = off @ ray
    near = np.einsum("ij,ij->i", off, off) - ahead**2 < reach
    faces = np.flatnonzero(near)
    a, b, c = (surface.vertices[surface.faces[faces, k]] for k in range(3))
    one, two = b - a, c - a
    p = np.cross(ray, two)
    det = np.einsum("ij,ij->i", one, p)
    out = det < -1e-12  # the normal looks along the ray
    safe = np.where(out, det, 1.0)
    t = start - a
    u = np.einsum("ij,ij->i", t, p) / safe
    q = np.cross(t, one)
    v = q @ ray / safe
    far = np.einsum("ij,ij->i", two, q) / safe
    slack = 1e-9
    good = out & (u >= -slack) & (v >= -slack) & (u + v <= 1 + slack) & (far > 0)
    if not good.any():
        return None
    hit = int(np.flatnonzero(good)[np.argmin(far[good])])
    weights = np.clip([1.0 - u[hit] - v[hit], u[hit], v[hit]], 0.0, None)
    weights /= weights.sum()
    return Point(int(faces[hit]), (float(weights[0]), float(weights[1]), float(weights[2])))


@per_surface
def _middles(surface: Surface) -> tuple[Array, float]:
    """The middle (m, 3) of each face and the square of the farthest that a corner lies from its own."""
    corner = surface.vertices[surface.faces]
    middle = corner.mean(axis=1)
    far = np.square(corner - middle[:, None]).sum(axis=2).max() * 1.001
    return middle, float(far)


def on_limbs(body: Body, places: Sequence[Array]) -> list[OnLimb | None]:
    """Coordinates of the body of places (3,) mm on or near its skin; None where none are sure.

    A place is sure where the ray that leads back to it meets the skin steeply; of several limbs the one on which it
    meets it most steeply counts. On heads, and where limbs and trunk meet in folds, there may be none.
    """
    where = np.array(places, dtype=np.float64).reshape(-1, 3)
    surface = body.surface
    skin = np.array(
        [
            p.on(surface.vertices, surface.faces)
            for p in nearest(surface.vertices, surface.faces, where)
        ]
    )
    out: list[OnLimb | None] = [None] * len(skin)
    best = np.full(len(skin), SQUARE)
    for limb in LIMBS:
        if limb not in body_axes(body):
            continue
        line, whole, side = _line(body, limb)
        s, offset = project(line, skin)
        low, high = (0.0, NECK) if limb == "trunk" else (ROOT, 1.0 + FAR)
        for k in np.flatnonzero((s > low * whole) & (s < high * whole)):
            first = OnLimb(limb, float(s[k]) / whole, _angle(line, side, float(s[k]), offset[k]))
            place, off, steep = _nearer(body, first, skin[k], offset[k], whole)
            if off < CLOSE * 2 and steep > best[k]:
                best[k], out[k] = steep, place
    return out


def _nearer(
    body: Body, place: OnLimb, skin: Array, offset: Array, whole: float
) -> tuple[OnLimb, float, float]:
    """Coordinates moved until they lead back to a place (3,) of the skin, how far off they still do, mm, and the
    cosine between ray and skin there."""
    best, least, steep = place, np.inf, 0.0
    radius = max(float(np.linalg.norm(offset)), 1.0)
    line, _, side = _line(body, place.limb)
    at = lengths(line)
    front, outward = limb_frame(line, side)
    for _ in range(ROUNDS):
        try:
            hit = place_on_limb(body, place)
        except InputError:
            break
        off = skin - hit.on(body.surface.vertices, body.surface.faces)
        if np.linalg.norm(off) < least:
            best, least = place, float(np.linalg.norm(off))
            steep = _steep(body.surface, hit, offset)
        if least < CLOSE:
            break
        f, o = (
            np.array([np.interp(place.along * whole, at, w[:, k]) for k in range(3)])
            for w in (front, outward)
        )
        turn = np.radians(place.around)
        round_ = np.cos(turn) * o - np.sin(turn) * f
        along = np.cross(f, o) * (1.0 if np.cross(f, o) @ (line[-1] - line[0]) > 0 else -1.0)
        place = OnLimb(
            place.limb,
            place.along + float(off @ along) / whole,
            place.around + float(np.degrees(off @ round_ / radius)),
        )
    return best, least, steep


def _steep(surface: Surface, hit: Point, way: Array) -> float:
    """Cosine between a way (3,) and the normal of the skin at a point."""
    a, b, c = surface.vertices[surface.faces[hit.face]]
    normal = np.cross(b - a, c - a)
    return float(normal @ way / max(np.linalg.norm(normal) * np.linalg.norm(way), 1e-12))


def _angle(line: Array, side: str, s: float, offset: Array) -> float:
    """Degrees around a line at which an offset (3,) from it at length s lies."""
    at = lengths(line)
    front, outward = limb_frame(line, side)
    f, o = (np.array([np.interp(s, at, w[:, k]) for k in range(3)]) for w in (front, outward))
    return float(np.degrees(np.arctan2(offset @ o, offset @ f)))
