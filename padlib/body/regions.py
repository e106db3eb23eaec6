"""The parts of a body as sets of vertices: arms beyond the armhole, legs below the groin, the head above the neck."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from padlib.body.parts import SIDES
from padlib.mesh.surface import Surface

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

TRUNK, HEAD, ARM_LEFT, ARM_RIGHT, LEG_LEFT, LEG_RIGHT = range(6)
ARM_REACH = (
    0.045  # of height: an arm that touches the trunk is held within this distance of its line
)
# mm under the armpit: the first of these levels below which arm and trunk hang apart is taken (an armpit that was put
# by hand or rode along on the skin lies a little beside the fold)
BELOW = (0.5, 3.0, 6.0, 10.0, 15.0)


def joined(chosen: Mask, faces: Ints) -> Ints:
    """A number (n,) for each vertex, the same for those of a set that are joined by edges within the set."""
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    pairs = pairs[chosen[pairs].all(axis=1)]
    count = len(chosen)
    graph = coo_matrix((np.ones(len(pairs), dtype=np.int8), pairs.T), shape=(count, count))
    return connected_components(graph, directed=False)[1]


def connected(chosen: Mask, faces: Ints, seed: int) -> Mask:
    """The part (n,) of a set of vertices that is joined by edges within the set to the vertex `seed`."""
    label = joined(chosen, faces)
    return chosen & (label == label[seed])


def arm_region(vertices: Array, faces: Ints, axilla: Array, shoulder: Array, line: Array) -> Mask:
    """Vertices (n,) beyond the armhole and joined to the arm.

    The armhole is the plane through armpit (3,) and shoulder point (3,) that runs front to back; below the armpit
    the arm is what hangs together with its own rough line (k, 3), proximal to distal. Where the arm touches trunk
    or thigh, what lies too far from the line is left out.
    """
    side = 1.0 if line[-1, 0] > axilla[0] else -1.0
    z = vertices[:, 2]
    rise = shoulder - axilla
    normal = np.array([rise[2], 0.0, -rise[0]]) * side
    beyond = (vertices - axilla) @ normal > 0
    outside = side * (vertices[:, 0] - axilla[0]) > -abs(rise[0])
    inward = side * (vertices[:, 0] - axilla[0]) < -0.02 * z.max()
    away = np.linalg.norm(vertices - line[len(line) // 2], axis=1)
    tried = []
    for down in BELOW:
        under = z < axilla[2] - down
        seed = int(np.argmin(np.where(under, away, np.inf)))
        below = connected(under, faces, seed)
        tried.append((under, seed, below))
        if not inward[below].any():
            break
    else:
        under, seed, below = tried[0]
        below = below & _near(vertices, line, ARM_REACH * z.max())
    return connected(below | (~under & beyond & outside), faces, seed)


def _near(vertices: Array, line: Array, reach: float) -> Mask:
    """Vertices (n,) within a distance of a polyline (k, 3)."""
    out = np.zeros(len(vertices), dtype=bool)
    for a, b in zip(line[:-1], line[1:], strict=True):
        along = b - a
        t = np.clip((vertices - a) @ along / max(along @ along, 1e-12), 0.0, 1.0)
        out |= np.linalg.norm(vertices - a - t[:, None] * along, axis=1) < reach
    return out


def leg_region(vertices: Array, faces: Ints, at: Mapping[str, Array], side: str) -> Mask:
    """Vertices (n,) of one leg: below the plane through crotch, groin and gluteal fold, joined to the heel."""
    groin, fold = at[f"groin_{side}"], at[f"gluteal_{side}"]
    x, _, z = at["crotch"]
    crotch = np.array(
        [x, 0.5 * (groin[1] + fold[1]), z]
    )  # its own y is unsure where the thighs touch
    normal = np.cross(groin - crotch, fold - crotch)
    normal *= np.sign(normal[2])
    own = SIDES[side] * (vertices[:, 0] - crotch[0]) >= 0
    chosen = own & ((vertices - crotch) @ normal < 0) & (vertices[:, 2] < groin[2])
    foot = at.get(f"heel_{side}", at[f"patella_{side}"])
    seed = int(np.argmin(np.where(chosen, np.linalg.norm(vertices - foot, axis=1), np.inf)))
    return connected(chosen, faces, seed)


def head_region(vertices: Array, faces: Ints, at: Mapping[str, Array]) -> Mask:
    """Vertices (n,) of neck and head: above the plane through cervicale and suprasternal, joined to the crown."""
    back, front = at["cervicale"], at["suprasternal"]
    along = back - front
    normal = np.array([0.0, -along[2], along[1]])
    chosen = (vertices - front) @ normal > 0
    return connected(chosen, faces, int(np.argmin(np.linalg.norm(vertices - at["crown"], axis=1))))


def arm_line(at: Mapping[str, Array], side: str, vertices: Array | None = None) -> Array:
    """A rough line (k, 3) of one arm through its landmarks: middle of the armhole, elbow, wrist, tip of the hand.

    An arm that is cut off has none of the last three; its line ends at the outermost of `vertices` (n, 3) there.
    """
    shoulder, axilla = at[f"acromion_{side}"], at[f"axilla_{side}"]
    names = (f"elbow_{side}", f"wrist_{side}", f"hand_tip_{side}")
    line = [0.5 * (shoulder + axilla), *(at[name] for name in names if name in at)]
    if len(line) == 1 and vertices is not None:
        near = np.abs(vertices[:, 2] - axilla[2]) < 2 * abs(shoulder[2] - axilla[2])
        line.append(vertices[np.argmax(np.where(near, SIDES[side] * vertices[:, 0], -np.inf))])
    return np.array(line)


def has(at: Mapping[str, Array], part: str, side: str = "") -> bool:
    """Whether the landmarks that a part (arm, armhole, leg, thigh, head) needs are there."""
    needs = {
        "arm": ("acromion", "axilla", "wrist"),
        "armhole": ("acromion", "axilla"),
        "leg": ("groin", "gluteal", "patella", "knee_back", "ankle", "hip"),
        "thigh": ("groin", "gluteal", "hip"),
        "head": ("crown", "cervicale", "suprasternal"),
    }[part]
    names = needs if part == "head" else tuple(f"{name}_{side}" for name in needs)
    return all(name in at for name in names) and (part not in ("leg", "thigh") or "crotch" in at)


def segment_at(surface: Surface, at: Mapping[str, Array]) -> Ints:
    """Label (n,) of each vertex: 0 trunk, 1 neck and head, 2 and 3 left and right arm, 4 and 5 left and right leg."""
    vertices, faces = surface.vertices, surface.faces
    label = np.zeros(len(vertices), dtype=np.int64)
    if has(at, "head"):
        label[head_region(vertices, faces, at)] = HEAD
    for side, leg, arm in (("left", LEG_LEFT, ARM_LEFT), ("right", LEG_RIGHT, ARM_RIGHT)):
        if has(at, "leg", side):
            label[leg_region(vertices, faces, at, side)] = leg
        if has(at, "armhole", side):
            axilla, shoulder = at[f"axilla_{side}"], at[f"acromion_{side}"]
            line = arm_line(at, side, vertices)
            label[arm_region(vertices, faces, axilla, shoulder, line)] = arm
    return label
