"""Marks: closed loops on the shell inside which the cloth has another colour, and which faces lie in them.

A mark has one loop (what lies on its smaller side is inside) or two (what lies between them is, as in a band
round a limb). Loops are drawn into the shell as edges, so that a mark ends exactly where its faces end and both
sides of a seam meet it at the same vertex.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.limb import lengths
from padlib.errors import SuitError
from padlib.mesh.areas import face_areas
from padlib.mesh.insert import Inserted
from padlib.mesh.point import Curve, arrays, points
from padlib.mesh.topology import Edges, edge_numbers, face_components
from padlib.seams.place import Place

Ints = NDArray[np.int64]

SAME = 1.5  # mm: a mark that lies so near to another's mirror image is that image
NONE = -1


@dataclass(frozen=True, eq=False)
class Mark:
    """A mark on a shell: its name, and its loops (one or two closed curves) on the shell's mesh."""

    name: str
    loops: tuple[Curve, ...]


@dataclass(frozen=True, eq=False)
class Drawn:
    """Marks as they are drawn into a mesh.

    marks: those asked for, then images that are only drawn to keep the mesh symmetric; count: how many
    were asked for; image (k,): for each mark the one that is its mirror image, or -1.
    """

    marks: tuple[Mark, ...]
    count: int
    image: tuple[int, ...]

    def curves(self) -> list[Curve]:
        """All loops of all marks in order."""
        return [loop for mark in self.marks for loop in mark.loops]


def with_images(marks: Sequence[Mark], place: Place) -> Drawn:
    """Marks with what a symmetric shell needs besides: the mirror image of each that has none among them."""
    every = list(marks)
    if place.mirror is None:
        return Drawn(tuple(every), len(every), (NONE,) * len(every))
    turned = _Turned(place)
    image = [NONE] * len(every)
    for k, mark in enumerate(marks):
        if image[k] != NONE:
            continue
        other = Mark(mark.name, tuple(turned.curve(loop) for loop in mark.loops))
        twin = next((j for j in range(k, len(marks)) if _same(place, other, marks[j])), None)
        if twin is None:
            every.append(other)
            image.append(k)
            twin = len(every) - 1
        elif twin != k:
            every[twin] = Mark(marks[twin].name, other.loops)  # now exactly
        image[k], image[twin] = twin, k
    return Drawn(tuple(every), len(marks), tuple(image))


class _Turned:
    """Points and curves of a symmetric mesh in the plane x = 0."""

    def __init__(self, place: Place) -> None:
        faces, to = place.surface.faces, place.mirror
        assert to is not None
        own = np.sort(faces, axis=1)
        order = np.lexsort(own.T[::-1])
        other = np.sort(to[faces], axis=1)
        back = np.lexsort(other.T[::-1])
        self.face = np.empty(len(faces), dtype=np.int64)
        self.face[back] = order
        self.faces, self.to = faces, to

    def curve(self, curve: Curve) -> Curve:
        """The mirror image of a curve, on the same mesh."""
        face, weights = arrays(curve.points)
        image = self.face[face]
        there = self.to[self.faces[face]]
        match = self.faces[image][:, :, None] == there[:, None, :]
        turned = np.einsum("kij,kj->ki", match.astype(float), weights)
        return Curve(tuple(points(image, turned)), curve.closed)


def _same(place: Place, one: Mark, other: Mark) -> bool:
    """Whether two marks are the same loops, within SAME."""
    if len(one.loops) != len(other.loops):
        return False
    a, b = (_places(place, mark) for mark in (one, other))
    far = max(cKDTree(b).query(a)[0].max(), cKDTree(a).query(b)[0].max())
    return bool(far < SAME)


def _places(place: Place, mark: Mark) -> NDArray[np.float64]:
    """Points every half millimetre along a mark's loops."""
    out = []
    for loop in mark.loops:
        line = loop.positions(place.surface.vertices, place.surface.faces)
        line = np.vstack([line, line[:1]])
        s = lengths(line)
        at = np.linspace(0.0, s[-1], max(int(2 * s[-1]), 8))
        out.append(np.stack([np.interp(at, s, line[:, k]) for k in range(3)], axis=1))
    return np.concatenate(out)


def tints(mesh: Inserted, e: Edges, drawn: Drawn, first: int) -> tuple[Ints, Ints]:
    """The mark (m,) that each face lies in, -1 none, and the one that its mirror image lies in.

    mesh: the shell with all loops drawn in, from curve number `first` on; e: its edges; where marks overlap, the last
    counts. Raises SuitError for a mark whose loops cross themselves or each other or part nothing.
    """
    area = face_areas(mesh.vertices, mesh.faces)
    inside = []
    at = first
    for mark in drawn.marks:
        mine = (mesh.edge_curve >= at) & (mesh.edge_curve < at + len(mark.loops))
        owner = mesh.edge_curve[mine] - at
        where = edge_numbers(e, mesh.edges[mine])
        inside.append(_inside(mark, mesh, e, where, owner, area))
        at += len(mark.loops)
    own = np.full(len(mesh.faces), NONE)
    other = own.copy()
    for k in range(drawn.count):
        own[inside[k]] = k
        if drawn.image[k] != NONE:
            other[inside[drawn.image[k]]] = k
    return own, other


def _inside(
    mark: Mark, mesh: Inserted, e: Edges, where: Ints, owner: Ints, area: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which faces (m,) lie inside a mark; where: its edges, owner: the loop of each."""
    cut = np.zeros(len(e.ends), dtype=bool)
    cut[where] = True
    component = face_components(mesh.faces, cut=cut, mesh_edges=e)
    size = np.bincount(component, weights=area)
    loop_of = np.full(len(cut), NONE)
    loop_of[where] = owner
    of_face = loop_of[e.of_face]
    beside = [set(component[(of_face == k).any(axis=1)].tolist()) for k in range(len(mark.loops))]
    if len(mark.loops) == 1 and len(beside[0]) == 2:
        return component == min(beside[0], key=lambda c: (size[c], c))
    if len(mark.loops) == 2 and all(len(b) == 2 for b in beside):
        shared = beside[0] & beside[1]
        if len(shared) == 1:
            return component == shared.pop()
    raise SuitError(
        f"mark '{mark.name}' cannot be drawn: its outline crosses or touches itself, or is smaller than "
        "the shell's triangles; draw it simpler or larger."
    )
