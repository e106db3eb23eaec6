"""Measurements of a body by ISO 8559-1 and ISO 7250-1 names, with the line of each tape.

Girths are what a taut tape reads: the perimeter of the convex hull of an exact plane section. Heights are vertical,
lengths lie on the surface. A measurement of paired limbs is the mean of both sides; its two tape lines carry _left and
_right. A measurement whose landmarks are missing is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.axes import hip_joint, places
from padlib.body.body import Body
from padlib.body.gates import gates
from padlib.body.landmarks import find_landmarks
from padlib.body.limb import Limb, limb, resampled, submesh
from padlib.body.neckline import neck_base_ring
from padlib.body.parts import SIDES, unsided
from padlib.body.quiet import quiet
from padlib.body.regions import ARM_LEFT, ARM_RIGHT, HEAD, arm_line, has, segment_at
from padlib.body.slices import girth, hull, oblique, slices
from padlib.body.tape import (
    closed,
    length,
    level_ring,
    level_rings,
    nearest_loop,
    ring,
    spine,
    square_ring,
    taut,
    widest,
)
from padlib.body.worn_over import worn_over
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

NECK_SPAN = (0.06, 0.32)  # of the way from the neck's base to the crown: its girth is there
NECK_BELOW = 0.5  # of that way: so far below the base is skin that its tape may meet
LEANS, FINER = range(0, 46, 5), 2.5  # degrees that the tape leans forward, then about the best
SLIM = 0.04  # of that way squared: a smaller loop is an ear, or the hollow of the mouth

LEG_GIRTHS = {  # the landmark at whose level each is taken
    "mid_thigh_girth": "mid_thigh",
    "knee_girth": "patella",
    "calf_girth": "calf",
    "ankle_girth": "ankle",
}
TAPE_STEP = 5.0  # mm between the points at which it is asked whether a tape lies on the scan
UNSEEN = 20.0  # mm from what was scanned
FOOT_END, END_SEEN = (
    25.0,
    5.0,
)  # mm about heel and toe; mm from what was scanned that count as scanned
ON_CUT, ON_FILLING = 0.08, 0.4  # shares of a tape that may lie on a cut, and on a filling

HEIGHTS = {
    "stature": ("crown",),
    "cervicale_height": ("cervicale",),
    "suprasternal_height": ("suprasternal",),
    "shoulder_height": ("acromion_left", "acromion_right"),
    "axilla_height": ("axilla_left", "axilla_right"),
    "bust_height": ("chest_front",),
    "waist_height": ("waist_left", "waist_right"),
    "trochanter_height": ("hip_left", "hip_right"),
    "hip_height": ("seat_left", "seat_right"),
    "crotch_height": ("crotch",),
    "knee_height": ("patella_left", "patella_right"),
    "calf_height": ("calf_left", "calf_right"),
    "ankle_height": ("ankle_left", "ankle_right"),
}


@dataclass(frozen=True)
class Measurements:
    """Measurements in mm by name; the line (k, 3) of each tape, rings closed; what looks wrong with them.

    unsure: how far those that rest on skin which was not scanned may be off, mm (padlib.body.doubt tells it).
    """

    values: dict[str, float]
    tape_lines: dict[str, Array]
    warnings: tuple[Finding, ...] = field(default=())
    unsure: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Wearer:
    """A body made ready: quiet vertices, faces, landmark positions, trunk and legs, arms as sections."""

    vertices: Array
    faces: Ints
    at: dict[str, Array]
    trunk: tuple[Array, Ints]
    arm: dict[str, tuple[Array, Ints, Limb]]


Line = tuple[str, Array]


def measure(body: Body) -> Measurements:
    """Every measurement that the body's landmarks allow. Landmarks are found first if the body carries none."""
    landmarks = body.landmarks or find_landmarks(body.surface).points
    wearer = ready(body.surface, places(body.surface, landmarks))
    values, lines, told = taken(wearer, body)
    told += worn_over(wearer.vertices, wearer.faces, wearer.at, values)
    return Measurements(values, lines, (*told, *gates(values)))


def taken(wearer: Wearer, body: Body) -> tuple[dict[str, float], dict[str, Array], list[Finding]]:
    """Values in mm by name, tape lines, and what is left out, of a body made ready (of which only the gap is used)."""
    lines: dict[str, Array] = {}
    values = _heights(wearer.at)
    for part in PARTS:
        lines.update(dict(part(wearer)))
    lines = {name: line for name, line in lines.items() if len(line) > 1}
    lines, told = _scanned(lines, body)
    values.update(_lengths(lines))
    values.update(_breadths(lines, wearer.at))
    told += _foot_told(values, wearer.at, body)
    told += _turned_told(values)
    return {name: float(value) for name, value in values.items()}, lines, told


