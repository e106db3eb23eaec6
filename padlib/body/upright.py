"""Which way is up in a scan, at any tilt: from legs and head, from the soles it stands on, from its symmetry.

A scan whose file has the wearer upright keeps the file's own axis to the last digit; only what lies or leans
clearly is turned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError, cKDTree

from padlib.body.legs import leg_centres
from padlib.body.raised import without_hands
from padlib.body.stand import find_stand

Points = NDArray[np.float64]
Vector = NDArray[np.float64]

LEAN_SOLES, LEAN_LINE = 1.5, 4.0  # degrees off an axis of the file that are taken for upright
NEAR = 12.0  # degrees from a rough up within which soles are looked for
FLAT = 0.005  # of the height: soles lie that near to the plane they stand on
FOOT = 0.085  # of the height: a sole that is stood on is at least that long
RIVAL = 0.3  # cosine under which another way up is a rival, not the same one a little off
UNSURE = 0.45  # a way up that leads by less gives way to what a flat cut says
STOOD = 0.9  # how sure a form's stand makes of up
TWO_LEGS = 0.5  # share of the levels that show two legs, from which on a figure has both
ACROSS = 0.7  # cosine under which two planes lie quite otherwise
UPPER = 0.45  # of the height: from there up a wearer of one leg is even
LEAST_LONG = 0.6  # a figure is at least that long along its height, in parts of its longest extent
LOW, CHEST = (0.05, 0.09), (0.66, 0.74)  # of the height: ankles, and the trunk above them
LEAN_USUAL = np.radians(
    1.4
)  # chest before ankles as seen from the floor, mean of nine modelled bodies (0.7 to 3.2)


@dataclass(frozen=True, eq=False)
class Upright:
    """Up (3,) in the file, how sure (0 to 1), the nearest axis of the file as a word, and the angle to it."""

    up: Vector
    sure: float
    word: str
    tilt_deg: float


def find_up(points: Points, cut: Vector | None = None) -> Upright:
    """Which way is up for points (n, 3) spread over a figure, in any unit.

    cut: unit vector (3,) from the widest flat cut into the figure, if it has one: up where neither legs nor head tell.
    """
    few = points[:: max(1, len(points) // 20_000)]
    ways = _candidates(few)
    stand = find_stand(few, [standing(way) for way in ways[: len(ways) // 2]])
    if stand is not None:
        return _named(stand.up, LEAN_SOLES, STOOD)
    scores = np.array([_score(few, way) for way in ways])
    best = int(np.argmax(scores))
    up, tolerance = _settled(points, ways[best])
    rivals = scores[ways @ up < RIVAL]
    sure = float(np.clip(_score(few, up) - rivals.max(initial=-1.0), 0.0, 1.0))
    if cut is not None and sure < UNSURE and legs(few @ standing(up).T) < TWO_LEGS:
        up, tolerance, sure = cut, LEAN_LINE, min(sure, 0.3)  # told as uncertain
    return _named(up, tolerance, sure)


def _named(up: Vector, tolerance: float, sure: float) -> Upright:
    """A way up (3,) as a word, or as the file's own axis where it lies within a tolerance in degrees of that."""
    axis = int(np.argmax(np.abs(up)))
    sign = 1.0 if up[axis] > 0 else -1.0
    exact = sign * np.eye(3)[axis]
    tilt = float(np.degrees(np.arccos(np.clip(up @ exact, -1.0, 1.0))))
    word = f"{'+' if sign > 0 else '-'}{'xyz'[axis]}"
    if tilt <= tolerance:
        return Upright(exact, sure, word, 0.0)
    return Upright(up, sure if tolerance == LEAN_SOLES else 0.6 * sure, word, tilt)


def _settled(points: Points, rough: Vector) -> tuple[Vector, float]:
    """The up direction near a rough one, settled on soles, symmetry and lean; and how far it may be off, degrees."""
    up = rough
    for _ in range(3):
        floor = _by_soles(points, up)
        if floor is not None:
            return floor, LEAN_SOLES
        up = _by_symmetry(points, up)
    return up, LEAN_LINE


def standing(up: Vector) -> NDArray[np.float64]:
    """The rotation (3, 3) that carries a unit vector to +Z (right-handed); for an axis of the file the plain one."""
    side = np.eye(3)[0 if abs(up[0]) < 0.8 else 1]
    side = side - (side @ up) * up
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(up, side), up])


# ---------------------------------------------------------------- roughly


