"""Standing a figure up: its unit, its up axis, its plane of symmetry and which way it faces.

Everything is told from the shape alone, from points spread evenly over the surface. The cues
(legs part, toes point forward, and so on) are common knowledge of anatomy, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.cuts import flat_cut
from padlib.body.legs import leg_centres
from padlib.body.planes import read_plane
from padlib.body.raised import without_hands
from padlib.body.stand import find_stand
from padlib.body.unit import find_unit
from padlib.body.upright import UNSURE, Upright, above_legs, find_up, standing
from padlib.errors import InputError
from padlib.mesh.areas import face_areas
from padlib.mesh.surface import Surface

Points = NDArray[np.float64]

BESIDE_CUT = 0.99  # cosine up to which up is the way into the figure from its cut
SHARES = (0.75, 0.62, 0.54, 0.47, 0.4)  # of a stature that an upper part may be
AXES = {"x": 0, "y": 1, "z": 2}


@dataclass(frozen=True, eq=False)
class Frame:
    """How a mesh as read is carried into padlib's frame: p -> scale * p @ rotation.T + shift.

    scale in mm per unit of the file; rotation (3, 3); shift (3,) in mm; unit and up as words
    ("cm", "+y"), the axis nearest to up; tilt_deg: how far up is from that axis; turned_deg: turn
    about the vertical after standing up, anticlockwise from above; tall: its height in mm, without hands over its head;
    stand: height over the floor in mm at which a form begins that is on a stand, 0 without one;
    sure: how sure each guess is, 0 to 1 (1 too for what was given): "unit", "up", "facing",
    "symmetry_mm" is the usual distance between the body and its mirror image.
    """

    scale: float
    rotation: NDArray[np.float64]
    shift: NDArray[np.float64]
    unit: str
    up: str
    tilt_deg: float
    turned_deg: float
    tall: float
    stand: float
    sure: dict[str, float]

    def carry(self, points: Points) -> Points:
        """Points (n, 3) of the file, in padlib's frame in mm."""
        return self.scale * np.asarray(points) @ self.rotation.T + self.shift


def find_frame(
    surface: Surface,
    *,
    unit: str | None = None,
    up: str | None = None,
    facing: str | None = None,
    middle: str | None = None,
) -> Frame:
    """Find the frame of a standing figure, as read.

    unit: "mm", "cm", "m", "in" or "dm"; up: "x", "y", "z" with a sign, e.g. "+y", or three numbers; facing: the
    direction that the wearer faces in the file, likewise, or an angle in degrees anticlockwise from
    the direction that the figure is found to face, when that guess was wrong ("180"); middle: the
    plane of symmetry in the file's own unit, e.g. "x = 0.02" or "0.9,0.1,0 = 12".
    Raises InputError for a height that is not a person's, and for words that it does not know.
    """
    points = spread_points(surface, 40_000)
    cut = flat_cut(surface)
    upright = _given_up(up) or find_up(points, cut)
    upper = cut is not None and upright.sure < UNSURE and cut @ upright.up > BESIDE_CUT
    plane = None if middle is None else read_plane(middle, signs="=")
    if plane is not None:
        upright = _beside(upright, plane[0], str(middle))
    stand = standing(upright.up)
    points = points @ stand.T
    height, below = float(np.ptp(surface.vertices @ upright.up)), float(np.ptp(points[:, 2]))
    crown, points = without_hands(points)
    height -= below - crown
    unit, scale, sure_unit = find_unit(height, unit, points)
    points = points * scale
    given = None if plane is None else (stand @ plane[0], plane[1] * scale)
    stood = find_stand(points[::2], [np.eye(3)])
    form = 0.0 if stood is None or stood.up[2] < 0.0 else stood.form - float(points[:, 2].min())
    angle, foot, symmetry_mm, sure_facing = _find_facing(
        points, height * scale, given, upper=upper, form=form
    )
    asked = facing is not None
    if asked:
        angle, sure_facing = _asked_facing(facing, stand, angle), 1.0
    turn = _turn(-np.pi / 2 - angle)
    turned = points @ turn.T
    centre = float((turn[:2, :2] @ foot)[0])
    if asked:  # the plane that was found may lie otherwise
        centre = _centre_line(turned, height * scale, centre)
    if given is not None:
        centre = float(given[1] * np.sign((turn @ given[0])[0]))
    floor = scale * float((surface.vertices @ stand.T)[:, 2].min())
    shift = np.array([-centre, -_depth_middle(turned, height * scale), -floor])
    return Frame(
        scale=scale,
        rotation=turn @ stand,
        shift=shift,
        unit=unit,
        up=upright.word,
        tilt_deg=upright.tilt_deg,
        turned_deg=float((np.degrees(-np.pi / 2 - angle) + 180.0) % 360.0 - 180.0),
        tall=height * scale,
        stand=form,
        sure={
            "unit": sure_unit,
            "up": upright.sure,
            "facing": sure_facing,
            "symmetry_mm": symmetry_mm,
        },
    )