def _scanned(lines: dict[str, Array], body: Body) -> tuple[dict[str, Array], list[Finding]]:
    """The tape lines that lie on what was scanned, and a finding that names the others."""
    if body.gap is None or len(body.gap) != len(body.surface.vertices):
        return lines, []
    tree = cKDTree(body.surface.vertices)
    lost = []
    for name, line in lines.items():
        points = resampled(line, TAPE_STEP)
        gap = body.gap[tree.query(points)[1]]
        if np.isinf(gap).mean() > ON_CUT or (gap > UNSEEN).mean() > ON_FILLING:
            lost.append(name)
    if not lost:
        return lines, []
    words = (
        f"{', '.join(lost)}: too much of the tape would lie where nothing was scanned; left out."
    )
    told = [Finding(267, words, "scan", Grade.WARNING, len(lost))]
    return {name: line for name, line in lines.items() if name not in lost}, told


def _turned_told(values: dict[str, float]) -> list[Finding]:
    """What comes out at nothing or less is left out, and told: its landmarks lie the wrong way round."""
    lost = [name for name, value in values.items() if not value > 0.0]
    for name in lost:
        del values[name]
    if not lost:
        return []
    words = f"{', '.join(lost)}: what it lies between is the wrong way round; left out."
    return [Finding(266, words, "scan", Grade.WARNING, len(lost))]


def _foot_told(values: dict[str, float], at: dict[str, Array], body: Body) -> list[Finding]:
    """The foot's length is left out, and told, where heel or toe ends in a filling: it would be short."""
    if "foot_length" not in values or body.gap is None:
        return []
    tree = cKDTree(body.surface.vertices)
    ends = [at[f"{end}_{s}"] for end in ("heel", "toe") for s in SIDES if f"{end}_{s}" in at]
    gap = [body.gap[tree.query_ball_point(end, FOOT_END)].max(initial=0.0) for end in ends]
    if max(gap, default=0.0) <= END_SEEN:
        return []
    del values["foot_length"]
    words = "foot_length: a heel or a toe was not scanned; left out."
    return [Finding(267, words, "scan", Grade.WARNING)]


def ready(surface: Surface, at: dict[str, Array]) -> Wearer:
    """Quieten the surface and take it apart."""
    vertices, _ = quiet(surface.vertices, surface.faces)
    still = Surface(vertices, surface.faces)
    label = segment_at(still, at)
    trunk = submesh(
        vertices, surface.faces, (label != ARM_LEFT) & (label != ARM_RIGHT) & (label != HEAD)
    )
    arm = {}
    for side, number in (("left", ARM_LEFT), ("right", ARM_RIGHT)):
        if has(at, "arm", side) and f"elbow_{side}" in at:
            points, faces = submesh(vertices, surface.faces, label == number)
            if len(faces):
                arm[side] = (points, faces, limb(points, faces, arm_line(at, side), to_tip=True))
    return Wearer(vertices, surface.faces, at, trunk, arm)


def _heights(at: dict[str, Array]) -> dict[str, float]:
    """Heights over the floor; a paired landmark's is the mean of both sides.

    A body without feet does not stand on the floor: only differences of heights are told.
    """
    out = {}
    for name, marks in HEIGHTS.items():
        if all(mark in at for mark in marks):
            out[name] = float(np.mean([at[mark][2] for mark in marks]))
    for name, top, bottom in (
        ("body_rise", "waist_height", "crotch_height"),
        ("trunk_length", "cervicale_height", "crotch_height"),
    ):
        if top in out and bottom in out:
            out[name] = out[top] - out[bottom]
    if not any(f"heel_{side}" in at for side in SIDES):
        out = {name: value for name, value in out.items() if name not in HEIGHTS}
    return out


def _lengths(lines: dict[str, Array]) -> dict[str, float]:
    """Length of each tape line, the mean of the two where there is one to a side."""
    sums: dict[str, list[float]] = {}
    for name, line in lines.items():
        sums.setdefault(unsided(name), []).append(length(line))
    return {name: float(np.mean(both)) for name, both in sums.items()}


