"""Centre lines of limbs and trunk, coordinates along and around them, and which part each vertex belongs to."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from padlib.body.landmarks import Landmarks
from padlib.body.limb import lengths, limb, resampled, smooth, submesh, tangents
from padlib.body.parts import SIDES
from padlib.body.quiet import quiet
from padlib.body.regions import arm_line, arm_region, has, leg_region, segment_at
from padlib.body.slices import edges, slices
from padlib.mesh.point import positions
from padlib.mesh.surface import Faces, Point, Surface, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Marks = Landmarks | Mapping[str, Point]

CHUNK = 2_000_000  # point-segment pairs at once
TRUNK_STEP = 20.0  # mm between the sections of the trunk
# of the trunk's length over the crotch, 30 mm of an adult's: nearer the section hangs on where the thighs' join begins
JOINED = 0.05


def places(surface: Surface, landmarks: Marks) -> dict[str, Array]:
    """Positions (3,) in mm of landmarks on their surface."""
    points = landmarks.points if isinstance(landmarks, Landmarks) else landmarks
    if not points:
        return {}
    return dict(
        zip(points, positions(surface.vertices, surface.faces, list(points.values())), strict=True)
    )


def limb_axes(surface: Surface, landmarks: Marks) -> dict[str, Array]:
    """Smooth centre lines (k, 3) in mm, each from its root outward; limbs whose landmarks are missing are left out.

    "leg_left", "leg_right": hip joint, knee, ankle, and straight on to the sole. "arm_left", "arm_right": middle of
    the armhole, elbow, wrist, tip of the hand. "trunk": from crotch level up to the base of the neck. The points are
    centroids of sections square to the line itself.
    """
    at = places(surface, landmarks)
    still, _ = quiet(surface.vertices, surface.faces)
    out: dict[str, Array] = {}
    for side in SIDES:
        if has(at, "leg", side):
            out[f"leg_{side}"] = _leg(still, surface.faces, at, side)
        if has(at, "arm", side):
            out[f"arm_{side}"] = _arm(still, surface.faces, at, side)
    trunk = _trunk(still, surface.faces, at)
    return out if trunk is None else out | {"trunk": trunk}


def hip_joint(at: Mapping[str, Array], side: str) -> Array:
    """Centre (3,) of a hip: halfway out from the middle, at trochanter level, midway of groin and gluteal fold."""
    crotch, hip = at["crotch"], at[f"hip_{side}"]
    y = 0.5 * (at[f"groin_{side}"][1] + at[f"gluteal_{side}"][1])
    return np.array([0.5 * (crotch[0] + hip[0]), y, max(hip[2], at[f"groin_{side}"][2])])


def _leg(vertices: Vertices, faces: Faces, at: Mapping[str, Array], side: str) -> Array:
    """Centre line (k, 3) of a leg from the hip joint to the sole."""
    region = leg_region(vertices, faces, at, side)
    points, part = submesh(vertices, faces, region)
    joint, knee = hip_joint(at, side), 0.5 * (at[f"patella_{side}"] + at[f"knee_back_{side}"])
    ankle = _ankle_centre(points, part, at[f"ankle_{side}"])
    line = limb(points, part, np.array([joint, knee, ankle])).line
    down = line[-1] - line[np.argmin(np.abs(lengths(line) - lengths(line)[-1] + 80.0))]
    sole = line[-1] + down * (line[-1][2] - points[:, 2].min()) / max(-down[2], 1e-9)
    return np.concatenate([line, resampled(np.array([line[-1], sole]), 8.0)[1:]])


def _ankle_centre(vertices: Vertices, faces: Faces, ankle: Array) -> Array:
    """Centroid (3,) of the leg's section a little above the outer ankle, where the foot does not reach."""
    cut = slices(vertices, faces, [ankle[2] + 0.6 * (ankle[2] - vertices[:, 2].min())])
    loops = cut.at(0)
    return cut.centre[loops[0]] if len(loops) else ankle


def _arm(vertices: Vertices, faces: Faces, at: Mapping[str, Array], side: str) -> Array:
    """Centre line (k, 3) of an arm from the middle of the armhole to the tip of the hand."""
    rough = arm_line(at, side)
    region = arm_region(vertices, faces, at[f"axilla_{side}"], at[f"acromion_{side}"], rough)
    points, part = submesh(vertices, faces, region)
    return limb(points, part, rough, to_tip=True).line


