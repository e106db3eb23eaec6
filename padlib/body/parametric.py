"""A body from measurements: a smooth closed surface whose own girths are those asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import igl
import numpy as np

from padlib.body.agree import check_tape
from padlib.body.anatomy import Anatomy, person
from padlib.body.body import Body
from padlib.body.girths import fitted
from padlib.body.landmarks import with_landmarks
from padlib.body.measure import measure
from padlib.body.trim import trimmed
from padlib.body.typical import UNSTEERED, fill
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.remesh import remesh
from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.mesh.zero import onto_zero, zero_surface

WOMANLY = {"male": 0.0, "female": 1.0, "neutral": 0.5}
EDGES_IN_STATURE = 175.0
GRID = 1.1  # step of the grid, in edges
ROUNDS, NEAR = (
    3,
    0.7,
)  # how often the solids are asked again, until the measurements are so near, mm
FINEST, COARSEST = 4.0, 25.0  # edge lengths in mm of a body that still has hands and a face


def parametric_body(
    measurements: Mapping[str, float], *, figure: str = "neutral", edge_length: float | None = None
) -> Body:
    """A closed body in an A pose, mirror symmetric in x = 0, from any subset of measurements in mm.

    Names are those of padlib.body.measure; what is not given is filled in (padlib.body.typical says from
    where, and a finding tells which). figure: neutral, female or male. edge_length: of the triangles,
    mm; stature / 175 if not given. Raises InputError for unknown names, values that no person has, and
    values that contradict each other.
    """
    told = check_tape(measurements)
    full = fill(measurements, figure)
    edge = full["stature"] / EDGES_IN_STATURE if edge_length is None else edge_length
    if not (np.isfinite(edge) and FINEST <= edge <= COARSEST):
        raise InputError(f"edge_length must be {FINEST:g} to {COARSEST:g} mm, not {edge_length}.")
    wished = {n: full[n] for n in full if n in measurements and n != "stature"}
    anatomy, missed = _answering(Anatomy(full, WOMANLY[figure], {}), wished)
    surface = _surface(anatomy, edge)
    source = f"from {len(measurements)} measurements, {figure}"
    return Body(surface, source=source, findings=(*told, *_findings(measurements, full), *missed))


def _surface(an: Anatomy, edge: float, *, even: bool = True) -> Surface:
    """The body's surface, its triangles made even or (for measuring only) as the grid gives them."""
    v, f = _skin(an, edge, even=even)
    v = trimmed(an, v, f)
    return Surface(v * (an.h / v[:, 2].max()), f)


def _answering(an: Anatomy, wished: Mapping[str, float]) -> tuple[Anatomy, list[Finding]]:
    """The fitted anatomy whose body, measured as any body is, has the wished measurements.

    A tape goes by landmarks that are found on the surface, and those lie a little off the places that the
    solids were drawn from: what a coarse body reads is put right by what is asked of the solids.
    """
    an = fitted(an)
    asked = dict(an.m)
    told: dict[str, float] = {}
    for turn in range(ROUNDS + 1):
        told = _read(Body(_surface(an, an.h / EDGES_IN_STATURE, even=False)))
        off = {n: wished[n] - told[n] for n in wished if n in told}
        if turn == ROUNDS or max(map(abs, off.values()), default=0.0) < NEAR:
            break
        for name, error in off.items():
            most = (0.05 if name.endswith("_girth") else 0.08) * wished[name]
            asked[name] += error if abs(error) < most else 0.0
        _keep_arm(asked, an.m)
        an = fitted(replace(an, m=dict(asked)))
    return an, _missed(wished, told)


def _read(body: Body) -> dict[str, float]:
    """Measurements of a body by its own landmarks; none where they cannot be found."""
    try:
        return measure(with_landmarks(body)).values
    except InputError:
        return {}


def _keep_arm(asked: dict[str, float], before: Mapping[str, float]) -> None:
    """Spread a change of the arm's length over its two parts; a change of the back moves the waist."""
    longer = asked["arm_length"] / before["arm_length"]
    for name in ("upper_arm_length", "forearm_length"):
        asked[name] *= longer
    if "back_waist_length" in asked:
        asked["waist_height"] -= asked["back_waist_length"] - before["back_waist_length"]


def _missed(wished: Mapping[str, float], told: Mapping[str, float]) -> list[Finding]:
    """Findings for wishes that the body does not meet."""
    out = []
    for name, value in wished.items():
        near = 2.0 if name.endswith("_girth") else 5.0
        if name in told and abs(told[name] - value) > near:
            words = f"The body has {name} {told[name]:.0f} mm where {value:.0f} mm was asked for."
            out.append(Finding(222, words, name, Grade.WARNING))
    return out


def _skin(an: Anatomy, edge: float, *, even: bool) -> tuple[Vertices, Faces]:
    """Triangles over the whole solid: the left half, held in the plane x = 0, and its mirror image."""
    value, h = person(an), an.h
    wide = 0.62 * h + 0.4 * an.m["arm_length"] - 0.13 * h
    box = (0.0, -0.32 * h, -0.03 * h), (wide, 0.3 * h, 1.03 * h)
    v, f = zero_surface(value, *box, GRID * edge)
    if even:
        v, f = remesh(v, f, edge)
    return _mirrored(_onto(value, v, f), f)


def _onto(value, v: Vertices, f: Faces) -> Vertices:
    """Vertices on the solid's skin; those of the middle plane stay in it."""
    normals = igl.per_vertex_normals(v, f)
    middle = v[:, 0] < 1e-9
    normals[middle, 0] = 0.0
    size = np.linalg.norm(normals, axis=1, keepdims=True)
    out = onto_zero(value, v, normals / np.maximum(size, 1e-9))
    out[middle, 0] = 0.0
    return out


def _mirrored(v: Vertices, f: Faces) -> tuple[Vertices, Faces]:
    """The half (x >= 0) and its mirror image as one surface that shares the vertices in x = 0."""
    middle = v[:, 0] == 0.0
    other = np.arange(len(v))
    other[~middle] = len(v) + np.arange(int((~middle).sum()))
    both = np.concatenate([v, v[~middle] * np.array([-1.0, 1.0, 1.0])])
    return both, np.concatenate([f, other[f][:, ::-1]])


def _findings(given: Mapping[str, float], full: Mapping[str, float]) -> tuple[Finding, ...]:
    out = []
    filled = [n for n in full if n not in given and n != "chest_girth"]
    if filled:
        words = "Filled in from what people of that size mostly have: " + ", ".join(
            f"{n} {full[n]:.0f}" for n in filled
        )
        out.append(Finding(220, words + ".", "measurements", count=len(filled)))
    passed = [n for n in given if n in UNSTEERED]
    if passed:
        words = f"Nothing in the built body answers to {', '.join(passed)}; compare them after."
        out.append(Finding(221, words, "measurements", count=len(passed)))
    return tuple(out)