def _candidates(points: Points) -> Points:
    """Unit vectors (12, 3): the axes of the file, then the axes of the figure's own spread, both ways."""
    away = points - np.median(points, axis=0)
    spread = np.linalg.eigh(away.T @ away)[1].T
    ways = np.concatenate([np.eye(3), spread])
    return np.concatenate([ways, -ways])


def _score(points: Points, up: Vector) -> float:
    """How much a figure looks upright along a way: long, two legs below, heavy and narrow above."""
    p = points @ standing(up).T
    extents = np.ptp(np.quantile(p, [0.0005, 0.9995], axis=0), axis=0)
    long = extents[2] / extents.max()
    if long < LEAST_LONG:
        return -1.0
    p = without_hands(p)[1]
    return long + legs(p) + 0.5 * _head_heavy(p) + 0.4 * _narrow_top(p)


def legs(points: Points) -> float:
    """Share of the levels between 4 % and 34 % of the height that show two like pieces."""
    low, tall = points[:, 2].min(), np.ptp(points[:, 2])
    at = np.linspace(0.04, 0.34, 16)
    return float(np.mean([leg_centres(points, low, tall, a) is not None for a in at]))


def _head_heavy(points: Points) -> float:
    """-1 to 1: whether the surface lies high, as shoulders, arms and head make it lie."""
    z = (points[:, 2] - points[:, 2].min()) / np.ptp(points[:, 2])
    return float(np.clip((z.mean() - 0.5) / 0.1, -1.0, 1.0))


def _narrow_top(points: Points) -> float:
    """-1 to 1: whether the top is narrower than the bottom, as a head or neck is."""
    z = (points[:, 2] - points[:, 2].min()) / np.ptp(points[:, 2])
    ends = points[z > 0.96, :2], points[z < 0.04, :2]
    if min(len(end) for end in ends) < 4:
        return 0.0
    top, bottom = (float(np.ptp(end, axis=0).max()) for end in ends)
    return float(np.clip((bottom - top) / (0.3 * max(bottom + top, 1e-12)), -1.0, 1.0))


# ---------------------------------------------------------------- exactly


def _by_soles(points: Points, rough: Vector) -> Vector | None:
    """The normal (3,) of the plane that the figure stands on with both soles, or None.

    It is the face of the convex hull under the middle of the figure; both feet must touch it from heel to ball.
    """
    p = points @ standing(rough).T
    tall = float(np.ptp(p[:, 2]))
    try:
        hull = ConvexHull(p)
    except QhullError:
        return None
    normal, offset = hull.equations[:, :3], hull.equations[:, 3]
    down = normal[:, 2] < -0.5
    middle = p.mean(axis=0)
    drop = np.where(down, (normal @ middle + offset) / np.where(down, normal[:, 2], -1.0), np.inf)
    face = int(np.argmin(drop))
    way = -normal[face]
    for _ in range(3):  # the plane through all that is stood on, not through three grains alone
        over = p @ way
        near = over - over.min() < FLAT * tall
        sole = p[near]
        if len(sole) < 12:
            return None
        axes = np.linalg.svd(sole - sole.mean(axis=0), full_matrices=False)[2]
        fitted = axes[2] * (np.sign(axes[2] @ way) or 1.0)
        if fitted @ way < np.cos(np.radians(3.0)):
            break
        way = fitted
    feet = _two_feet(sole, tall)
    if not feet or way[2] < np.cos(np.radians(NEAR)):
        return None  # a lying figure rests on other faces of its hull
    return standing(rough).T @ way


def _two_feet(sole: Points, tall: float) -> bool:
    """Whether points that touch a plane are two soles, each from heel to ball."""
    flat = sole[:, :2] - sole[:, :2].mean(axis=0)
    across = np.linalg.eigh(flat.T @ flat)[1]
    for side in across.T:  # from foot to foot: a gap in the middle
        along = flat @ side
        order = np.sort(along)
        gaps = np.diff(order)
        k = int(np.argmax(gaps))
        if gaps[k] < 0.02 * tall:
            continue
        cut = 0.5 * (order[k] + order[k + 1])
        feet = [flat[along < cut], flat[along > cut]]
        longest = [np.ptp(foot @ np.array([-side[1], side[0]])) for foot in feet]
        if min(longest) > FOOT * tall:
            return True
    return False


