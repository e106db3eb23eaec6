"""Which loop of a horizontal section is trunk, leg or arm, and where the limbs part from the trunk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.slices import Slices, slices

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

SIDES = {"left": 1.0, "right": -1.0}
LEVELS = 420  # sections of the sweep: about 4 mm apart on an adult
LEAST_AREA = 4e-4  # of height squared: smaller loops are fingers, ears, folds
LEG_RATIO = 0.4  # two loops are a pair of legs when the smaller has this share of the larger
RUN = 0.02  # a limb is apart from the trunk over at least this share of the height
GROWN = 1.3  # a loop that is so much larger half a millimetre higher has joined another
UPPER = 0.6  # of the height: a crown is no lower, whatever the arms reach over it
FINE = 0.5  # mm, steps in which the level of a parting is found


def unsided(name: str) -> str:
    """A name without the side at its end."""
    return name.removesuffix("_left").removesuffix("_right")


@dataclass(frozen=True, eq=False)
class Parts:
    """The sweep of horizontal sections, sorted into parts.

    cut: the sections; core (k,): loop of the trunk, neck or head at each level, -1 where there is none;
    leg, arm: side to (k,) loop at each level, -1 where there is none; top: height of the body in mm, to the crown
    where arms reach over the head.
    """

    cut: Slices
    core: Ints
    leg: dict[str, Ints]
    arm: dict[str, Ints]
    top: float


def find_parts(vertices: Array, faces: Ints) -> Parts:
    """Cut the body in LEVELS horizontal planes and name the loops. vertices (n, 3) mm; faces (m, 3)."""
    parts = _swept(vertices, faces, float(vertices[:, 2].max()))
    crown = _crown_below_hands(vertices, parts)
    return parts if crown is None else _swept(vertices, faces, crown)


def _swept(vertices: Array, faces: Ints, top: float) -> Parts:
    """The sweep from the floor up to a height in mm."""
    cut = slices(vertices, faces, (np.arange(LEVELS) + 0.5) * top / LEVELS)
    middle = float(np.median(vertices[:, 0]))
    core = np.full(LEVELS, -1)
    leg = {side: np.full(LEVELS, -1) for side in SIDES}
    arm = {side: np.full(LEVELS, -1) for side in SIDES}
    for k in range(LEVELS):
        loops = cut.at(k)
        loops = loops[cut.area[loops] > LEAST_AREA * top**2]
        if not len(loops):
            continue
        pair = _legs(cut, loops, middle)
        if pair is None:
            core[k] = _core(cut, loops, middle)
        else:
            leg["left"][k], leg["right"][k] = pair
        inner = [int(core[k])] if pair is None else list(pair)
        for side, number in _arms(cut, loops, inner).items():
            arm[side][k] = number
    leg, arm = ({side: _limb_only(cut, of[side]) for side in SIDES} for of in (leg, arm))
    both = (leg["left"] >= 0) & (leg["right"] >= 0)
    return Parts(cut, core, {side: np.where(both, leg[side], -1) for side in SIDES}, arm, top)


def _crown_below_hands(vertices: Array, parts: Parts) -> float | None:
    """Height in mm of the crown of a figure whose hands are over its head; None where nothing is."""
    cut, last = parts.cut, _last_of_trunk(parts)
    if not UPPER * LEVELS < last < (1.0 - RUN) * LEVELS:
        return None
    low, high = cut.low[parts.core[last]], cut.high[parts.core[last]]
    about = ((vertices >= low) & (vertices <= high))[:, :2].all(axis=1)
    z = vertices[about, 2]
    return float(z[z < cut.levels[last + 1]].max(initial=low[2]))


def _last_of_trunk(parts: Parts) -> int:
    """The last level of the longest stack of trunk, neck and head: sections that lie over each other; -1 for none."""
    cut, levels = parts.cut, np.flatnonzero(parts.core >= 0)
    if not len(levels):
        return -1
    low, high = (side[parts.core[levels], :2] for side in (cut.low, cut.high))
    aside = ((low[1:] > high[:-1]) | (high[1:] < low[:-1])).any(axis=1)
    stacks = np.split(levels, np.flatnonzero(aside | (np.diff(levels) > RUN * LEVELS)) + 1)
    return int(max(stacks, key=len)[-1])


def _legs(cut: Slices, loops: Ints, middle: float) -> tuple[int, int] | None:
    """The two loops that are legs (left, right), or None where the largest loop is one trunk."""
    if len(loops) < 2 or cut.area[loops[1]] < LEG_RATIO * cut.area[loops[0]]:
        return None
    a, b = sorted((int(loops[0]), int(loops[1])), key=lambda n: -cut.centre[n, 0])
    apart = cut.centre[a, 0] - cut.centre[b, 0]
    widest = max(cut.high[a, 0] - cut.low[a, 0], cut.high[b, 0] - cut.low[b, 0])
    off = abs(
        0.5 * (cut.centre[a, 0] + cut.centre[b, 0]) - middle
    )  # a neck beside a shoulder is off
    x = cut.centre[loops[2:], 0]
    between = np.any((x > cut.centre[b, 0]) & (x < cut.centre[a, 0]))  # shoulders beside a neck
    return (a, b) if apart > 0.5 * widest and off < 0.33 * apart and not between else None


def _core(cut: Slices, loops: Ints, middle: float) -> int:
    """The largest loop that holds the middle plane: beside a neck, the tops of the shoulders may be larger."""
    across = loops[(cut.low[loops, 0] < middle) & (cut.high[loops, 0] > middle)]
    return int(across[0]) if len(across) else int(loops[0])


def _arms(cut: Slices, loops: Ints, inner: list[int]) -> dict[str, int]:
    """Loops that lie beside the trunk or the legs (`inner`): side to the largest such loop."""
    low = min(cut.low[n, 0] for n in inner)
    high = max(cut.high[n, 0] for n in inner)
    found: dict[str, int] = {}
    for n in loops:
        if int(n) in inner:
            continue
        x = cut.centre[n, 0]
        side = "left" if x > high else "right" if x < low else ""
        if side:
            found.setdefault(side, int(n))
    return found


def runs(present: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each unbroken run of True."""
    change = np.diff(np.concatenate([[0], present.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1) - 1, strict=True))


