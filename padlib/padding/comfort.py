"""Balance and comfort of a padded body: girths, gaps, bends, hollows, and what the filling weighs down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.axes import hip_joint, places
from padlib.body.body import Body
from padlib.body.slices import girth, hull
from padlib.findings import Finding, Grade
from padlib.mesh.areas import enclosed
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Surface
from padlib.padding.pillow import Pillow
from padlib.padding.shell import Shell

Array = NDArray[np.float64]

BODY_DENSITY = (
    1.0e-6  # kg/mm3: a body is about as heavy as water (from memory: 0.985 kg/l lungs filled)
)
SIDES = ("left", "right")
HOLLOWS = ("groin", "knee_back", "axilla")
HOLLOW = 0.02  # of stature: how far about a hollow's landmark a pad presses into it
PRESSES = 8.0  # mm of pad in a hollow from which it is told
PADDED = 1.0  # mm of pad from which a place counts as padded
BENDS = 15.0  # degrees of bend that a joint may lose before it is told
RUBS = 10.0  # mm between the thighs below which they rub
TIPS = 15.0  # mm by which the whole mass may move forward or back before it is told
BESIDE = 0.35  # of an offset's own length to each side: what a joint's fold meets
MOVED = 0.35  # of a ring's width, by which its middle may move
FLAT = 3.0  # mm by which a tape's ring may leave its plane
NEAREST, FARTHEST = (
    0.025,
    0.12,
)  # of stature: from a joint along the limb, where its flesh meets in a bend


@dataclass(frozen=True)
class Comfort:
    """What padding does to a wearer.

    girths: name to (before, after) mm, of the taut tape round body and shell; thigh_gap_mm: least distance
    between the thighs before and after, None where there is one leg or none; bend_lost_deg: joint to
    degrees that its bend loses to pads; pressed_mm: hollow to mm of pad in it; filling_g: of medium
    filling; forward_mm: how far the wearer's whole mass moves to the front (behind: negative).
    """

    girths: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    thigh_gap_mm: tuple[float, float] | None = None
    bend_lost_deg: Mapping[str, float] = field(default_factory=dict)
    pressed_mm: Mapping[str, float] = field(default_factory=dict)
    filling_g: float = 0.0
    forward_mm: float = 0.0
    findings: tuple[Finding, ...] = ()


def comfort(
    body: Body, shell: Shell, tapes: Mapping[str, Array], pillows: Sequence[Pillow]
) -> Comfort:
    """What the padding of a shell does to its wearer.

    tapes: the tape line (k, 3) of each measurement; pillows: as they lie on the body. Bends are told by how far
    flesh and padding on both sides of a joint stand off its limbs' lines (`bend_lost`).
    """
    at = places(body.surface, body.landmarks)
    stature = float(np.ptp(body.surface.vertices[:, 2]))
    girths = {}
    for name, line in tapes.items():
        pair = _girths(line, body.surface, shell.surface) if "girth" in name else None
        if pair is not None:
            girths[name] = pair
    lost = bend_lost(body, shell, at, stature)
    pressed = _pressed(body, shell, at, stature)
    gap = _thigh_gap(body, shell.surface, at)
    filling = sum(p.filling_g["medium"] for p in pillows)
    forward = _forward(body, pillows)
    told = _findings(gap, lost, pressed, forward)
    return Comfort(girths, gap, lost, pressed, filling, forward, told)


def _girths(line: Array, body: Surface, shell: Surface) -> tuple[float, float] | None:
    """Taut girth round both surfaces in the plane of a tape's ring; None where it is not plane, or not closed."""
    centre = line.mean(axis=0)
    _, size, ways = np.linalg.svd(line - centre, full_matrices=False)
    if size[2] / np.sqrt(len(line)) > FLAT or np.linalg.norm(line[0] - line[-1]) > FLAT:
        return None
    out = []
    for surface in (body, shell):
        curves = plane_section(surface.vertices, surface.faces, centre, ways[2])
        rings = [c.positions(surface.vertices, surface.faces) for c in curves if c.closed]
        if not rings:
            return None
        ring = min(
            rings, key=lambda r: np.linalg.norm((r.min(axis=0) + r.max(axis=0)) / 2 - centre)
        )
        out.append(girth(hull(ring, ways[2])))
    return out[0], out[1]


