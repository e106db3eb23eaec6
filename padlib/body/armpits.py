"""Holes in the armpits: how far up the fold goes that a smooth filling hides.

An armpit is a fold, which no smooth filling makes: it ends up to 40 mm too low. The gap between arm and trunk
below the hole tells where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.figure import is_whole
from padlib.body.parts import FINE, LEAST_AREA, SIDES, Parts, find_parts, parting, top_of
from padlib.body.regions import connected
from padlib.body.slices import Slices, slices
from padlib.body.typical import usual
from padlib.findings import Finding, Grade
from padlib.mesh.areas import vertex_normals
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]

DEEPENED = 204  # number of the finding
# Gap between arm and trunk over depth under the armpit on eight modelled bodies, in parts of the height: some at once,
# then 1.2 for each unit of depth. At once it is 0.036 less 0.60 of how deep the arm is from front to back: a lean
# wearer's armpit is an open round, a stout one's a crease (within 3 mm of gap on five, 5 to 8 on three).
PER_DEPTH = 1.2
OPEN, PER_ARM = 0.0363, 0.60
LEAST_OPEN, MOST_OPEN = -0.006, 0.016
LEAST_SLOPE, MOST_SLOPE = (
    0.9,
    1.6,
)  # outside this the arms hang otherwise and the gap's own slope is taken
STEP = 2.0  # mm between sections
SPAN = 0.016  # of the height: over so much of what is scanned the gap's slope is taken
DOWN = 0.14  # of the height: how far down the scan is looked for
SEEN = 1.0  # mm from the scan that count as scanned
LIFTS, ASTRAY = 4, 40.0  # rounds; mm aside at which the place is another one
NEAR = 1.0  # mm under its height at which a fold is left
HOLE, LEAST_RISE = 6.0, 3.0  # mm: a smaller hole or rise is left alone
WALL = 0.7  # part of a normal that points along x on the walls of a fold
CAP, CLOSED = (
    8.0,
    0.7,
)  # mm under the top of a filling, and the share of its width there that drawing it up may take
# Standard deviations in mm: of one armpit's height about the other's; what each mm of depth adds where the fold is told
# from the gap (on the eight bodies above it is 4 mm off at any depth; more is allowed for others); and the share of the
# stature by which people's differ (ANSUR II).
ASIDE, PER_DEEP, PEOPLE = 5.0, 0.08, 0.009


class Fold(NamedTuple):
    """A fold: height; how far it lies over what is scanned side by side; what trunk and arm lean out a mm of rise;
    width under the top of the smooth filling; all in mm.
    """

    height: float
    depth: float
    lean: tuple[float, float]
    wide: float


def deepened(vertices: Vertices, faces: Faces, gap: Array) -> tuple[Vertices, tuple[Finding, ...]]:
    """The body's vertices (n, 3) with the fillings in its armpits drawn up to where the fold should be.

    gap (n,): distance in mm of each vertex from what was scanned. Nothing that was scanned moves.
    """
    parts = find_parts(vertices, faces)
    tree = cKDTree(vertices)
    lows, folds = {}, {}
    for side, sign in SIDES.items():
        level = top_of(parts.arm[side] >= 0)
        if level is None or level + 2 >= len(parts.core) or parts.core[level] < 0:
            continue
        low = parting(vertices, faces, parts, level, parts.arm[side][level], parts.core[level])
        fold = Fold(float(low[2]), 0.0, (0.0, 0.0), 0.0)
        if _hole(gap, tree, low) > HOLE:
            fold = _fold(vertices, faces, gap, tree, low, sign, parts.top)
        if fold is not None:
            lows[side], folds[side] = low, fold
    out, told = vertices, []
    height = _agreed(list(folds.values()), parts)
    for side, fold in folds.items():
        rise = height - lows[side][2]
        if not fold.depth or rise < LEAST_RISE:
            continue
        out = _drawn_up(out, faces, gap, side, lows[side], height, fold)
        words = (
            f"the {side} armpit was not scanned; it was put {rise:.0f} mm over a smooth filling,"
            " by the gap between arm and trunk below it"
        )
        told.append(Finding(DEEPENED, words, f"axilla_{side}", Grade.WARNING))
    return out, tuple(told)


def _drawn_up(
    vertices: Vertices, faces: Faces, gap: Array, side: str, low: Array, height: float, fold: Fold
) -> Vertices:
    """The vertices with one armpit's filling lifted until it parts at a height; its lowest place may change.

    Each wall is lifted along itself: straight up, what leans would move into arm and trunk.
    """
    out = vertices.copy()
    for _ in range(LIFTS):
        rise = height - low[2]
        inner, outer = fold.lean
        most = CLOSED * fold.wide / max(rise, STEP)
        if inner - outer > most:
            middle = 0.5 * (inner + outer)
            inner, outer = middle + 0.5 * most, middle - 0.5 * most
        lift = rise * _share(out, faces, gap, low)
        about = faces[(lift > 0.0)[faces].any(axis=1)]
        across = SIDES[side] * vertex_normals(out, about)[:, 0]  # 1 on the trunk, -1 on the arm
        trunk = np.clip(0.5 + 0.5 * across / WALL, 0.0, 1.0)
        out[:, 0] += SIDES[side] * (trunk * inner + (1.0 - trunk) * outer) * lift
        out[:, 2] += lift
        now = _parted(out, faces, SIDES[side], low[2] - CAP, height + CAP)
        if now is None or np.linalg.norm((now - low)[:2]) > ASTRAY:
            break
        if height - now[2] < NEAR:
            break
        low = now
    return out


def _parted(vertices: Vertices, faces: Faces, sign: float, low: float, high: float) -> Array | None:
    """Where arm and trunk, apart at one height, first are one above it (3,), as `parting`; None where they are not."""
    z, top = np.arange(low, high, FINE), float(vertices[:, 2].max())
    cut = slices(vertices, _between(vertices, faces, low, high), z)
    last = None
    for k in range(len(z)):
        pair = _pair(cut, k, sign, top)
        if pair is None:
            break
        last = np.array([*(0.5 * (pair[0] + pair[1]))[:2], z[k] + FINE / 2])
    return last


def _between(vertices: Vertices, faces: Faces, low: float, high: float) -> Faces:
    """The faces (k, 3) that reach between two heights: all that level sections there cut."""
    return faces[
        (vertices[:, 2] >= low)[faces].any(axis=1) & (vertices[:, 2] <= high)[faces].any(axis=1)
    ]


def _hole(gap: Array, tree: cKDTree, point: Array) -> float:
    """The largest distance from the scan near a point, mm."""
    near = tree.query_ball_point(point, 15.0)
    near = near or [int(tree.query(point)[1])]
    return float(np.where(np.isfinite(gap[near]), gap[near], 0.0).max())


def _fold(
    vertices: Vertices,
    faces: Faces,
    gap: Array,
    tree: cKDTree,
    low: Array,
    sign: float,
    top: float,
) -> Fold | None:
    """The fold told from the gap between what is scanned of arm and trunk side by side; None for neither.

    low (3,): where the filling parts; sign: +1 left, -1 right; top: height of the body.
    """
    z = low[2] - np.arange(STEP, DOWN * top, STEP)[::-1]
    cut = slices(vertices, _between(vertices, faces, z[0], z[-1]), z)
    wide, seen = np.full(len(z), np.nan), np.zeros(len(z), dtype=bool)
    walls = np.full((len(z), 2), np.nan)
    last = None
    for k in reversed(range(len(z))):
        pair = _pair(cut, k, sign, top)
        if pair is not None:
            wide[k] = np.linalg.norm(pair[0] - pair[1])
            walls[k] = sign * pair[0][0], sign * pair[1][0]
            seen[k] = all(gap[tree.query(point)[1]] < SEEN for point in pair)
        if last is None and seen[k : k + 3].sum() == 3:
            last = k + 2
        if last is not None and z[k] < z[last] - SPAN * top:
            break  # nothing lower counts
    if last is None:
        return None
    near = seen & (z <= z[last]) & (z >= z[last] - SPAN * top)
    slope = -float(np.polyfit(z[near], wide[near], 1)[0])
    if LEAST_SLOPE < slope < MOST_SLOPE:
        slope = PER_DEPTH
    arm = _beside(cut, last, sign, top)[1]
    thick = float(cut.high[arm, 1] - cut.low[arm, 1])
    at_once = np.clip(OPEN - PER_ARM * thick / top, LEAST_OPEN, MOST_OPEN) * top
    depth = float((wide[last] - at_once) / max(slope, 0.5))
    inner, outer = np.clip(np.polyfit(z[near], walls[near], 1)[0], -1.0, 1.0)
    inner = min(inner, 0.0)  # a chest that flares below is upright in the armpit
    cap = float(np.interp(low[2] - CAP, z, wide))
    return Fold(
        float(z[last]) + max(depth, 0.0),
        depth if depth > 0.0 else STEP,
        (float(inner), float(outer)),
        cap if np.isfinite(cap) else 0.0,
    )


def _agreed(folds: Sequence[Fold], parts: Parts) -> float:
    """Height of both folds, mm: the mean of both sides and of what is usual, each by how sure it is."""
    height = [fold.height for fold in folds]
    doubt = [ASIDE + PER_DEEP * fold.depth for fold in folds]
    if folds and is_whole(parts):
        height.append(usual(parts.top, "neutral")["axilla_height"])
        doubt.append(PEOPLE * parts.top)
    weight = 1.0 / np.array(doubt) ** 2
    return float(np.array(height) @ weight / weight.sum()) if folds else 0.0


def _share(vertices: Vertices, faces: Faces, gap: Array, low: Array) -> Array:
    """How far each vertex (n,) of the filling about a point goes up, 0 to 1: by its distance from the scan."""
    made = (gap > 0) & np.isfinite(gap)
    away = np.linalg.norm(vertices - low, axis=1)
    near = np.flatnonzero(away <= max(25.0, float(away.min())))
    seed = int(near[np.argmax(np.where(made[near], gap[near], -1.0))])
    patch = connected(made, faces, seed)
    return np.where(patch, np.minimum(gap / gap[seed], 1.0), 0.0)


def _pair(cut: Slices, level: int, sign: float, top: float) -> tuple[Array, Array] | None:
    """The nearest points (3,) of trunk and arm in one section, or None where they are one."""
    both = _beside(cut, level, sign, top)
    if both is None:
        return None
    trunk, arm = (cut.points(loop) for loop in both)
    away, index = cKDTree(trunk).query(arm)
    k = int(np.argmin(away))
    return trunk[index[k]], arm[k]


def _beside(cut: Slices, level: int, sign: float, top: float) -> tuple[int, int] | None:
    """The loops of trunk and arm in one section, or None where they are one."""
    loops = cut.at(level)
    loops = loops[cut.area[loops] > LEAST_AREA * top**2]
    if len(loops) < 2:
        return None
    core = int(loops[0])
    beside = loops[sign * (cut.centre[loops, 0] - cut.centre[core, 0]) > 0.03 * top]
    return (core, int(beside[0])) if len(beside) else None
