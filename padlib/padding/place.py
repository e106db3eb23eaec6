"""Where a pad sits: coordinates along and around a limb or the trunk, taken from landmarks."""

from __future__ import annotations

import weakref
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from padlib.body.axes import project
from padlib.body.body import Body
from padlib.body.limb import lengths, resampled, smooth
from padlib.errors import InputError
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Faces, Surface
from padlib.padding.profile import smoothstep

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

OUTWARD = {"left": 1.0, "right": -1.0}  # the sign of x on each side of the wearer
DOWN = np.array([0.0, 0.0, -1.0])
CLEAR = 0.012  # share of stature below the armpit at which an arm is surely apart
MIDDLE = 0.02  # share of stature on each side of the plane x = 0 over which sides change
ARMHOLE = 0.02  # share of stature over which a pad of the trunk runs out before the armhole
ARMPIT = 0.7  # share of stature below which arms hang apart, where no armpit is known
_middles: weakref.WeakKeyDictionary[Surface, dict[float, list[Array]]] = weakref.WeakKeyDictionary()
_hanging: weakref.WeakKeyDictionary[Surface, dict[float, tuple[Mask, Mask]]] = (
    weakref.WeakKeyDictionary()
)


@dataclass(frozen=True, eq=False)
class Line:
    """A straight line inside a limb or the trunk, with the direction that faces the front.

    origin (3,) mm: where s = 0; along (3,) unit: the way s grows; front, out (3,) unit: the directions
    of 0 and 90 degrees, at right angles to `along`.
    """

    origin: Array
    along: Array
    front: Array
    out: Array

    def coordinates(self, points: Array) -> tuple[Array, Array, Array]:
        """Distance along (n,) mm, distance off the line (n,) mm, and angle (n,) of points (n, 3).

        The angle is in degrees from -180 to 180: 0 in front, 90 outward, 180 behind, -90 inward.
        """
        away = np.asarray(points, dtype=np.float64) - self.origin
        s = away @ self.along
        ahead, outward = away @ self.front, away @ self.out
        return s, np.hypot(ahead, outward), np.degrees(np.arctan2(outward, ahead))

    def at(self, s: float) -> Array:
        """The point (3,) of the line at a distance along it, mm."""
        return self.origin + s * self.along


def line(origin: Array, toward: Array, side: str) -> Line:
    """The line from one point (3,) toward another, with the wearer's front (-Y) as 0 degrees."""
    along = np.asarray(toward, dtype=np.float64) - origin
    along = along / np.linalg.norm(along)
    front = np.array([0.0, -1.0, 0.0])
    front = front - (front @ along) * along
    front = front / np.linalg.norm(front)
    out = np.cross(front, along)
    out = out * np.sign(out[0] * OUTWARD[side])
    return Line(np.asarray(origin, dtype=np.float64), along, front, out)


def landmark(body: Body, name: str, who: str) -> Array:
    """Position (3,) mm of a landmark for the pad called `who`.

    Raises InputError when the body has no such landmark.
    """
    if name not in body.landmarks:
        raise InputError(
            f"{who} is placed by the landmark '{name}', which this body does not have; "
            "set the landmark by hand or leave the pad out"
        )
    return body.at(name)


def turn(angle: Array, middle: float) -> Array:
    """Angle (n,) degrees from a middle direction, brought into -180 .. 180."""
    return (np.asarray(angle) - middle + 180.0) % 360.0 - 180.0


def leg_line(body: Body, side: str, who: str) -> Line:
    """The line of the thigh: s = 0 a third of the way from crotch to knee, growing to the knee.

    Raises InputError where the crotch or the kneecap is missing.
    """
    crotch = landmark(body, "crotch", who)
    knee = landmark(body, f"patella_{side}", who)
    high = _middle(body, 0.65 * crotch[2] + 0.35 * knee[2], knee)
    return line(high, _middle(body, knee[2], knee), side)


def trunk_line(body: Body, side: str, height: float) -> Line:
    """The upright line of the trunk, s = 0 at a height (mm), growing downward, in the plane x = 0."""
    middle = _middle(body, height, np.array([0.0, 0.0, height]))
    middle[0] = 0.0
    return line(middle, middle + DOWN, side)


def _middle(body: Body, height: float, near: Array) -> Array:
    """The middle (3,) of the level section at a height whose middle is nearest to a point in x."""
    known = _middles.setdefault(body.surface, {})
    if height not in known:
        known[height] = _level_middles(body.surface, height)
    return min(known[height], key=lambda middle: abs(middle[0] - near[0])).copy()