def _breadths(lines: dict[str, Array], at: dict[str, Array]) -> dict[str, float]:
    """Straight breadths and depths, from the rings of the trunk and from landmarks."""
    out = {}
    for part in ("bust", "waist", "hip"):
        if f"{part}_girth" in lines:
            size = np.ptp(lines[f"{part}_girth"], axis=0)
            out[f"{part}_breadth"], out[f"{part}_depth"] = float(size[0]), float(size[1])
    if "acromion_left" in at and "acromion_right" in at:
        out["biacromial_breadth"] = float(
            np.linalg.norm(at["acromion_left"] - at["acromion_right"])
        )
    feet = [
        np.linalg.norm((at[f"toe_{s}"] - at[f"heel_{s}"])[:2])
        for s in SIDES
        if f"toe_{s}" in at and f"heel_{s}" in at
    ]
    if feet:
        out["foot_length"] = float(np.mean(feet))
    hands = [
        np.linalg.norm(at[f"hand_tip_{s}"] - at[f"wrist_{s}"])
        for s in SIDES
        if f"wrist_{s}" in at and f"hand_tip_{s}" in at
    ]
    if hands:
        out["hand_length"] = float(np.mean(hands))
    return out


def _head(w: Wearer) -> Iterator[Line]:
    """head_girth: the greatest level girth above the ears."""
    if not has(w.at, "head"):
        return
    crown, base = w.at["crown"][2], 0.5 * (w.at["cervicale"][2] + w.at["suprasternal"][2])
    tall = crown - base
    z = crown - np.linspace(0.34, 0.15, 14) * tall
    cut = slices(w.vertices, w.faces, z)
    yield "head_girth", closed(widest([ring(cut, k, w.at["crown"]) for k in range(len(z))]))


def _neck(w: Wearer) -> Iterator[Line]:
    """neck_girth: least, square to the neck; neck_base_girth: over cervicale, side and front neck points."""
    if not has(w.at, "head"):
        return
    back, front = w.at["cervicale"], w.at["suprasternal"]
    base = 0.5 * (back + front)
    if "neck_left" in w.at and "neck_right" in w.at:
        yield "neck_base_girth", closed(neck_base_ring(w.vertices, w.faces, w.at))
    neck = _neck_ring(w, base)
    if neck is not None:
        yield "neck_girth", closed(neck)


def _neck_ring(w: Wearer, base: Array) -> Array | None:
    """The least taut ring (h, 3) round the neck, of all places up the neck and all leans of the tape.

    The line up the neck goes from the base to the middle of a level section. Held square to that line alone, the tape
    of a short stout neck lies over the chin, and a degree of lean is then worth 7 mm; about the shortest of all, none.
    """
    tall = w.at["crown"][2] - base[2]
    upper = slices(w.vertices, w.faces, [base[2] + 0.24 * tall])
    loop = nearest_loop(upper, 0, base)
    if loop is None:
        return None
    way = upper.centre[loop] - base
    way /= np.linalg.norm(way)
    points = base + np.linspace(*NECK_SPAN, 18)[:, None] * tall * way
    near = w.vertices[:, 2] > base[2] - NECK_BELOW * tall
    skin = submesh(w.vertices, w.faces, near)
    best = None
    for leans in (LEANS, (-FINER, FINER)):
        about = 0.0 if best is None else best[1]
        tried = [_square(*skin, points, _leaning(way, about + a), tall) for a in leans]
        known = [(girth(r), about + a, r) for a, r in zip(leans, tried, strict=True) if len(r)]
        best = min([best, *known] if best else known, key=lambda one: one[0], default=None)
    return None if best is None else best[2]


def _leaning(way: Array, lean: float) -> Array:
    """The unit normal (3,) of a tape that leans forward by some degrees, aside as a line up the neck does."""
    normal = np.array([way[0], -np.hypot(way[1], way[2]) * np.sin(np.radians(lean)), 0.0])
    normal[2] = np.sqrt(1.0 - normal @ normal)
    return normal


def _square(vertices: Array, faces: Ints, points: Array, normal: Array, tall: float) -> Array:
    """The least ring (h, 3) of a neck square to a normal through some points (k, 3) up it; empty for none."""
    cut = oblique(vertices, faces, points, np.tile(normal, (len(points), 1)))
    loops = [nearest_loop(cut, k, points[k]) for k in range(len(points))]
    loops = [n for n in loops if n is not None and cut.whole[n] and cut.area[n] > SLIM * tall**2]
    return min((hull(cut.points(n), normal) for n in loops), key=girth, default=np.zeros((0, 3)))


