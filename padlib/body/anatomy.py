"""The shape of a person as smooth solids, from a full set of measurements.

Trunk, neck, head, arms and legs are swept sections and ellipsoids that join with fillets. Depth over
breadth of the trunk follows ANSUR II's means; the lines of the profile are drawn by eye (common
practice, no source). Girths come out right because sections are scaled until a tape round the solid
reads what was asked for: `scale` holds those factors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from padlib.body.solids import Bar, Ellipsoid, Part, Solid, Tube, meet, union

Array = NDArray[np.float64]
Row = tuple[float, float, float, float]  # of the trunk: height, half breadth, front y, back y; mm

ARM_ANGLES = np.deg2rad(
    np.arange(40.0, 56.0)
)  # from the vertical: an A pose; wider only past a wide trunk
NECK_ANGLE = np.deg2rad(20.0)
TOES_OUT = np.deg2rad(7.0)
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
THINNEST = 0.016  # of the stature, from the cervicale up to the thinnest neck (as padlib.body.head_marks has it)
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


def _with_side(rows: Array, power: Array, side: Row, least: float) -> tuple[Array, Array]:
    """Sections (k, 4) and powers (k,) with one more between them, where it lies apart from the seat's (row 2)."""
    if abs(side[0] - rows[2, 0]) < least:
        return rows, power
    k = int(np.searchsorted(rows[:, 0], side[0]))
    return np.insert(rows, k, side, axis=0), np.insert(power, k, power[2])


def trunk(an: Anatomy) -> Tube:
    """Trunk from the saddle between the legs to the nape."""
    low = an.m["crotch_height"] + an.scale.get("crotch_shift", 0.0)
    own = dict(an.rows)
    side = own.pop("side")
    zh, half, front, back = own["hip"]
    deep, middle = 0.5 * (back - front), 0.5 * (back + front)
    saddle = (low, 0.44 * half, middle - 0.58 * deep, middle + 0.50 * deep)
    between = (0.5 * (low + zh), 0.95 * half, middle - 0.96 * deep, middle + 0.92 * deep)
    power = np.array([2.0, 2.1, 2.3, 2.25, 2.2, 2.25, 2.35, 2.6, 2.4, 2.1, 2.0])
    rows, power = _with_side(np.array([saddle, between, *own.values()]), power, side, 0.010 * an.h)
    rows[:, 0] = rising(rows[:, 0], LEAST_RISE * an.h)
    depth = 0.5 * (rows[:, 3] - rows[:, 2])
    sizes = np.column_stack([rows[:, 1], rows[:, 1], depth, depth])
    offset = np.column_stack([np.zeros(len(rows)), 0.5 * (rows[:, 2] + rows[:, 3])])
    ends = (0.02 * an.h, 0.02 * an.h)
    return Tube(np.zeros(3), np.eye(3), rows[:, 0], sizes, offset, power, ends, even=0.020 * an.h)


def bust(an: Anatomy) -> Ellipsoid:
    """The breast of the left side: full on a woman, a flat muscle on a man or a child."""
    m, h = an.m, an.h
    _, half, front, back = an.rows["bust"]
    z = m["bust_height"]
    full = an.womanly * float(np.clip((h - 1250) / 250, 0, 1))
    size = (m["chest_girth"] / 950) ** 0.5

    def mix(flat: float, round_: float) -> float:
        return flat + full * (round_ - flat)

    radii = (mix(0.46, 0.43) * half, 0.058 * h * size, mix(0.048, 0.046) * h)
    proud = mix(0.0075, 0.019) * h * size  # how far it stands out before the chest
    sideways = mix(0.48, 0.50) * half
    # the chest's own front falls back toward the side
    fall = 0.5 * (back - front) * (1 - np.sqrt(max(1 - (sideways / half) ** 2, 0)))
    centre = (sideways, front + fall + radii[1] - proud, z + mix(0.006, 0.004) * h)
    return Ellipsoid(centre, radii)