def _by_symmetry(points: Points, rough: Vector) -> Vector:
    """A rough up direction laid into the figure's plane of symmetry, and there along its line from ankles to chest."""
    stand = standing(rough)
    p = points @ stand.T
    p = p[:: max(1, len(p) // 10_000)]
    tall = float(np.ptp(p[:, 2]))
    evenly = p if legs(p) >= TWO_LEGS else above_legs(p, tall)
    normal = _mirror_normal(evenly, tall)
    up = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    up /= np.linalg.norm(up)
    ahead = np.cross(up, normal)
    q = p @ np.stack([normal, ahead, up]).T
    low, tall = q[:, 2].min(), np.ptp(q[:, 2])
    z = (q[:, 2] - low) / tall
    inner = np.abs(q[:, 0] - np.median(q[:, 0])) < 0.2 * tall
    places = []
    for first, last in (LOW, CHEST):
        here = q[(z > first) & (z < last) & inner]
        if len(here) < 20:
            return stand.T @ up
        places.append([np.mean(np.quantile(here[:, 1], [0.03, 0.97])), here[:, 2].mean()])
    lean = np.subtract(places[1], places[0])
    way = lean[0] * ahead + lean[1] * up
    front = _front(q, low, tall)
    way = way / np.linalg.norm(way) - front * np.tan(LEAN_USUAL) * ahead
    return stand.T @ (way / np.linalg.norm(way))


def _front(q: Points, low: float, tall: float) -> float:
    """+1 or -1: whether the feet reach forward of the ankles along +y or -y; 0 where that cannot be told."""
    foot, ankle = (q[q[:, 2] < low + at * tall, 1] for at in (0.03, 0.09))
    if min(len(foot), len(ankle)) < 20:
        return 0.0
    ahead = np.mean(np.quantile(foot, [0.03, 0.97])) - np.median(ankle)
    return float(np.sign(ahead)) if abs(ahead) > 0.01 * tall else 0.0


def _mirror_normal(p: Points, tall: float) -> Vector:
    """Normal (3,) of the plane of symmetry of a figure that stands nearly upright, turned about any axis.

    Mirrored closest points (Besl and McKay 1992) from many level normals, the best then settled with its
    normal free, on closer and closer pairs.
    """
    coarse, tree = p[::20], cKDTree(p)
    cap = 0.03 * tall
    found = []
    for angle in np.arange(0.0, np.pi, np.pi / 18):
        normal = np.array([np.cos(angle), np.sin(angle), 0.0])
        offset = float(p.mean(axis=0) @ normal)
        for _ in range(4):
            normal, offset, apart = mirror_step(coarse, tree, p, normal, offset, cap)
        if abs(normal[2]) < 0.7:
            found.append((apart, tuple(normal), offset))
    if not found:
        return np.array([1.0, 0.0, 0.0])
    settled = []
    # a body is nearly even from front to back, too
    for _, normal, offset in _unlike(sorted(found)):
        normal, few = np.array(normal), p[::4]
        for cap in np.geomspace(0.03 * tall, 0.008 * tall, 12):
            normal, offset, _ = mirror_step(few, tree, p, normal, offset, cap)
        apart = mirror_step(few, tree, p, normal, offset, 0.03 * tall)[2]
        settled.append((apart, tuple(normal)))
    return np.array(min(settled)[1])


def above_legs(points: Points, tall: float) -> Points:
    """The points (k, 3) of a standing figure, `tall` high, by which a wearer of one leg is even."""
    return points[points[:, 2] > points[:, 2].min() + UPPER * tall]


def _unlike(found: list[tuple]) -> list[tuple]:
    """The best of the planes (apart, normal, offset) and the best of those that lie quite otherwise."""
    first = found[0]
    other = [one for one in found if abs(np.dot(one[1], first[1])) < ACROSS]
    return [first, *other[:1]]


def mirror_step(
    points: Points, tree: cKDTree, targets: Points, normal: Vector, offset: float, cap: float
) -> tuple[Vector, float, float]:
    """One step of mirrored closest points, the plane free: the better plane, and the capped mean distance before.

    The best plane of pairs p, q has the normal of least n . S n, S the symmetric part of their covariance.
    """
    image = points - 2.0 * (points @ normal - offset)[:, None] * normal
    distance, near = tree.query(image, distance_upper_bound=cap)  # infinite beyond
    score = float(np.minimum(distance, cap).mean())
    good = distance < cap
    if good.sum() < 10:
        return normal, offset, score
    p, q = points[good], targets[near[good]]
    p0, q0 = p.mean(axis=0), q.mean(axis=0)
    both = (p - p0).T @ (q - q0)
    new = np.linalg.eigh(both + both.T)[1][:, 0]
    new = new * (np.sign(new @ normal) or 1.0)
    return new, float(0.5 * (p0 + q0) @ new), score
