"""Ridges and creases between the solids of a body taken away: where limbs join the trunk, the skin runs on smoothly.

A joint of solids leaves a bulge where two of them all but coincide, and a crease where they meet: waves shorter than
about 2 pi times the reach, which go.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import Anatomy, arm_axes, arm_places
from padlib.body.calm import smoothed, untangled
from padlib.body.person_head import chin_height
from padlib.mesh.surface import Faces, Surface, Vertices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH = 0.0095  # of the stature, where the trunk is faired most
LEAST = 0.5  # of an edge, everywhere: thumbs and soles keep no ragged triangles


def faired(an: Anatomy, v: Vertices, f: Faces, mirror: Ints, edge: float) -> Vertices:
    """Vertices (n, 3) of a whole body, faired about trunk, hips and shoulders, and a little everywhere.

    mirror (n,): images in x = 0; edge: length of the triangles' edges in mm.
    """
    v = smoothed(v, f, np.maximum(_reach(an, v) * REACH * an.h, LEAST * edge))
    v = 0.5 * (v + v[mirror] * [-1.0, 1.0, 1.0])
    return untangled(Surface(v, f), mirror).vertices


def _reach(an: Anatomy, v: Vertices) -> Array:
    """Share (n,) of the reach: one on the trunk, nought on head, forearms, hands and below the knees."""
    m, h = an.m, an.h
    x, z = np.abs(v[:, 0]), v[:, 2]
    low = _step(z, m["knee_height"], m["crotch_height"] - 0.06 * h)
    high = 1 - _step(
        z, m["cervicale_height"] - 0.01 * h, max(chin_height(an), m["cervicale_height"] + 0.01 * h)
    )
    joint, axes = arm_axes(an)
    elbow, _ = arm_places(an)
    along = np.column_stack([x, v[:, 1], z]) - joint
    far = along @ axes[2]
    beside = np.linalg.norm(along - far[:, None] * axes[2], axis=1)
    wide = 0.5 * m["upper_arm_girth"] / np.pi
    arm = 1 - _step(far, 0.15 * elbow, 0.65 * elbow) * (1 - _step(beside, 1.25 * wide, 2.2 * wide))
    return low * high * arm


def _step(at: Array, low: float, high: float) -> Array:
    """From nought at `low` to one at `high`, smooth."""
    t = np.clip((at - low) / (high - low), 0.0, 1.0)
    return t * t * (3 - 2 * t)
