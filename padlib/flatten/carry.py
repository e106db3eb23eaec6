"""A flat laid again after its panel changed a little: same darts, no search.

For the eye while a seam is being moved. The darts that the panel had are cut where they were in
space, and the panel is laid with them; whether they are still the fewest and shortest, only
`padlib.flatten.darts` can tell.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from padlib.flatten.cloth import Cloth
from padlib.flatten.conformal import clockwise, conformal
from padlib.flatten.cutting import Legs, Opened, cut_darts
from padlib.flatten.flat import Dart, Flat
from padlib.flatten.isometric import isometric
from padlib.flatten.sketch import Wedge
from padlib.flatten.stretch import areas, stretch
from padlib.flatten.together import moved_dart
from padlib.mesh.areas import sums
from padlib.mesh.point import arrays, nearest, nearest_arrays
from padlib.mesh.surface import Plane, Surface, Vertices
from padlib.seams.panels import Panel

FAR = 40.0  # mm from the panel as it was: so far its flat is led on beyond its edge
STRAINED = 0.3  # stretch of a triangle with which a solve takes more steps than one from a panel laid anew: at 1 five
# times as many, at 0.07 half (demo)


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
    sound = not clockwise(faces, first).any()  # then darts can be drawn on it at once
    opened = _cut(panel, first if sound else isometric(vertices, faces, first), last)
    mesh = opened.panel.surface.vertices, opened.panel.surface.faces
    laid = isometric(*mesh, opened.flat, limit=limit, cloth=cloth, pile=pile)
    return _told(panel, opened, first, laid, stretch(*mesh, laid), cloth, pile)


def followed(panel: Panel, last: Flat) -> Flat | None:
    """A panel with the darts and at the places of its last flat, not laid anew: where matching may begin.

    Where the panel grew the flat is led on beyond its edge. None for a cloth with a kind, and where no sound flat comes
    of it: darts are gone or run beside where they ran, the conformal map has flips, the panel is farther than `FAR`
    from where it was. Raises MeshError where the panel is not a disk.
    """
    vertices, faces = panel.surface.vertices, panel.surface.faces
    first = conformal(vertices, faces)
    if last.cloth is not None or clockwise(faces, first).any():
        return None
    opened = _cut(panel, first, last)
    if len(opened.legs) != len(last.darts):
        return None
    laid = _led_on(opened.panel, opened.legs, last)
    if laid is None:
        return None
    mesh = opened.panel.surface.vertices, opened.panel.surface.faces
    strain = stretch(*mesh, laid)
    if clockwise(mesh[1], laid).any() or np.abs(strain).max() > STRAINED:
        return None
    return _told(panel, opened, first, laid, strain)


def _led_on(panel: Panel, legs: Legs, last: Flat) -> Plane | None:
    """Where a last flat has the vertices (n, 2) of a panel that lies nearly where that flat's panel lay.

    legs: of the panel's darts, in the order of the last flat's. A vertex that was there already stays where it was
    laid. Each triangle of others goes with the old one that is nearest to its middle on its side of a dart, as that
    one is laid, and a new vertex to the mean of where its triangles have it. None where the panel is too far off.
    """
    vertices, faces = panel.surface.vertices, panel.surface.faces
    old, was = last.panel.surface, _kept(panel, last.panel)
    new = (was < 0)[faces].any(axis=1)
    other = faces[new]
    if not len(other):
        return last.positions[was]
    middle = vertices[other].mean(axis=1)
    side, known = (
        _sides(surface, each)
        for surface, each in ((panel.surface, legs), (old, [(d.left, d.right) for d in last.darts]))
    )
    face, weight = _nearest_beside(old, known, middle, side[new])
    corner, flat = old.vertices[old.faces[face]], last.positions[old.faces[face]]
    near = np.einsum("kc,kcx->kx", weight, corner)
    if np.linalg.norm(middle - near, axis=1).max() > FAR:
        return None
    at = np.einsum("kc,kcx->kx", weight, flat)
    sides, drawn = (np.diff(x, axis=1) for x in (corner, flat))  # (k, 2, 3), (k, 2, 2)
    gram = np.einsum("kix,kjx->kij", sides, sides)
    off = vertices[other] - near[:, None]
    share = np.linalg.solve(gram, np.einsum("kix,kcx->kic", sides, off))  # (k, 2, 3 corners)
    placed = at[:, None] + np.einsum("kic,kij->kcj", share, drawn)
    count = np.maximum(np.bincount(other.ravel(), minlength=len(vertices)), 1)
    mean = sums(other.ravel(), placed.reshape(-1, 2), len(vertices)) / count[:, None]
    return np.where((was < 0)[:, None], mean, last.positions[was])


def _sides(surface: Surface, legs: Legs) -> NDArray[np.int64]:
    """The side (m,) of a dart that each triangle lies on: twice the dart's number for its left, one more for its right
    leg, -1 for triangles farther than `FAR` from all legs along edges."""
    vertices, faces = surface.vertices, surface.faces
    if not len(legs):
        return np.full(len(faces), -1)
    leg = np.full(len(vertices) + 1, -1)  # the last place answers for what no leg reaches
    for k, (left, right) in enumerate(legs):
        leg[left[:-1]], leg[right[:-1]] = 2 * k, 2 * k + 1
    one, two = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    length = np.linalg.norm(vertices[one] - vertices[two], axis=1)
    count = len(vertices)
    ways = coo_array((length, (one, two)), shape=(count, count)).tocsr()
    far, _, source = dijkstra(
        ways,
        directed=False,
        indices=np.flatnonzero(leg >= 0),
        limit=FAR,
        min_only=True,
        return_predecessors=True,
    )
    nearest_one = np.take_along_axis(faces, far[faces].argmin(axis=1)[:, None], axis=1)[:, 0]
    return leg[np.where(source < 0, -1, source)[nearest_one]]


def _nearest_beside(
    surface: Surface, known: NDArray[np.int64], xyz: Vertices, side: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Triangles (k,) and barycentrics (k, 3) of the points of a surface nearest to positions (k, 3), of those that do
    not lie across a dart; known (m,), side (k,): sides of darts as `_sides` has them, of both."""
    face, weight = np.zeros(len(xyz), dtype=np.int64), np.zeros((len(xyz), 3))
    for number in np.unique(side):
        mine = side == number
        allowed = np.flatnonzero(known != number ^ 1)  # not the other leg; -2 is no side's number
        found, weight[mine] = nearest_arrays(surface.vertices, surface.faces[allowed], xyz[mine])
        face[mine] = allowed[found]
    return face, weight


