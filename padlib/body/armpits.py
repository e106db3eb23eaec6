"""Holes in the armpits: how far up the fold goes that a smooth filling hides.

An armpit is a fold, which no smooth filling makes: it ends up to 40 mm too low. The gap between arm and trunk
below the hole tells where it is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.parts import LEAST_AREA, SIDES, find_parts, parting, top_of
from padlib.body.regions import connected
from padlib.body.slices import Slices, slices
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]

DEEPENED = 204  # number of the finding
# Gap between arm and trunk over depth under the armpit on nine modelled bodies, in parts of the height: 0.006 at
# once, then 1.2 for each unit of depth, good to 7 mm (rms) from 14 to 80 mm down; arms at about 35 degrees.
AT_ONCE, PER_DEPTH = 0.006, 1.2
LEAST_SLOPE, MOST_SLOPE = (
    0.9,
    1.6,
)  # outside this the arms hang otherwise and the gap's own slope is taken
STEP = 2.0  # mm between sections
SPAN = 0.016  # of the height: over so much of what is scanned the gap's slope is taken
DOWN = 0.14  # of the height: how far down the scan is looked for
SEEN = 1.0  # mm from the scan that count as scanned
LIFTS, ASTRAY = 3, 40.0  # rounds; mm aside at which the place is another one
HOLE, LEAST_RISE = 6.0, 3.0  # mm: a smaller hole or rise is left alone
DOUBT = (
    8.0  # mm of doubt of an armpit that was scanned; a filled one has as much more as it is deep
)


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
        fold = float(low[2]), 0.0
        if _hole(gap, tree, low) > HOLE:
            fold = _fold(vertices, faces, gap, tree, low, sign, parts.top)
        if fold is not None:
            lows[side], folds[side] = low, fold
    out, told = vertices.copy(), []
    for side, (_, depth) in folds.items():
        rise = _agreed(folds) - lows[side][2]
        if not depth or rise < LEAST_RISE:
            continue
        out = _drawn_up(out, faces, gap, side, lows[side], _agreed(folds))
        words = (
            f"the {side} armpit was not scanned; it was put {rise:.0f} mm over a smooth filling,"
            " by the gap between arm and trunk below it"
        )
        told.append(Finding(DEEPENED, words, f"axilla_{side}", Grade.WARNING))
    return out, tuple(told)


def _drawn_up(
    vertices: Vertices, faces: Faces, gap: Array, side: str, low: Array, height: float
) -> Vertices:
    """The vertices with one armpit's filling lifted until it parts at a height; its lowest place may change."""
    out = vertices.copy()
    for _ in range(LIFTS):
        out[:, 2] += _lift(faces, gap, cKDTree(out), low, height - low[2])
        parts = find_parts(out, faces)
        level = top_of(parts.arm[side] >= 0)
        if level is None or level + 2 >= len(parts.core) or parts.core[level] < 0:
            break
        now = parting(out, faces, parts, level, parts.arm[side][level], parts.core[level])
        if np.linalg.norm((now - low)[:2]) > ASTRAY or height - now[2] < LEAST_RISE:
            break
        low = now
    return out


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
) -> tuple[float, float] | None:
    """Height of a fold, mm, and how far it lies over what is scanned of arm and trunk side by side; None for neither.

    low (3,): where the filling parts; sign: +1 left, -1 right; top: height of the body.
    """
    z = low[2] - np.arange(STEP, DOWN * top, STEP)[::-1]
    cut = slices(vertices, faces, z)
    wide, seen = np.full(len(z), np.nan), np.zeros(len(z), dtype=bool)
    for k in range(len(z)):
        pair = _pair(cut, k, sign, top)
        if pair is not None:
            wide[k] = np.linalg.norm(pair[0] - pair[1])
            seen[k] = all(gap[tree.query(point)[1]] < SEEN for point in pair)
    run = [k for k in range(2, len(z)) if seen[k - 2 : k + 1].all()]
    if not run:
        return None
    last = run[-1]
    near = seen & (z <= z[last]) & (z >= z[last] - SPAN * top)
    slope = -float(np.polyfit(z[near], wide[near], 1)[0])
    if LEAST_SLOPE < slope < MOST_SLOPE:
        slope = PER_DEPTH
    depth = float((wide[last] - AT_ONCE * top) / max(slope, 0.5))
    return (float(z[last]) + depth, depth) if depth > 0.0 else (float(z[last]), STEP)


def _agreed(folds: dict[str, tuple[float, float]]) -> float:
    """Height of one side's fold, mm: the mean of both sides, the surer one counting for more."""
    height, depth = np.array(list(folds.values())).T
    weight = 1.0 / (DOUBT + depth) ** 2
    return float(height @ weight / weight.sum())


def _lift(faces: Faces, gap: Array, tree: cKDTree, low: Array, rise: float) -> Array:
    """How far each vertex (n,) of the filling about a point goes up: in proportion to its distance from the scan."""
    made = (gap > 0) & np.isfinite(gap)
    near = np.array(tree.query_ball_point(low, 25.0) or [int(tree.query(low)[1])])
    seed = int(near[np.argmax(np.where(made[near], gap[near], -1.0))])
    patch = connected(made, faces, seed)
    return np.where(patch, rise * np.minimum(gap / gap[seed], 1.0), 0.0)


def _pair(cut: Slices, level: int, sign: float, top: float) -> tuple[Array, Array] | None:
    """The nearest points (3,) of trunk and arm in one section, or None where they are one."""
    loops = cut.at(level)
    loops = loops[cut.area[loops] > LEAST_AREA * top**2]
    if len(loops) < 2:
        return None
    core = int(loops[0])
    beside = loops[sign * (cut.centre[loops, 0] - cut.centre[core, 0]) > 0.03 * top]
    if not len(beside):
        return None
    trunk, arm = cut.points(core), cut.points(int(beside[0]))
    away, index = cKDTree(trunk).query(arm)
    k = int(np.argmin(away))
    return trunk[index[k]], arm[k]
