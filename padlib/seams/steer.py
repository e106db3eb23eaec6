"""Seams of the plan taken in hand: which numbers of the plan bring one through a place, and where it then runs.

Each seam is the zero set of a function of the plan (`padlib.seams.plan`) with one or two numbers of its own. Where two
seams share two numbers, as front and back of a leg do, the one in hand goes through the place and the other stays where
it is at the same level of the limb.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.axes import project
from padlib.mesh.section import level_set
from padlib.seams.loops import OUT, armhole_values, hip_values, limb_plane, neck_plane
from padlib.seams.place import Place
from padlib.seams.plan import (
    Options,
    hip_landmarks,
    leg_values,
    seat_levels,
    seat_top,
    sleeve_values,
    trunk_values,
)

Array = NDArray[np.float64]
Bounds = Mapping[str, tuple[float, float]]

KEYS = MappingProxyType(
    {
        "neck": ("neck_rise",),
        "wrist": ("wrist_rise",),
        "ankle": ("ankle_rise",),
        "armhole": ("armhole_shift", "armhole_hollow"),
        "shoulder": ("shoulder_shift",),
        "side": ("side_shift",),
        "hip": ("seat_shift", "groin_shift"),
        "sleeve": ("sleeve_shift", "sleeve_turn"),
        "leg": ("leg_shift", "leg_turn"),
    }
)
"""The numbers of `Options` that a seam follows, by the first word of its name."""
LIMBS = MappingProxyType({"sleeve": "arm", "leg": "leg", "wrist": "arm", "ankle": "leg"})
PARTS = MappingProxyType({"shoulder": "trunk", "side": "trunk", "sleeve": "arm", "leg": "leg"})
FOLLOWS = (
    0.15  # mm that a seam must move by at a place for a mm of its number, to be moved by it there
)


@dataclass(frozen=True, eq=False)
class Plan:
    """A seam plan on a shell: its place, its numbers, the part of the body (n,) that each vertex is on or next
    to, as an index into parts ("trunk-left" and so on), and whether it is bare (n,), as hands are; known: what
    is found once.
    """

    place: Place
    options: Options
    parts: tuple[str, ...]
    part: NDArray[np.int64]
    bare: NDArray[np.bool_]
    known: dict[str, dict[str, Array]] = field(default_factory=dict, compare=False)

    def hip(self) -> dict[str, Array]:
        """What the seam between trunk and legs goes by."""
        if "hip" not in self.known:
            self.known["hip"] = hip_landmarks(self.place, ~self.within("arm").any(axis=1))
        return self.known["hip"]

    def within(self, part: str) -> NDArray[np.bool_]:
        """Which corners (m, 3) of the shell's faces belong to a part of the body, with its side or without."""
        names = (part, f"{part}-left", f"{part}-right")
        own = [k for k, name in enumerate(self.parts) if name in names]
        return np.isin(self.part, own)[self.place.surface.faces]


def word_of(seam: str) -> str:
    """What a seam's numbers go by: the first word of its name, "" where nothing moves it."""
    word = seam.partition("-")[0]
    return word if word in KEYS else ""


def values(plan: Plan, seam: str, points: Array) -> Array:
    """The function (k,) in mm whose zero set a seam is, at points (k, 3) about the part of the body that it lies on."""
    place, options = plan.place, plan.options
    word, side = word_of(seam), seam.rpartition("-")[2]
    if word == "hip":
        return hip_values(points, plan.hip(), seat_top(place, options), bow=options.groin_shift)
    if word in ("shoulder", "side"):
        return trunk_values(points, place, side, options)
    if word == "sleeve":
        return sleeve_values(points, place, side, options)
    if word == "leg":
        return leg_values(points, place, side, options)
    if word == "neck":
        origin, normal = neck_plane(place.at)
        return (points - origin) @ normal - options.neck_rise
    if word == "armhole":
        out = armhole_values(points, place.at, side, options.armhole_hollow)
        return out - place.stature / 1750.0 * OUT - options.armhole_shift
    axis = place.axes[f"{LIMBS[word]}_{side}"]
    origin, normal = limb_plane(axis, place.at[f"{word}_{side}"])
    return (origin - points) @ normal - getattr(options, f"{word}_rise")


def slope(plan: Plan, seam: str, key: str, at: Array) -> float:
    """By how many mm the function of a seam changes at a place (3,) for one of a number, at its present value."""
    now = getattr(plan.options, key)
    two = [_value(plan, seam, at, {key: now + step}) for step in (-1.0, 0.0)]
    return two[1] - two[0]