def _middle(ring: Array) -> Array:
    """The middle (3,) of a ring's box."""
    return (ring.min(axis=0) + ring.max(axis=0)) / 2


def bend_lost(
    body: Body, shell: Shell, at: Mapping[str, Array], stature: float
) -> dict[str, float]:
    """Degrees of bend that each joint loses to what lies on it, by joint and side.

    A joint bends until what stands off its two limbs meets. A place h off the limb's line and d along it from the
    joint is reached when the other limb's line comes within atan(h / d) of the limb; so the bend ends at a half
    turn less the largest such angle on either limb, and what padding adds to those angles is lost.
    """
    skin = body.surface.vertices
    padded = shell.thickness > PADDED  # cloth and ease alone give way
    outside = np.where(padded[:, None], shell.surface.vertices, skin)
    out = {}
    for name, joint, first, second, fold in _joints(at):
        lost = 0.0
        for end in (first, second):
            angles = [
                _fold_angle(points, skin, joint, end, fold, stature) for points in (skin, outside)
            ]
            lost += max(angles[1] - angles[0], 0.0)
        out[name] = float(lost)
    return out


def _joints(at: Mapping[str, Array]) -> list[tuple[str, Array, Array, Array, Array]]:
    """Name, joint, both limbs' far ends, and the way (3,) in which it folds, of the joints that are there."""
    out = []
    front = np.array([0.0, -1.0, 0.0])
    for side in SIDES:
        names = [
            f"{n}_{side}" for n in ("patella", "knee_back", "ankle", "hip", "groin", "gluteal")
        ]
        if at.keys() >= {*names, "crotch", "waist_front"}:
            hip = hip_joint(at, side)
            knee = (at[f"patella_{side}"] + at[f"knee_back_{side}"]) / 2
            waist = np.array([hip[0], hip[1], at["waist_front"][2]])
            out.append((f"hip_{side}", hip, waist, knee, front))
            out.append((f"knee_{side}", knee, hip, at[f"ankle_{side}"], -front))
        names = [f"{n}_{side}" for n in ("acromion", "axilla", "elbow", "wrist")]
        if at.keys() >= set(names):
            top, pit, elbow, wrist = (at[n] for n in names)
            shoulder = (top + pit) / 2
            chord = wrist - shoulder
            straight = shoulder + chord * ((elbow - shoulder) @ chord) / (chord @ chord)
            fold = straight - elbow  # the elbow's mark lies on the outside of its bend
            if np.linalg.norm(fold) > 1.0:
                joint = elbow + 0.5 * fold
                out.append((f"elbow_{side}", joint, shoulder, wrist, fold / np.linalg.norm(fold)))
    return out


def _fold_angle(
    points: Array, skin: Array, joint: Array, end: Array, fold: Array, stature: float
) -> float:
    """Largest angle (degrees) off a limb's line at the joint of what lies on its folding side."""
    along = (end - joint) / np.linalg.norm(end - joint)
    fold = fold - (fold @ along) * along
    fold = fold / np.linalg.norm(fold)
    aside = np.cross(along, fold)
    own = skin - joint  # which places belong to the limb is told by the body
    d, h, b = own @ along, own @ fold, own @ aside
    reach = min(FARTHEST * stature, 0.6 * float(np.linalg.norm(end - joint)))
    near = (d > NEAREST * stature) & (d < reach) & (h > 0) & (np.abs(b) < BESIDE * h)
    if not near.any():
        return 0.0
    away = points[near] - joint
    return float(np.degrees(np.arctan2(away @ fold, np.maximum(away @ along, 1.0)).max()))


