"""What a tape asks of the rings and landmarks of a body, for padlib.body.fit: targets, and the next movement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from padlib.body.body import Body
from padlib.body.levels import CROTCH, DROPS, bow, by_depth, levels
from padlib.body.measure import HEIGHTS, Measurements
from padlib.body.parts import SIDES, unsided
from padlib.body.tape import length
from padlib.body.warp import Hold, Tie, point_hold, ring_hold

Array = NDArray[np.float64]

GIRTHS = (
    "head_girth", "neck_girth", "neck_base_girth", "chest_girth", "bust_girth", "waist_girth", "hip_girth",
    "thigh_girth", "mid_thigh_girth", "knee_girth", "calf_girth", "minimum_leg_girth", "ankle_girth",
    "upper_arm_girth", "elbow_girth", "forearm_girth", "wrist_girth",
)  # fmt: skip
SHAPES = ("bust", "waist", "hip")
LENGTHS = (
    "arm_length", "upper_arm_length", "shoulder_width", "shoulder_length", "foot_length", "hand_length",
)  # fmt: skip
ANSWERED = (
    *GIRTHS,
    *HEIGHTS,
    *DROPS,
    CROTCH,
    *LENGTHS,
    *(f"{part}_{kind}" for part in SHAPES for kind in ("breadth", "depth")),
)
# A girth that is not given goes along with given ones beside it, by these shares
BESIDE = {
    "chest_girth": {"bust_girth": 1.0},
    "bust_girth": {"chest_girth": 1.0},
    "mid_thigh_girth": {"thigh_girth": 0.55, "knee_girth": 0.45},
    "minimum_leg_girth": {"ankle_girth": 1.0},
    "ankle_girth": {"minimum_leg_girth": 1.0},
    "elbow_girth": {"upper_arm_girth": 0.5, "forearm_girth": 0.5},
}
WITH_STATURE = ("arm_length", "upper_arm_length", "shoulder_width", "foot_length", "hand_length")
ON_LEVEL = (
    "head_girth", "neck_girth", "chest_girth", "bust_girth", "waist_girth", "hip_girth", "thigh_girth",
    "mid_thigh_girth", "knee_girth", "calf_girth", "minimum_leg_girth", "ankle_girth",
)  # fmt: skip
POINTS = {  # landmarks that move up and down with the heights
    "": ("crown", "cervicale", "suprasternal", "crotch"),
    "_left": ("heel", "toe", "acromion"),
    "_right": ("heel", "toe", "acromion"),
}
WHEN_ASKED = {
    "axilla_height": "axilla",
    "trochanter_height": "hip",
}  # ... only where asked
UPRIGHT = ("head_girth", "neck_girth", "bust_girth", "waist_girth", "hip_girth")
LEGS = ("thigh_girth", "mid_thigh_girth", "knee_girth")
# depth by length of the line through the crotch; most in one round, a share
CROTCH_GAIN, CROTCH_STEP = 0.8, 0.1
MOST_STEP, MOST_BASE = 1.2, 1.08  # factors of a girth in one round; that of the neck's base
LEAST_GAP_MM = 3.0  # that is left between growing thighs


@dataclass(frozen=True)
class Asks:
    """What is wanted: given values by name; girths and lengths in mm, held ones included; depth over breadth."""

    given: Mapping[str, float]
    girths: Mapping[str, float]
    lengths: Mapping[str, float]
    stature: float | None
    ratios: Mapping[str, float]


def asks(
    given: Mapping[str, float], start: Mapping[str, float], flatten: Mapping[str, float]
) -> Asks:
    """Targets for everything that is steered. given, start: mm by name; flatten: depth over breadth by part.

    Heights are not compared here: `check_levels` does.
    """
    girths = {}
    for name in GIRTHS:
        if name in start and (name in given or name != "neck_base_girth"):
            girths[name] = given.get(name, start[name] * _along(name, given, start))
    taller = given.get("stature", start.get("stature", 1.0)) / start.get("stature", 1.0)
    lengths = {n: start[n] * taller for n in WITH_STATURE if n in start}
    if "arm_length" in given and "arm_length" in start and "upper_arm_length" not in given:
        ratio = given["arm_length"] / start["arm_length"]
        lengths["upper_arm_length"] = start["upper_arm_length"] * ratio
    lengths |= {n: given[n] for n in LENGTHS if n in given}
    ratios = dict(flatten)
    for part in SHAPES:
        broad, deep = given.get(f"{part}_breadth"), given.get(f"{part}_depth")
        if broad and deep:
            ratios[part] = deep / broad
            if f"{part}_girth" not in given:
                girths.pop(f"{part}_girth", None)
        elif broad or deep:
            ratios.pop(part, None)
    return Asks(given, girths, lengths, given.get("stature", start.get("stature")), ratios)


def _along(name: str, given: Mapping[str, float], start: Mapping[str, float]) -> float:
    """The factor by which a girth that is not given follows those beside it."""
    out = 1.0
    for other, share in BESIDE.get(name, {}).items():
        if other in given:
            out *= (given[other] / start[other]) ** share
    return out


Steering = tuple[dict[str, Hold], dict[str, Array], list[Tie], dict[str, Array]]


def steering(body: Body, told: Measurements, wanted: Asks) -> Steering:
    """Holds, moves, ties and anchors (padlib.body.warp) of the next movement of a measured body."""
    v, f = body.surface.vertices, body.surface.faces
    holds: dict[str, Hold] = {}
    moves: dict[str, Array] = {}
    for key, line in told.tape_lines.items():
        name = unsided(key)
        if not name.endswith("_girth") or (name not in wanted.girths and name not in GIRTHS[:-1]):
            continue
        hold = ring_hold(v, f, line)
        if hold is not None and (name in wanted.girths or name.removesuffix("_girth") in SHAPES):
            holds[key] = hold
            moves[key] = _reshaped(name, line, hold, told.values, wanted)
    level = levels(told.values, wanted.given, wanted.stature)
    ties, anchors = [], _anchors(holds, level)
    for name in _point_names(wanted):
        if name in body.landmarks:
            holds[name] = point_hold(v, f, body.landmarks[name])
    for key, hold in holds.items():
        if key not in anchors and _on_level(key, wanted):
            z = hold.centre[2]
            ties.append(Tie({key: 1.0}, 2, float(np.interp(z, *level))))
        if key in UPRIGHT:  # the trunk grows about its own middle and does not lean
            back = bow(told.values, wanted.given) if key == "bust_girth" else 0.0
            ties += [Tie({key: 1.0}, 0, 0.0), Tie({key: 1.0}, 1, back)]
        if key.startswith("acromion"):
            ties.append(Tie({key: 1.0}, 1, 0.0))
    ties += _apart(body, holds, moves, anchors)
    ties += _spans(holds, told.values, wanted)
    return holds, moves, ties, anchors


def _reshaped(
    name: str, line: Array, hold: Hold, values: Mapping[str, float], wanted: Asks
) -> Array:
    """Movement (k, 3) of a ring's places that gives it its girth and shape, about its own centre."""
    spread = hold.places - hold.centre
    part = name.removesuffix("_girth")
    wide, deep = 1.0, 1.0
    if part in SHAPES:
        wide, deep = _section(part, line, values, wanted)
    elif name in wanted.girths:
        most = MOST_BASE if name == "neck_base_girth" else MOST_STEP
        wide = deep = float(np.clip(wanted.girths[name] / values[name], 1 / most, most))
    if wide == deep:
        return (wide - 1) * spread
    return spread * [wide - 1, deep - 1, 0.0]