def key_at(plan: Plan, seam: str, at: Array) -> str:
    """The one number by which a seam moves most at a place (3,), "" where it hardly moves by any."""
    slopes = {key: abs(slope(plan, seam, key, at)) for key in KEYS[word_of(seam)]}
    best = max(slopes, key=lambda key: slopes[key])
    return best if slopes[best] > FOLLOWS else ""


def steered(
    plan: Plan, seam: str, to: Array, bounds: Bounds, *, key: str = "", across: Array | None = None
) -> dict[str, float]:
    """The numbers, to a tenth and within their bounds, with which a seam runs through a place (3,) of the shell.

    key: the one number to use, of a seam that is not of a limb; across (k, 3): of a limb's seam the places of the
    other one, which stays. Empty where none of them moves the seam at that place.
    """
    if across is not None:
        found = _about_limb(plan, seam, to, across, bounds)
    elif abs(rate := slope(plan, seam, key, to)) > FOLLOWS:
        now = getattr(plan.options, key)
        found = {key: now - _value(plan, seam, to, {}) / rate}
    else:
        return {}
    return kept_within(plan, found, bounds)


def kept_within(plan: Plan, numbers: Mapping[str, float], bounds: Bounds) -> dict[str, float]:
    """Numbers within their bounds, to a tenth; the seam above the seat, which is held below the waist, stores up no
    shift that does nothing."""
    kept = {key: float(np.clip(value, *bounds[key])) for key, value in numbers.items()}
    if "seat_shift" in kept:
        height, most = seat_levels(plan.place, plan.options.seat_margin)
        kept["seat_shift"] = max(min(kept["seat_shift"], most - height), bounds["seat_shift"][0])
    return {key: round(value, 1) + 0.0 for key, value in kept.items()}


def short_of(plan: Plan, seam: str, to: Array, numbers: Mapping[str, float]) -> float:
    """By how many mm of its function a seam with these numbers passes a place (3,) of the shell."""
    return abs(_value(plan, seam, to, numbers))


def _value(plan: Plan, seam: str, at: Array, numbers: Mapping[str, float]) -> float:
    return float(values(with_numbers(plan, numbers), seam, at[None])[0])


def with_numbers(plan: Plan, numbers: Mapping[str, float]) -> Plan:
    """A plan with some of its numbers changed."""
    return replace(plan, options=replace(plan.options, **numbers))


def _about_limb(
    plan: Plan, seam: str, to: Array, across: Array, bounds: Bounds
) -> dict[str, float]:
    """Shift and turn with which a limb's seam runs through a place and the other one stays at the same level."""
    word, side = word_of(seam), seam.rpartition("-")[2]
    shift, turn = KEYS[word]
    axis = plan.place.axes[f"{LIMBS[word]}_{side}"]
    along = project(axis, across)[0] - project(axis, to[None])[0]
    both = np.stack([to, across[int(np.argmin(np.abs(along)))]])
    # how far the two lie along the seams' surface's normal as it is unturned, and turned by a right angle
    sign = 1.0 if word == "leg" else -1.0
    u, w = (
        sign * values(with_numbers(plan, {shift: 0.0, turn: by}), seam, both) for by in (0.0, 90.0)
    )
    apart = w[0] - w[1]
    way = float(np.arctan(-(u[0] - u[1]) / apart)) if abs(apart) > 1.0 else 0.0
    low, high = np.radians(bounds[turn])
    way = float(np.clip(way, low, high))
    off = float(np.cos(way) * u[0] + np.sin(way) * w[0])
    kept = float(np.clip(off, *bounds[shift]))
    size = float(np.hypot(u[0], w[0]))
    if kept != off and abs(kept) < size:  # no more shift: turned, it still runs through the place
        middle, half = float(np.arctan2(w[0], u[0])), float(np.arccos(kept / size))
        way = min((middle - half, middle + half), key=lambda t: abs(t - way))
    return {shift: kept, turn: float(np.degrees(way))}


def moved_with(seams: Sequence[str], keys: Sequence[str]) -> tuple[str, ...]:
    """Those of some seams that follow any of these numbers."""
    return tuple(s for s in seams if word_of(s) and set(KEYS[word_of(s)]) & set(keys))