def buttock(an: Anatomy) -> Ellipsoid:
    """The left buttock."""
    z, half, front, back = an.rows["hip"]
    depth = back - front
    centre = (0.47 * half, back - 0.335 * depth, z)
    tall = min(an.mix(0.052, 0.056) * an.h, max(0.9 * (z - an.m["crotch_height"]), 0.03 * an.h))
    return Ellipsoid(centre, (0.46 * half, 0.36 * depth, tall))


# -- legs -----------------------------------------------------------------------------------------


def leg_line(an: Anatomy) -> tuple[Array, Array]:
    """Hip joint and ankle (3,) of the left leg: so far apart that the thighs do not touch."""
    m, h = an.m, an.h
    thigh = m["thigh_girth"] / (2 * np.pi)
    joint = np.array([max(0.82 * thigh + 0.004 * h, 0.048 * h), 0.0, m["crotch_height"] + 0.03 * h])
    spread = max(0.084 * h, joint[0] + 0.034 * h)
    return joint, np.array([spread, 0.012 * h, m["ankle_height"]])


def leg(an: Anatomy) -> Tube:
    """The left leg from ankle to hip."""
    m, h = an.m, an.h
    joint, ankle = leg_line(an)
    zc, zk, za, zh = (m[f"{n}_height"] for n in ("crotch", "knee", "ankle", "hip"))
    thigh, mid, knee = an.r("thigh"), an.r("mid_thigh"), an.r("knee")
    calf, thin, bone = an.r("calf"), an.r("minimum_leg"), an.r("ankle")
    _, half, front, back = an.rows["hip"]
    zn = max(za + 0.028 * h, 0.064 * h)
    zm = 0.5 * (zk + m["trochanter_height"])
    above, shin = 0.72 * knee + 0.28 * mid, 0.45 * thin + 0.55 * calf
    # height; outer, inner, back and front half sizes; centre back of the line; power
    rows = np.array([
        (za - 0.030 * h, 0.86 * bone, 0.86 * bone, 1.06 * bone, 1.02 * bone, 0.000, 2.1),
        (za, 0.88 * bone, 0.88 * bone, 1.10 * bone, 1.08 * bone, 0.000, 2.1),
        (zn, 0.90 * thin, 0.90 * thin, 1.10 * thin, 1.08 * thin, 0.003, 2.1),
        (zn + 0.36 * (zk - zn), 0.95 * shin, 0.93 * shin, 1.07 * shin, 1.03 * shin, 0.009, 2.0),
        (0.705 * zk, 0.98 * calf, 0.95 * calf, 1.12 * calf, 0.96 * calf, 0.012, 2.0),
        (0.88 * zk, 0.96 * knee, 0.95 * knee, 1.08 * knee, 0.98 * knee, 0.008, 2.05),
        (zk, 0.96 * knee, 0.96 * knee, 0.99 * knee, 1.08 * knee, 0.002, 2.15),
        (zk + 0.038 * h, 0.96 * above, 0.97 * above, 1.02 * above, 1.04 * above, -0.002, 2.1),
        (zm, 0.94 * mid, 0.93 * mid, 1.03 * mid, 1.09 * mid, -0.005, 2.05),
        (zc - 0.023 * h, 0.85 * thigh, 0.82 * thigh, 1.12 * thigh, 1.16 * thigh, -0.001, 2.2),
        (zh, 0.475 * half, 0.47 * half, 0.95 * back, -0.98 * front, 0.000, 2.1),
        (zh + 0.055 * h, 0.42 * half, 0.40 * half, 0.55 * back, -0.70 * front, 0.000, 2.1),
    ])  # fmt: skip
    rows[:, 0] = rising(rows[:, 0], LEAST_RISE * h)
    share = (rows[:, 0] - ankle[2]) / (joint[2] - ankle[2])
    across = ankle[0] + share * (joint[0] - ankle[0])
    across[-3] = max(across[-3], rows[-3, 2] + 0.006 * h)  # the thighs stay apart
    across[-2:] = (
        np.array([0.985, 0.84]) * half - rows[-2:, 1]
    )  # and above follow the hip's outside
    lean = rows[:, 5] * h + (1 - np.clip(share, 0, 1)) * ankle[1]
    offset = np.column_stack([across, lean])
    ends = (0.02 * h, 0.05 * h)
    return Tube(np.zeros(3), np.eye(3), rows[:, 0], rows[:, 1:5], offset, rows[:, 6], ends)


