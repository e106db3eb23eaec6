"""The trunk of a person as smooth solids: the trunk itself, breast, buttock, and the slope to the shoulder."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import LEAST_RISE, Anatomy, Row, arm_axes, rising
from padlib.body.solids import Bar, Ellipsoid, Tube

Array = NDArray[np.float64]


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
    centre = (0.50 * half, back - 0.335 * depth, z)
    room = z - an.m["crotch_height"]  # the fold under it lies a little below the crotch
    tall = float(np.clip(1.6 * room, 0.03 * an.h, an.mix(0.052, 0.056) * an.h))
    return Ellipsoid(centre, (0.42 * half, 0.36 * depth, tall))


def shoulder(an: Anatomy) -> Bar:
    """The slope from neck to shoulder of the left side: collar bone and trapezius."""
    m, h = an.m, an.h
    joint, _ = arm_axes(an)
    neck = m["neck_girth"] / (2 * np.pi)
    start = (0.45 * neck, joint[1] + 0.008 * h, m["cervicale_height"] - 0.028 * h)
    cap = min(0.027 * h, 0.88 * m["upper_arm_girth"] / (2 * np.pi))
    end = (joint[0] + 0.003 * h, joint[1] + 0.002 * h, m["shoulder_height"] + 0.002 * h - cap)
    return Bar(start, end, (0.017 * h, cap))
