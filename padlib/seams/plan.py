"""The seam plan of a whole suit, from neck to wrists and ankles, in its usual pieces.

Two rounds. First the loops that part trunk, arms, legs, head, hands and feet, and the middle of front
and back. Then, within each part, the seams that open it: sides and shoulders of the trunk, the two
seams of each sleeve, the front and back seam of each leg; they end exactly on the loops.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import project
from padlib.errors import SuitError
from padlib.mesh.cut import Inserted
from padlib.mesh.point import points
from padlib.mesh.section import Curve, level_set
from padlib.seams.loops import (
    armhole,
    components_without,
    hip_values,
    limb_loop,
    middle_loop,
    nearest_vertex,
    neck_loop,
    parting_loop,
)
from padlib.seams.place import Place

SIDES = ("left", "right")
INNER = ("shoulder_shift", "side_shift", "sleeve_shift", "sleeve_turn", "leg_shift", "leg_turn")
"""The options of lines within parts of the body (`second_lines`)."""
Values = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A named curve on a mesh, with what happens along it (sewn, opening, closure)."""

    name: str
    curve: Curve
    kind: str = "sewn"


@dataclass(frozen=True)
class Options:
    """Choices of the plan, mm and degrees; see the [seams] table of the suit file."""

    neck_rise: float = 15.0
    wrist_rise: float = 0.0
    ankle_rise: float = 15.0
    seat_margin: float = 15.0
    armhole_shift: float = 0.0
    armhole_hollow: float = 0.0
    shoulder_shift: float = 0.0
    side_shift: float = 0.0
    seat_shift: float = 0.0
    groin_shift: float = 0.0
    sleeve_shift: float = 0.0
    sleeve_turn: float = 0.0
    leg_shift: float = 0.0
    leg_turn: float = 0.0


def parting(options: Options) -> Options:
    """The choices that the lines of `first_lines` hang on, all others as they usually are."""
    usual = Options()
    return replace(options, **{key: getattr(usual, key) for key in INNER})


def region_seeds(place: Place) -> dict[str, int]:
    """A vertex of the shell that surely lies in each part of the body."""
    at, vertices = place.at, place.surface.vertices
    seeds = {"head": place.ends["crown"]}
    for side in SIDES:
        seeds[f"trunk-{side}"] = nearest_vertex(vertices, at[f"waist_{side}"])
        seeds[f"arm-{side}"] = nearest_vertex(vertices, at[f"elbow_{side}"])
        seeds[f"leg-{side}"] = nearest_vertex(vertices, at[f"patella_{side}"])
        seeds[f"hand-{side}"] = place.ends[f"hand_{side}"]
        seeds[f"foot-{side}"] = place.ends[f"foot_{side}"]
    return seeds


def first_lines(place: Place, options: Options) -> list[Line]:
    """The loops between the parts of the body and the middle of front and back."""
    surface, ends = place.surface, place.ends
    scale = place.stature / 1750.0
    lines = [Line("neck", neck_loop(surface, place.at, options.neck_rise, ends), "opening")]
    arms = np.zeros(len(surface.vertices), dtype=bool)
    for side in SIDES:
        hand, foot = ends[f"hand_{side}"], ends[f"foot_{side}"]
        rest = [v for k, v in ends.items() if k != f"hand_{side}"]
        into = {"shift": options.armhole_shift, "hollow": options.armhole_hollow}
        hole = armhole(surface, place.at, side, hand, rest, scale, **into)
        label = components_without(surface.faces, len(surface.vertices), hole)
        arms |= label == label[hand]
        wrist = limb_loop(
            surface,
            place.axes[f"arm_{side}"],
            place.at[f"wrist_{side}"],
            options.wrist_rise,
            hand,
            rest,
            f"{side} wrist opening",
        )
        rest = [v for k, v in ends.items() if k != f"foot_{side}"]
        ankle = limb_loop(
            surface,
            place.axes[f"leg_{side}"],
            place.at[f"ankle_{side}"],
            options.ankle_rise,
            foot,
            rest,
            f"{side} ankle opening",
        )
        lines += [
            Line(f"armhole-{side}", hole),
            Line(f"wrist-{side}", wrist, "opening"),
            Line(f"ankle-{side}", ankle, "opening"),
        ]
    trunk = ~arms[surface.faces].any(axis=1)
    lines.append(Line("hip", _hip_loop(place, trunk, options)))
    lines.append(Line("middle", middle_loop(surface, place.at, trunk, ends["crown"])))
    return lines


def seat_levels(place: Place, margin: float) -> tuple[float, float]:
    """Height in mm at which trunk and legs usually join behind, above the seat pad, and the highest they may, below
    the waist; margin: mm above the pad."""
    hip = place.at["hip_left"][2]
    waist = place.at["waist_back"][2]
    height = hip + 0.45 * (waist - hip)
    vertices = place.surface.vertices
    behind = (place.pad > 4.0) & (vertices[:, 1] > place.at["hip_left"][1])
    behind &= (vertices[:, 2] > hip - 50.0) & (vertices[:, 2] < waist)
    if behind.any():
        height = max(height, float(vertices[behind, 2].max()) + margin)
    return height, waist - 0.12 * (waist - hip)


