"""What the cloth does when a flat is pulled onto its panel."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.flatten.rest import determinants, jacobians, rest, singular_values
from padlib.mesh.surface import Faces, Plane, Vertices

_COLLAPSED = 1e-12


def root_of_area(vertices: Vertices, faces: Faces) -> float:
    """The root of a surface's area, mm: by which the size of panels is told."""
    return float(np.sqrt(areas(vertices, faces).sum()))


def stretch(vertices: Vertices, faces: Faces, flat: Plane) -> NDArray[np.float64]:
    """Principal cloth stretch (m, 2) of each triangle, largest first; 0.05 is 5 %.

    vertices (n, 3) mm, faces (m, 3), flat (n, 2) mm. With s the singular values of the 3D-to-flat
    map, stretch = 1/s - 1: positive where the cloth must stretch, negative where it is slack. A
    triangle that is collapsed in the flat has infinite stretch. The values do not tell a flipped
    triangle from a sound one: ask `flipped`.
    """
    faces = np.asarray(faces, dtype=np.int64)
    flat = np.asarray(flat, dtype=np.float64)
    at_rest = rest(np.asarray(vertices, dtype=np.float64), faces)
    big, small = singular_values(jacobians(at_rest, faces, flat))
    with np.errstate(divide="ignore"):
        small = np.where(np.abs(small) <= _COLLAPSED * big, 0.0, np.abs(small))
        return np.column_stack([1.0 / small - 1.0, 1.0 / big - 1.0])


def flipped(vertices: Vertices, faces: Faces, flat: Plane) -> NDArray[np.bool_]:
    """Which triangles (m,) are clockwise or collapsed in the flat (n, 2)."""
    faces = np.asarray(faces, dtype=np.int64)
    flat = np.asarray(flat, dtype=np.float64)
    at_rest = rest(np.asarray(vertices, dtype=np.float64), faces)
    return ~(determinants(jacobians(at_rest, faces, flat)) > 0.0)


def areas(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Areas (m,) of triangles in mm2. vertices (n, 3) or (n, 2) mm; faces (m, 3)."""
    corner = np.asarray(vertices, dtype=np.float64)[np.asarray(faces, dtype=np.int64)]
    a, b = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    gram = np.einsum("ij,ij->i", a, a) * np.einsum("ij,ij->i", b, b)
    return 0.5 * np.sqrt(np.maximum(gram - np.einsum("ij,ij->i", a, b) ** 2, 0.0))


def worst(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Per triangle the larger (m,) of the absolute principal stretches (m, 2)."""
    return np.abs(values).max(axis=1)


def summary(values: NDArray[np.float64], weights: ArrayLike) -> dict[str, float]:
    """mean, p95, p99 and max of the absolute stretch, weighted by area.

    values (m, 2) as `stretch` gives them; weights (m,) areas in mm2. Per triangle the larger of
    |e1| and |e2| counts. A percentile is the least value that at least that share of the area does
    not exceed. Triangles of no area (below 1e-12 of the whole) are left out.
    """
    weights = np.asarray(weights, dtype=np.float64)
    keep = weights > 1e-12 * weights.sum()
    if not keep.any():
        return {"mean": 0.0, "p95": 0.0, "p99": 0.0, "max": 0.0}
    size, weight = worst(values)[keep], weights[keep]
    p95, p99 = percentiles(size, weight, (0.95, 0.99))
    mean = float(size @ weight / weight.sum())
    return {"mean": mean, "p95": p95, "p99": p99, "max": float(size.max())}


def percentiles(
    size: NDArray[np.float64], weight: NDArray[np.float64], at: Sequence[float]
) -> list[float]:
    """For each share (0 to 1) the least of the values (m,) that at least that share of the weight (m,)
    does not exceed."""
    order = np.argsort(size, kind="stable")
    share = np.cumsum(weight[order]) / weight.sum()
    last = len(order) - 1
    return [float(size[order[min(int(np.searchsorted(share, p)), last)]]) for p in at]
