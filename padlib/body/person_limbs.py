"""The limbs of a person as smooth solids: leg and foot, arm and hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import LEAST_RISE, Anatomy, arm_axes, arm_places, rising, shoulder_joint
from padlib.body.solids import Bar, Tube

Array = NDArray[np.float64]
TOES_OUT = np.deg2rad(7.0)


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