def seat_top(place: Place, options: Options) -> float:
    """Height in mm at which trunk and legs join behind."""
    height, most = seat_levels(place, options.seat_margin)
    return min(height + options.seat_shift, most)


def hip_landmarks(place: Place, trunk: NDArray[np.bool_]) -> dict[str, Values]:
    """What the seam between trunk and legs goes by: the landmarks, and how far seat and belly reach (y, mm).

    trunk (m,): faces of the shell that are not an arm's.
    """
    at = dict(place.at)
    near = np.abs(place.surface.vertices[:, 2] - at["hip_left"][2]) < 30.0
    near &= np.isin(np.arange(len(near)), place.surface.faces[trunk])
    y = place.surface.vertices[near, 1]
    at["seat_back"], at["belly_front"] = y.max(), y.min()
    return at


def _hip_loop(place: Place, trunk: NDArray[np.bool_], options: Options) -> Curve:
    at, top = hip_landmarks(place, trunk), seat_top(place, options)
    values = hip_values(place.surface.vertices, at, top, bow=options.groin_shift)
    feet = [place.ends["foot_left"], place.ends["foot_right"]]
    loop = parting_loop(place.surface, values, place.ends["crown"], feet, face_mask=trunk)
    if loop is None:
        raise SuitError(
            "the seam between trunk and legs could not be drawn; set the landmarks crotch, "
            "hip_left and hip_right in [body.landmarks]."
        )
    return loop


def chain_curves(mesh: Inserted) -> list[Curve]:
    """The curves drawn into a mesh, along its edges."""
    face_of = np.zeros(len(mesh.vertices), dtype=np.int64)
    corner_of = np.zeros(len(mesh.vertices), dtype=np.int64)
    for c in range(3):
        face_of[mesh.faces[:, c]] = np.arange(len(mesh.faces))
        corner_of[mesh.faces[:, c]] = c
    unit = np.eye(3)
    return [
        Curve(tuple(points(face_of[chain], unit[corner_of[chain]])), closed)
        for chain, closed in zip(mesh.chains, mesh.closed, strict=True)
    ]


def second_lines(
    inserted: Inserted, regions: Mapping[str, NDArray[np.bool_]], place: Place, options: Options
) -> tuple[list[Line], dict[str, Values]]:
    """The seams within trunk, arms and legs of both sides, and the function that parts each.

    The function (n,) of a part is negative on its first panel (front, upper, inner), positive on its
    second (back, under, outer).
    """
    lines: list[Line] = []
    parting: dict[str, Values] = {}
    for side in SIDES:
        for part, draw in (("trunk", _trunk_lines), ("arm", _sleeve_lines), ("leg", _leg_lines)):
            name = f"{part}-{side}"
            drawn, parting[name] = draw(inserted, regions[name], place, side, options)
            lines += drawn
    return lines, parting


def _lines_between(mesh: Inserted, mask: NDArray[np.bool_], values: Values) -> list[Curve]:
    found = level_set(mesh.vertices, mesh.faces, values, face_mask=mask)
    return [c for c in found if not c.closed]


def _ends(mesh: Inserted, curve: Curve) -> tuple[Values, Values]:
    return (
        curve.points[0].on(mesh.vertices, mesh.faces),
        curve.points[-1].on(mesh.vertices, mesh.faces),
    )


def _pick(
    mesh: Inserted, curves: Sequence[Curve], score: Callable[[Values, Values], float], what: str
) -> Curve:
    """The curve whose end points score least; raises SuitError naming what could not be drawn."""
    if not curves:
        raise SuitError(
            f"the {what} seam could not be drawn; check the landmarks in the picture of the "
            "body, or set them in [body.landmarks]."
        )
    return min(curves, key=lambda c: min(score(*_ends(mesh, c)), score(*_ends(mesh, c)[::-1])))


def trunk_values(points: Values, place: Place, side: str, options: Options) -> Values:
    """Of points (k, 3) mm: how far behind the frontal surface of side seam and shoulder seam they lie, mm."""
    at = place.at
    axilla, hip, top = at[f"axilla_{side}"], at[f"hip_{side}"], at[f"acromion_{side}"]
    neck = at[f"neck_{side}"]
    heights = np.array([hip[2], axilla[2], top[2], max(neck[2], top[2] + 1.0)])
    depths = np.array([hip[1], axilla[1], top[1], neck[1]])
    depths += np.repeat([options.side_shift, options.shoulder_shift], 2)
    return points[:, 1] - np.interp(points[:, 2], heights, depths)


def sleeve_values(points: Values, place: Place, side: str, options: Options) -> Values:
    """Of points (k, 3) mm about an arm: how far below the surface in which its sleeve's seams lie they are, mm."""
    offset, tangent = _about(place.axes[f"arm_{side}"], points)
    up = np.cross(tangent, np.array([0.0, 1.0, 0.0]))
    up /= np.linalg.norm(up, axis=1, keepdims=True) * np.sign(up[:, 2:3])
    back = np.cross(up, tangent) if side == "left" else np.cross(tangent, up)
    turn = np.radians(options.sleeve_turn)
    way = np.cos(turn) * up + np.sin(turn) * back
    return options.sleeve_shift - (offset * way).sum(axis=1)