def _limb_only(cut: Slices, loops: Ints) -> Ints:
    """Drop runs of loops that end upward in nothing (the top of a shoulder beside the neck) or are very short."""
    out = loops.copy()
    for first, last in runs(loops >= 0):
        area = cut.area[loops[first : last + 1]]
        if last - first < RUN * LEVELS or area[-1] < 0.4 * area.max():
            out[first : last + 1] = -1
    return out


def top_of(present: NDArray[np.bool_]) -> int | None:
    """Level of the upper end of the highest run that is long enough to be a limb, or None."""
    good = [last for first, last in runs(present) if last - first >= RUN * LEVELS]
    return int(good[-1]) if good else None


def parting(vertices: Array, faces: Ints, parts: Parts, level: int, one: int, other: int) -> Array:
    """The place (3,) where two loops of a level grow together just above it: a saddle of the surface.

    Found by cutting again every FINE mm up to the next levels; in plan it is midway between the
    nearest points.
    """
    cut = parts.cut
    span = np.arange(0.0, 3 * parts.top / LEVELS, FINE)
    fine = slices(vertices, faces, cut.levels[level] + span)
    last = (cut, one, other)
    z = cut.levels[level]
    for k in range(len(span)):
        loops = fine.at(k)
        if not len(loops):
            break
        now = [_same(fine, loops, last[0], n) for n in last[1:]]
        if now[0] == now[1] or None in now:
            break
        z, last = fine.levels[k], (fine, *now)
    pair = [last[0].points(n) for n in last[1:]]
    distance, index = cKDTree(pair[0]).query(pair[1])
    k = int(distance.argmin())
    middle = 0.5 * (pair[0][index[k]] + pair[1][k])
    return np.array([middle[0], middle[1], z + FINE / 2])


def _same(now: Slices, loops: Ints, before: Slices, loop: int) -> int | None:
    """The loop of the next level that goes on from a loop, or None when it has grown into another."""
    best = int(loops[np.argmin(np.linalg.norm(now.centre[loops] - before.centre[loop], axis=1))])
    return best if now.area[best] < GROWN * before.area[loop] else None