def foot(an: Anatomy) -> Tube:
    """The left foot, toes forward and a little out; its sole goes a little below the floor."""
    m, h = an.m, an.h
    _, ankle = leg_line(an)
    length, wide = m["foot_length"], m["foot_breadth"]
    along = np.array([np.sin(TOES_OUT), -np.cos(TOES_OUT), 0.0])
    across = np.array([np.cos(TOES_OUT), np.sin(TOES_OUT), 0.0])
    heel = np.array([ankle[0], ankle[1], 0.0]) - 0.235 * length * along
    tall = max(0.92 * m["ankle_height"], 0.22 * length)
    # share of the length; half width; height; centre across: shares of breadth and of `tall`
    rows = np.array([
        (0.00, 0.27, 0.52, 0.00), (0.10, 0.34, 0.74, 0.00), (0.26, 0.35, 1.00, 0.00),
        (0.42, 0.37, 0.86, -0.01), (0.58, 0.43, 0.62, -0.02), (0.72, 0.49, 0.45, -0.01),
        (0.86, 0.46, 0.34, 0.01), (0.96, 0.38, 0.27, 0.00), (1.00, 0.30, 0.22, -0.02),
    ])  # fmt: skip
    top = rows[:, 2] * tall
    half = np.column_stack([rows[:, 1] * wide, rows[:, 1] * wide, 0.60 * top, 0.60 * top])
    offset = np.column_stack([rows[:, 3] * wide, 0.40 * top])
    axes = np.stack([across, np.array([0.0, 0.0, 1.0]), along])
    ends = (0.025 * h, 0.012 * h)
    return Tube(heel, axes, rows[:, 0] * length, half, offset, np.full(len(rows), 2.3), ends)


# -- arms -----------------------------------------------------------------------------------------


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


def arm(an: Anatomy) -> Tube:
    """The left arm from shoulder to finger tips, the palm facing the thigh."""
    m, h = an.m, an.h
    joint, axes = arm_axes(an)
    up, el, fore, wr = an.r("upper_arm"), an.r("elbow"), an.r("forearm"), an.r("wrist")
    se, sw = arm_places(an)
    hand, palm = m["hand_length"], 0.5 * m["hand_breadth"]
    flat, low, long = 0.36 * palm, 0.5 * (up + el), sw - se
    pit, taper = up * an.q("pit"), 0.5 * (fore + wr)
    # along; outer, inner, back and front half sizes; centre across, share of h; 0; power
    rows = np.array([
        (-0.034 * h, 0.16 * up, 0.55 * pit, 0.55 * up, 0.55 * up, 0.0, 0.0, 2.0),
        (-0.012 * h, 0.62 * up, 0.86 * pit, 0.90 * up, 0.90 * up, 0.0, 0.0, 2.0),
        (0.012 * h, 0.92 * up, 0.92 * pit, 1.06 * up, 1.06 * up, 0.0, 0.0, 2.1),
        (0.036 * h, 1.00 * up, 0.93 * pit, 1.10 * up, 1.10 * up, 0.0, 0.0, 2.2),
        (0.38 * se, 0.95 * up, 0.95 * up, 1.05 * up, 1.05 * up, 0.0, 0.0, 2.0),
        (0.52 * se, 0.95 * up, 0.95 * up, 1.05 * up, 1.05 * up, 0.0, 0.0, 2.0),
        (0.80 * se, 0.92 * low, 0.92 * low, 1.02 * low, 1.02 * low, 0.0, 0.0, 2.0),
        (se, 1.02 * el, 1.02 * el, 0.98 * el, 0.98 * el, 0.0, 0.0, 2.05),
        (se + 0.22 * long, 1.0 * fore, 1.0 * fore, 1.0 * fore, 1.0 * fore, 0.0, 0.0, 2.0),
        (se + 0.62 * long, 0.98 * taper, 0.98 * taper, 1.06 * taper, 1.06 * taper, 0.0, 0.0, 2.0),
        (sw, 0.84 * wr, 0.84 * wr, 1.15 * wr, 1.15 * wr, 0.0, 0.0, 2.1),
        (sw + 0.16 * hand, 0.66 * wr, 0.66 * wr, 0.82 * palm, 0.82 * palm, 0.000, 0.0, 2.2),
        (sw + 0.42 * hand, 1.05 * flat, 1.05 * flat, palm, palm, -0.002, 0.0, 2.3),
        (sw + 0.66 * hand, 0.84 * flat, 0.84 * flat, 0.90 * palm, 0.90 * palm, -0.006, 0.0, 2.3),
        (sw + 0.90 * hand, 0.82 * flat, 0.82 * flat, 0.66 * palm, 0.62 * palm, -0.013, 0.0, 2.3),
        (sw + 1.00 * hand, 0.78 * flat, 0.78 * flat, 0.48 * palm, 0.42 * palm, -0.017, 0.0, 2.3),
    ])  # fmt: skip
    rows[:, 0] = rising(rows[:, 0], LEAST_RISE * h)
    # the elbow is where the line of the arm turns forward
    turn = np.interp(rows[:, 0], [0.0, se, sw, sw + hand], [0.0, 0.006, -0.016, -0.021])
    rows[:, 6] = turn
    ends = (0.02 * h, 0.006 * h)
    return Tube(joint, axes, rows[:, 0], rows[:, 1:5], rows[:, 5:7] * h, rows[:, 7], ends)


