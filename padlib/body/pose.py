"""A body in other poses: arms raised, sitting, striding. Smooth skinning from the landmarks.

Every vertex turns about a joint by its own share of the joint's angle, so that no cross-section caves in as it does
where positions are averaged (what dual quaternions do for one joint: L. Kavan and others 2008, "Geometric skinning
with approximate dual quaternion blending"). The shares are harmonic over the skin (cotangent Laplacian), nought on one
side of the joint and one on the other: they follow the skin, so that neither thigh takes the other along.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from padlib.body.axes import hip_joint, limb_axes, places
from padlib.body.body import Body
from padlib.body.landmarks import with_landmarks
from padlib.body.parts import SIDES
from padlib.body.regions import ARM_LEFT, ARM_RIGHT, LEG_LEFT, LEG_RIGHT, has, segment_at
from padlib.body.warp import skin_laplacian
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.crossings import new_crossings
from padlib.mesh.solve import factor
from padlib.mesh.surface import Point, Surface, Vertices

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ARMS = (5.0, 170.0)  # degrees from hanging
LEGS = {
    "sit_deg": (0.0, 110.0),
    "stride_deg": (0.0, 45.0),
    "elbow_deg": (0.0, 130.0),
    "reach_deg": (0.0, 120.0),
    "bend_deg": (0.0, 70.0),
}
LIMB = {"left": (ARM_LEFT, LEG_LEFT), "right": (ARM_RIGHT, LEG_RIGHT)}
# how far the turn reaches to the trunk and to the tip of each joint, as shares of stature
ZONE = {
    "shoulder": (0.06, 0.05),
    "elbow": (0.045, 0.02),
    "hip": (0.10, 0.06),
    "knee": (0.05, 0.05),
}
# collar bone and shoulder blade go up by so much of each degree over the first; about 30 degrees with the arm
# overhead (V. Inman, J. Saunders and L. Abbott 1944, "Observations on the function of the shoulder joint"; from memory)
GIRDLE, GIRDLE_FROM = 0.18, 30.0
GIRDLE_ZONE = (
    0.030,
    0.045,
)  # the middle and what lies so far below the armpit stay, shares of stature
BEND_ZONE = (0.02, 0.08)  # over the hips' widest, and at least so high, shares of stature
SPINE = 0.3  # of the way from the back to the front: where the lumbar spine turns
FREE = 0.45  # from this share of the way armhole to elbow the arm's line is its own


@dataclass(frozen=True, eq=False)
class Turn:
    """A turn of part of the skin: shares (n,) of an angle (radians) about an axis (3,) through a joint (3,)."""

    joint: Array
    axis: Array
    angle: float
    share: Array


def pose_body(
    body: Body,
    *,
    arms_deg: float | None = None,
    elbow_deg: float = 0.0,
    sit_deg: float = 0.0,
    stride_deg: float = 0.0,
    reach_deg: float = 0.0,
    bend_deg: float = 0.0,
) -> Body:
    """A standing body in another pose, on the floor, its landmarks carried along.

    arms_deg: both upper arms, degrees from hanging straight down, sideways (90 is level); as they are if None.
    elbow_deg: both elbows bent forward by so much more. sit_deg: thighs raised forward, the shins left upright
    (90 is sitting). stride_deg: the left leg forward and the right leg back by so much each. reach_deg: both arms
    swung forward by so much more. bend_deg: the trunk bent forward between hips and waist.
    A finding tells where the skin runs through itself more than before (a deep crease).
    Raises InputError for an angle out of range, or where the body lacks the limb.
    """
    body = body if body.landmarks else with_landmarks(body)
    turns = pose_turns(
        body,
        arms_deg=arms_deg,
        elbow_deg=elbow_deg,
        sit_deg=sit_deg,
        stride_deg=stride_deg,
        reach_deg=reach_deg,
        bend_deg=bend_deg,
    )
    vertices = turned(body.surface.vertices, turns)
    vertices = vertices - [0.0, 0.0, vertices[:, 2].min()]
    surface = Surface(vertices, body.surface.faces)
    findings = (*body.findings, *_creased(body.surface, surface))
    return replace(body, surface=surface, findings=findings)


def pose_turns(
    body: Body,
    *,
    arms_deg: float | None = None,
    elbow_deg: float = 0.0,
    sit_deg: float = 0.0,
    stride_deg: float = 0.0,
    reach_deg: float = 0.0,
    bend_deg: float = 0.0,
) -> tuple[Turn, ...]:
    """The turns, in order, that bring a body with landmarks into a pose (`pose_body` tells the angles).

    What lies on the body, a shell of the same triangles or cloth, moves along by the same shares.
    Raises InputError for an angle out of range, or where the body lacks the limb.
    """
    wanted = {"sit_deg": sit_deg, "stride_deg": stride_deg, "elbow_deg": elbow_deg}
    wanted |= {"reach_deg": reach_deg, "bend_deg": bend_deg}
    _check(arms_deg, wanted)
    at = places(body.surface, body.landmarks)
    return (
        *_leg_turns(body.surface, at, sit_deg, stride_deg),
        *_arm_turns(body.surface, body.landmarks, at, arms_deg, elbow_deg, reach_deg),
        *_bend_turns(body.surface, at, bend_deg),
    )


def turned(vertices: Vertices, turns: Sequence[Turn]) -> Vertices:
    """Vertices (n, 3) after all turns, one after the other."""
    for turn in turns:
        vertices = _turned(vertices, turn)
    return vertices


def _check(arms_deg: float | None, wanted: Mapping[str, float]) -> None:
    rows = [(name, value, LEGS[name]) for name, value in wanted.items()]
    if arms_deg is not None:
        rows.append(("arms_deg", arms_deg, ARMS))
    for name, value, (low, high) in rows:
        if not (np.isfinite(value) and low <= value <= high):
            raise InputError(f"{name} must be {low:g} to {high:g} degrees, not {value}.")


def _turned(vertices: Vertices, turn: Turn) -> Vertices:
    """Vertices (n, 3) after each turned by its share (O. Rodrigues 1840)."""
    angle = (turn.angle * turn.share)[:, None]
    way = vertices - turn.joint
    along = np.outer(way @ turn.axis, turn.axis)
    across = np.cross(turn.axis, way)
    return turn.joint + along + np.cos(angle) * (way - along) + np.sin(angle) * across


def _leg_turns(
    surface: Surface, at: Mapping[str, Array], sit_deg: float, stride_deg: float
) -> list[Turn]:
    """Knees first, then hips, so that a hip takes its bent knee along."""
    if not sit_deg and not stride_deg:
        return []
    out = []
    tall = float(surface.vertices[:, 2].max())
    label = segment_at(surface, at)
    for side, sign in SIDES.items():
        if not has(at, "leg", side):
            raise InputError(
                f"The body has no {side} leg to move; leave sit_deg and stride_deg at 0."
            )
        raised = np.deg2rad(sit_deg + sign * stride_deg)
        knee = 0.5 * (at[f"patella_{side}"] + at[f"knee_back_{side}"])
        joint = hip_joint(at, side)
        own = label == LIMB[side][1]
        down = joint - knee
        down = down / np.linalg.norm(down)
        shin = (surface.vertices - knee) @ down
        share = _share(
            surface, own & (shin < -ZONE["knee"][1] * tall), ~own | (shin > ZONE["knee"][0] * tall)
        )
        x = np.array([1.0, 0.0, 0.0])
        if sit_deg:
            out.append(Turn(knee, x, np.deg2rad(sit_deg), share))
        out.append(Turn(joint, x, -raised, _hip_share(surface, at, side, own, tall)))
    return out


def _hip_share(
    surface: Surface, at: Mapping[str, Array], side: str, own: Mask, tall: float
) -> Array:
    """Share (n,) of a hip's turn: one on the leg well below the groin, nought above the hip and on the other side."""
    groin, fold, crotch = at[f"groin_{side}"], at[f"gluteal_{side}"], at["crotch"]
    z = surface.vertices[:, 2]
    above, below = ZONE["hip"]
    # the crease runs up from the crotch to the outside of the hip
    x = SIDES[side] * (surface.vertices[:, 0] - crotch[0])
    wide = max(abs(at[f"hip_{side}"][0] - crotch[0]), 1.0)
    front = np.clip((surface.vertices[:, 1] - fold[1]) / (groin[1] - fold[1]), 0.0, 1.0)
    crease = crotch[2] + np.clip(x / wide, 0.0, 1.0) * (
        fold[2] - crotch[2] + front * (max(groin[2], crotch[2]) + 0.02 * tall - fold[2])
    )
    return _share(
        surface, own & (z < crease - below * tall), (~own & (z > crease + above * tall)) | (x < 0)
    )


