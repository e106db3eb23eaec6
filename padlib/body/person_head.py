"""The neck and head of a person as smooth solids."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import NECK_ANGLE, Anatomy
from padlib.body.solids import Bar, Ellipsoid, Part, Tube

Array = NDArray[np.float64]
THINNEST = 0.016  # of the stature, from the cervicale up to the thinnest neck (as padlib.body.head_marks has it)


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