def web(an: Anatomy) -> Bar:
    """Flesh between arm and trunk from the shoulder joint down to the left armpit: no hole is left above the fold."""
    h, joint = an.h, shoulder_joint(an)
    level, half, _, _ = an.rows["axilla"]
    wide = min(0.026 * h, 0.34 * max(joint[2] - level, 0.03 * h))
    low = min(level + 0.010 * h + wide, joint[2] - 1.0)
    inner = joint[0] + (joint[2] - low) * np.tan(an.arm_angle)
    inner -= an.r("upper_arm") * an.q("pit") / np.cos(an.arm_angle)
    end = (0.5 * (inner + half), joint[1], low)
    return Bar(joint, end, (wide, wide))


def thumb(an: Anatomy) -> Bar:
    """The left thumb, pointing forward and down."""
    joint, axes = arm_axes(an)
    _, sw = arm_places(an)
    hand, palm, h = an.m["hand_length"], 0.5 * an.m["hand_breadth"], an.h
    root = np.array([0.0, -0.018 * h - 0.45 * palm, sw + 0.10 * hand])
    tip = np.array([-0.006 * h, -0.020 * h - 1.12 * palm, sw + 0.50 * hand])
    radii = (0.30 * palm + 2.0, 0.26 * palm + 2.0)
    return Bar(joint + root @ axes, joint + tip @ axes, radii)


def shoulder(an: Anatomy) -> Bar:
    """The slope from neck to shoulder of the left side: collar bone and trapezius."""
    m, h = an.m, an.h
    joint, _ = arm_axes(an)
    neck = m["neck_girth"] / (2 * np.pi)
    start = (0.45 * neck, joint[1] + 0.008 * h, m["cervicale_height"] - 0.028 * h)
    cap = min(0.027 * h, 0.88 * m["upper_arm_girth"] / (2 * np.pi))
    end = (joint[0] + 0.003 * h, joint[1] + 0.002 * h, m["shoulder_height"] + 0.002 * h - cap)
    return Bar(start, end, (0.017 * h, cap))


# -- neck and head --------------------------------------------------------------------------------


def neck_axes(an: Anatomy) -> tuple[Array, Array, float]:
    """Base (3,) of the neck, its axes (3, 3): across, back, along, and its length, mm."""
    m, h = an.m, an.h
    _, _, front, back = an.rows["collar"]
    level = 0.5 * (m["cervicale_height"] + m["suprasternal_height"]) - 0.012 * h
    base = np.array([0.0, 0.5 * (front + back) + 0.002 * h, level])
    sine, cosine = np.sin(NECK_ANGLE), np.cos(NECK_ANGLE)
    axes = np.array([[1.0, 0.0, 0.0], [0.0, cosine, sine], [0.0, -sine, cosine]])
    return base, axes, max(0.09 * h, chin_height(an) - level + 0.07 * h)