def _level_middles(surface: Surface, height: float) -> list[Array]:
    """The middles (3,) of the wide closed curves of the level section at a height."""
    curves = plane_section(surface.vertices, surface.faces, np.array([0.0, 0.0, height]), -DOWN)
    spans = [c.positions(surface.vertices, surface.faces) for c in curves if c.closed]
    wide = max(float(np.ptp(p[:, 0])) for p in spans)
    return [(p.min(axis=0) + p.max(axis=0)) / 2 for p in spans if np.ptp(p[:, 0]) > 0.5 * wide]


def on_side(body: Body, side: str) -> Array:
    """Share (n,) of each vertex that a pad of one side may have: 1 there, running out past the middle."""
    points = body.surface.vertices
    past = MIDDLE * float(np.ptp(points[:, 2]))
    return smoothstep(1.0 + points[:, 0] * OUTWARD[side] / past)


def without_arms(body: Body) -> Mask:
    """Mask (n,) of trunk, legs and head: all but the arms, which hang apart below the armpits."""
    return ~hanging_arms(body)[1]


def hanging_arms(body: Body) -> tuple[Mask, Mask]:
    """Masks (n,) of all that lies below the armpits, and of the arms there, which hang apart."""
    points, faces = body.surface.vertices, body.surface.faces
    pits = [body.at(name)[2] for name in ("axilla_left", "axilla_right") if name in body.landmarks]
    stature = float(np.ptp(points[:, 2]))
    low = min(pits) - CLEAR * stature if pits else ARMPIT * stature
    known = _hanging.setdefault(body.surface, {})
    if low not in known:
        known[low] = _apart_below(points, faces, low)
    return known[low]


def _apart_below(points: Array, faces: Faces, low: float) -> tuple[Mask, Mask]:
    """Masks (n,) of all that lies below a height, and of all of that but its largest part."""
    below = points[:, 2] < low
    low_faces = faces[below[faces].all(axis=1)]
    ends = np.concatenate([low_faces[:, :2], low_faces[:, 1:]])
    graph = coo_array((np.ones(len(ends), dtype=np.int8), ends.T), shape=(len(points),) * 2)
    part = connected_components(graph, directed=False)[1]
    size = np.bincount(part[below])
    return below, below & (part != np.argmax(size))


def off_shoulders(body: Body) -> Array:
    """Share (n,) of each vertex that a pad of the trunk may have beside the armholes: 1, running out to
    0 at the plane through shoulder and armpit; where a landmark is missing, 1."""
    points = body.surface.vertices
    share = np.ones(len(points))
    for side, outward in OUTWARD.items():
        names = (f"acromion_{side}", f"axilla_{side}")
        if not body.landmarks.keys() >= set(names):
            continue
        top, pit = (body.at(name) for name in names)
        up = np.array([top[0] - pit[0], 0.0, top[2] - pit[2]])
        normal = np.array([up[2], 0.0, -up[0]]) * outward / np.linalg.norm(up)
        past = (points - pit) @ (normal * np.sign(normal[0] * outward))
        share = np.minimum(share, smoothstep(-past / (ARMHOLE * float(np.ptp(points[:, 2])))))
    return share * without_arms(body)


def arm_course(body: Body, side: str, who: str) -> tuple[Array, float, float]:
    """The middle line (k, 3) from the root of the neck through the shoulder to the elbow, and how far
    along it (mm) the shoulder and the elbow lie. It keeps one depth under the skin of the shoulder.

    Raises InputError where a landmark is missing.
    """
    names = ("acromion", "axilla", "elbow", "neck")
    top, pit, elbow, neck = (landmark(body, f"{name}_{side}", who) for name in names)
    shoulder = (top + pit) / 2
    along = (elbow - shoulder) / np.linalg.norm(elbow - shoulder)
    middle = limb_middle(body, elbow, along)
    course = smooth(resampled(np.array([neck - (top - shoulder), shoulder, middle]), 10.0), 3.0)
    at = float(project(course, shoulder[None])[0][0])
    return course, at, float(lengths(course)[-1])


def limb_middle(body: Body, at: Array, along: Array) -> Array:
    """The middle (3,) of the section square to `along` through a place on a limb."""
    surface = body.surface
    curves = plane_section(surface.vertices, surface.faces, at, along)
    rings = [c.positions(surface.vertices, surface.faces) for c in curves if c.closed]
    ring = min(rings, key=lambda r: np.linalg.norm(r - at, axis=1).min())
    return (ring.min(axis=0) + ring.max(axis=0)) / 2


def calf_line(body: Body, side: str, who: str) -> Line:
    """The line of the lower leg: s = 0 at the middle of the kneecap, growing to the ankle."""
    knee = landmark(body, f"patella_{side}", who)
    ankle = landmark(body, f"ankle_{side}", who)
    lower = 0.75 * ankle[2] + 0.25 * knee[2]  # the foot is not in the section yet
    return line(_middle(body, knee[2], knee), _middle(body, lower, ankle), side)