def leg_values(points: Values, place: Place, side: str, options: Options) -> Values:
    """Of points (k, 3) mm about a leg: how far outside the surface in which its seams lie they are, mm."""
    offset, tangent = _about(place.axes[f"leg_{side}"], points)
    outward = np.cross(np.array([0.0, 1.0, 0.0]), -tangent)
    outward *= np.sign(outward[:, :1]) * (1.0 if side == "left" else -1.0)
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    back = np.cross(tangent, outward) * (1.0 if side == "left" else -1.0)
    turn = np.radians(options.leg_turn)
    way = np.cos(turn) * outward + np.sin(turn) * back
    return (offset * way).sum(axis=1) - options.leg_shift


def _trunk_lines(
    mesh: Inserted, mask: NDArray[np.bool_], place: Place, side: str, options: Options
) -> tuple[list[Line], Values]:
    """Side seam (armhole to hip) and shoulder seam (neck to armhole): one frontal surface."""
    at = place.at
    axilla, hip, top = at[f"axilla_{side}"], at[f"hip_{side}"], at[f"acromion_{side}"]
    neck = at[f"neck_{side}"]
    values = trunk_values(mesh.vertices, place, side, options)
    curves = _lines_between(mesh, mask, values)

    def low_score(a: Values, b: Values) -> float:
        return np.linalg.norm(a - axilla) + abs(b[2] - hip[2])

    def high_score(a: Values, b: Values) -> float:
        return np.linalg.norm(a - top) + np.linalg.norm(b - neck)

    low = _pick(mesh, curves, low_score, f"{side} side")
    high = _pick(mesh, curves, high_score, f"{side} shoulder")
    return [Line(f"side-{side}", low), Line(f"shoulder-{side}", high)], values


def _sleeve_lines(
    mesh: Inserted, mask: NDArray[np.bool_], place: Place, side: str, options: Options
) -> tuple[list[Line], Values]:
    """The front and the back seam of a sleeve, between its upper and its under panel.

    They lie in the plane in which the elbow bends, so that the bend is in the seams and not in the
    cloth: on a scanned arm the worst stretch is about half of that with seams above and below.
    """
    own = np.unique(mesh.faces[mask])
    values = np.zeros(len(mesh.vertices))
    values[own] = sleeve_values(mesh.vertices[own], place, side, options)
    curves = _lines_between(mesh, mask, values)
    middle = (place.at[f"acromion_{side}"] + place.at[f"axilla_{side}"]) / 2
    wrist = place.at[f"wrist_{side}"]

    def at_side(sign: float) -> Callable[[Values, Values], float]:
        return lambda a, b: (
            np.linalg.norm(a - middle)
            + np.linalg.norm(b - wrist)
            + (1000.0 if sign * (a[1] - middle[1]) < 0 else 0.0)
        )

    front = _pick(mesh, curves, at_side(-1.0), f"{side} front sleeve")
    rest = [c for c in curves if c is not front]
    back = _pick(mesh, rest, at_side(1.0), f"{side} back sleeve")
    return [Line(f"sleeve-front-{side}", front), Line(f"sleeve-back-{side}", back)], values


def _leg_lines(
    mesh: Inserted, mask: NDArray[np.bool_], place: Place, side: str, options: Options
) -> tuple[list[Line], Values]:
    """The front and the back seam of a leg, between its inner and outer panel."""
    own = np.unique(mesh.faces[mask])
    values = np.zeros(len(mesh.vertices))
    values[own] = leg_values(mesh.vertices[own], place, side, options)
    curves = _lines_between(mesh, mask, values)
    ankle = place.at[f"ankle_{side}"]
    middle = place.axes[f"leg_{side}"][0]

    def at_side(sign: float) -> Callable[[Values, Values], float]:
        return lambda a, b: (
            abs(b[2] - ankle[2]) - 0.5 * a[2] + (1000.0 if sign * (a[1] - middle[1]) < 0 else 0.0)
        )

    front = _pick(mesh, curves, at_side(-1.0), f"{side} front leg")
    back = _pick(mesh, [c for c in curves if c is not front], at_side(1.0), f"{side} back leg")
    return [Line(f"leg-front-{side}", front), Line(f"leg-back-{side}", back)], values


def _about(axis: Values, points: Values) -> tuple[Values, Values]:
    """Offsets (k, 3) of points from a part's axis, and its direction (k, 3) beside them."""
    along, offset = project(axis, points)
    return offset, _direction(axis, along)


def _direction(axis: Values, along: Values) -> Values:
    """Unit tangent (n, 3) of an axis, smooth along it, at lengths (n,) along it."""
    step = np.linalg.norm(np.diff(axis, axis=0), axis=1)
    s = np.concatenate([[0.0], np.cumsum(step)])
    tangent = np.gradient(axis, s, axis=0)
    out = np.stack([np.interp(along, s, tangent[:, d]) for d in range(3)], axis=1)
    return out / np.linalg.norm(out, axis=1, keepdims=True)