def _arm_turns(
    surface: Surface,
    landmarks: Mapping[str, Point],
    at: Mapping[str, Array],
    arms_deg: float | None,
    elbow_deg: float,
    reach_deg: float,
) -> list[Turn]:
    """Elbows first, then shoulders sideways, then forward."""
    if arms_deg is None and not elbow_deg and not reach_deg:
        return []
    out = []
    tall = float(surface.vertices[:, 2].max())
    label = segment_at(surface, at)
    axes = limb_axes(surface, landmarks)
    for side, sign in SIDES.items():
        if not has(at, "arm", side) or f"elbow_{side}" not in at:
            raise InputError(
                f"The body has no {side} arm to move; leave arms_deg and elbow_deg out."
            )
        own = label == LIMB[side][0]
        top, pit, wrist = (at[f"{n}_{side}"] for n in ("acromion", "axilla", "wrist"))
        joint = 0.5 * (top + pit)
        line = axes[f"arm_{side}"]
        bend = int(np.argmin(np.linalg.norm(line - at[f"elbow_{side}"], axis=1)))
        elbow = line[bend]
        upper = elbow - line[int(FREE * bend)]  # near the armhole the line is drawn to the trunk
        lower = wrist - elbow
        if elbow_deg:
            y = np.cross(upper, np.array([0.0, -1.0, 0.0]))
            axis = y / np.linalg.norm(y)
            along = (surface.vertices - elbow) @ (lower / np.linalg.norm(lower))
            near, far = (z * tall for z in ZONE["elbow"])
            share = _share(surface, own & (along > far), ~own | (along < -near))
            out.append(Turn(elbow, axis, np.deg2rad(elbow_deg), share))
        if arms_deg is not None:
            now = np.arctan2(sign * upper[0], -upper[2])
            axis = np.array([0.0, -sign, 0.0])
            lift = np.deg2rad(_girdle(arms_deg) - _girdle(np.rad2deg(now)))
            share = _shoulder_share(surface, own, joint, top - pit, sign, tall)
            out.append(Turn(joint, axis, np.deg2rad(arms_deg) - now - lift, share))
            if lift and has(at, "head"):
                share = _girdle_share(surface, own, at, side, tall)
                out.append(Turn(_collar_joint(at, top), axis, lift, share))
            elif lift:
                out[-1] = Turn(joint, axis, np.deg2rad(arms_deg) - now, out[-1].share)
        if reach_deg:
            share = _shoulder_share(surface, own, joint, top - pit, sign, tall)
            out.append(Turn(joint, np.array([1.0, 0.0, 0.0]), -np.deg2rad(reach_deg), share))
    return out


