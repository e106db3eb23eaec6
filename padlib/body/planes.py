"""Planes that the user gives: what lies beyond one is cut off; the body made even about its own middle."""

from __future__ import annotations

import re
from collections.abc import Sequence

import igl
import numpy as np
import trimesh
from numpy.typing import NDArray

from padlib.errors import InputError, MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.islands import drop_islands
from padlib.mesh.repair import is_closed_manifold, split_nonmanifold
from padlib.mesh.surface import Surface

Vector = NDArray[np.float64]

TRIMMED, EVENED = 205, 206  # numbers of the findings
SNAP = 0.3  # of an edge: vertices that near to the middle plane move onto it
_PLANE = re.compile(
    r"^\s*([xyz]|[-+.\de]+\s*,\s*[-+.\de]+\s*,\s*[-+.\de]+)\s*([<>=])\s*([-+.\de]+)\s*$"
)


def read_plane(text: str, *, signs: str = "<>") -> tuple[Vector, float]:
    """Unit normal (3,) and offset of "x > 600", "z < 80" or "0.2,0,1 > 1600": beyond is where normal . p > offset.

    Raises InputError for words that are no plane.
    """
    found = _PLANE.match(text)
    try:
        if found is None or found[2] not in signs:
            raise ValueError
        axis = "xyz".find(found[1])
        parts = np.eye(3)[axis] if axis >= 0 else np.array(found[1].split(","), dtype=np.float64)
        offset, size = float(found[3]), float(np.linalg.norm(parts))
        if not (np.isfinite(offset) and 0.0 < size < np.inf):
            raise ValueError
    except ValueError as failure:
        shown = f"z {signs[-1]} 1650 or 0.2,0,1 {signs[-1]} 1600"
        raise InputError(f"'{text}' is no plane; write one such as {shown}.") from failure
    sign = -1.0 if found[2] == "<" else 1.0
    return sign * parts / size, sign * offset / size


def cut_off(surface: Surface, planes: Sequence[str]) -> tuple[Surface, tuple[Finding, ...]]:
    """A scan in padlib's frame without what lies beyond planes in mm (hair, hands, feet); open where it was cut.

    Raises InputError for words that are no plane and for planes that leave nothing.
    """
    told = []
    for text in planes:
        normal, offset = read_plane(text)
        vertices, faces = trimesh.intersections.slice_faces_plane(
            surface.vertices, surface.faces, -normal, offset * normal
        )[:2]
        if not len(faces):
            raise InputError(f"trimming by '{text}' leaves nothing of the body.")
        rest = Surface(np.asarray(vertices), np.asarray(faces, dtype=np.int64))
        surface = drop_islands(split_nonmanifold(rest)[0])[0]
        told.append(Finding(TRIMMED, f"what lies at {text} was cut off", "", Grade.REPAIR))
    return surface, tuple(told)


def made_even(surface: Surface) -> tuple[Surface, tuple[Finding, ...]]:
    """A closed body that is the same on both sides: each place the mean of itself and of the other side's image.

    How far the sides differed is told in mm. Raises MeshError where the middle cannot be cut cleanly.
    """
    flip = np.array([-1.0, 1.0, 1.0])
    v, f = surface.vertices, surface.faces
    image = np.asarray(igl.point_mesh_squared_distance(v * flip, v, f)[2]) * flip
    apart = np.linalg.norm(image - v, axis=1)
    mean = 0.5 * (v + image)
    edge = float(np.median(np.linalg.norm(v[f[:, 0]] - v[f[:, 1]], axis=1)))
    mean[np.abs(mean[:, 0]) < SNAP * edge, 0] = 0.0
    half, faces = trimesh.intersections.slice_faces_plane(
        mean, f, np.array([1.0, 0, 0]), np.zeros(3)
    )[:2]
    half, faces = np.array(half), np.asarray(faces, dtype=np.int64)
    half[np.abs(half[:, 0]) < 1e-6 * edge, 0] = 0.0
    faces = faces[(half[faces, 0] > 0.0).any(axis=1)]
    both = np.concatenate([half, half * flip])
    pairs = np.concatenate([faces, faces[:, ::-1] + len(half)])
    points, index = np.unique(np.round(both, 9) + 0.0, axis=0, return_inverse=True)
    pairs = index.reshape(-1)[pairs]
    used, pairs = np.unique(pairs, return_inverse=True)
    out = Surface(points[used], pairs.reshape(-1, 3).astype(np.int64))
    if not is_closed_manifold(out.faces):
        raise MeshError("the body could not be made even: it touches itself in its middle plane.")
    words = (
        f"both sides were made the mean of the two; they differed by {apart.mean():.1f} mm on average,"
        f" {np.quantile(apart, 0.95):.1f} mm at the 95th percentile and {apart.max():.1f} mm at most"
    )
    return out, (Finding(EVENED, words, "", Grade.REPAIR),)
