"""A body from measurements: a smooth closed surface whose own girths are those asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.body.agree import check_tape
from padlib.body.anatomy import Anatomy
from padlib.body.asks import ANSWERED, asks
from padlib.body.body import Body
from padlib.body.calm import untangled
from padlib.body.drawn import KNOWN, at_heights, at_shoulders, heights
from padlib.body.fair import faired
from padlib.body.gates import gates
from padlib.body.girths import fitted
from padlib.body.landmarks import with_landmarks
from padlib.body.measure import measure
from padlib.body.neckline import based
from padlib.body.person import person
from padlib.body.rounds import brought, promised
from padlib.body.typical import fill
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.crossings import crossings
from padlib.mesh.remesh import remesh
from padlib.mesh.repair import components, is_closed_manifold, without_unused
from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.mesh.topology import euler
from padlib.mesh.zero import onto_zero, zero_surface

WOMANLY = {"male": 0.0, "female": 1.0, "neutral": 0.5, "child": 0.0}
EDGES_IN_STATURE = 175.0
GRID = 1.1  # step of the grid, in edges
FINER = (1.0, 0.62, 0.45)  # tries, until the skin is one piece without a handle
FINE = 0.0085  # ... and at most so much of the stature: hands stay whole
FINEST, COARSEST = 4.0, 25.0  # edge lengths in mm of a body that still has hands and a face

FIRST = 2  # rounds of moving that are always made
FILLED_LENGTHS = ("shoulder_width", "upper_arm_length", "arm_length", "hand_length", "foot_length")
FILLED = (  # girths that are steered also where they were filled in
    "head_girth", "neck_girth", "chest_girth", "waist_girth", "hip_girth", "thigh_girth", "mid_thigh_girth",
    "knee_girth", "calf_girth", "minimum_leg_girth", "ankle_girth", "upper_arm_girth", "elbow_girth",
    "forearm_girth", "wrist_girth",
)  # fmt: skip

Ints = NDArray[np.int64]


def parametric_body(
    measurements: Mapping[str, float], *, figure: str = "neutral", edge_length: float | None = None
) -> Body:
    """A closed body in an A pose, mirror symmetric in x = 0, from any subset of measurements in mm.

    Names are those of padlib.body.measure; what is not given is filled in (padlib.body.usual says from
    where, and a finding tells which). figure: neutral, female or male. edge_length: of the triangles,
    mm; stature / 175 if not given. Raises InputError for unknown names, values that no person has, and
    values that contradict each other.
    """
    told = check_tape(measurements)
    full = fill(measurements, figure)
    edge = full["stature"] / EDGES_IN_STATURE if edge_length is None else edge_length
    if not (np.isfinite(edge) and FINEST <= edge <= COARSEST):
        raise InputError(f"edge_length must be {FINEST:g} to {COARSEST:g} mm, not {edge_length}.")
    wished = {n: float(v) for n, v in measurements.items() if n in ANSWERED}
    surface, mirror = _surface(fitted(Anatomy(full, WOMANLY[figure], {})), edge)
    body = Body(surface, source=f"from {len(measurements)} measurements, {figure}")
    body, more = _taped(body, full, wished, mirror)
    odd = [f for f in gates(wished) if f.number in (260, 263)]
    return replace(body, findings=(*told, *_findings(measurements, full), *odd, *more))


def _taped(
    body: Body, full: Mapping[str, float], wished: Mapping[str, float], mirror: Ints
) -> tuple[Body, list[Finding]]:
    """The body moved the last millimetres to what was asked, and what was not reached.

    Girths that were filled in are steered, too. Levels lie where the body was drawn to have them.
    """
    marked = at_shoulders(at_heights(with_landmarks(body), heights(full)), full)
    marked = based(marked, wished)
    start = measure(marked)
    given = {n: v for n, v in wished.items() if n in start.values}
    wanted = asks(given, start.values, {})
    filled = {n: full[n] for n in FILLED if n in start.values and n not in given}
    long = {n: full[n] for n in FILLED_LENGTHS if n in start.values and n not in given}
    wanted = replace(wanted, girths={**wanted.girths, **filled}, lengths={**wanted.lengths, **long})
    moved, told, rode = brought(
        marked, wanted, start, mirror=mirror, own={}, least=FIRST, known=KNOWN
    )
    surface = untangled(moved.surface, mirror)
    if surface is not moved.surface:
        moved = replace(moved, surface=surface)
        told = measure(moved)
    found = [*_missed(wished, told.values), *_ridden(rode), *_crossed(moved.surface)]
    return replace(body, surface=moved.surface, landmarks=moved.landmarks), found


def _surface(an: Anatomy, edge: float) -> tuple[Surface, Ints]:
    """The body's surface in even triangles, and each vertex's image in x = 0."""
    v, f, mirror = _skin(an, edge, even=True)
    v = faired(an, v, f, mirror, edge)
    return Surface(v * (an.h / v[:, 2].max()), f), mirror


def _missed(wished: Mapping[str, float], told: Mapping[str, float]) -> list[Finding]:
    """Findings for wishes that the body does not meet."""
    out = []
    for name, value in wished.items():
        if abs(told.get(name, np.inf) - value) > promised(name):
            words = f"The body has {name} {told.get(name, np.nan):.0f} mm where {value:.0f} mm was asked for."
            out.append(Finding(222, words, name, Grade.WARNING))
    return out


def _ridden(rode: tuple[str, ...]) -> list[Finding]:
    """The finding for levels that the body's own shape would place elsewhere."""
    if not rode:
        return []
    words = (
        f"{', '.join(rode)}: where the measurements say, since the shape alone would place it elsewhere; a file that "
        "padlib writes of the body says where."
    )
    return [Finding(223, words, "landmarks", Grade.NOTE, len(rode))]


