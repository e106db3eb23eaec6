"""Girths of a solid, by rays from the middle of each section, and the section factors that make them right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import Anatomy, arm_axes, arm_places
from padlib.body.person import REGIONS, person
from padlib.body.person_head import head, neck_axes
from padlib.body.person_limbs import leg
from padlib.body.slices import girth, hull
from padlib.body.solids import Solid

Array = NDArray[np.float64]

RAYS = 72
ROUNDS = 12
CLOSE = 1e-3  # of a girth: what the mesh does to it later is more
NO_ARMS = ("legs", "trunk", "neck", "head")
SEEN = (REGIONS, NO_ARMS, ("arms",), ("head",))
PIT = (0.80, 1.0)
FAIRED = 0.005  # of the stature, by which fairing lowers crotch and armpits
NECK_DEEP = 0.33  # from cervicale to front neck point on the solids, as a share of the tape over both (measured here)
COLLAR = (0.65, 1.3)
LEAST, MOST = 0.55, 1.7  # bounds of a section's factor


@dataclass(frozen=True, eq=False)
class Place:
    """Where a tape lies: centre (3,), two directions in its plane, and whether only x >= 0 is shot and mirrored."""

    name: str
    girth: str
    centre: Array
    across: Array
    back: Array
    half: bool = False
    regions: tuple[str, ...] = REGIONS

    def directions(self) -> Array:
        """Unit directions (RAYS, 3) in the plane; for a half, from front to back on the left."""
        turn = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
        if self.half:
            turn = np.linspace(-np.pi / 2, np.pi / 2, RAYS)
        return np.cos(turn)[:, None] * self.across + np.sin(turn)[:, None] * self.back


def places(an: Anatomy) -> list[Place]:
    """Every tape that a section factor answers to."""
    x, y, z = np.eye(3)
    m = an.m
    out = []
    for name, of in (("hip", "hip"), ("navel", "navel"), ("waist", "waist"), ("bust", "chest")):
        level, _, front, back = an.rows[name]
        out.append(
            Place(
                name, f"{of}_girth", np.array([0, 0.5 * (front + back), level]), x, y, True, NO_ARMS
            )
        )
    limb = leg(an)
    s, rows = limb.fine
    heights = {
        "thigh": limb.stations[9], "mid_thigh": limb.stations[8], "knee": limb.stations[6],
        "calf": limb.stations[4], "minimum_leg": limb.stations[2], "ankle": m["ankle_height"],
    }  # fmt: skip
    for name, level in heights.items():
        centre = [np.interp(level, s, rows[:, 4]), np.interp(level, s, rows[:, 5]), level]
        out.append(Place(name, f"{name}_girth", np.array(centre), x, y))
    joint, axes = arm_axes(an)
    elbow, wrist = arm_places(an)
    along = {
        "upper_arm": 0.45 * elbow, "elbow": elbow, "forearm": elbow + 0.22 * (wrist - elbow),
        "wrist": wrist,
    }  # fmt: skip
    for name, far in along.items():
        out.append(
            Place(name, f"{name}_girth", joint + far * axes[2], axes[0], axes[1], regions=("arms",))
        )
    base, axes, length = neck_axes(an)
    skull = head(an)[0].solid
    centre = np.asarray(skull.centre)
    out.append(Place("head", "head_girth", centre, x, y, True, ("head",)))
    tall = an.h - 0.5 * (m["cervicale_height"] + m["suprasternal_height"])
    far = 0.012 * an.h + 0.15 * tall
    out.append(Place("neck", "neck_girth", base + far * axes[2], axes[0], axes[1], True))
    return out


def fitted(an: Anatomy) -> Anatomy:
    """The anatomy with section factors such that every tape reads its girth, and the crotch at its height."""
    radius: dict[str, Array] = {}
    for turn in range(ROUNDS):
        solids = {regions: person(an, regions) for regions in SEEN}
        scale, worst = dict(an.scale), 0.0
        for place in places(an):
            near = radius.get(place.name)
            radius[place.name] = _reach(solids[place.regions], place, near)
            ratio = an.m[place.girth] / _tape(place, radius[place.name])
            worst = max(worst, abs(ratio - 1))
            power = 1.0 if turn < 6 else 0.7
            scale[place.name] = float(np.clip(an.q(place.name) * ratio**power, LEAST, MOST))
        scale["crotch_shift"] = _crotch_shift(solids[NO_ARMS], an)
        scale["pit"] = _pit(solids[REGIONS], an)
        scale["collar"] = _collar(solids[NO_ARMS], an)
        for follower, leader in FOLLOW.items():
            scale[follower] = scale[leader]
        an = replace(an, scale=scale)
        if worst < CLOSE:
            break
    return an


FOLLOW = {"under": "bust", "axilla": "bust", "yoke": "bust"}


def _reach(value: Solid, place: Place, near: Array | None) -> Array:
    """Distance (RAYS,) from the centre to the skin: the first crossing outward, or Newton from where it was."""
    way = place.directions()

    def at(r: Array) -> Array:
        return value(place.centre + r[:, None] * way)

    r = _first_crossing(at) if near is None else near.copy()
    for _ in range(3):
        now = at(r)
        slope = np.clip((at(r + 0.2) - now) / 0.2, 0.25, 4.0)
        r = np.maximum(r - np.clip(now / slope, -12, 12), 1.0)
    return r


def _first_crossing(at: Callable[[Array], Array], step: float = 6.0) -> Array:
    r = np.full(RAYS, 1.0)
    inside = np.ones(RAYS, dtype=bool)
    for _ in range(70):
        inside &= at(r) < 0
        if not inside.any():
            break
        r = r + step * inside
    return r - 0.5 * step


def _tape(place: Place, radius: Array) -> float:
    """Length in mm of a taut tape over the ends of the rays."""
    way = place.directions()
    flat = radius[:, None] * np.stack([way @ place.across, way @ place.back], axis=1)
    if place.half:
        flat = np.concatenate([flat, flat * [-1, 1]])
    points = np.column_stack([flat, np.zeros(len(flat))])
    return girth(hull(points, np.array([0.0, 0.0, 1.0])))


def _crotch_shift(value: Solid, an: Anatomy) -> float:
    """The next shift of the saddle between the legs that brings the crotch to its height."""
    h, wanted = an.h, an.m["crotch_height"]
    y = np.linspace(-0.04, 0.04, 9) * h
    z = wanted + np.arange(-0.06 * h, 0.05 * h, 2.0)
    points = np.stack(np.meshgrid([0.0], y, z, indexing="ij"), axis=-1)
    inside = value(points.reshape(-1, 3)).reshape(len(y), len(z)) < 0
    lowest = z[np.argmax(inside.any(axis=0))]
    shift = an.scale.get("crotch_shift", 0.0) + wanted - lowest + FAIRED * h
    room = an.m["hip_height"] - wanted  # the saddle stays below the hip
    return float(np.clip(shift, -0.03 * h, 0.5 * room))


def _pit(value: Solid, an: Anatomy) -> float:
    """The next factor of the sections about the armpit, that brings it to its height."""
    h, joint = an.h, arm_axes(an)[0]
    level, half, _, _ = an.rows["axilla"]
    z = level + np.arange(-0.09 * h, 0.045 * h, 2.0)
    y = joint[1] + np.linspace(-0.03, 0.03, 7) * h
    inner, outer = 0.5 * half, joint[0] + (joint[2] - z) * np.tan(an.arm_angle)
    x = inner + np.linspace(0, 1, 28)[:, None] * (outer - inner)
    points = np.stack(np.broadcast_arrays(x[:, None, :], y[None, :, None], z), axis=-1)
    joined = (value(points.reshape(-1, 3)).reshape(points.shape[:-1]) < 0).all(axis=0).any(axis=0)
    apex = z[np.argmax(joined)] if joined.any() else z[-1]
    reach = half + an.m["upper_arm_girth"] / (2 * np.pi)  # what a factor of one more would fill
    return float(
        np.clip(
            an.q("pit") - 0.6 * (level + FAIRED * h - apex) * np.tan(an.arm_angle) / reach, *PIT
        )
    )


def _collar(value: Solid, an: Anatomy) -> float:
    """The next factor of the section below the neck, that lets the tape round the foot of the neck read its girth."""
    rise = an.m["cervicale_height"] - an.m["suprasternal_height"]
    wanted = np.sqrt(max((NECK_DEEP * an.m["neck_base_girth"]) ** 2 - rise**2, rise**2))
    _, _, front, back = an.rows["collar"]
    middle, far = 0.5 * (front + back), np.arange(0.0, 0.12 * an.h, 1.0)
    ends = []
    for level, way in (("cervicale_height", 1.0), ("suprasternal_height", -1.0)):
        points = np.column_stack(
            [np.zeros(len(far)), middle + way * far, np.full(len(far), an.m[level])]
        )
        outside = value(points) > 0
        ends.append(far[np.argmax(outside)] if outside.any() else far[-1])
    return float(
        np.clip(an.q("collar") * (1 + 0.8 * (wanted - sum(ends)) / (back - front)), *COLLAR)
    )
