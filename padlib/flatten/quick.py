"""Least-strain maps of small sketches of a panel, for trying out: flip-free, overlaps allowed.

Nothing keeps the outline from overlapping itself, on purpose: where the legs of a slit cross each
other in the plane, cloth would have to be put in, and that must be seen.
"""

from __future__ import annotations

from collections.abc import Sequence

from padlib.flatten import newton
from padlib.flatten.assembly import assembly
from padlib.flatten.rest import rest
from padlib.flatten.strain import PLAIN, Energy
from padlib.mesh.surface import Faces, Plane, Vertices


def relax(
    vertices: Vertices,
    faces: Faces,
    starts: Sequence[Plane],
    *,
    energy: Energy = PLAIN,
    steps: int = 8,
    tolerance: float = 1e-2,
) -> tuple[Plane, float]:
    """The flat (n, 2) of least strain near the best of some starts (n, 2), and its energy.

    vertices (n, 3) mm; faces (m, 3); starts: at least one without flips; energy: see `strain`;
    at most `steps` Newton steps, ended where the next would gain less than `tolerance` of the energy.
    """
    at_rest = rest(vertices, faces)
    weight = at_rest.area / at_rest.area.sum()
    problem = newton.Problem(faces, at_rest, assembly(faces, len(vertices)), weight, energy)
    work = newton.Work()
    start = min(starts, key=lambda flat: newton.value(problem, flat))
    flat = newton.minimise(problem, start, iterations=steps, tolerance=tolerance, work=work)
    return flat, newton.value(problem, flat)