def _crossed(surface: Surface) -> list[Finding]:
    """The finding for a surface that runs through itself."""
    places = len(crossings(surface.vertices, surface.faces)[1])
    if not places:
        return []
    words = f"The body runs through itself at {places} places; look at the measurements that are out of the ordinary."
    return [Finding(224, words, "surface", Grade.WARNING, places)]


def _skin(an: Anatomy, edge: float, *, even: bool) -> tuple[Vertices, Faces, Ints]:
    """Triangles over the whole solid: the left half, held in the plane x = 0, and its mirror image; and the images."""
    value, h = person(an), an.h
    wide = 0.62 * h + 0.4 * an.m["arm_length"] - 0.13 * h
    box = (0.0, -0.32 * h, -0.03 * h), (wide, 0.3 * h, 1.03 * h)
    for finer in FINER:
        v, f = zero_surface(value, *box, finer * min(GRID * edge, FINE * h))
        label = components(f)  # a grid as coarse as a hand is thick leaves crumbs at its tip
        kept = without_unused(v, f[label == np.bincount(label).argmax()])
        v, f = kept.vertices, kept.faces
        if even:
            v, f = remesh(v, f, edge)
        v, f, mirror = _mirrored(_onto(value, v, f), f)
        if not even or (is_closed_manifold(f) and euler(f) == 2):
            break
    return v, f, mirror


def _onto(value, v: Vertices, f: Faces) -> Vertices:
    """Vertices on the solid's skin; those of the middle plane stay in it."""
    normals = igl.per_vertex_normals(v, f)
    middle = v[:, 0] < 1e-9
    normals[middle, 0] = 0.0
    size = np.linalg.norm(normals, axis=1, keepdims=True)
    out = onto_zero(value, v, normals / np.maximum(size, 1e-9))
    out[middle, 0] = 0.0
    return out


def _mirrored(v: Vertices, f: Faces) -> tuple[Vertices, Faces, Ints]:
    """The half (x >= 0) and its mirror image as one surface that shares the vertices in x = 0; each vertex's image."""
    middle = v[:, 0] == 0.0
    side = np.flatnonzero(~middle)
    other = np.arange(len(v))
    other[side] = len(v) + np.arange(len(side))
    both = np.concatenate([v, v[side] * np.array([-1.0, 1.0, 1.0])])
    return both, np.concatenate([f, other[f][:, ::-1]]), np.concatenate([other, side])


def _findings(given: Mapping[str, float], full: Mapping[str, float]) -> tuple[Finding, ...]:
    out = []
    filled = [n for n in full if n not in given and n != "chest_girth"]
    if filled:
        words = "Filled in from what people of that size mostly have: " + ", ".join(
            f"{n} {full[n]:.0f}" for n in filled
        )
        out.append(Finding(220, words + ".", "measurements", count=len(filled)))
    passed = [n for n in given if n not in ANSWERED]
    if passed:
        words = f"Nothing in the built body answers to {', '.join(passed)}; compare them after."
        out.append(Finding(221, words, "measurements", count=len(passed)))
    return tuple(out)
