"""Least-strain maps of small sketches of a panel, for trying out: flip-free, overlaps allowed.

Nothing keeps the outline from overlapping itself, on purpose: where the legs of a slit cross each
other in the plane, cloth would have to be put in, and that must be seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten import newton
from padlib.flatten.assembly import assembly
from padlib.flatten.nap import Nap, straight
from padlib.flatten.rest import Rest, rest
from padlib.flatten.strain import PLAIN, Energy
from padlib.mesh.surface import Faces, Plane, Vertices

NEEDLE = 0.05  # of its longest side: a triangle less high than that is a needle


def relax(
    vertices: Vertices,
    faces: Faces,
    starts: Sequence[Plane],
    *,
    energy: Energy = PLAIN,
    nap: Nap | None = None,
    steps: int = 8,
    tolerance: float = 1e-2,
) -> tuple[Plane, float]:
    """The flat (n, 2) of least strain near the best of some starts (n, 2), and its energy.

    vertices (n, 3) mm; faces (m, 3); starts: the first without flips; energy: see `strain`; nap: the
    cloth, where the energy has its scales, with the way of its pile, which will run along -y;
    at most `steps` Newton steps, ended where the next would gain less than `tolerance` of the energy.
    """
    if nap is not None:
        starts = [straight(nap, start)[0] for start in starts]
    at_rest = _mended(vertices, faces, starts[0])
    weight = at_rest.area / at_rest.area.sum()
    problem = newton.Problem(faces, at_rest, assembly(faces, len(vertices)), weight, energy)
    work = newton.Work()
    start = min(starts, key=lambda flat: newton.value(problem, flat))
    if nap is not None:
        problem = replace(problem, hold=straight(nap, start)[1])
    flat = newton.minimise(problem, start, iterations=steps, tolerance=tolerance, work=work)
    return flat, newton.value(problem, flat)


def _mended(vertices: Vertices, faces: Faces, start: Plane) -> Rest:
    """The rest of the triangles, of needles that of the start itself.

    Where the outline is nearly straight, or has vertices that all but coincide, a sketch has needles
    along it, whose shape says nothing about the panel but would cost Newton's method all its steps.
    """
    own, flat = rest(vertices, faces), rest(start, faces)
    thin = _thin(vertices, faces, own) | _thin(start, faces, flat)
    return Rest(
        np.where(thin, np.minimum(own.area, flat.area), own.area),
        np.where(thin, flat.gx, own.gx),
        np.where(thin, flat.gy, own.gy),
    )


def _thin(points: NDArray[np.float64], faces: Faces, at_rest: Rest) -> NDArray[np.bool_]:
    """Which triangles are needles."""
    corner = points[faces]
    longest = ((np.roll(corner, -1, axis=1) - corner) ** 2).sum(axis=2).max(axis=1)
    return 2.0 * at_rest.area < NEEDLE * longest