def spread_points(surface: Surface, count: int) -> Points:
    """About `count` points (k, 3) spread evenly by area over a surface, always the same ones."""
    weight = face_areas(surface.vertices, surface.faces)
    total = np.cumsum(weight)
    at = (np.arange(count) + 0.5) * total[-1] / count
    face = np.minimum(np.searchsorted(total, at), len(weight) - 1)
    # two low-discrepancy numbers for each point (R. Kronecker's sequence with the plastic number)
    u = (0.7548776662466927 * np.arange(count)) % 1.0
    v = (0.5698402909980532 * np.arange(count)) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u)[:, None], np.where(over, 1.0 - v, v)[:, None]
    a, b, c = (surface.vertices[surface.faces[face, k]] for k in range(3))
    return a + u * (b - a) + v * (c - a)


# ---------------------------------------------------------------- up


def _given_up(word: str | None) -> Upright | None:
    """Up as the user gave it: an axis of the file, or three numbers."""
    if word is None:
        return None
    parts = word.replace(",", " ").split()
    if len(parts) == 1:
        axis, sign, _ = _given_axis(word, "up")
        return Upright(sign * np.eye(3)[axis], 1.0, f"{'+' if sign > 0 else '-'}{'xyz'[axis]}", 0.0)
    try:
        up = np.array([float(part) for part in parts])
    except ValueError:
        up = np.zeros(0)
    if up.shape != (3,) or not np.isfinite(up).all() or not up.any():
        raise InputError(f"up is {word}, but must be x, y or z with a sign, or three numbers.")
    up = up / np.linalg.norm(up)
    axis = int(np.argmax(np.abs(up)))
    tilt = float(np.degrees(np.arccos(min(1.0, abs(up[axis])))))
    return Upright(up, 1.0, f"{'+' if up[axis] > 0 else '-'}{'xyz'[axis]}", tilt)


def _beside(upright: Upright, normal: NDArray[np.float64], word: str) -> Upright:
    """Up laid into a plane of symmetry that the user gave by its normal (3,)."""
    up = upright.up - (upright.up @ normal) * normal
    if np.linalg.norm(up) < 0.5:
        raise InputError(
            f"the middle plane is {word}, but lies across the figure; give an upright one."
        )
    return replace(upright, up=up / np.linalg.norm(up))


def _given_axis(word: str | None, what: str) -> tuple[int, int, float] | None:
    """Axis, sign and sureness of words like "z", "+y" or "-x"; None for None."""
    if word is None:
        return None
    text = word.strip().lower()
    sign = -1 if text.startswith("-") else 1
    if text.lstrip("+-") not in AXES:
        raise InputError(f"{what} is {word}, but must be x, y or z with a sign, such as +y.")
    return AXES[text.lstrip("+-")], sign, 1.0


# ---------------------------------------------------------------- symmetry and facing


