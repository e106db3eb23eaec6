"""From a scan file to one trusted body: read, repaired, closed, stood up, in even triangles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.body.armpits import deepened
from padlib.body.body import Body
from padlib.body.carried import placed, read_carried
from padlib.body.frame import Frame, find_frame, spread_points
from padlib.body.landmarks import with_landmarks
from padlib.body.planes import cut_off, made_even
from padlib.errors import InputError, MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.areas import face_areas
from padlib.mesh.floor import drop_floor
from padlib.mesh.holes import CUT, FILLED
from padlib.mesh.read import read_mesh
from padlib.mesh.remesh import remesh
from padlib.mesh.repair import (
    Findings,
    drop_degenerate,
    drop_doubled,
    drop_islands,
    genus,
    is_closed_manifold,
    merge_vertices,
    orient,
    split_nonmanifold,
)
from padlib.mesh.solid import make_solid
from padlib.mesh.surface import Surface

UNIT, UP, TURNED, UNSURE = 200, 201, 202, 203
EDGE_PART = 1.0 / 175.0  # edge of the even triangles in parts of the stature: 10 mm for an adult
THIN = 0.6  # edge to which a dense scan is thinned before remeshing, in parts of the even edge
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
) -> Scan:
    """As `import_scan`, for a mesh in memory. Raises MeshError or InputError.

    places: positions (3,) by name of landmarks that the mesh carries, in its own frame.
    """
    surface, repairs = _repaired(surface)
    surface, told = drop_floor(surface)
    repairs += told
    frame = find_frame(surface, unit=unit, up=up, facing=facing, middle=middle)
    standing = Surface(frame.carry(surface.vertices), surface.faces)
    tall = float(np.ptp(standing.vertices[:, 2]))
    standing, trimmed = cut_off(standing, trim)
    repairs += trimmed
    solid, made, told = make_solid(standing, size=tall, floor=0.0)
    repairs += _told_frame(frame, unit, up, facing) + told
    body, lifted = _evened(solid, tall, edge_length)
    scanned = Surface(standing.vertices + lifted, standing.faces)
    solid = Surface(solid.vertices + lifted, solid.faces)
    away = gap(body, solid, made, scanned)
    if away is not None:
        vertices, told = deepened(body.vertices, body.faces, away)
        body, repairs = Surface(vertices, body.faces), repairs + told
    if even:
        body, told = made_even(body)
        repairs += told
        away = gap(body, solid, made, scanned)
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
        distance_mm=distance_to(scanned, body),
        sure=frame.sure,
    )


def _marked(body: Body) -> Body:
    """A body whose file carries some landmarks, with the others found; one without stays without."""
    return with_landmarks(body) if body.landmarks else body


def _repaired(surface: Surface) -> tuple[Surface, Findings]:
    """All repairs that need no knowledge of unit or direction."""
    found: Findings = ()
    steps = (
        merge_vertices,
        drop_degenerate,
        drop_doubled,
        drop_islands,
        orient,
        split_nonmanifold,
    )
    for step in steps:
        surface, told = step(surface)
        if not len(surface.faces):
            raise MeshError("no face of the mesh has an area; export the scan again.")
        found += told
    if any(finding.number == 107 for finding in found):
        surface, told = drop_islands(surface)
        found += told
    return surface, found


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


def _evened(solid: Surface, tall: float, edge_length: float | None) -> tuple[Surface, np.ndarray]:
    """Even triangles, put down on the floor; and the shift (3,) that did that."""
    if edge_length is None:
        edge_length = tall * EDGE_PART
    if not 0.5 <= edge_length <= 0.05 * tall:
        raise InputError(
            f"the edge length is {edge_length:g} mm, but must lie between 0.5 mm and"
            f" {0.05 * tall:.0f} mm for this body."
        )
    solid = _thinned(solid, THIN * edge_length)
    vertices, faces = remesh(solid.vertices, solid.faces, edge_length)
    if not is_closed_manifold(faces):
        raise MeshError("the body did not stay closed in even triangles; give an edge length.")
    shift = np.array([0.0, 0.0, -float(vertices[:, 2].min())])
    return Surface(vertices + shift, faces), shift


def _thinned(solid: Surface, edge: float) -> Surface:
    """A much denser surface brought to about an edge length, its vertices on the dense one.

    Shortest edges are collapsed first (igl.decimate), which is faster than even remeshing.
    """
    area = float(face_areas(solid.vertices, solid.faces).sum())
    count = int(area / (0.433 * edge**2))
    if len(solid.faces) < 1.5 * count:
        return solid
    v, f = np.asfortranarray(solid.vertices), np.asfortranarray(solid.faces.astype(np.int32))
    vertices, faces = igl.decimate(v, f, count)[:2]
    if not is_closed_manifold(faces) or genus(faces) != genus(solid.faces):
        return solid
    _, _, place = igl.point_mesh_squared_distance(vertices, solid.vertices, solid.faces)
    return Surface(place, faces)


def gap(
    body: Surface, solid: Surface, made: NDArray[np.int8], scanned: Surface
) -> NDArray[np.float64] | None:
    """How far each vertex (n,) of a body lies from what was scanned, mm; None where nothing was made up.

    solid: the closed surface that the body was made of, made: what its vertices are; infinite on a cut.
    """
    if not made.any():
        return None
    face = igl.point_mesh_squared_distance(body.vertices, solid.vertices, solid.faces)[1]
    kind = made[solid.faces[face]].max(axis=1)
    out = np.zeros(len(kind))
    filled = np.flatnonzero(kind == FILLED)
    if len(filled):
        squared = igl.point_mesh_squared_distance(
            np.asarray(body.vertices[filled]), scanned.vertices, scanned.faces
        )[0]
        out[filled] = np.sqrt(squared)
    out[kind == CUT] = np.inf
    return out


def distance_to(scan: Surface, body: Surface) -> dict[str, float]:
    """Mean, 95th percentile and largest distance in mm from points spread over a scan to a body."""
    points = np.concatenate(
        [scan.vertices[:: max(1, len(scan.vertices) // 40_000)], spread_points(scan, 40_000)]
    )
    squared = igl.point_mesh_squared_distance(points, body.vertices, body.faces)[0]
    apart = np.sqrt(squared)
    return {
        "mean": float(apart[-40_000:].mean()),
        "p95": float(np.quantile(apart[-40_000:], 0.95)),
        "max": float(apart.max()),
    }