def _bend_turns(surface: Surface, at: Mapping[str, Array], bend_deg: float) -> list[Turn]:
    """The trunk about the small of the back; head and arms go along, hips and legs stay."""
    if not bend_deg:
        return []
    if not at.keys() >= {"waist_front", "waist_back", "hip_left", "hip_right"}:
        raise InputError("The body has no waist and hips to bend between; leave bend_deg at 0.")
    tall = float(np.ptp(surface.vertices[:, 2]))
    front, back = at["waist_front"], at["waist_back"]
    low = max(at["hip_left"][2], at["hip_right"][2]) + BEND_ZONE[0] * tall
    high = max(front[2], low + BEND_ZONE[1] * tall)
    joint = np.array([back[0], back[1] + SPINE * (front[1] - back[1]), 0.5 * (low + high)])
    arms = np.isin(segment_at(surface, at), (ARM_LEFT, ARM_RIGHT))
    z = surface.vertices[:, 2]
    share = _share(surface, arms | (z > high), ~arms & (z < low))
    return [Turn(joint, np.array([1.0, 0.0, 0.0]), np.deg2rad(bend_deg), share)]


def _girdle(arm_deg: float) -> float:
    """How far collar bone and shoulder blade are raised with the arm at an angle, degrees."""
    return GIRDLE * max(arm_deg - GIRDLE_FROM, 0.0)


