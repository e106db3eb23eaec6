"""What a person is drawn from: measurements, the sections of the trunk, and where the arms hang.

Depth over breadth of the trunk follows ANSUR II's means; the lines of the profile are drawn by eye (common
practice, no source). Girths come out right because sections are scaled until a tape round the solid
reads what was asked for: `scale` holds those factors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Row = tuple[float, float, float, float]  # of the trunk: height, half breadth, front y, back y; mm
ARM_ANGLES = np.deg2rad(
    np.arange(40.0, 56.0)
)  # from the vertical: an A pose; wider only past a wide trunk
NECK_ANGLE = np.deg2rad(20.0)
# depth over breadth, male and female: hip and navel from ANSUR II's means, waist and chest by eye
DEPTH = {
    "hip": (0.711, 0.658),
    "navel": (0.729, 0.710),
    "waist": (0.715, 0.69),
    "chest": (0.77, 0.77),
}
# girth over the perimeter of the plain ellipse of that breadth and depth, of the sections drawn here
FULL = {"hip": 1.06, "navel": 1.03, "waist": 1.03, "chest": 1.05}
WAISTED = (
    1.02  # sections above and below the waist are at least so much larger: it can be found again
)
BELOW_PIT = 0.022  # the full chest lies at least so far below the armpits, share of the stature
UNDER = 0.042  # how far below the bust the section under it lies, share of the stature
BACK_ROUND = 1.025  # shoulder width over the straight ways to the cervicale (18 bodies drawn here: 1.015 to 1.038)
LEAST_RISE = 0.006  # between the stations of a tube, share of the stature


def rising(stations: Array, least: float) -> Array:
    """Stations (k,) that rise by at least so much from each to the next; those that do already stay."""
    steps = least * np.arange(len(stations))
    return np.maximum.accumulate(stations - steps) + steps


@dataclass(frozen=True, eq=False)
class Anatomy:
    """What the solids are made from: measurements in mm by name, 0 male to 1 female, and section factors."""

    m: Mapping[str, float]
    womanly: float
    scale: Mapping[str, float]

    @property
    def h(self) -> float:
        """Stature, mm."""
        return self.m["stature"]

    def q(self, name: str) -> float:
        """The factor of a section."""
        return self.scale.get(name, 1.0)

    def mix(self, male: float, female: float) -> float:
        """Between a man's number and a woman's."""
        return male + (female - male) * self.womanly

    def r(self, name: str) -> float:
        """Radius in mm of the circle of a girth, times the section's factor."""
        return self.m[f"{name}_girth"] / (2 * np.pi) * self.q(name)

    def half(self, part: str, girth: float) -> tuple[float, float]:
        """Half breadth and half depth of a section of the trunk, mm (perimeter: S. Ramanujan 1914)."""
        ratio = self.mix(*DEPTH[part])
        round_ = np.pi * (3 * (1 + ratio) - np.sqrt((3 + ratio) * (1 + 3 * ratio)))
        breadth = girth / FULL[part] / round_
        return breadth, breadth * ratio

    @cached_property
    def arm_angle(self) -> float:
        """Angle of the arms from the vertical, radians."""
        return _arm_angle(self)

    @cached_property
    def rows(self) -> dict[str, Row]:
        """The sections of the trunk from hip to nape."""
        return _trunk_rows(self)


def _trunk_rows(an: Anatomy) -> dict[str, Row]:
    m, h = an.m, an.h
    hip = an.half("hip", m["hip_girth"])
    navel = an.half("navel", max(m["navel_girth"], WAISTED * m["waist_girth"]))
    waist, chest = an.half("waist", m["waist_girth"]), an.half("chest", m["chest_girth"])
    ribs = _ribs(an)
    under = an.half("chest", max(ribs, min(WAISTED * m["waist_girth"], m["chest_girth"])))
    neck = m["neck_girth"] / (2 * np.pi)
    hollow = an.mix(0.023, 0.026) * h
    seat = 1.04 * hip[1]
    loin = seat - hollow
    back = loin + 0.019 * h
    zw, zh = m["waist_height"], m["hip_height"]
    zb = min(m["bust_height"], m["axilla_height"] - BELOW_PIT * h)
    za, zs, zc = m["axilla_height"], m["shoulder_height"], m["cervicale_height"]
    zn = max(0.5 * (zw + zh) + 0.02 * h, m["crotch_height"] + 0.075 * h)
    rows = {}

    def put(name: str, z: float, half: float, back_y: float, depth: float) -> None:
        q = an.q(name)
        middle = back_y - depth
        rows[name] = (z, half * q, middle - depth * q, middle + depth * q)

    zt = np.clip(m["trochanter_height"], zh - 0.4 * (zh - m["crotch_height"]), 0.5 * (zh + zn))
    near = float(np.exp(-(((zt - zh) / (0.014 * h)) ** 2)))
    put("hip", zh, (0.975 + 0.025 * near) * hip[0], seat, hip[1])
    put("navel", zn, navel[0], loin + 0.15 * hollow, navel[1])
    put("waist", zw - an.mix(0.004, 0.008) * h, waist[0], loin, waist[1])
    put("under", zb - UNDER * h, under[0], back - 0.002 * h, under[1])
    put("bust", zb, chest[0], back, chest[1])
    put("axilla", za, 0.90 * an.q("pit") * chest[0], back + 0.006 * h, 0.965 * chest[1])
    put("yoke", za + 0.60 * (zs - za), 0.68 * chest[0], back - 0.006 * h, 0.78 * chest[1])
    put("collar", zs - 0.004 * h, 0.44 * chest[0], back - 0.018 * h, 0.56 * chest[1])
    rows["side"] = _side((zh, hip[0] * an.q("hip"), *rows["hip"][2:]), rows["navel"], zt)
    # the top lies inside the leaning neck
    middle = back - 0.018 * h - 0.56 * chest[1] - np.tan(NECK_ANGLE) * (zc - zs)
    put("nape", zc - 0.016 * h, 0.74 * neck, middle + 0.72 * neck, 0.74 * neck)
    return rows