def _section(
    part: str, line: Array, values: Mapping[str, float], wanted: Asks
) -> tuple[float, float]:
    """Factors of breadth and depth of a level ring (h, 3) of the trunk."""
    ring = line[:, :2]
    girth = wanted.girths.get(f"{part}_girth")
    size = np.ptp(ring, axis=0)
    own = [wanted.given.get(f"{part}_{kind}") for kind in ("breadth", "depth")]
    if part == "hip" and own == [None, None] and CROTCH in values and by_depth(wanted.given):
        lacks = CROTCH_GAIN * (wanted.given[CROTCH] - values[CROTCH])
        first = 1.0 + float(np.clip(lacks / size[1], -CROTCH_STEP, CROTCH_STEP))
        return _other(ring, 1, first, girth), first
    if part in wanted.ratios:
        flat = wanted.ratios[part] * size[0] / size[1]  # depth over breadth, against now
        scale = own[0] / size[0] if girth is None else girth / length(ring * [1.0, flat])
        return float(scale), float(scale * flat)
    for k in (0, 1):
        if own[k] is not None:
            first = own[k] / size[k]
            other = _other(ring, k, first, girth)
            return (first, other) if k == 0 else (other, first)
    scale = float(girth / values[f"{part}_girth"])
    return scale, scale


