"""Landmarks of the legs: mid-thigh, knee, calf, ankle, heel, toe. What a cut-off leg does not reach is left out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.figure import Figure, Mark
from padlib.body.parts import SIDES
from padlib.body.pick import TAPE, bow, most, on_profile, pick, smoothed, top
from padlib.body.slices import extreme, girth, hull

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

HIP_JOINT = 0.045  # of stature above the crotch
KNEE = 0.527  # of the height of the hip joint: midpatella (ANSUR II: 0.528 men, 0.525 women)
CALF = 0.72  # of the knee's height
MALLEOLUS = 0.040  # of stature (ANSUR II: 0.0415 men, 0.0385 women)
LEAST_LEVELS = 5  # sections of a leg below which nothing is looked for

FRONT, BACK = np.array([0.0, -1.0, 0.0]), np.array([0.0, 1.0, 0.0])


def leg_marks(fig: Figure, hips: dict[str, Mark]) -> dict[str, Mark]:
    """Mid-thigh, patella, knee back, calf, ankle, heel and toe of each side; `hips` gives the trochanter levels."""
    marks: dict[str, Mark] = {}
    if fig.crotch is None:
        return marks
    for side in SIDES:
        levels = np.flatnonzero(fig.parts.leg[side] >= 0)
        levels = levels[fig.levels[levels] < fig.crotch_z]
        if len(levels) < LEAST_LEVELS:
            continue
        sides = _sides(fig, side, levels)
        z = fig.levels[levels]
        knee, sure = _knee(fig, z, sides["front"])
        marks[f"patella_{side}"] = (on_profile(sides["front"], z, knee), sure)
        marks[f"knee_back_{side}"] = (on_profile(sides["back"], z, knee), sure)
        if f"hip_{side}" in hips:
            middle = 0.5 * (knee + hips[f"hip_{side}"][0][2])
            marks[f"mid_thigh_{side}"] = (_front(fig, side, middle), min(0.8, sure))
        calf = _calf(fig, side, levels, knee)
        marks[f"calf_{side}"] = (on_profile(sides["back"], z, calf), 0.9)
        if fig.feet:
            ankle = _ankle(fig, z, sides["out"], SIDES[side])
            marks[f"ankle_{side}"] = (on_profile(sides["out"], z, ankle), 0.7 if fig.head else 0.4)
            marks.update(_foot(fig, side, levels))
    return marks


def _front(fig: Figure, side: str, height: float) -> Array:
    """The foremost point (3,) of one leg at a height, also where the thighs touch."""
    levels = fig.window(height - 0.01 * fig.stature, height + 0.01 * fig.stature)
    low, high = sorted((float(fig.crotch[0]), SIDES[side] * np.inf))
    return on_profile(fig.side(levels, FRONT, low, high), fig.levels[levels], height)


def _sides(fig: Figure, side: str, levels: Ints) -> dict[str, Array]:
    """Front, back and outer points (k, 3) of one leg at each level."""
    cut, loops = fig.parts.cut, fig.parts.leg[side][levels]
    points = [cut.points(n) for n in loops]
    group = np.repeat(np.arange(len(loops)), [len(p) for p in points])
    points = np.concatenate(points)
    ways = {"front": FRONT, "back": BACK, "out": np.array([SIDES[side], 0.0, 0.0])}
    return {name: extreme(points, group, points @ way, len(loops)) for name, way in ways.items()}


def _knee(fig: Figure, z: Array, front: Array) -> tuple[float, float]:
    """Height of the middle of the kneecap: the bulge of the front line, held near the published share of the leg.

    Where the soles are missing their height is an estimate, and the knee is as unsure.
    """
    tall = fig.stature
    near = fig.base + KNEE * (fig.crotch_z - fig.base + HIP_JOINT * tall)
    inside = (z > near - 0.11 * tall) & (z < near + 0.08 * tall)
    if inside.sum() < LEAST_LEVELS or z[0] > near - 0.05 * tall:
        return near, 0.3
    bulge = bow(front[inside][:, 1:])
    at, lead = pick(z[inside], bulge / tall, near=near, spread=0.010 * tall, weight=0.003)
    sure = 0.6 + 0.3 * np.clip(most(bulge) / tall / 0.006, 0, 1)
    return at, float(sure if fig.feet else min(sure, 0.5))


def _calf(fig: Figure, side: str, levels: Ints, knee: float) -> float:
    """Height of the greatest girth of the lower leg; NaN where the leg ends above it."""
    z, knee = fig.levels[levels] - fig.base, knee - fig.base
    inside = np.flatnonzero((z > 0.5 * knee) & (z < 0.86 * knee))
    if len(inside) < LEAST_LEVELS or z[0] > CALF * knee:
        return np.nan
    cut = fig.parts.cut
    taut = np.array(
        [girth(hull(cut.points(n), cut.normals[0])) for n in fig.parts.leg[side][levels[inside]]]
    )
    at = top(z[inside], taut / fig.stature, near=CALF * knee, spread=0.06 * knee, weight=0.002)
    return at + fig.base


def _ankle(fig: Figure, z: Array, out: Array, sign: float) -> float:
    """Height of the outer malleolus: the bulge of the outer line, held near the published height.

    Taken together over a tape's breadth and softly: below it the instep adds 2 to 4 mm of girth for each mm, and a
    scan's noise is half as high as the bulge.
    """
    tall = fig.stature
    inside = (z > 0.022 * tall) & (z < 0.062 * tall)
    if inside.sum() < LEAST_LEVELS:
        return np.nan
    bulge = smoothed(-sign * bow(out[inside][:, [0, 2]]), TAPE)
    at, _ = pick(
        z[inside],
        bulge / tall,
        near=MALLEOLUS * tall,
        spread=0.005 * tall,
        weight=0.002,
        soft=1.0,
    )
    return at


def _foot(fig: Figure, side: str, levels: Ints) -> dict[str, Mark]:
    """Heel: rearmost of the foot; toe: the point of the foot farthest from it."""
    cut = fig.parts.cut
    low = levels[fig.levels[levels] < 0.05 * fig.stature]
    if not len(low):
        return {}
    points = np.concatenate([cut.points(n) for n in fig.parts.leg[side][low]])
    ends = _whole_foot(fig, points)
    if not len(ends):
        return {}
    heel = ends[np.argmax(ends[:, 1])]
    toe = ends[np.argmax(np.linalg.norm(ends[:, :2] - heel[:2], axis=1))]
    return {f"heel_{side}": (heel, 0.9), f"toe_{side}": (toe, 0.9)}


def _whole_foot(fig: Figure, points: Array) -> Array:
    """The foot's own vertices: low ones within the plan of the leg's sections (toes may be loops of their own)."""
    pad = 0.01 * fig.stature
    low, high = points.min(axis=0) - pad, points.max(axis=0) + pad
    near = (
        (fig.vertices[:, 2] < 0.05 * fig.stature)
        & (fig.vertices[:, 0] > low[0])
        & (fig.vertices[:, 0] < high[0])
    )
    return fig.vertices[
        near & (fig.vertices[:, 1] < high[1]) & (fig.vertices[:, 1] > low[1] - 2 * pad)
    ]
