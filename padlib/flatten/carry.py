"""A flat laid again after its panel changed a little: same darts, no search.

For the eye while a seam is being moved. The darts that the panel had are cut where they were in
space, and the panel is laid with them; whether they are still the fewest and shortest, only
`padlib.flatten.darts` can tell.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.flatten.cloth import Cloth
from padlib.flatten.conformal import conformal
from padlib.flatten.cutting import Opened, cut_darts
from padlib.flatten.flat import Dart, Flat
from padlib.flatten.isometric import isometric
from padlib.flatten.sketch import Wedge
from padlib.flatten.stretch import areas, flipped, stretch
from padlib.flatten.together import moved_dart
from padlib.mesh.point import arrays, nearest
from padlib.mesh.surface import Plane
from padlib.seams.panels import Panel


def carried(
    panel: Panel,
    last: Flat | None,
    *,
    limit: float | None = None,
    cloth: Cloth | None = None,
    pile: ArrayLike | None = None,
) -> Flat:
    """A panel laid flat with the darts of its last flat.

    panel: the panel as it is now, without darts; last: the flat of the panel as it was, if any;
    limit, cloth, pile (3,): as for `isometric`. A dart whose mouth is no longer near a sewn edge, or
    that would leave the panel, is left out. Raises MeshError where the panel is not a disk,
    FlatteningError where no flat without flip or overlap was found.
    """
    vertices, faces = panel.surface.vertices, panel.surface.faces
    first = conformal(vertices, faces)
    sound = not flipped(vertices, faces, first).any()  # then darts can be drawn on it at once
    opened = _cut(panel, first if sound else isometric(vertices, faces, first), last)
    mesh = opened.panel.surface.vertices, opened.panel.surface.faces
    laid = isometric(*mesh, opened.flat, limit=limit, cloth=cloth, pile=pile)
    darts = tuple(moved_dart(_dart(opened.panel, a, b), laid) for a, b in opened.legs)
    told = stretch(*mesh, laid), stretch(vertices, faces, first), areas(vertices, faces)
    way = None if pile is None else tuple(np.asarray(pile, dtype=np.float64).tolist())
    return Flat(opened.panel, laid, *told, darts, cloth=cloth, pile=way)


def _cut(panel: Panel, flat: Plane, last: Flat | None) -> Opened:
    """The panel with those darts of its last flat cut that can be."""
    wedges: tuple[Wedge, ...] = ()
    best = Opened(panel, flat, ())
    for wedge in [] if last is None else _wedges(panel, flat, last):
        opened = cut_darts(panel, flat, (*wedges, wedge))
        if opened is not None:
            wedges, best = (*wedges, wedge), opened
    return best


def _wedges(panel: Panel, flat: Plane, last: Flat) -> list[Wedge]:
    """The darts of the last flat as lines of the new one, from the nearest vertex of a sewn edge."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    inner = [edge.run[1:-1] for edge in panel.edges if edge.kind == "sewn"]
    mouths = np.concatenate(inner) if inner else np.zeros(0, np.int64)
    if not last.darts or not len(mouths):
        return []
    old = last.panel.surface.vertices
    tips = nearest(vertices, faces, old[[dart.apex for dart in last.darts]])
    face, weight = arrays(tips)
    at = np.einsum("kc,kcj->kj", weight, flat[faces[face]])
    wedges = []
    for dart, tip in zip(last.darts, at, strict=True):
        off = np.linalg.norm(vertices[mouths] - old[dart.left[0]], axis=1)
        if off.min() < 0.5 * dart.length_mm:
            wedges.append(Wedge(int(mouths[int(off.argmin())]), (float(tip[0]), float(tip[1]))))
    return wedges


def _dart(panel: Panel, left: NDArray[np.int64], right: NDArray[np.int64]) -> Dart:
    """A dart of two legs, its intake not measured yet."""
    along = np.linalg.norm(np.diff(panel.surface.vertices[left], axis=0), axis=1).sum()
    return Dart(int(left[-1]), left, right, float(along), 0.0, 0.0)