@dataclass(frozen=True, eq=False)
class Sheet:
    """The function of some seams ready to be asked for many numbers.

    names: of the seams, and after them of others that lie on it and stay; moving: how many do not; near: a tree of the
    places now of each; vertices (n, 3), faces (m, 3): of the shell where
    they may run; now: their plan's numbers; base (n,): the function; rates: by how much it changes with each number
    for one of it; turned: of a limb's seams the two functions of the unturned and the right-angled surface.
    """

    names: tuple[str, ...]
    moving: int
    near: tuple[cKDTree, ...]
    vertices: Array
    faces: NDArray[np.int64]
    now: Options
    base: Array
    rates: Mapping[str, Array]
    turned: tuple[Array, Array] | None = None

    def level(self, numbers: Mapping[str, float]) -> Array:
        """The function (n,) with other numbers."""
        keys = KEYS[word_of(self.names[0])]
        if self.turned is not None:
            shift, turn = (numbers.get(key, getattr(self.now, key)) for key in keys)
            way = np.radians(turn)
            return np.cos(way) * self.turned[0] + np.sin(way) * self.turned[1] - shift
        out = self.base.copy()
        for key, rate in self.rates.items():
            out += (numbers.get(key, getattr(self.now, key)) - getattr(self.now, key)) * rate
        return out

    def lines(self, numbers: Mapping[str, float]) -> dict[str, list[Array]]:
        """Where the seams run with these numbers, each as polylines (k, 3) mm; of all zero sets those that lie
        nearest to where they are now."""
        out: list[list[Array]] = [[] for _ in self.names]
        whole = word_of(self.names[0]) not in PARTS
        found = level_set(self.vertices, self.faces, self.level(numbers))
        for curve in found:
            if whole and not curve.closed:
                continue
            at = curve.positions(self.vertices, self.faces)
            few = at[:: max(1, len(at) // 30)]
            away = [float(tree.query(few)[0].mean()) for tree in self.near]
            out[int(np.argmin(away))].append(np.vstack((at, at[:1])) if curve.closed else at)
        found = zip(self.names[: self.moving], out, strict=False)
        return {name: each[:1] if whole else each for name, each in found}


def sheets(plan: Plan, seams: Mapping[str, Array], moving: Sequence[str]) -> list[Sheet]:
    """Sheets of those seams of a plan that move; seams: places (k, 3) now of all, by name."""
    groups: dict[tuple[str, str], list[str]] = {}
    for name in (*moving, *(n for n in seams if n not in moving)):
        word = word_of(name)
        side = "" if word == "hip" else name.rpartition("-")[2]
        if word and len(seams[name]):
            groups.setdefault((PARTS.get(word, word), side), []).append(name)
    each = ({n: seams[n] for n in names} for names in groups.values() if names[0] in moving)
    return [_sheet(plan, own, sum(n in moving for n in own)) for own in each]


def _sheet(plan: Plan, seams: Mapping[str, Array], moving: int) -> Sheet:
    names = tuple(seams)
    word, surface, side = word_of(names[0]), plan.place.surface, names[0].rpartition("-")[2]
    if word in PARTS:
        inside = plan.within(f"{PARTS[word]}-{side}").all(axis=1)
        inside &= ~plan.bare[surface.faces].any(axis=1)
    elif word in ("hip", "neck"):
        inside = (plan.within("trunk") | plan.within("leg")).any(axis=1)
    else:
        inside = plan.within(f"{LIMBS.get(word, 'arm')}-{side}").any(axis=1)
        if word == "armhole":
            inside |= plan.within(f"trunk-{side}").any(axis=1)
    own, faces = np.unique(surface.faces[inside], return_inverse=True)
    at = surface.vertices[own]
    keys, now, turned = KEYS[word], plan.options, None
    base, rates = np.zeros(0), {}
    if word in ("sleeve", "leg"):
        sign = 1.0 if word == "leg" else -1.0
        turned = tuple(
            sign * values(with_numbers(plan, {keys[0]: 0.0, keys[1]: by}), names[0], at)
            for by in (0.0, 90.0)
        )
    else:
        base = values(plan, names[0], at)
        for key in keys:
            less = with_numbers(plan, {key: getattr(now, key) - 1.0})
            rates[key] = base - values(less, names[0], at)
    near = tuple(cKDTree(seams[n]) for n in names)
    return Sheet(names, moving, near, at, faces.reshape(-1, 3), now, base, rates, turned)
