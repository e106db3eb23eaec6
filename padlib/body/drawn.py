"""Landmarks of a body that was drawn from measurements, at the heights that it was drawn to.

A shape says little of some levels: a wide trunk has no narrowest one, a soft calf no marked fullest one. Where a body
is drawn, they are known; a landmark then only has to be found at its height, along the skin from where the shape
alone would put it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.anatomy import half_shoulder
from padlib.body.body import Body
from padlib.body.parts import unsided
from padlib.body.slices import slices
from padlib.mesh.point import nearest

Array = NDArray[np.float64]

CALF = 0.72  # of the knee's height: the fullest calf, as padlib.body.person_limbs draws it
LEVELS = {  # the measurement whose value is each landmark's height
    "chest_front": "bust_height", "chest_back": "bust_height", "bust": "bust_height",
    "waist_front": "waist_height", "waist_back": "waist_height", "waist": "waist_height",
    "hip": "trochanter_height", "seat": "hip_height",
    "cervicale": "cervicale_height", "suprasternal": "suprasternal_height",
    "patella": "knee_height", "knee_back": "knee_height", "ankle": "ankle_height",
}  # fmt: skip
KNOWN = (*dict.fromkeys(LEVELS), "acromion")  # beginnings of names that the drawing knows
SIDEWAYS = ("waist_left", "waist_right", "hip_left", "hip_right", "ankle_left", "ankle_right")


def heights(drawn: Mapping[str, float]) -> dict[str, float]:
    """Height in mm of each landmark (without its side) of a body drawn from full measurements in mm."""
    out = {mark: drawn[name] for mark, name in LEVELS.items()}
    out["mid_thigh"] = 0.5 * (drawn["knee_height"] + drawn["trochanter_height"])
    return out | {"calf": drawn.get("calf_height", CALF * drawn["knee_height"])}


def at_heights(body: Body, levels: Mapping[str, float]) -> Body:
    """The body with landmarks slid over the skin to heights in mm, by name with or without their side."""
    v, f = body.surface.vertices, body.surface.faces
    new = {}
    for name in body.landmarks:
        level = levels.get(name, levels.get(unsided(name)))
        if level is not None:
            new[name] = _slid(v, f, body.at(name), level, 1 if name in SIDEWAYS else 0)
    new = {name: place for name, place in new.items() if place is not None}
    if not new:
        return body
    points = nearest(v, f, np.array(list(new.values())))
    return replace(body, landmarks={**body.landmarks, **dict(zip(new, points, strict=True))})


def at_shoulders(body: Body, drawn: Mapping[str, float]) -> Body:
    """The body with its shoulder points on the ridge where the tape over both reads the drawn shoulder width (mm).

    Found on the shape, a soft shoulder's point lies up to 18 mm wider or narrower, and the shoulders would be moved.
    """
    v, f = body.surface.vertices, body.surface.faces
    names = [name for name in ("acromion_left", "acromion_right") if name in body.landmarks]
    if not names:
        return body
    aside = half_shoulder(
        drawn["shoulder_width"], drawn["cervicale_height"] - drawn["shoulder_height"]
    )
    x = sorted(np.sign(body.at(name)[0]) * aside for name in names)
    cut = slices(v, f, x, (1.0, 0.0, 0.0))
    tops = [max(cut.start[cut.level == k], key=lambda p: p[2]) for k in range(len(x))]
    names.sort(key=lambda name: body.at(name)[0])
    points = nearest(v, f, np.array(tops))
    return replace(body, landmarks={**body.landmarks, **dict(zip(names, points, strict=True))})


def _slid(v: Array, f: NDArray[np.int64], place: Array, level: float, held: int) -> Array | None:
    """The point (3,) of the skin at a height that is nearest to a place, in its plane of a held coordinate."""
    cut = slices(v, f, [float(place[held])], tuple(np.eye(3)[held]))
    low, high = cut.start[:, 2], cut.end[:, 2]
    over = (np.minimum(low, high) <= level) & (np.maximum(low, high) > level)
    if not over.any():
        return None
    t = ((level - low) / np.where(high == low, 1.0, high - low))[over, None]
    points = cut.start[over] * (1 - t) + cut.end[over] * t
    return points[np.argmin(np.abs(points[:, 1 - held] - place[1 - held]))]
