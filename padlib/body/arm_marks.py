"""Landmarks of the arms: elbow, wrist, tip of the hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.figure import Figure, Mark
from padlib.body.limb import Limb, limb, submesh
from padlib.body.parts import SIDES, top_of
from padlib.body.pick import pick
from padlib.body.regions import arm_region
from padlib.body.slices import extreme
from padlib.findings import Finding, Grade

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ELBOW = 0.535  # share of the way shoulder to wrist (ANSUR II: acromion-radiale 0.191, radiale-stylion 0.150 of stature)
HAND = 0.110  # hand length as a share of stature (ANSUR II)
LEAST_ARM = 0.30  # of stature, armhole to tip: a whole arm is 0.43, with a fist 0.37
LEAST_SECTIONS, LEAST_FACES = 5, 50  # of an arm
LEAST_HAND = 0.045  # nothing nearer to the tip than this share of stature is taken for the wrist


def arm_limb(fig: Figure, side: str, shoulder: Array) -> Limb | None:
    """The arm's centre line from the armhole to the tip of the hand, and its sections; None for no more than a stub."""
    axilla = fig.axilla[side]
    loops = fig.parts.arm[side]
    top = top_of(loops >= 0)
    own = loops[: top + 1]
    own = own[own >= 0][::-1]
    if len(own) < LEAST_SECTIONS:
        return None
    centre = fig.parts.cut.centre[own]
    start = 0.5 * (axilla + shoulder)
    own_line = np.concatenate([start[None], centre])
    region = arm_region(fig.vertices, fig.faces, axilla, shoulder, own_line)
    points, faces = submesh(fig.vertices, fig.faces, region)
    if len(faces) < LEAST_FACES:
        return None
    along = centre[-1] - centre[0]
    tip = points[np.argmax(points @ (along / np.linalg.norm(along)))]
    inner = centre[(centre - start) @ along > 0]
    rough = np.concatenate([start[None], inner, tip[None]])
    return limb(points, faces, rough, to_tip=True)


def arm_marks(fig: Figure, marks: dict[str, Mark], findings: list[Finding]) -> dict[str, Mark]:
    """Elbow, wrist and hand tip of each side that has armpit, shoulder point and a whole arm."""
    out: dict[str, Mark] = {}
    for side in SIDES:
        places = [marks.get(f"{name}_{side}") for name in ("axilla", "acromion")]
        if any(place is None or not np.all(np.isfinite(place[0])) for place in places):
            continue
        arm = arm_limb(fig, side, marks[f"acromion_{side}"][0])
        if arm is None or not _whole(arm) or arm.s[-1] < LEAST_ARM * fig.stature:
            findings.append(_cut(side))
            continue
        wrist, sure = _wrist(arm, fig.stature)
        elbow, bent = _elbow(arm, wrist)
        out[f"hand_tip_{side}"] = (arm.line[-1], 0.9)
        out[f"wrist_{side}"] = (on_section(arm, wrist, outward(arm, wrist, side)), sure)
        out[f"elbow_{side}"] = (on_section(arm, elbow, behind(arm, elbow)), bent)
    return out


def _whole(arm: Limb) -> bool:
    """Whether most of the arm's sections are closed."""
    return bool(np.isfinite(arm.girth).mean() > 0.5)


def _cut(side: str) -> Finding:
    """The finding for an arm that is too short to have a hand."""
    words = f"The {side} arm is cut off; its elbow, wrist and hand are left out."
    return Finding(240, words, f"{side} arm", Grade.WARNING)


def _wrist(arm: Limb, stature: float) -> tuple[float, float]:
    """Distance along the arm of its thinnest place before the hand."""
    total = arm.s[-1]
    near = total - HAND * stature
    range_ = (arm.s > 0.55 * total) & (arm.s < total - LEAST_HAND * stature)
    at, _ = pick(
        arm.s[range_],
        -arm.girth[range_] / stature,
        near=near,
        spread=0.03 * stature,
        weight=0.004,
        soft=0.1,
    )
    least = np.interp(at, arm.s, arm.girth)
    wider = np.nanmax(arm.girth[arm.s > at], initial=0.0) / max(least, 1e-9)
    return at, 0.9 if wider > 1.1 else 0.5


def _elbow(arm: Limb, wrist: float) -> tuple[float, float]:
    """Distance along the arm of the elbow: the bend of the line, held near the published share."""
    chord = arm.at(wrist) - arm.line[0]
    length = np.linalg.norm(chord)
    inside = arm.s < wrist
    offset = arm.line[inside] - arm.line[0]
    away = np.linalg.norm(offset - np.outer(offset @ chord, chord) / length**2, axis=1) / length
    at, _ = pick(arm.s[inside], away, near=ELBOW * wrist, spread=0.06 * wrist, weight=0.01)
    return at, float(0.5 + 0.4 * np.clip(away.max() / 0.06, 0, 1))


def outward(arm: Limb, s: float, side: str) -> Array:
    """Unit direction (3,) square to the arm and away from the body."""
    return _square(np.array([SIDES[side], 0.0, 0.3]), arm.direction(s))


def behind(arm: Limb, s: float) -> Array:
    """Unit direction (3,) square to the arm on the outside of the elbow: backward, turned to the bend's outside."""
    tangent = arm.direction(s)
    turn = arm.direction(s - 60.0) - arm.direction(s + 60.0)
    return _square(np.array([0.0, 0.35, 0.0]) + turn, tangent)


def _square(vector: Array, tangent: Array) -> Array:
    """The unit part (3,) of a vector that is square to a tangent."""
    out = vector - (vector @ tangent) * tangent
    return out / np.linalg.norm(out)


def on_section(arm: Limb, s: float, direction: Array) -> Array:
    """The point (3,) of the section nearest to s that is farthest along a direction."""
    k = int(np.argmin(np.where(np.isfinite(arm.girth), np.abs(arm.s - s), np.inf)))
    points = arm.cut.start[arm.cut.level == k]
    best = extreme(points, np.zeros(len(points), dtype=np.int64), points @ direction, 1)[0]
    return best + (s - arm.s[k]) * arm.tangent[k]