def _ribs(an: Anatomy) -> float:
    """Girth in mm a little below the bust: no barrel over a slim waist, no fold over a wide one."""
    chest, waist = an.m["chest_girth"], an.m["waist_girth"]
    share = UNDER * an.h / max(an.m["bust_height"] - an.m["waist_height"], UNDER * an.h)
    tapered = chest - 0.7 * share * max(chest - waist, 0.0)
    return max(min(an.mix(0.97, 0.90) * chest, tapered), 0.5 * (waist + 0.93 * chest))


def _side(hip: Row, navel: Row, level: float) -> Row:
    """The section where the hips are widest, at the level of the trochanter, a little off the seat's."""
    z, half, front, back = hip
    t = max(level - z, 0.0) / (navel[0] - z)
    return level, half, front + t * (navel[2] - front), back + t * (navel[3] - back)


def half_shoulder(width: float, drop: float) -> float:
    """How far from the middle a shoulder point lies, mm, if the tape over both and the cervicale reads a width.

    drop: of the shoulder points below the cervicale, mm. The tape is BACK_ROUND times as long as the two straight ways.
    """
    half = 0.5 * width / BACK_ROUND
    return float(np.sqrt(max(half**2 - drop**2, (0.6 * half) ** 2)))


def shoulder_joint(an: Anatomy) -> Array:
    """Shoulder joint (3,) of the left arm."""
    m, h = an.m, an.h
    # a broad chest carries the arms outward
    inside = an.rows["bust"][1] * 0.84 - 0.35 * m["upper_arm_girth"] / (2 * np.pi)
    tip = half_shoulder(m["shoulder_width"], m["cervicale_height"] - m["shoulder_height"])
    wide = max(tip - 0.010 * h, inside)
    back = an.rows["axilla"][3]
    return np.array([wide, back - 0.062 * h, m["shoulder_height"] - 0.025 * h])


def arm_axes(an: Anatomy) -> tuple[Array, Array]:
    """Shoulder joint (3,) of the left arm, and its axes (3, 3): outward, back, along."""
    sine, cosine = np.sin(an.arm_angle), np.cos(an.arm_angle)
    axes = np.array([[cosine, 0.0, sine], [0.0, 1.0, 0.0], [sine, 0.0, -cosine]])
    return shoulder_joint(an), axes


def _arm_angle(an: Anatomy) -> float:
    """The least of ARM_ANGLES at which the arm hangs clear of the trunk below the armpit."""
    joint = shoulder_joint(an)
    radius = an.m["upper_arm_girth"] / (2 * np.pi)
    rows = np.array([an.rows[n] for n in ("hip", "navel", "waist", "under", "bust", "axilla")])
    z = np.linspace(rows[0, 0], an.m["axilla_height"] - 0.018 * an.h, 40)
    half = np.interp(z, rows[:, 0], rows[:, 1])
    wanted = an.h * np.interp(
        an.m["axilla_height"] - z, [0.018 * an.h, 0.06 * an.h], [0.010, 0.024]
    )
    for angle in ARM_ANGLES:
        gap = joint[0] + (joint[2] - z) * np.tan(angle) - radius / np.cos(angle) - half
        if (gap > wanted).all():
            break
    return float(angle)


def arm_places(an: Anatomy) -> tuple[float, float]:
    """Elbow and wrist along the arm from the shoulder joint, mm."""
    elbow = an.m["upper_arm_length"] - 0.025 * an.h
    return elbow, elbow + an.m["forearm_length"]