def _collar_joint(at: Mapping[str, Array], top: Array) -> Array:
    """Where the collar bone meets the breast bone, (3,): beside the front neck point, as deep as the shoulder."""
    front = at["suprasternal"]
    return np.array([front[0] + 0.12 * (top[0] - front[0]), 0.5 * (front[1] + top[1]), front[2]])


def _girdle_share(
    surface: Surface, own: Mask, at: Mapping[str, Array], side: str, tall: float
) -> Array:
    """Share (n,) of the girdle's turn: one on the arm, nought on the other side, the neck, and below the armpit."""
    v = surface.vertices
    middle, below = (share * tall for share in GIRDLE_ZONE)
    out = SIDES[side] * (v[:, 0] - at["suprasternal"][0])
    low = v[:, 2] < at[f"axilla_{side}"][2] - below
    high = (v[:, 2] > at[f"neck_{side}"][2]) & (out < abs(at[f"neck_{side}"][0]) + middle)
    return _share(surface, own, ~own & ((out < middle) | low | high))


def _shoulder_share(
    surface: Surface, own: Mask, joint: Array, rise: Array, sign: float, tall: float
) -> Array:
    """Share (n,) of a shoulder's turn: one on the arm, nought on the trunk, between them over the armhole."""
    normal = np.array([rise[2], 0.0, -rise[0]]) * sign
    out = (surface.vertices - joint) @ (normal / np.linalg.norm(normal))
    near, far = ZONE["shoulder"]
    apart = np.linalg.norm(surface.vertices - joint, axis=1)
    return _share(
        surface, own & (out > far * tall), ~own & ((out < -near * tall) | (apart > 0.11 * tall))
    )


def _share(surface: Surface, one: Mask, nought: Mask) -> Array:
    """Shares (n,) that are one and nought where told, smooth between: a harmonic function, eased at both ends."""
    known = one | nought
    value = one.astype(np.float64)
    free = np.flatnonzero(~known)
    if len(free):
        laplacian = skin_laplacian(surface.vertices, surface.faces)
        inner = laplacian[free][:, free]
        rhs = -laplacian[free][:, np.flatnonzero(known)] @ value[known]
        value[free] = factor(sp.csc_matrix(inner)).solve(rhs)
    value = np.clip(value, 0.0, 1.0)
    return value * value * (3 - 2 * value)


def _creased(before: Surface, after: Surface) -> list[Finding]:
    """The finding for skin that newly runs through itself."""
    more = new_crossings(before, after)
    if not more:
        return []
    words = f"In this pose the skin runs through itself at {more} places more, in deep creases."
    return [Finding(280, words, "pose", Grade.NOTE, more)]