def _trunk(vertices: Vertices, faces: Faces, at: Mapping[str, Array]) -> Array | None:
    """Centre line (k, 3) of the trunk: at each level the middle of its section, midway of front and back.

    Down to crotch level it goes on upright from JOINED above it.
    """
    low = at["crotch"][2] if "crotch" in at else float(vertices[:, 2].min()) + 1.0
    neck = (
        0.5 * (at["cervicale"] + at["suprasternal"])
        if "cervicale" in at and "suprasternal" in at
        else None
    )
    sides = [at[name][2] for name in ("acromion_left", "acromion_right") if name in at]
    high = neck[2] if neck is not None else min(sides, default=float(vertices[:, 2].max()) - 1.0)
    if high - low < 4 * TRUNK_STEP:
        return None
    foot = low + (JOINED * (high - low) if "crotch" in at else 2.0)
    z = np.linspace(foot, high, int((high - foot) / TRUNK_STEP) + 1)
    cut = slices(vertices, faces, z)
    middle = np.array(
        [
            cut.centre[cut.at(k)[0]] if len(cut.at(k)) else (np.nan, np.nan, z[k])
            for k in range(len(z))
        ]
    )
    middle = middle[np.isfinite(middle[:, 0])]
    flank = slices(vertices, faces, [float(np.median(middle[:, 0]))], (1.0, 0.0, 0.0))
    front, back = edges(flank.start, flank.end, middle[:, 2], along=2, across=1)
    y = 0.5 * (front[:, 1] + back[:, 1])
    middle[:, 1] = np.where(np.isfinite(y), y, middle[:, 1])
    middle = np.concatenate([[[*middle[0, :2], low]], middle]) if "crotch" in at else middle
    return resampled(smooth(middle), 10.0)


def project(axis: Array, points: Array) -> tuple[Array, Array]:
    """Distance s (n,) along a line (k, 3), mm, and offset (n, 3) from it, of points (n, 3).

    Both belong to the nearest place of the line, which goes on straight beyond both ends: s is
    negative before its first point and more than its length beyond the last.
    """
    axis, points = (
        np.asarray(axis, dtype=np.float64),
        np.atleast_2d(np.asarray(points, dtype=np.float64)),
    )
    start, along = axis[:-1], np.diff(axis, axis=0)
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-12)
    unit = along / length[:, None]
    first = np.zeros(len(start))
    first[0] = -np.inf
    last = length.copy()
    last[-1] = np.inf
    base = np.einsum("ij,ij->i", start, unit)
    far = np.einsum("ij,ij->i", start, start)
    s, offset = np.empty(len(points)), np.empty_like(points)
    step = max(1, CHUNK // len(start))
    before = lengths(axis)[:-1]
    for k in range(0, len(points), step):
        p = points[k : k + step]
        along_p = p @ unit.T - base
        t = np.clip(along_p, first, last)
        square = far - 2 * (p @ start.T) + t * (t - 2 * along_p)  # less the point's own square
        best = square.argmin(axis=1)
        rows = np.arange(len(p))
        s[k : k + step] = before[best] + t[rows, best]
        offset[k : k + step] = p - start[best] - t[rows, best][:, None] * unit[best]
    return s, offset


def limb_frame(axis: Array, side: str) -> tuple[Array, Array]:
    """Unit directions front (k, 3) and outward (k, 3) at each point of a line, both square to it.

    front is -Y and outward is away from the midline, as far as the line's own direction lets them. side: "left" or
    "right"; for the trunk the outward direction of "left" is +X.
    """
    tangent = tangents(np.asarray(axis, dtype=np.float64))
    forward = np.broadcast_to(np.array([0.0, -1.0, 0.0]), tangent.shape)
    front = forward - np.einsum("ij,ij->i", forward, tangent)[:, None] * tangent
    size = np.linalg.norm(front, axis=1)
    weak = size < 1e-6
    front = np.where(
        weak[:, None], np.array([0.0, 0.0, 1.0]), front / np.where(weak, 1.0, size)[:, None]
    )
    outward = np.cross(tangent, front)
    mean = outward.sum(axis=0)
    turn = np.sign(mean[0] * SIDES[side] + 1e-9 * mean[2]) or 1.0
    return front, outward * turn


def around(axis: Array, points: Array, side: str) -> Array:
    """Angle (n,) in degrees of points (n, 3) around a line: 0 front, 90 outward, 180 back, -90 inward."""
    s, offset = project(axis, points)
    at = lengths(np.asarray(axis))
    front, outward = limb_frame(axis, side)
    a, b = (
        np.column_stack([np.interp(s, at, way[:, k]) for k in range(3)]) for way in (front, outward)
    )
    return np.degrees(
        np.arctan2(np.einsum("ij,ij->i", offset, b), np.einsum("ij,ij->i", offset, a))
    )


def segment(surface: Surface, landmarks: Marks) -> Ints:
    """Label (n,) of each vertex: 0 trunk, 1 neck and head, 2 and 3 left and right arm, 4 and 5 left and right leg.

    An arm is what lies beyond the armhole plane and joins the hand; a leg what lies below the plane through crotch,
    groin and gluteal fold and joins the foot; the head what lies above the base of the neck.
    """
    return segment_at(surface, places(surface, landmarks))