def _turn(angle: float) -> NDArray[np.float64]:
    """Rotation (3, 3) about +Z."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _find_facing(
    points: Points,
    tall: float,
    given: tuple[NDArray[np.float64], float] | None = None,
    *,
    upper: bool = False,
    form: float = 0.0,
) -> tuple[float, Points, float, float]:
    """Direction that the figure faces (radians about +Z), a place (2,) in its middle plane, mirror distance, how sure.

    points (n, 3) stand upright in mm. The plane of symmetry is found by mirroring, pairing closest
    points and moving the plane until it holds still (iterated closest points, Besl and McKay 1992),
    from many starting angles; then anatomy tells front from back.
    """
    low = points[:, 2].min()
    if given is None:
        normal, offset, distance = _mirror_plane(points, tall)
    else:  # normal (3,), level, and offset of the plane that the user gave
        normal, offset = float(np.arctan2(given[0][1], given[0][0])), given[1]
        tree = cKDTree(points[::8])
        distance = _mirror_step(points[::40], tree, points[::8], normal, offset, 0.03 * tall)[2]
    turned = points @ _turn(np.pi - normal).T
    turned += np.array([offset, 0.0, -low])
    if form:
        vote, sure = _form_front(turned[turned[:, 2] > form])
    else:
        vote, sure = _upper_front(turned / tall) if upper else _faces_front(turned / tall)
    # turned so that the plane's normal is -X: the front is -Y for a positive vote
    facing = normal + np.pi / 2 if vote > 0 else normal - np.pi / 2
    return facing, offset * _direction(normal), distance, sure


def _mirror_plane(points: Points, tall: float) -> tuple[float, float, float]:
    """Angle of the normal and offset of the vertical plane of symmetry, and the mirror distance."""
    side = _leg_direction(points, tall)
    evenly = above_legs(points, tall) if side is None else points
    coarse, fine = evenly[::40], evenly[::8]
    tree = cKDTree(fine)
    cap = 0.03 * tall
    found = []
    for start in np.arange(0.0, np.pi, np.pi / 24):
        angle, offset = start, float(evenly[:, :2].mean(axis=0) @ _direction(start))
        for _ in range(4):
            angle, offset, distance = _mirror_step(coarse, tree, fine, angle, offset, cap)
        doubt = 0.0 if side is None else 1.0 - abs(_direction(angle) @ side)
        found.append((distance * (1.0 + doubt), angle, offset))
    found.sort()
    best = None
    for _, angle, offset in found[:3]:
        for _ in range(12):
            angle, offset, distance = _mirror_step(fine[::3], tree, fine, angle, offset, cap)
        doubt = 0.0 if side is None else 1.0 - abs(_direction(angle) @ side)
        if best is None or distance * (1.0 + doubt) < best[0]:
            best = (distance * (1.0 + doubt), angle, offset)
    return _polished(points, tall, best[1], best[2])


def _polished(
    points: Points, tall: float, angle: float, offset: float
) -> tuple[float, float, float]:
    """The plane settled on trunk and head alone, so that a bent arm or a step does not pull it."""
    low = points[:, 2].min()
    away = np.abs(points[:, :2] @ _direction(angle) - offset)
    trunk = points[(points[:, 2] > low + 0.45 * tall) & (away < 0.13 * tall)]
    tree, few = cKDTree(trunk), trunk[:: max(1, len(trunk) // 6000)]
    distance = 0.0
    for cap in np.geomspace(0.03 * tall, 0.006 * tall, 12):
        angle, offset, distance = _mirror_step(few, tree, trunk, angle, offset, cap)
    return angle, offset, distance


def _direction(angle: float) -> NDArray[np.float64]:
    """Unit vector (2,) at an angle."""
    return np.array([np.cos(angle), np.sin(angle)])


def _mirror_step(
    points: Points, tree: cKDTree, targets: Points, angle: float, offset: float, cap: float
) -> tuple[float, float, float]:
    """One step of mirrored closest points: the better plane and the capped mean distance before."""
    normal = np.r_[_direction(angle), 0.0]
    image = points - 2.0 * ((points @ normal) - offset)[:, None] * normal
    distance, near = tree.query(image, distance_upper_bound=cap)  # infinite beyond
    score = float(np.minimum(distance, cap).mean())
    good = distance < cap
    if good.sum() < 10:
        return angle, offset, score
    p, q = points[good, :2], targets[near[good], :2]
    p0, q0 = p.mean(axis=0), q.mean(axis=0)
    dp, dq = p - p0, q - q0
    # reflection [[cos 2t, sin 2t], [sin 2t, -cos 2t]] about a line at t = angle + 90 deg
    c = float(np.sum(dp[:, 0] * dq[:, 0] - dp[:, 1] * dq[:, 1]))
    s = float(np.sum(dp[:, 0] * dq[:, 1] + dp[:, 1] * dq[:, 0]))
    new = np.arctan2(s, c) / 2.0 + np.pi / 2
    return new, float((p0 + q0) @ _direction(new) / 2.0), score


def _leg_direction(points: Points, tall: float) -> NDArray[np.float64] | None:
    """Horizontal unit vector (2,) from leg to leg, or None when the legs do not part."""
    low = points[:, 2].min()
    levels = [leg_centres(points, low, tall, at) for at in np.linspace(0.06, 0.4, 18)]
    apart = [pair[1] - pair[0] for pair in levels if pair is not None]
    if len(apart) < 3:
        return None
    apart = np.array(apart)
    value, vector = np.linalg.eigh(apart.T @ apart)
    return vector[:, 1] if value[1] > 0 else None


def _faces_front(p: Points) -> tuple[float, float]:
    """Vote (positive: the front is -Y) and sureness 0 to 1; p in parts of the stature, x = 0 mid."""
    cues = [(3.0, _toes(p)), (1.0, _nose(p)), (1.0, _calves(p)), (1.5, _seat(p)), (1.0, _hands(p))]
    known = [(weight, cue) for weight, cue in cues if cue is not None]
    if not known:
        return 1.0, 0.0
    vote = sum(weight * cue for weight, cue in known)
    return vote, float(min(1.0, abs(vote) / 4.0))


def _form_front(form: Points) -> tuple[float, float]:
    """As `_faces_front` for a trunk without head and limbs: its back is hollow, its neck comes forward of the chest."""
    p = (form - [0.0, 0.0, form[:, 2].min()]) / np.ptp(form[:, 2])
    z = np.arange(0.05, 0.8, 0.02)
    middle = p[np.abs(p[:, 0]) < 0.05]
    strips = [middle[np.abs(middle[:, 2] - at) < 0.012, 1] for at in z]
    neck = _middle(p[p[:, 2] > 0.93, 1])
    chest = _middle(p[(np.abs(p[:, 2] - 0.7) < 0.1) & (np.abs(p[:, 0]) < 0.1), 1])
    if neck is None or chest is None or min(len(y) for y in strips) < 4:
        return 1.0, 0.0
    front, back = (np.array([end(y) for y in strips]) for end in (np.min, np.max))
    vote = _hollow(z, back) - _hollow(z, -front) + chest - neck
    return vote, float(min(1.0, abs(vote) / 0.1))


def _hollow(z: NDArray[np.float64], out: NDArray[np.float64]) -> float:
    """How deep a profile, out (k,) at heights z (k,), falls under the line that is taut over it."""
    corners: list[int] = []
    for k in range(len(z)):
        while len(corners) > 1 and _under(z, out, corners[-2], corners[-1], k):
            corners.pop()
        corners.append(k)
    return float((np.interp(z, z[corners], out[corners]) - out).max())


def _under(z: NDArray[np.float64], out: NDArray[np.float64], a: int, b: int, c: int) -> bool:
    """Whether the middle one of three places of a profile lies under the line through the others."""
    return (out[b] - out[a]) * (z[c] - z[a]) <= (out[c] - out[a]) * (z[b] - z[a])


def _upper_front(p: Points) -> tuple[float, float]:
    """As `_faces_front` for the upper part of a figure: of the heights that it may be a part of, the face tells."""
    found = []
    for times in SHARES:
        whole = (p - [0.0, 0.0, 1.0]) * times + [0.0, 0.0, 1.0]
        nose, hands = _nose(whole), _hands(whole)
        if nose is not None:
            found.append((abs(nose), 3.0 * nose + (hands or 0.0)))
    if not found:
        return 1.0, 0.0
    vote = max(found)[1]
    return vote, float(min(1.0, abs(vote) / 8.0))


def _cue(value: float, usual: float) -> float:
    """A cue cut to -1..1, where `usual` is what most bodies show."""
    return float(np.clip(value / usual, -1.0, 1.0))


def _middle(y: NDArray[np.float64], few: int = 12) -> float | None:
    """Middle of the depth that points take up, robust to a few strays."""
    return float(np.mean(np.quantile(y, [0.03, 0.97]))) if len(y) >= few else None


def _toes(p: Points) -> float | None:
    """The foot reaches further forward of the ankle than behind it."""
    found = []
    for side in (-1, 1):
        leg = p[(side * p[:, 0] > 0) & (np.abs(p[:, 0]) < 0.25) & (p[:, 2] < 0.12)]
        foot = _middle(leg[leg[:, 2] < 0.05, 1])
        ankle = _middle(leg[(leg[:, 2] > 0.06) & (leg[:, 2] < 0.10), 1])
        if foot is not None and ankle is not None:
            found.append(ankle - foot)
    return _cue(float(np.mean(found)), 0.03) if found else None


def _nose(p: Points) -> float | None:
    """In the middle of the face the nose stands out between the cheeks."""
    head = p[(p[:, 2] > 0.86) & (p[:, 2] < 0.98) & (np.abs(p[:, 0]) < 0.028)]
    ridges = []
    for at in np.arange(0.87, 0.97, 0.006):
        level = head[np.abs(head[:, 2] - at) < 0.006]
        middle = level[np.abs(level[:, 0]) < 0.008, 1]
        cheeks = level[np.abs(level[:, 0]) > 0.018, 1]
        if len(middle) > 3 and len(cheeks) > 5:
            front, back = np.quantile(cheeks, [0.1, 0.9])
            ridges.append((front - middle.min(), middle.max() - back))
    if len(ridges) < 4:
        return None
    front, back = np.max(ridges, axis=0)
    return _cue(float(front - back), 0.008)


def _calves(p: Points) -> float | None:
    """The calf stands out behind the line from ankle to knee."""
    legs = p[np.abs(p[:, 0]) < 0.25]
    ankle, calf, knee = (
        _middle(legs[np.abs(legs[:, 2] - at) < 0.012, 1]) for at in (0.08, 0.20, 0.28)
    )
    if ankle is None or calf is None or knee is None:
        return None
    return _cue(calf - 0.4 * ankle - 0.6 * knee, 0.01)


def _seat(p: Points) -> float | None:
    """The seat stands out behind, the belly in front: hips lie behind the waist."""
    trunk = p[np.abs(p[:, 0]) < 0.07]
    hip = _middle(trunk[(trunk[:, 2] > 0.49) & (trunk[:, 2] < 0.54), 1])
    waist = _middle(trunk[(trunk[:, 2] > 0.60) & (trunk[:, 2] < 0.66), 1])
    return None if hip is None or waist is None else _cue(hip - waist, 0.012)


def _hands(p: Points) -> float | None:
    """Hanging or held-out hands lie forward of the shoulders."""
    arm = p[(np.abs(p[:, 0]) > 0.15) & (p[:, 2] > 0.35) & (p[:, 2] < 0.9)]
    if len(arm) < 100:
        return None
    reach = np.abs(arm[:, 0])
    hand, root = reach > np.quantile(reach, 0.75), reach < np.quantile(reach, 0.25)
    return _cue(float(np.median(arm[root, 1]) - np.median(arm[hand, 1])), 0.05)


def _asked_facing(word: str, stand: NDArray[np.float64], found: float) -> float:
    """The facing angle that the user asked for: an axis of the file, or degrees from the found."""
    text = word.strip().lower()
    try:
        return found + np.radians(float(text))
    except ValueError:
        axis, sign, _ = _given_axis(text, "facing")
    way = stand[:, axis] * sign
    if abs(way[2]) > 0.5:
        raise InputError(f"facing is {word}, but that is the up axis; give a level direction.")
    near = np.arctan2(way[1], way[0])
    # keep the measured plane: of its two sides, or of a quarter turn, take the one that was meant
    quarter = np.round((near - found) / (np.pi / 2)) * (np.pi / 2)
    off = near - found - quarter
    return near - off if abs(off) < np.radians(40) else near


def _centre_line(turned: Points, tall: float, start: float) -> float:
    """x of the symmetry plane, its normal already along X, from about where it lies."""
    angle, offset, _ = _polished(turned, tall, 0.0, start)
    return float(offset * np.sign(np.cos(angle)))  # the normal may come back as -X


def _trunk_middle(turned: Points, tall: float) -> float:
    """Middle of the trunk across, as a start."""
    low = turned[:, 2].min()
    trunk = turned[(turned[:, 2] > low + 0.5 * tall) & (turned[:, 2] < low + 0.6 * tall), 0]
    return float(np.median(trunk)) if len(trunk) else float(turned[:, 0].mean())


def _depth_middle(turned: Points, tall: float) -> float:
    """y of the middle of the trunk's depth, so that the body stands over the origin."""
    height = (turned[:, 2] - turned[:, 2].min()) / tall
    across = np.abs(turned[:, 0] - _trunk_middle(turned, tall))
    trunk = turned[(height > 0.5) & (height < 0.7) & (across < 0.05 * tall), 1]
    middle = _middle(trunk)
    return float(np.median(turned[:, 1])) if middle is None else middle