def _pressed(body: Body, shell: Shell, at: Mapping[str, Array], stature: float) -> dict[str, float]:
    """Thickest pad (mm) in each hollow of a joint."""
    vertices = body.surface.vertices
    corners = vertices[body.surface.faces[shell.on_body_face]]
    under = np.einsum("nk,nkd->nd", shell.on_body_barycentric, corners)
    tree = cKDTree(under)
    out = {}
    for name in (f"{hollow}_{side}" for hollow in HOLLOWS for side in SIDES):
        if name in at:
            near = tree.query_ball_point(at[name], HOLLOW * stature)
            out[name] = float(shell.thickness[near].max()) if near else 0.0
    return out


def _thigh_gap(body: Body, shell: Surface, at: Mapping[str, Array]) -> tuple[float, float] | None:
    """Least distance (mm) between the thighs on body and shell, from a hand below the crotch to the knee."""
    if not at.keys() >= {"crotch", "patella_left", "patella_right"}:
        return None
    crotch, knee = at["crotch"][2], (at["patella_left"][2] + at["patella_right"][2]) / 2
    skin = body.surface.vertices
    band = (skin[:, 2] < crotch - 0.15 * (crotch - knee)) & (skin[:, 2] > knee)
    arms = np.abs(skin[:, 0]) > 1.5 * max(abs(at[f"patella_{s}"][0]) for s in SIDES) + 100.0
    left, right = band & ~arms & (skin[:, 0] > 0), band & ~arms & (skin[:, 0] < 0)
    if not left.any() or not right.any():
        return None
    gaps = [
        float(cKDTree(points[left]).query(points[right])[0].min())
        for points in (skin, shell.vertices)
    ]
    return gaps[0], gaps[1]


def _forward(body: Body, pillows: Sequence[Pillow]) -> float:
    """How far (mm) the filling moves the wearer's whole mass to the front."""
    mass = BODY_DENSITY * abs(enclosed(body.surface.vertices, body.surface.faces))
    middle = float(_middle_y(body.surface))
    moment = weight = 0.0
    for pillow in pillows:
        kilos = pillow.filling_g["medium"] / 1000.0
        y = float((pillow.top.vertices[:, 1].mean() + pillow.base.vertices[:, 1].mean()) / 2)
        moment += kilos * (middle - y)
        weight += kilos
    return moment / (mass + weight)


def _middle_y(surface: Surface) -> float:
    """y (mm) of the centre of a solid's volume, from its triangles' tetrahedra."""
    a, b, c = (surface.vertices[surface.faces[:, k]] for k in range(3))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
    return float((volume * (a + b + c)[:, 1] / 4).sum() / volume.sum())


def _findings(
    gap: tuple[float, float] | None,
    lost: Mapping[str, float],
    pressed: Mapping[str, float],
    forward: float,
) -> tuple[Finding, ...]:
    """What the maker should know before cutting; the wearer decides in a trial."""
    found = []
    if gap is not None and gap[1] < RUBS <= gap[0]:
        words = (
            f"the thighs come within {gap[1]:.0f} mm of each other ({gap[0]:.0f} mm without padding) and will "
            "rub; give their inner sides less wrap, and mind that a child trips sooner"
        )
        found.append(Finding(310, words, "thighs", Grade.CAUTION))
    for joint, degrees in lost.items():
        if degrees > BENDS:
            words = (
                f"padding takes about {degrees:.0f} degrees from its bend; let the wearer sit, climb a step "
                "and reach in a trial before fur is cut"
            )
            found.append(Finding(311, words, joint.replace("_", " "), Grade.CAUTION))
    for hollow, mm in pressed.items():
        if mm > PRESSES:
            words = (
                f"{mm:.0f} mm of pad press into this hollow, where vessels and nerves lie near the skin; draw the "
                "pad's edge back, and stop at numbness or cold skin"
            )
            found.append(Finding(312, words, hollow.replace("_", " "), Grade.CAUTION))
    if abs(forward) > TIPS:
        way = "forward" if forward > 0 else "backward"
        words = (
            f"the filling moves the wearer's balance {abs(forward):.0f} mm {way}; take lighter filling, or pad the "
            "other side too, and keep to level ground with a helper at first"
        )
        found.append(Finding(313, words, "balance", Grade.CAUTION))
    return tuple(found)
