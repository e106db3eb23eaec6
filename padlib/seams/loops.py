"""Loops round limbs and trunk that part the shell: neck, wrists, ankles, armholes, hip line, middle.

Each is the zero set of a function on the shell's vertices, so that it is one clean curve, exact on the
triangles; a loop counts only if it parts the two vertices that it must part.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from padlib.errors import SuitError
from padlib.mesh.section import Curve, level_set
from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.mesh.topology import edges

Values = NDArray[np.float64]
OUT = 6  # mm from that plane, on a wearer 1750 mm high, at which an armhole is tried first; each try is as much farther


def components_without(faces: Faces, count: int, curve: Curve) -> NDArray[np.int64]:
    """Label (n,) of each vertex when the mesh edges that a curve crosses are taken away."""
    face = np.array([p.face for p in curve.points])
    weights = np.array([p.barycentric for p in curve.points])
    corners = faces[face]
    on_edge = (weights > 0).sum(axis=1) == 2
    order = np.argsort(-weights[on_edge], axis=1)[:, :2]
    crossed = np.sort(np.take_along_axis(corners[on_edge], order, axis=1), axis=1)
    at_vertex = (weights > 0).sum(axis=1) == 1
    gone = np.take_along_axis(corners[at_vertex], weights[at_vertex].argmax(axis=1)[:, None], 1)[
        :, 0
    ]
    ends = edges(faces).ends
    keep = ~np.isin(ends @ [count, 1], crossed @ [count, 1]) & ~np.isin(ends, gone).any(axis=1)
    kept = ends[keep]
    graph = coo_array((np.ones(len(kept)), (kept[:, 0], kept[:, 1])), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def parts(surface: Surface, curve: Curve, one: int, others: Iterable[int]) -> bool:
    """Whether a closed curve parts vertex `one` from every vertex of `others`."""
    label = components_without(surface.faces, len(surface.vertices), curve)
    return all(label[one] != label[o] for o in others)


def parting_loop(
    surface: Surface,
    values: Values,
    one: int,
    others: Iterable[int],
    *,
    face_mask: NDArray[np.bool_] | None = None,
) -> Curve | None:
    """The shortest closed curve of the zero set of `values` (n,) that parts `one` from `others`."""
    others = tuple(others)
    found = level_set(surface.vertices, surface.faces, values, face_mask=face_mask)
    closed = [c for c in found if c.closed]
    closed.sort(key=lambda c: c.length(surface.vertices, surface.faces))
    return next((c for c in closed if parts(surface, c, one, others)), None)


def first_parting_plane(
    surface: Surface,
    origins: Iterable[Values],
    normal: Values,
    one: int,
    others: Iterable[int],
    what: str,
) -> Curve:
    """The first of several parallel planes whose section parts `one` from `others`.

    Raises SuitError, naming `what`, when none does: then limbs touch or a part is missing.
    """
    levels = ((surface.vertices - origin) @ normal for origin in origins)
    return first_parting_loop(surface, levels, one, others, what)


def first_parting_loop(
    surface: Surface, levels: Iterable[Values], one: int, others: Iterable[int], what: str
) -> Curve:
    """The first of several functions (n,) whose zero set parts `one` from `others`. Raises as `first_parting_plane`."""
    others = tuple(others)
    for values in levels:
        loop = parting_loop(surface, values, one, others)
        if loop is not None:
            return loop
    raise SuitError(
        f"the {what} could not be drawn round the body: a limb touches another part or is "
        "missing there; mend the scan, or set the landmarks in [body.landmarks]."
    )


def nearest_vertex(vertices: Vertices, point: Values) -> int:
    """Index of the vertex nearest to a point (3,)."""
    return int(np.argmin(((vertices - point) ** 2).sum(axis=1)))


def neck_plane(at: Mapping[str, Values]) -> tuple[Values, Values]:
    """A place (3,) and the normal (3,) of the neck's plane, which the neck opening lies above."""
    back, front = at["cervicale"], at["suprasternal"]
    normal = np.cross(np.array([1.0, 0.0, 0.0]), back - front)
    normal *= np.sign(normal[2]) / np.linalg.norm(normal)
    return (back + front) / 2, normal


def neck_loop(
    surface: Surface, at: Mapping[str, Values], rise: float, ends: Mapping[str, int]
) -> Curve:
    """The neck opening: through the seventh cervical and the front neck point, raised by `rise` mm."""
    middle, normal = neck_plane(at)
    others = [v for k, v in ends.items() if k != "crown"]
    origins = [middle + normal * (rise + extra) for extra in range(0, 61, 6)]
    return first_parting_plane(surface, origins, normal, ends["crown"], others, "neck opening")