def new_vertices(panel: Panel, last: Panel) -> NDArray[np.bool_]:
    """Which vertices (n,) of a panel were not there, or elsewhere, in the panel as it was."""
    return _kept(panel, last) < 0


def _kept(panel: Panel, last: Panel) -> NDArray[np.int64]:
    """The vertex of a panel as it was that each of the panel's vertices (n,) is, in the same place; -1 for others."""
    known = np.full(2 + max(int(panel.parents.max()), int(last.parents.max())), -1)
    known[last.parents] = np.arange(len(last.parents))
    for parents in (panel.parents, last.parents):  # the mouth of a dart is there twice
        number, count = np.unique(parents, return_counts=True)
        known[number[count > 1]] = -1
    known[-1] = -1  # of what has no parent, as within a dart
    was = known[panel.parents]
    same = (panel.surface.vertices == last.surface.vertices[was]).all(axis=1)
    return np.where(same, was, -1)


def _told(
    panel: Panel,
    opened: Opened,
    first: Plane,
    laid: Plane,
    strain: NDArray[np.float64],
    cloth: Cloth | None = None,
    pile: ArrayLike | None = None,
) -> Flat:
    """The flat of a panel from its conformal map, its darts, its places in the plane and their stretch (m, 2)."""
    vertices, faces = panel.surface.vertices, panel.surface.faces
    darts = tuple(moved_dart(_dart(opened.panel, a, b), laid) for a, b in opened.legs)
    told = strain, stretch(vertices, faces, first), areas(vertices, faces)
    way = None if pile is None else tuple(np.asarray(pile, dtype=np.float64).tolist())
    return Flat(opened.panel, laid, *told, darts, cloth=cloth, pile=way)


def _cut(panel: Panel, flat: Plane, last: Flat | None) -> Opened:
    """The panel with those darts of its last flat cut that can be."""
    wedges: tuple[Wedge, ...] = ()
    best = Opened(panel, flat, ())
    every = () if last is None else tuple(_wedges(panel, flat, last))
    opened = cut_darts(panel, flat, every) if every else best
    if opened is not None:
        return opened
    for wedge in every:
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
