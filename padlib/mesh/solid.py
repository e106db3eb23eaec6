"""From a repaired scan to one closed surface: kept as it is when it is closed, else made closed."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray

from padlib.errors import MeshError
from padlib.findings import Finding, Grade
from padlib.mesh.grid import wrap
from padlib.mesh.holes import CUT, KEPT, bridge_pieces, fill_holes, rims, trim_rim
from padlib.mesh.holes import FILLED as FILLED_IN
from padlib.mesh.islands import drop_islands
from padlib.mesh.noise import ground, scanner_noise, smooth
from padlib.mesh.repair import (
    Findings,
    boundary_edges,
    components,
    genus,
    is_closed_manifold,
    split_nonmanifold,
    without_unused,
)
from padlib.mesh.surface import Surface, Vertices

CLOSED, FILLED, SMOOTHED, WRAPPED, HANDLES, FLOORED, BRIDGED = 110, 111, 112, 113, 114, 115, 116
SEVERED = 117
TOO_LITTLE = (
    "the mesh has too little surface to tell inside from outside; scan again with fewer and smaller"
    " holes."
)
LEAST_NOISE_MM = 0.15  # below this the scan is left as smooth as it came
KEEP_PART = 1.0 / 65.0  # waves longer than this part of the stature (26 mm) outlive the smoothing
FILL_EDGE = 1.0 / 210.0  # largest triangle edge in a filling, in parts of the stature (8 mm)
CUT_PART = 0.1  # a flat rim wider than this part of the stature (170 mm) is a cut, not a hole
BRIDGE_REACH = 0.09  # widest gap that a tube may cross, in parts of the stature (150 mm)
WRAP_STEP = 1.0 / 190.0  # grid step when pieces must be wrapped, in parts of the stature (9 mm)


def make_solid(
    surface: Surface, *, size: float, floor: float | None = None
) -> tuple[Surface, NDArray[np.int8], Findings]:
    """One closed, manifold, outward surface from a repaired and oriented one, in mm.

    A closed surface of one piece keeps its triangles; only scanner noise, where there is any, is
    smoothed. Holes are filled on the mesh itself; nothing that is scanned is replaced. Only pieces
    that do not hang together are wrapped anew on a grid.
    With it comes what each vertex is (`holes.KEPT`, `FILLED`, `CUT`).
    size: the figure's height, by which triangles of fillings are scaled; floor: no filling goes
    below this z. Raises MeshError when no closed surface comes out.
    """
    found: Findings = ()
    if not is_closed_manifold(surface.faces):
        surface = _cleaned(surface)
    if not len(surface.faces):
        raise MeshError(TOO_LITTLE)
    smoothed, told = _without_noise(surface, size)
    found += told
    closed = smoothed
    apart = components(closed.faces).max(initial=0) > 0
    if apart:
        closed, told = _joined(closed, size)
        found += told
        apart = components(closed.faces).max(initial=0) > 0
    made, bridged = None, len(closed.vertices)
    if apart:
        closed, told = _wrapped(smoothed, size)
    elif len(boundary_edges(closed.faces)):
        closed, made, told = _filled(closed, size, floor)
    else:
        told = _kept(len(found) > 0)
    if not is_closed_manifold(closed.faces):
        closed, told = _wrapped(smoothed, size)
        made = None
    wrapped = any(finding.number == WRAPPED for finding in told)
    if made is None:
        made = np.full(len(closed.vertices), KEPT, dtype=np.int8)
    if not wrapped:  # the tubes that join pieces come after the scan's own vertices
        made[len(smoothed.vertices) : bridged] = FILLED_IN
    return closed, made, found + told + _handles(closed)


def _joined(surface: Surface, size: float) -> tuple[Surface, Findings]:
    """Pieces that holes have cut off joined to the rest by tubes from rim to rim."""
    count = int(components(surface.faces).max()) + 1
    joined = bridge_pieces(surface, edge=size * FILL_EDGE, reach=size * BRIDGE_REACH)
    left = int(components(joined.faces).max()) + 1
    if left == count:
        return surface, ()
    words = f"{count - left} parts that holes had cut off were joined to the body again"
    return joined, (Finding(BRIDGED, words, grade=Grade.WARNING, count=count - left),)


def _cleaned(surface: Surface) -> Surface:
    """The rim trimmed of hanging triangles, sound again, without what that cut loose."""
    trimmed = without_unused(surface.vertices, trim_rim(surface.faces))
    parted, _ = split_nonmanifold(trimmed)
    return drop_islands(parted)[0]


def _kept(smoothed: bool) -> Findings:
    """The finding for a surface that was closed already."""
    words = "the mesh was closed already and keeps its shape"
    return () if smoothed else (Finding(CLOSED, words),)


def _without_noise(surface: Surface, size: float) -> tuple[Surface, Findings]:
    """Scanner noise measured and, where it would show, smoothed away."""
    under = ground(surface)
    noise = scanner_noise(surface, under)
    if noise < LEAST_NOISE_MM:
        return surface, ()
    words = f"scanner noise of about {noise:.1f} mm was smoothed"
    calm = smooth(surface, noise, keep=size * KEEP_PART, under=under)
    return calm, (Finding(SMOOTHED, words, grade=Grade.REPAIR),)


def _filled(
    surface: Surface, size: float, floor: float | None
) -> tuple[Surface, NDArray[np.int8], Findings]:
    """Holes filled on the mesh, with a finding that tells where the large ones were."""
    loops = rims(surface.faces)
    closed, made = fill_holes(surface, edge=size * FILL_EDGE, cut=size * CUT_PART)
    found = _told_holes(surface.vertices, loops, size)
    if (made == CUT).any():
        words = "a part of the body is cut off or missing; the cut was closed flat"
        found += (Finding(SEVERED, words, grade=Grade.WARNING),)
    if floor is not None and (low := (made != KEPT) & (closed.vertices[:, 2] < floor)).any():
        vertices = np.array(closed.vertices)
        vertices[low, 2] = floor
        closed = Surface(vertices, closed.faces)
        found += (Finding(FLOORED, "a filling at the lowest place was kept flat on the floor"),)
    return closed, made, found


def _told_holes(vertices: Vertices, loops: list[NDArray[np.int64]], size: float) -> Findings:
    """The finding for filled holes; a warning when one is wider than a tenth of the stature."""
    widths = [float(np.ptp(vertices[loop], axis=0).max()) for loop in loops]
    widest = int(np.argmax(widths))
    x, y, z = vertices[loops[widest]].mean(axis=0)
    words = (
        f"{len(loops):,} holes were filled, the widest"
        if len(loops) > 1
        else "one hole was filled,"
    ) + f" {widths[widest]:.0f} mm across at height {z:.0f} mm"
    grade = Grade.WARNING if widths[widest] > 0.1 * size else Grade.REPAIR
    return (Finding(FILLED, words, grade=grade, count=len(loops)),)


def _wrapped(surface: Surface, size: float) -> tuple[Surface, Findings]:
    """The pieces wrapped on a grid, vertices near the scan put back onto it, fillings smoothed."""
    step = size * WRAP_STEP
    closed = wrap(surface, step)
    if not is_closed_manifold(closed.faces):
        raise MeshError(TOO_LITTLE)
    words = "the scan was in pieces; they were joined into one surface"
    found = (Finding(WRAPPED, words, grade=Grade.WARNING),)
    return _settled(closed, surface, step), found


def _settled(closed: Surface, scan: Surface, step: float) -> Surface:
    """A wrapped surface, its steps smoothed and its vertices put back on the scan where it is near."""
    calm = smooth(closed, step, keep=8.0 * step, most=1.0)
    squared, _, place = igl.point_mesh_squared_distance(calm.vertices, scan.vertices, scan.faces)
    near = np.sqrt(squared) < 0.5 * step
    vertices = np.where(near[:, None], place, calm.vertices)
    return Surface(vertices, closed.faces)


def _handles(surface: Surface) -> Findings:
    """A warning when the closed surface has handles, such as fingers grown together."""
    count = genus(surface.faces)
    if not count:
        return ()
    words = f"the surface has {count:,} handles (places that touch, such as fingers, make them)"
    return (Finding(HANDLES, words, grade=Grade.WARNING, count=count),)