def limb_plane(axis: Values, point: Values) -> tuple[Values, Values]:
    """A place (3,) on a limb's axis (k, 3) beside a landmark, and the direction (3,) of the axis there, to its end."""
    step = np.linalg.norm(np.diff(axis, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    nearest = int(np.argmin(((axis - point) ** 2).sum(axis=1)))
    lo = axis[max(0, np.searchsorted(along, along[nearest] - 60.0) - 1)]
    hi = axis[min(len(axis) - 1, np.searchsorted(along, along[nearest] + 60.0))]
    return axis[nearest], (hi - lo) / np.linalg.norm(hi - lo)


def limb_loop(
    surface: Surface,
    axis: Values,
    point: Values,
    rise: float,
    end: int,
    others: Iterable[int],
    what: str,
) -> Curve:
    """A loop square to a limb's axis (k, 3) at a landmark, `rise` mm up the limb from it."""
    origin, normal = limb_plane(axis, point)
    origins = [origin - normal * (rise + extra) for extra in range(0, 41, 5)]
    return first_parting_plane(surface, origins, normal, end, others, what)


def armhole_plane(at: Mapping[str, Values], side: str) -> tuple[Values, Values]:
    """A place (3,) and the normal (3,), away from the trunk, of the plane that an armhole lies beside."""
    sign = 1.0 if side == "left" else -1.0
    top, bottom = at[f"acromion_{side}"], at[f"axilla_{side}"]
    normal = np.cross(top - bottom, np.array([0.0, 1.0, 0.0]))
    normal *= sign * np.sign(normal[0]) / np.linalg.norm(normal)
    return (top + bottom) / 2, normal


def armhole_values(
    points: Vertices, at: Mapping[str, Values], side: str, hollow: float = 0.0
) -> Values:
    """How far (k,) points (k, 3) lie out on the arm from the surface that an armhole lies beside, mm: its plane, but
    `hollow` mm farther in behind, a third of the way up from the armpit to the shoulder point, where the back folds
    against the arm."""
    middle, normal = armhole_plane(at, side)
    bottom = at[f"axilla_{side}"]
    way = at[f"acromion_{side}"] - bottom
    up = np.clip((points - bottom) @ way / float(way @ way), 0.0, 1.0)
    behind = points[:, 1] > bottom[1] + up * way[1]
    return (points - middle) @ normal + hollow * (behind * 6.75 * up * (1.0 - up) ** 2)


def armhole(
    surface: Surface,
    at: Mapping[str, Values],
    side: str,
    end: int,
    others: Iterable[int],
    scale: float,
    *,
    shift: float = 0.0,
    hollow: float = 0.0,
) -> Curve:
    """The armhole: over the shoulder point and under the armpit, a little on the arm's side, `shift` mm farther, and
    `hollow` mm farther in where the back folds against it."""
    out = armhole_values(surface.vertices, at, side, hollow)
    # The armpit is a saddle of the surface: a plane through it touches; just outside, it parts.
    levels = (out - scale * s - shift for s in range(OUT, 90, OUT))
    return first_parting_loop(surface, levels, end, others, f"{side} armhole")


def middle_loop(
    surface: Surface, at: Mapping[str, Values], mask: NDArray[np.bool_], crown: int
) -> Curve:
    """The middle of front and back: the section by the plane of neck and crotch, once round."""
    normal = np.cross(at["cervicale"] - at["crotch"], at["suprasternal"] - at["crotch"])
    normal /= np.linalg.norm(normal) * np.sign(normal[0])
    if abs(normal[0]) > 0.9999 and abs(at["crotch"][0]) < 1.0:
        values = surface.vertices[:, 0].copy()  # a body that stands true: exactly the plane x = 0
    else:
        values = (surface.vertices - at["crotch"]) @ normal
    found = [
        c for c in level_set(surface.vertices, surface.faces, values, face_mask=mask) if c.closed
    ]
    if not found:
        raise SuitError(
            "the middle of front and back could not be drawn: the legs touch at the middle; "
            "mend the scan or make the pads between the thighs thinner."
        )
    return max(found, key=lambda c: c.length(surface.vertices, surface.faces))


def hip_values(
    vertices: Vertices, at: Mapping[str, Values], seat_top: float, *, bow: float = 0.0
) -> Values:
    """A function (n,) that is positive on the trunk and negative on legs and seat.

    Its zero set runs from just before the crotch up along both groins to the sides and, behind, above
    the seat at height `seat_top` mm; bow: mm by which it lies higher half-way along the groin.
    """
    crotch = at["crotch"]
    left, right = at["hip_left"], at["hip_right"]
    half = max(abs(left[0] - right[0]) / 2, 1.0)
    side_y = (left[1] + right[1]) / 2
    depth = max(at["seat_back"] - at["belly_front"], 60.0)
    x = np.abs(vertices[:, 0] - crotch[0]) / half
    y = vertices[:, 1]
    start = crotch[2] + 0.06 * (seat_top - crotch[2])
    rise = np.clip(x, 0, 1.1) ** 0.85
    half_way = np.clip(x, 0, 1)
    front = start + (seat_top - start) * rise + 4.0 * bow * half_way * (1.0 - half_way)
    behind = np.clip((y - (side_y - 0.10 * depth)) / (0.30 * depth), 0, 1)
    behind = behind * behind * (3 - 2 * behind)
    return vertices[:, 2] - ((1 - behind) * front + behind * seat_top)