def _other(ring: Array, k: int, first: float, girth: float) -> float:
    """The factor across that gives a ring (h, 2) its girth when coordinate k is scaled by `first`."""

    def miss(other: float) -> float:
        factors = np.array([first, other] if k == 0 else [other, first])
        return length(ring * factors) - girth

    if miss(0.5) > 0 or miss(1.9) < 0:
        return float(np.clip(girth / length(ring), 0.5, 1.9))
    return float(brentq(miss, 0.5, 1.9, xtol=1e-9))


def _anchors(holds: Mapping[str, Hold], level: tuple[Array, Array]) -> dict[str, Array]:
    """The holds that do not move sideways: both ankles, or the lowest ring of the trunk there is."""
    names = [n for n in ("ankle_girth_left", "ankle_girth_right") if n in holds]
    names = (
        names or [n for n in ("hip_girth", "waist_girth", "bust_girth", *holds) if n in holds][:1]
    )
    return {name: np.array([0.0, 0.0, np.interp(holds[name].centre[2], *level)]) for name in names}


def _point_names(wanted: Asks) -> list[str]:
    """Landmarks that are held."""
    out = [f"{name}{side}" for side, names in POINTS.items() for name in names]
    sided = [mark for name, mark in WHEN_ASKED.items() if name in wanted.given]
    sided += ["neck"] * ("shoulder_length" in wanted.lengths)
    sided += ["hand_tip"] * ("hand_length" in wanted.lengths)
    return list(dict.fromkeys(out + [f"{mark}_{side}" for mark in sided for side in SIDES]))


def _on_level(key: str, wanted: Asks) -> bool:
    """Whether a hold goes up and down with the heights."""
    name = unsided(key)
    asked = {mark for height, mark in WHEN_ASKED.items() if height in wanted.given}
    return name in ON_LEVEL or name in asked or name in POINTS["_left"] or key in POINTS[""]


def _apart(
    body: Body, holds: Mapping[str, Hold], moves: Mapping[str, Array], anchors: Mapping[str, Array]
) -> list[Tie]:
    """Ties that keep growing thighs from each other: the inner side stays, the outer one goes out."""
    out = []
    middle = float(body.at("crotch")[0]) if "crotch" in body.landmarks else 0.0
    for side, sign in SIDES.items():
        for name in (f"{leg}_{side}" for leg in LEGS):
            if name not in holds or name in anchors:
                continue
            x = sign * (holds[name].places[:, 0] - middle)
            inner = int(np.argmin(x))
            inward = -sign * float(moves[name][inner, 0])
            room = max(0.5 * (float(x[inner]) - LEAST_GAP_MM), 0.0)
            if inward > room:
                out.append(Tie({name: 1.0}, 0, sign * (inward - room)))
    return out


def _spans(holds: Mapping[str, Hold], values: Mapping[str, float], wanted: Asks) -> list[Tie]:
    """Ties that make arms, hands, feet and shoulders as long as they are wanted."""
    ratio = {n: wanted.lengths[n] / values[n] for n in wanted.lengths if n in values}
    if "arm_length" in ratio or "upper_arm_length" in ratio:
        upper = wanted.lengths.get("upper_arm_length", values["upper_arm_length"])
        whole = wanted.lengths.get("arm_length", values["arm_length"])
        ratio["upper_arm_length"] = upper / values["upper_arm_length"]
        ratio["forearm"] = (whole - upper) / (values["arm_length"] - values["upper_arm_length"])
    out = []
    for side in SIDES:
        for name, first, last, across in (
            ("upper_arm_length", f"acromion_{side}", f"elbow_girth_{side}", (0, 1, 2)),
            ("forearm", f"elbow_girth_{side}", f"wrist_girth_{side}", (0, 1, 2)),
            ("hand_length", f"wrist_girth_{side}", f"hand_tip_{side}", (0, 1, 2)),
            ("foot_length", f"heel_{side}", f"toe_{side}", (0, 1)),
            ("shoulder_length", f"neck_{side}", f"acromion_{side}", (0, 1, 2)),
        ):
            out += _span(holds, first, last, ratio.get(name), across)
    return out + _span(holds, "acromion_right", "acromion_left", ratio.get("shoulder_width"), (0,))


def _span(
    holds: Mapping[str, Hold], first: str, last: str, ratio: float | None, across: tuple[int, ...]
) -> list[Tie]:
    """Ties that stretch the way from one hold to another by a ratio."""
    if ratio is None or first not in holds or last not in holds:
        return []
    way = holds[last].centre - holds[first].centre
    return [Tie({last: 1.0, first: -1.0}, c, float((ratio - 1) * way[c])) for c in across]
