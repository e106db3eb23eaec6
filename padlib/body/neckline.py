"""The foot of the neck: the tape round it, and side neck points put where a given girth says.

The side neck point lies on a slope without a corner: people who measure find it within a centimetre or two (common
practice, no source). Where the girth over it is given, it is the better witness, and the point slides along the slope.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.parts import SIDES
from padlib.body.slices import clipped, girth, hull, oblique
from padlib.mesh.point import nearest

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

NAME = "neck_base_girth"
INWARD, OUTWARD = (
    0.62,
    1.4,
)  # how far the point may slide, as shares of its distance from the middle
HALVINGS = 14
BESIDE_MM = 0.01  # the plane passes so far beside the landmarks: both may be vertices, where a cut is not sure


def neck_base_ring(vertices: Array, faces: Ints, at: Mapping[str, Array]) -> Array:
    """Taut ring (h, 3) through cervicale and front neck point, no wider than the side neck points at[...] (3,)."""
    return _clipped(*_section(vertices, faces, at), {side: at[f"neck_{side}"] for side in SIDES})


def _section(vertices: Array, faces: Ints, at: Mapping[str, Array]) -> tuple[Array, Array, Array]:
    """Starts and ends (k, 3) of the section between cervicale and front neck point, and its normal (3,)."""
    back, front = at["cervicale"], at["suprasternal"]
    across = np.array([0.0, -(back - front)[2], (back - front)[1]])
    across /= np.linalg.norm(across)
    point = 0.5 * (back + front) + BESIDE_MM * across
    cut = oblique(vertices, faces, point[None], across[None])
    start, end = cut.start, cut.end
    way = (front - back) / np.linalg.norm(front - back)
    for tip, out in ((front, way), (back, -way)):  # a flat plane runs on through the chest
        start, end = clipped(start, end, tip, out)
    return start, end, across


def _clipped(start: Array, end: Array, across: Array, sides: Mapping[str, Array]) -> Array:
    for side, sign in SIDES.items():
        start, end = clipped(start, end, sides[side], np.array([sign, 0.0, 0.0]))
    return hull(np.concatenate([start, end]), across)


def based(body: Body, given: Mapping[str, float]) -> Body:
    """The body with its side neck points slid to where the given neck base girth (mm) lies over them.

    The body as it is where that girth is not given or a landmark is missing.
    """
    marks = ("cervicale", "suprasternal", "neck_left", "neck_right")
    if NAME not in given or any(name not in body.landmarks for name in marks):
        return body
    v, f = body.surface.vertices, body.surface.faces
    at = {name: body.at(name) for name in marks}
    section = _section(v, f, at)
    middle = 0.5 * (at["cervicale"] + at["suprasternal"]) * [1.0, 0.0, 0.0]

    def slid(share: float) -> dict[str, Array]:
        flat = np.array([share, 1.0, 1.0])
        return {side: middle + (at[f"neck_{side}"] - middle) * flat for side in SIDES}

    def over(share: float) -> float:
        ring = _clipped(*section, slid(share))
        return girth(ring) if len(ring) else 0.0

    low, high = INWARD, OUTWARD
    if over(high) < given[NAME]:  # the neck itself is too thin: padlib.body.asks makes it wider
        low, high = (1.0, 1.0) if over(1.0) > over(high) - 0.5 else (high, high)
    for _ in range(HALVINGS):
        half = 0.5 * (low + high)
        low, high = (half, high) if over(half) < given[NAME] else (low, half)
    places = slid(0.5 * (low + high))
    lifted = {side: _on_slope(v, place) for side, place in places.items()}
    points = nearest(v, f, np.array(list(lifted.values())))
    new = {f"neck_{side}": point for side, point in zip(lifted, points, strict=True)}
    return replace(body, landmarks={**body.landmarks, **new})


def _on_slope(vertices: Array, place: Array) -> Array:
    """The place (3,) lifted or lowered to the skin that is nearest to it in height, by the vertices about it."""
    beside = np.linalg.norm(vertices[:, :2] - place[:2], axis=1)
    near = vertices[(beside < 25.0) & (np.abs(vertices[:, 2] - place[2]) < 60.0)]
    if len(near) < 4:
        return place
    flat = np.column_stack([np.ones(len(near)), near[:, :2] - place[:2]])
    weight = np.exp(-(((near[:, :2] - place[:2]) ** 2).sum(axis=1)) / 200.0)[:, None]
    fit = np.linalg.lstsq(flat * weight, near[:, 2] * weight[:, 0], rcond=None)[0]
    return np.array([place[0], place[1], fit[0]])
