"""From a scan file to one trusted body: read, repaired, closed, stood up, in even triangles."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from threadpoolctl import threadpool_limits

from padlib.body.armpits import deepened
from padlib.body.body import Body
from padlib.body.carried import placed, read_carried, read_unscanned
from padlib.body.frame import Frame, find_frame, spread_points
from padlib.body.halves import made_whole
from padlib.body.landmarks import with_landmarks
from padlib.body.other_side import completed
from padlib.body.planes import cut_off, made_even
from padlib.body.unit import TALLEST_MM
from padlib.errors import InputError, MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_areas
from padlib.mesh.columns import corners_of, largest
from padlib.mesh.floor import drop_floor
from padlib.mesh.holes import CUT, FILLED, KEPT
from padlib.mesh.islands import drop_islands
from padlib.mesh.read import read_mesh
from padlib.mesh.remesh import remesh
from padlib.mesh.repair import (
    Findings,
    drop_degenerate,
    drop_doubled,
    is_closed_manifold,
    merge_vertices,
    orient,
    split_nonmanifold,
)
from padlib.mesh.solid import SMOOTHED, make_solid
from padlib.mesh.surface import Surface, Vertices
from padlib.mesh.thin import even_edge, raised, sparser, thinned

UNIT, UP, TURNED, UNSURE, STAND = 200, 201, 202, 203, 209
CLEAR = 3.0  # mm under a form: there it is cut off its stand, since the first triangles at a rim are lost
EDGE_PART = 1.0 / 175.0  # edge of the even triangles in parts of the stature: 10 mm for an adult
THIN = 0.6  # edge to which a dense scan is thinned, in parts of the even edge
SPARSE = 0.75  # where the scan's edges are shorter than this part of the even ones, remeshing begins from fewer
FLOORED = 0.5  # a bounding box whose least side is more than this part of its longest holds more than a figure
# How far flat triangles move out to lie about the curved surface, in parts of a vertex height over its neighbours:
# for chords alone (see thin.raised), and with the means of groups of vertices, which lie 0.14 of it deeper.
CHORDS, MEANS = 0.25, 0.39
MOST = 0.05  # bound of that in edge lengths
# What stands out over flat triangles by more, in edge lengths, gets a vertex of its own; the second where noise was.
STANDS = (0.03, 0.1)
CLUMP, CLUMPS = (
    0.06,
    40,
)  # of the extent: clumps of filled vertices; as many are looked at one by one
SPREAD = 12_000  # points by which the distance from the scan is told
PERSON_AREA, MOST_AREA = (
    0.63,
    3.0,
)  # a person's surface in parts of the height squared (anny); most times that
LEAST_SURE = 0.35


@dataclass(frozen=True, eq=False)
class Scan:
    """An imported scan.

    body: the closed body in padlib's frame, without landmarks unless the file carries some; unit, up: as
    found or given, "cm", "+y"; tilt_deg: how far it lay off that axis; turned_deg: turn about the
    vertical; repairs: what was done and assumed, in order;
    distance_mm: {mean, p95, max} from the scan's own points, noise included, to the body;
    sure: how sure the unit, up axis and facing are, 0 to 1, and symmetry_mm.
    """

    body: Body
    unit: str
    up: str
    tilt_deg: float
    turned_deg: float
    repairs: tuple[Finding, ...]
    distance_mm: dict[str, float]
    sure: dict[str, float]


def import_scan(
    path: str | Path,
    *,
    unit: str | None = None,
    up: str | None = None,
    facing: str | None = None,
    middle: str | None = None,
    trim: Sequence[str] = (),
    even: bool = False,
    edge_length: float | None = None,
) -> Scan:
    """Read a body scan and make one closed body of it, in padlib's frame.

    unit, up, facing, middle: as in `padlib.body.frame.find_frame`, found when not given; trim: planes
    in padlib's frame in mm beyond which the scan is cut off, such as "z > 1650"; even: make both
    sides the mean of the two; edge_length: of the body's triangles in mm, by default a 175th of the
    stature.
    Raises MeshError or InputError, one sentence that names the file.
    """
    surface = read_mesh(path)
    try:
        # small matrices: threads of the linear algebra library cost more than they give
        with threadpool_limits(1):
            return body_from_surface(
                surface,
                unit=unit,
                up=up,
                facing=facing,
                middle=middle,
                trim=trim,
                even=even,
                edge_length=edge_length,
                source=f"scan {Path(path).name}",
                places=read_carried(path),
                unscanned=read_unscanned(path),
            )
    except InputError as failure:
        raise type(failure)(f"{path}: {failure}") from failure


def body_from_surface(
    surface: Surface,
    *,
    unit: str | None = None,
    up: str | None = None,
    facing: str | None = None,
    middle: str | None = None,
    trim: Sequence[str] = (),
    even: bool = False,
    edge_length: float | None = None,
    source: str = "mesh",
    places: Mapping[str, np.ndarray] | None = None,
    unscanned: tuple[np.ndarray, np.ndarray] | None = None,
) -> Scan:
    """As `import_scan`, for a mesh in memory. Raises MeshError or InputError.

    places: positions (3,) by name of landmarks that the mesh carries, in its own frame; unscanned: vertices (n, 3) in
    that frame and their distance (n,) in mm from what was scanned, where an earlier import filled holes.
    """
    surface, dense, repairs = _repaired(surface, edge_length)
    surface, told = drop_floor(surface)
    repairs += told
    surface, told = made_whole(surface)
    repairs += told
    frame = find_frame(surface, unit=unit, up=up, facing=facing, middle=middle)
    standing = Surface(frame.carry(surface.vertices), surface.faces)
    tall = frame.tall
    standing, stood = _off_stand(standing, frame.stand)
    standing, trimmed = cut_off(standing, trim)
    repairs += trimmed
    _check_area(standing, tall)
    solid, made, told = make_solid(standing, size=tall, floor=0.0)
    if dense is not None:
        solid = Surface(raised(solid.vertices, solid.faces, MEANS, MOST), solid.faces)
    repairs += _told_frame(frame, unit, up, facing) + stood + told
    smoothed = any(finding.number == SMOOTHED for finding in told)
    body, lifted = _evened(
        solid, tall, edge_length, np.where(made == KEPT, STANDS[smoothed], np.inf)
    )
    scanned = Surface(standing.vertices + lifted, standing.faces)
    solid = Surface(solid.vertices + lifted, solid.faces)
    away = gap(body, solid, made, scanned)
    if away is not None:
        for step in (deepened, completed):
            vertices, told = step(body.vertices, body.faces, away)
            body, repairs = Surface(vertices, body.faces), repairs + told
    if even:
        body, told = made_even(body)
        repairs += told
        away = gap(body, solid, made, scanned)
    if unscanned is not None:
        away = _told_before(body, frame.carry(unscanned[0]) + lifted, unscanned[1], away)
    marks = {name: frame.carry(p[None])[0] + lifted for name, p in (places or {}).items()}
    landmarks, told = placed(body, marks)
    repairs += told
    return Scan(
        body=_marked(Body(body, landmarks, source, repairs, gap=away)),
        unit=frame.unit,
        up=frame.up,
        tilt_deg=frame.tilt_deg,
        turned_deg=frame.turned_deg,
        repairs=repairs,
        distance_mm=distance_to(_kept(dense, frame, lifted, scanned), body),
        sure=frame.sure,
    )


def _told_before(
    body: Surface, points: Vertices, told: NDArray[np.float64], away: NDArray[np.float64] | None
) -> NDArray[np.float64]:
    """Distance (n,) of each vertex from what was scanned, with what an earlier import told at points (k, 3) of it."""
    before = told[cKDTree(points).query(body.vertices)[1]]
    return before if away is None else np.maximum(before, away)


def _marked(body: Body) -> Body:
    """A body whose file carries some landmarks, with the others found; one without stays without."""
    return with_landmarks(body) if body.landmarks else body


def _repaired(
    surface: Surface, edge_length: float | None
) -> tuple[Surface, Vertices | None, Findings]:
    """All repairs that need no knowledge of unit or direction, on no more triangles than the body needs.

    With a scan that was thinned come points (k, 3) spread over it as it was, to tell later how far off the body is.
    """
    surface, found = _stepped(surface, merge_vertices, drop_degenerate, drop_islands)
    coarse, told = thinned(surface, _coarse(surface, edge_length))
    dense = _points_of(surface) if told else None
    surface, found = coarse, found + told
    surface, told = _stepped(surface, drop_doubled, orient, split_nonmanifold)
    found += told
    if any(finding.number == 107 for finding in found):
        surface, told = drop_islands(surface)
        found += told
    return surface, dense, found


def _off_stand(standing: Surface, form: float) -> tuple[Surface, Findings]:
    """A form without the stand under it, cut where the form begins, mm over the floor; as it is where that is 0."""
    if not form:
        return standing, ()
    standing, _ = cut_off(standing, [f"z < {form - CLEAR:.1f}"])
    words = f"a stand was found under the form, which begins {form:.0f} mm over its foot; it was left out"
    return standing, (Finding(STAND, words, grade=Grade.REPAIR),)


def _check_area(standing: Surface, tall: float) -> None:
    """Refuse a figure of many times a person's surface: faces that run across it, from a damaged file."""
    times = float(face_areas(standing.vertices, standing.faces).sum()) / (PERSON_AREA * tall**2)
    if times > MOST_AREA:
        raise MeshError(
            f"the mesh has {times:,.0f} times the surface of a person of its height; faces run across it"
            " or it holds more than one figure: export one figure again."
        )