def _chest(w: Wearer) -> Iterator[Line]:
    """bust_girth over the bust points; chest_girth: the greatest from there up to the armpits."""
    arms = [w.at[f"axilla_{side}"][2] for side in SIDES if f"axilla_{side}" in w.at]
    if "chest_front" not in w.at or len(arms) == 1:
        return  # an arm that cannot be told from the trunk would be measured with it
    bust = w.at["chest_front"][2]
    yield "bust_girth", closed(level_rings(*w.trunk, np.array([bust]), alone=True)[0])
    if not arms:
        return
    tall = float(w.vertices[:, 2].max())
    under = min(np.mean(arms), min(arms) + 0.01 * tall) - 0.012 * tall  # both count, neither is cut
    z = np.linspace(bust - 0.005 * tall, max(under, bust), 9)
    yield "chest_girth", closed(widest(level_rings(*w.trunk, z, alone=True)))


def _waist_hip(w: Wearer) -> Iterator[Line]:
    """waist_girth at the natural waist, hip_girth at the fullest of the buttocks, total_crotch_length between."""
    if "waist_left" in w.at and "waist_right" in w.at:
        waist = 0.5 * (w.at["waist_left"][2] + w.at["waist_right"][2])
        yield "waist_girth", closed(level_rings(*w.trunk, np.array([waist]), alone=True)[0])
    if "seat_left" in w.at and "seat_right" in w.at:
        seat = 0.5 * (w.at["seat_left"][2] + w.at["seat_right"][2])
        one = "crotch" not in w.at or seat > w.at["crotch"][2]
        yield "hip_girth", closed(level_rings(*w.trunk, np.array([seat]), alone=one)[0])
    if "crotch" in w.at and "waist_front" in w.at and "waist_back" in w.at:
        front, back = w.at["waist_front"], w.at["waist_back"]
        x = np.array([1.0, 0.0, 0.0])
        cut = slices(*w.trunk, [float(np.mean([front[0], back[0], w.at["crotch"][0]]))], x)
        plane = cut.levels[0]
        front, back = (np.array([plane, p[1], p[2]]) for p in (front, back))
        yield "total_crotch_length", taut(cut.start, x, back, front)[::-1]
    if "cervicale" in w.at and "waist_back" in w.at:
        yield "back_waist_length", spine(w.vertices, w.faces, w.at["cervicale"], w.at["waist_back"])


def _legs(w: Wearer) -> Iterator[Line]:
    """Thigh, mid-thigh, knee, calf, least and ankle girth of each leg, all level."""
    for side in SIDES:
        if not has(w.at, "thigh", side):
            continue
        crotch = w.at["crotch"]
        z = {"thigh_girth": min(w.at[f"gluteal_{side}"][2], crotch[2] - 0.003 * crotch[2])}
        for name, mark in LEG_GIRTHS.items():
            if f"{mark}_{side}" in w.at:
                z[name] = w.at[f"{mark}_{side}"][2]
        for name, level in z.items():
            yield f"{name}_{side}", closed(_leg_rings(w, np.array([level]), side)[0])
        if "ankle_girth" not in z or "calf_girth" not in z:
            continue
        ankle, calf = z["ankle_girth"], z["calf_girth"]
        rings = _leg_rings(w, np.linspace(ankle, ankle + 0.5 * (calf - ankle), 24), side)
        known = [r for r in rings if len(r)]
        if known:
            yield f"minimum_leg_girth_{side}", closed(min(known, key=girth))


def _leg_rings(w: Wearer, z: Array, side: str) -> list[Array]:
    """Level rings round one leg at heights z (k,): loops about its middle, cut at the midline if the thighs touch."""
    way = [hip_joint(w.at, side)]
    if f"patella_{side}" in w.at and f"knee_back_{side}" in w.at:
        way.insert(0, 0.5 * (w.at[f"patella_{side}"] + w.at[f"knee_back_{side}"]))
    foot = w.at.get(f"heel_{side}", w.at.get(f"ankle_{side}"))
    way = np.array(way if foot is None else [foot, *way])
    about = np.interp(z, way[:, 2], way[:, 0])
    cut = slices(*w.trunk, z)
    crotch, sign = w.at["crotch"], SIDES[side]
    return [level_ring(cut, k, side=sign, middle=crotch, about=about[k]) for k in range(len(z))]


