"""A body from measurements: a smooth closed surface whose own girths are those asked for."""

from __future__ import annotations

from collections.abc import Mapping

import igl
import numpy as np

from padlib.body.anatomy import Anatomy, person
from padlib.body.body import Body
from padlib.body.girths import fitted
from padlib.body.trim import trimmed
from padlib.body.typical import UNSTEERED, fill
from padlib.errors import InputError
from padlib.findings import Finding
from padlib.mesh.remesh import remesh
from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.mesh.zero import onto_zero, zero_surface

WOMANLY = {"male": 0.0, "female": 1.0, "neutral": 0.5}
EDGES_IN_STATURE = 175.0
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
    full = fill(measurements, figure)
    edge = full["stature"] / EDGES_IN_STATURE if edge_length is None else edge_length
    if not (np.isfinite(edge) and FINEST <= edge <= COARSEST):
        raise InputError(f"edge_length must be {FINEST:g} to {COARSEST:g} mm, not {edge_length}.")
    anatomy = fitted(Anatomy(full, WOMANLY[figure], {}))
    v, f = _skin(anatomy, edge)
    v = trimmed(anatomy, v, f)
    v = v * (full["stature"] / v[:, 2].max())
    source = f"from {len(measurements)} measurements, {figure}"
    return Body(Surface(v, f), source=source, findings=_findings(measurements, full))


def _skin(an: Anatomy, edge: float) -> tuple[Vertices, Faces]:
    """Even triangles over the whole solid: the left half, held in the plane x = 0, and its mirror image."""
    value, h = person(an), an.h
    wide = 0.62 * h + 0.4 * an.m["arm_length"] - 0.13 * h
    v, f = zero_surface(value, (0.0, -0.32 * h, -0.03 * h), (wide, 0.3 * h, 1.03 * h), 0.8 * edge)
    v = _onto(value, v, f)
    v, f = remesh(v, f, edge)
    v = _onto(value, v, f)
    return _mirrored(v, f)


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