def _stepped(surface: Surface, *steps: Callable) -> tuple[Surface, Findings]:
    """Repairs one after the other. Raises MeshError when nothing is left."""
    found: Findings = ()
    for step in steps:
        surface, told = step(surface)
        if not len(surface.faces):
            raise MeshError("no face of the mesh has an area; export the scan again.")
        found += told
    return surface, found


def _coarse(surface: Surface, edge_length: float | None) -> float:
    """Edge, in the file's unit, to which a dense scan is thinned: a part of its extent, its unit being unknown."""
    low, _, high = np.sort(np.ptp(surface.vertices, axis=0))
    size = low if low > FLOORED * high else high  # a floor that hangs on is wider than the figure
    part = EDGE_PART if edge_length is None else min(EDGE_PART, edge_length / TALLEST_MM)
    return float(THIN * part * size)


def _points_of(surface: Surface) -> Vertices:
    """Points (k, 3) of a scan: some of its own vertices, then as many spread evenly over it."""
    few = surface.vertices[:: max(1, len(surface.vertices) // SPREAD)]
    return np.concatenate([few, spread_points(surface, SPREAD)])


def _told_frame(frame: Frame, unit: str | None, up: str | None, facing: str | None) -> Findings:
    """What was found out about unit, up axis and facing, and whether to look at it."""
    found: Findings = ()
    if unit is None:
        found += (Finding(UNIT, f"the unit was taken to be {frame.unit} from the height"),)
    if up is None:
        words = f"up was taken to be {frame.up} of the file"
        if frame.tilt_deg > 0.0:
            words = (
                f"the figure leaned or lay {frame.tilt_deg:.1f} degrees off {frame.up} of the file"
                " and was stood upright"
            )
        found += (Finding(UP, words, grade=Grade.REPAIR if frame.tilt_deg else Grade.NOTE),)
    if abs(frame.turned_deg) > 0.5:
        words = f"the body was turned by {frame.turned_deg:.1f} degrees to face front"
        found += (Finding(TURNED, words),)
    for name, given in (("up", up), ("facing", facing)):
        if given is None and frame.sure[name] < LEAST_SURE:
            words = (
                f"the {name} direction is uncertain; look at the body and give it if it is wrong"
            )
            found += (Finding(UNSURE, words, grade=Grade.WARNING),)
    return found


def _evened(
    solid: Surface, tall: float, edge_length: float | None, stands: NDArray[np.float64]
) -> tuple[Surface, np.ndarray]:
    """Even triangles, put down on the floor; and the shift (3,) that did that.

    stands: how far each vertex (n,) must stand out over flat triangles, in parts of their edges, to get one of its own.
    """
    if edge_length is None:
        edge_length = tall * EDGE_PART
    if not 0.5 <= edge_length <= 0.05 * tall:
        raise InputError(
            f"the edge length is {edge_length:g} mm, but must lie between 0.5 mm and"
            f" {0.05 * tall:.0f} mm for this body."
        )
    start = _start(solid, SPARSE * edge_length)
    vertices, faces = remesh(
        solid.vertices,
        solid.faces,
        edge_length,
        iterations=5 if start is None else 3,
        start=None if start is None else (start.vertices, start.faces),
        least=stands * edge_length,
        brisk=True,
    )
    if not is_closed_manifold(faces):
        raise MeshError("the body did not stay closed in even triangles; give an edge length.")
    vertices = raised(vertices, faces, CHORDS, MOST)
    shift = np.array([0.0, 0.0, -float(vertices[:, 2].min())])
    return Surface(vertices + shift, faces), shift


def _start(solid: Surface, edge: float) -> Surface | None:
    """A sparser surface of the same topology to begin remeshing from; None where the solid itself is the best."""
    start, found = None, solid
    while found is not None and even_edge(found) < edge:
        found = sparser(found)
        start = found or start
    return start


def gap(
    body: Surface, solid: Surface, made: NDArray[np.int8], scanned: Surface
) -> NDArray[np.float64] | None:
    """How far each vertex (n,) of a body lies from what was scanned, mm; None where nothing was made up.

    solid: the closed surface that the body was made of, made: what its vertices are; infinite on a cut.
    """
    if not made.any():
        return None
    kind = largest(made[solid.faces])
    a, b, c = corners_of(solid.vertices, solid.faces)
    tree = cKDTree((a + b + c) / 3.0, compact_nodes=False, balanced_tree=False)
    kind = kind[tree.query(body.vertices)[1]]
    out = np.zeros(len(kind))
    filled = np.flatnonzero(kind == FILLED)
    if len(filled):
        points = np.asarray(body.vertices[filled])
        faces = scanned.faces[_faces_about(points, scanned)]
        out[filled] = np.sqrt(igl.point_mesh_squared_distance(points, scanned.vertices, faces)[0])
    out[kind == CUT] = np.inf
    return out


def _faces_about(points: Vertices, surface: Surface) -> NDArray[np.bool_]:
    """Which faces (m,) of a surface may hold the places nearest to points (k, 3), where these lie in a few clumps.

    A vertex of the surface at a distance d from a point bounds how far its nearest place can be.
    """
    v, f = surface.vertices, surface.faces
    cell = np.floor(points / (CLUMP * np.ptp(v, axis=0).max())).astype(np.int64)
    _, clump = np.unique(cell, axis=0, return_inverse=True)
    count = int(clump.max()) + 1
    if count > CLUMPS:
        return np.ones(len(f), dtype=bool)
    tree = cKDTree(v[f[::4, 0]], compact_nodes=False, balanced_tree=False)
    reach = tree.query(points)[0]
    clumps = [clump.reshape(-1) == k for k in range(count)]
    inside = np.ones((count, len(f)), dtype=bool)
    for axis in range(3):  # column by column: numpy reduces rows of three slowly
        a, b, c = (v[:, axis].take(f[:, k]) for k in range(3))
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        for k, mine in enumerate(clumps):
            here, wide = points[mine, axis], reach[mine].max()
            inside[k] &= (high >= here.min() - wide) & (low <= here.max() + wide)
    return inside.any(axis=0)


def _kept(dense: Vertices | None, frame: Frame, lifted: np.ndarray, scanned: Surface) -> Vertices:
    """Points (k, 3) of the scan as it was, on the body's floor, without those of what the repairs dropped."""
    if dense is None:
        return _points_of(scanned)
    points = frame.carry(dense) + lifted
    a, b = (scanned.vertices[scanned.faces[:, k]] for k in (0, 1))
    reach = 2.0 * float(np.quantile(np.linalg.norm(a - b, axis=1), 0.95))
    tree = cKDTree(scanned.vertices, compact_nodes=False, balanced_tree=False)
    return points[tree.query(points, distance_upper_bound=reach)[0] < np.inf]


def distance_to(points: Vertices, body: Surface) -> dict[str, float]:
    """Mean, 95th percentile and largest distance in mm from points (k, 3) of a scan to a body.

    Mean and percentile are of the last SPREAD points, which lie evenly.
    """
    squared = igl.point_mesh_squared_distance(points, body.vertices, body.faces)[0]
    apart = np.sqrt(squared)
    return {
        "mean": float(apart[-SPREAD:].mean()),
        "p95": float(np.quantile(apart[-SPREAD:], 0.95)),
        "max": float(apart.max()),
    }
