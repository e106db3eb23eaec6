"""A cloth with a pile in the solve: the flat is turned to its pile and held there while it strains.

The energy of a cloth that is not the same in all directions would turn the flat until its soft way
lies where it is strained most; but how a piece lies on the cloth is the pile's to say. So the mean of
the pile's images in the flat is turned to -y first, every Newton step keeps that mean's x at zero (one
linear constraint), and since the images change a little with the flat, the small angle that is then
missing is turned back and the solve taken up again, until there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import InputError, MeshError
from padlib.flatten import newton
from padlib.flatten.cloth import Cloth, limit_scales, stiff_scales
from padlib.flatten.strain import Energy, Scales
from padlib.flatten.turn import pile_row, turning
from padlib.mesh.surface import Faces, Plane, Vertices

TURNS = 4
STRAIGHT = 1e-4  # radians by which the mean pile may be off
_NO_WAY = 1e-9


@dataclass(frozen=True)
class Nap:
    """A cloth and the way its pile lies on a panel: vertices (n, 3), faces (m, 3), pile (m, 3).

    fixed: the flat's places are given, so that it is neither turned nor held.
    """

    cloth: Cloth
    vertices: Vertices
    faces: Faces
    pile: NDArray[np.float64]
    fixed: bool = False


def nap_of(
    cloth: Cloth | None,
    pile: ArrayLike | None,
    vertices: Vertices,
    faces: Faces,
    *,
    fixed: bool = False,
) -> Nap | None:
    """The nap of a panel, None without a cloth.

    pile (3,) or (m, 3): which way the pile lies in space. Raises InputError where there is a cloth
    and no pile, MeshError where the pile has another shape or is no direction.
    """
    if cloth is None:
        return None
    if pile is None:
        raise InputError(
            f"the cloth '{cloth.name}' needs the direction of its pile, (3,) or (m, 3)"
        )
    way = np.asarray(pile, dtype=np.float64)
    if way.shape not in ((3,), (len(faces), 3)):
        raise MeshError(f"the pile needs a direction for each triangle, not {way.shape}")
    if not np.isfinite(way).all() or not (np.linalg.norm(way, axis=-1) > 0).any():
        raise MeshError("the pile's direction must be finite and not zero")
    return Nap(cloth, vertices, faces, np.broadcast_to(way, (len(faces), 3)), fixed)


def straight(nap: Nap, flat: Plane) -> tuple[Plane, NDArray[np.float64] | None]:
    """The flat (n, 2) with its mean pile turned to -y, and what holds it there (1, n).

    None where the pile has no mean way, or the flat's places are given.
    """
    if nap.fixed:
        return flat, None
    row = pile_row(nap.vertices, nap.faces, flat, nap.pile)
    mean = row @ flat
    held = row[None] / np.hypot(*mean) if np.hypot(*mean) > _NO_WAY else None
    return flat @ turning(mean), held


def begun(nap: Nap, problem: newton.Problem, flat: Plane) -> tuple[newton.Problem, Plane]:
    """The problem with the cloth's stiffness and hold, and the flat (n, 2) turned for it."""
    flat, hold = straight(nap, flat)
    return replace(problem, energy=Energy(scales=stiff_scales(nap.cloth)), hold=hold), flat


def joined(
    naps: Sequence[Nap | None],
    flats: Sequence[Plane],
    counts: Sequence[int],
    *,
    limit: float | None,
) -> tuple[list[Plane], NDArray[np.float64] | None, Scales | None]:
    """For one solve over panels of several cloths: flats (n_i, 2) turned, holds (k, n) and scales (m,).

    counts: triangles of each panel;
    limit: a plain stretch limit, a fraction, that every cloth's own limits are brought to, so that
    strains near the limits of different cloths count alike; None: scales of stiffness. A panel without
    nap has no hold and scales 1. Without any nap holds and scales are None.
    """
    if all(nap is None for nap in naps):
        return list(flats), None, None
    first = np.cumsum([0, *(len(flat) for flat in flats)])
    out, holds = [], []
    for nap, flat, at in zip(naps, flats, first, strict=False):
        turned, hold = (flat, None) if nap is None else straight(nap, flat)
        out.append(turned)
        if hold is not None:
            holds.append(np.pad(hold, ((0, 0), (at, first[-1] - at - len(flat)))))
    return out, np.concatenate(holds) if holds else None, _beside(naps, counts, limit)


def _beside(naps: Sequence[Nap | None], counts: Sequence[int], limit: float | None) -> Scales:
    """Scales of the triangles (m,) of several panels."""
    rows = []
    for nap in naps:
        one = Scales()
        if nap is not None:
            one = stiff_scales(nap.cloth) if limit is None else limit_scales(nap.cloth, unit=limit)
        rows.append(astuple(one))
    return Scales(*np.repeat(np.array(rows), counts, axis=0).T)


def settled(
    nap: Nap,
    problem: newton.Problem,
    flat: Plane,
    *,
    iterations: int,
    tolerance: float,
    work: newton.Work,
) -> tuple[newton.Problem, Plane]:
    """The problem and the flat (n, 2) of least strain of its cloth, pile along -y."""
    problem, flat = begun(nap, problem, flat)
    for _ in range(TURNS):
        flat = newton.minimise(problem, flat, iterations=iterations, tolerance=tolerance, work=work)
        before = flat
        flat, hold = straight(nap, flat)
        problem = replace(problem, hold=hold)
        if np.abs(flat - before).max() <= STRAIGHT * np.abs(before).max():
            break
    return problem, flat