def _arms(w: Wearer) -> Iterator[Line]:
    """Upper arm, elbow, forearm and wrist girth, square to the arm."""
    for side, (points, faces, arm) in w.arm.items():
        elbow, wrist = (_along(arm, w.at[f"{name}_{side}"]) for name in ("elbow", "wrist"))
        below = wrist - elbow
        for name, low, high in (
            ("upper_arm_girth", 0.4 * elbow, 0.8 * elbow),
            ("forearm_girth", elbow + 0.12 * below, elbow + 0.7 * below),
        ):
            s = _fullest(arm, low, high)
            if s is not None:
                yield (
                    f"{name}_{side}",
                    closed(square_ring(points, faces, arm.at(s), arm.direction(s))),
                )
        for name, s in (("elbow_girth", elbow), ("wrist_girth", wrist)):
            yield f"{name}_{side}", closed(square_ring(points, faces, arm.at(s), arm.direction(s)))


def _fullest(arm: Limb, low: float, high: float) -> float | None:
    """Distance along a limb of its greatest girth between two places, ends included; None where none is known."""
    known = np.isfinite(arm.girth)
    if not known.any():
        return None
    inside = arm.s[known & (arm.s > low) & (arm.s < high)]
    at = np.concatenate([[low], inside, [high]])
    return float(at[np.argmax(np.interp(at, arm.s[known], arm.girth[known]))])


def _along(arm: Limb, point: Array) -> float:
    """Distance along a limb of a point beside it, mm."""
    k = int(np.argmin(np.linalg.norm(arm.line - point, axis=1)))
    return float(arm.s[k] + (point - arm.line[k]) @ arm.tangent[k])


def _shoulders(w: Wearer) -> Iterator[Line]:
    """shoulder_width over the back at cervicale level; shoulder_length; arm_length over the elbow to the wrist."""
    ends = [w.at.get(f"acromion_{side}") for side in ("right", "left")]
    if "cervicale" in w.at and ends[0] is not None and ends[1] is not None:
        yield "shoulder_width", _across(w, ends[0], w.at["cervicale"], ends[1])
    for side in SIDES:
        top, neck = w.at.get(f"acromion_{side}"), w.at.get(f"neck_{side}")
        if top is not None and neck is not None:
            yield f"shoulder_length_{side}", np.array([neck, top])
        if side in w.arm and top is not None:
            upper, lower = _sleeve(w, side)
            yield f"upper_arm_length_{side}", upper
            yield f"arm_length_{side}", np.concatenate([upper, lower[1:]])


def _across(w: Wearer, right: Array, nape: Array, left: Array) -> Array:
    """Taut line (k, 3) over the back from shoulder point to shoulder point in their plane with the cervicale."""
    normal = np.cross(left - right, nape - right)
    normal /= np.linalg.norm(normal)
    cut = oblique(w.vertices, w.faces, right[None], normal[None])
    inside = (cut.start[:, 0] > right[0]) & (cut.start[:, 0] < left[0])
    return taut(cut.start[inside & (cut.start[:, 2] < nape[2] + 20.0)], normal, right, left)


def _sleeve(w: Wearer, side: str) -> tuple[Array, Array]:
    """Taut lines (k, 3) over the arm: from shoulder point to elbow, from elbow to wrist."""
    points, faces, arm = w.arm[side]
    top, elbow, wrist = (w.at[f"{name}_{side}"] for name in ("acromion", "elbow", "wrist"))
    out = []
    for first, last in ((top, elbow), (elbow, wrist)):
        middle = arm.at(0.5 * (_along(arm, first) + _along(arm, last)))
        chord = last - first
        away = 0.5 * (first + last) - middle
        normal = np.cross(chord, away)
        size = np.linalg.norm(normal)
        if size < 1e-6 * (chord @ chord):
            out.append(np.array([first, last]))
            continue
        cut = oblique(points, faces, first[None], normal[None] / size)
        reach = (cut.start - first) @ chord / (chord @ chord)
        near = (reach > 0) & (reach < 1)
        out.append(taut(cut.start[near], normal / size, first, last))
    return out[0], out[1]


PARTS: tuple[Callable[[Wearer], Iterator[Line]], ...] = (
    _head,
    _neck,
    _chest,
    _waist_hip,
    _legs,
    _arms,
    _shoulders,
)