def neck(an: Anatomy) -> Tube:
    """The neck, thinnest where people's is over the cervicale."""
    base, axes, length = neck_axes(an)
    thin = (an.m["cervicale_height"] + THINNEST * an.h - base[2]) / np.cos(NECK_ANGLE)
    thin = float(np.clip(thin, 0.25 * length, 0.60 * length))
    s = np.array([-0.05 * an.h, 0.0, thin, max(thin + 0.03 * an.h, 0.75 * length), length])
    s[-1] = max(length, s[-2] + 0.02 * an.h)
    low = 1 + 0.4 * (an.q("collar") - 1)
    sizes = np.array([1.18 * low, 1.08 * low, 0.97, 1.0, 1.02])
    half = an.r("neck") * sizes[:, None] * np.array([0.98, 0.98, 1.03, 1.03])
    ends = (0.02 * an.h, 0.02 * an.h)
    return Tube(base, axes, s, half, np.zeros((5, 2)), np.full(5, 2.0), ends)


def chin_height(an: Anatomy) -> float:
    """Height of the chin, mm: head height over girth is 0.365 in a child, 0.395 in an adult (from memory)."""
    grown = float(np.clip((an.h - 1100) / 500, 0, 1))
    return an.h - (0.365 + 0.030 * grown) * an.m["head_girth"]


def head(an: Anatomy) -> list[Part]:
    """An egg of a head with nose, chin and ears."""
    g = an.m["head_girth"] * an.q("head") / 574.0
    k = (an.h - chin_height(an)) / 227.0
    base, axes, length = neck_axes(an)
    y = (base + 0.92 * length * axes[2])[1] - 8.0 * g
    top = an.h

    def at(x: float, back: float, down: float) -> tuple[float, float, float]:
        return x * g, y + back * g, top - down * k

    return [
        Part(Ellipsoid(at(0, 8, 92), (77 * g, 97 * g, 92 * k)), 0.018 * an.h),
        Part(Ellipsoid(at(0, -36, 140), (60 * g, 58 * g, 84 * k)), 45 * g),
        Part(Ellipsoid(at(0, -58, 200), (31 * g, 29 * g, 25 * k)), 34 * g),
        Part(Bar(at(0, -84, 108), at(0, -103, 148), (8 * g, 11.5 * g)), 16 * g),
        Part(Ellipsoid(at(76, 14, 122), (12 * g, 16 * g, 28 * k)), 14 * g),
    ]


# -- the whole ------------------------------------------------------------------------------------


def parts(an: Anatomy) -> dict[str, list[Part]]:
    """The parts of a person in the order of their joining, by region."""
    h = an.h
    legs = leg(an)
    return {
        "legs": [
            Part(legs, 0.01 * h),
            Part(legs, 0.01 * h, mirrored=True),
            Part(foot(an), 0.018 * h),
        ],
        "trunk": [
            Part(trunk(an), 0.018 * h),
            *(Part(buttock(an), 0.022 * h, mirrored) for mirrored in (False, True)),
            *(Part(bust(an), 0.030 * h, mirrored) for mirrored in (False, True)),
            *(Part(shoulder(an), 0.042 * h, mirrored) for mirrored in (False, True)),
        ],
        "neck": [Part(neck(an), 0.022 * h)],
        "head": head(an),
        "arms": [Part(arm(an), 0.024 * h), Part(web(an), 0.020 * h), Part(thumb(an), 0.016 * h)],
    }


REGIONS = ("legs", "trunk", "neck", "head", "arms")


def person(an: Anatomy, regions: Sequence[str] = REGIONS) -> Solid:
    """The whole person, or some regions, as one solid for points with x >= 0; the other side is its mirror image."""
    h = an.h
    made = parts(an)
    body = union([part for name in regions for part in made[name]], 0.06 * h)

    def value(points: Array) -> Array:
        out = body(points)
        low = points[:, 2] < 0.05 * h
        out[low] = meet(out[low], -points[low, 2], 0.014 * h)
        return out

    return value
