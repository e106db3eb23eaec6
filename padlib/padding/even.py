"""Even triangles: edges that a pad stretched are halved, without any change of the shell's shape."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Faces, Surface, Vertices
from padlib.padding.shell import Shell

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LONG = 1.7  # times the median edge of the shell from which an edge is halved
ROUNDS = 3
TIE = 1e-6  # share by which the two ways of parting a quad must differ to choose one


@dataclass(frozen=True, eq=False)
class _Net:
    """A shell while its edges are halved: vertices (n, 3), faces (m, 3), the shell's face (m,) that each lies in,
    the weights (m, 3, 3) of each corner there, and thickness (n,)."""

    vertices: Vertices
    faces: Faces
    parent: Ints
    weight: Array
    thickness: Array


def even_shell(shell: Shell, partner: Ints | None = None) -> Shell:
    """The same shell with triangles that are more even where pads stretch them.

    Edges longer than LONG medians are halved at their middle, and the triangles on both sides parted there
    (as red and green triangles, R. Bank, A. Sherman, A. Weiser 1983); the surface stays what it is, point for point,
    and each new vertex knows its point on the body. partner (n,): mirror image of each vertex, so that a
    symmetric shell stays so. Without long edges the shell itself is returned.
    """
    corner = shell.surface.vertices[shell.surface.faces]
    limit = LONG * float(np.median(np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)))
    count = len(shell.surface.faces)
    net = _Net(
        shell.surface.vertices,
        shell.surface.faces,
        np.arange(count),
        np.tile(np.eye(3), (count, 1, 1)),
        shell.thickness,
    )
    halved = 0
    for _ in range(ROUNDS):
        ends, of_face = _edges(net.faces)
        length = np.linalg.norm(net.vertices[ends[:, 0]] - net.vertices[ends[:, 1]], axis=1)
        long = length > limit
        if partner is not None:
            long = _on_both_sides(long, ends, partner)
        if not long.any():
            break
        long = _without_ties(net, of_face, long)
        halved += int(long.sum())
        net, partner = _split(net, ends, of_face, long, partner)
    return replace(_shell(shell, net), findings=shell.findings) if halved else shell


def _edges(faces: Faces) -> tuple[Ints, Ints]:
    """Edges (e, 2), low vertex first, and the edge (m, 3) across from each corner's next two."""
    sides = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    ends, number = np.unique(sides, axis=0, return_inverse=True)
    return ends, number.reshape(-1, 3)


def _on_both_sides(long: NDArray[np.bool_], ends: Ints, partner: Ints) -> NDArray[np.bool_]:
    """An edge is long where its mirror image is."""
    image = np.sort(partner[ends], axis=1)
    top = int(ends.max()) + 1
    keys = ends[:, 0] * top + ends[:, 1]
    at = np.searchsorted(keys, image[:, 0] * top + image[:, 1])
    return long | long[np.minimum(at, len(keys) - 1)]


def _split(
    net: _Net, ends: Ints, of_face: Ints, long: NDArray[np.bool_], partner: Ints | None
) -> tuple[_Net, Ints | None]:
    """The net with its long edges halved, and the mirror images of its vertices."""
    count = len(net.vertices)
    middle = np.full(len(ends), -1)
    middle[long] = count + np.arange(int(long.sum()))
    pairs = ends[long]
    vertices = np.vstack([net.vertices, net.vertices[pairs].mean(axis=1)])
    thickness = np.concatenate([net.thickness, net.thickness[pairs].mean(axis=1)])
    cut = middle[of_face]  # (m, 3): new vertex on the side from corner k to corner k + 1, or -1
    faces, parents, weights = [], [], []
    halves = (cut >= 0).sum(axis=1)
    whole = halves == 0
    faces.append(net.faces[whole])
    parents.append(net.parent[whole])
    weights.append(net.weight[whole])
    for number in (1, 2, 3):
        rows = np.flatnonzero(halves == number)
        if not len(rows):
            continue
        # turned so that the first cut side is side 0, and with two of them the whole side is side 2
        first = (
            np.argmax(cut[rows] >= 0, axis=1)
            if number != 2
            else (np.argmin(cut[rows] >= 0, axis=1) + 1) % 3
        )
        turn = (first[:, None] + np.arange(3)) % 3
        f = np.take_along_axis(net.faces[rows], turn, axis=1)
        m = np.take_along_axis(cut[rows], turn, axis=1)
        w = np.take_along_axis(net.weight[rows], turn[:, :, None], axis=1)
        half = (w + np.roll(w, -1, axis=1)) / 2
        every = np.concatenate([f, m], axis=1)  # corners 0 1 2, middles 3 4 5
        spots = np.concatenate([w, half], axis=1)
        other = np.zeros(len(rows), dtype=bool)
        if number == 2:
            other = _crossed(vertices[every])
        for pick, children in ((~other, _CHILDREN[number]), (other, _OTHER_WAY)):
            for child in children if pick.any() else ():
                faces.append(every[pick][:, child])
                parents.append(net.parent[rows[pick]])
                weights.append(spots[pick][:, child])
    split = _Net(
        vertices, np.concatenate(faces), np.concatenate(parents), np.concatenate(weights), thickness
    )
    if partner is None:
        return split, None
    image = np.sort(partner[pairs], axis=1)
    top = count + 1
    order = np.argsort(pairs[:, 0] * top + pairs[:, 1])
    keys = (pairs[:, 0] * top + pairs[:, 1])[order]
    asked = image[:, 0] * top + image[:, 1]
    at = np.minimum(np.searchsorted(keys, asked), len(keys) - 1)
    if (keys[at] != asked).any():
        return split, None  # not quite symmetric: go on without
    return split, np.concatenate([partner, count + order[at]])


def _without_ties(net: _Net, of_face: Ints, long: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Long edges (e,), and the third side of triangles whose quad could be parted either way.

    Such a triangle lies across the plane of symmetry, and either way would spoil it.
    """
    for _ in range(10):
        cut = long[of_face]
        rows = np.flatnonzero(cut.sum(axis=1) == 2)
        whole = np.argmin(cut[rows], axis=1)
        turn = ((whole[:, None] + 1) % 3 + np.arange(3)) % 3
        corner = net.vertices[np.take_along_axis(net.faces[rows], turn, axis=1)]
        middles = (corner + np.roll(corner, -1, axis=1)) / 2
        one, two = _ways(np.concatenate([corner, middles], axis=1))
        tie = np.abs(one - two) <= TIE * one
        if not tie.any():
            break
        long = long.copy()
        long[of_face[rows[tie], whole[tie]]] = True
    return long


def _ways(spots: Vertices) -> tuple[Array, Array]:
    """Lengths (k,) of both ways of parting the quad 0 3 4 2 of triangles with corners and middles (k, 6, 3)."""
    one = np.linalg.norm(spots[:, 0] - spots[:, 4], axis=1)
    return one, np.linalg.norm(spots[:, 3] - spots[:, 2], axis=1)


def _crossed(spots: Vertices) -> NDArray[np.bool_]:
    """Whether the second way of parting is the shorter one."""
    one, two = _ways(spots)
    return two < one


# children of a triangle by how many of its sides are halved; 3 4 5 are the middles of sides 0-1, 1-2, 2-0
_CHILDREN = {
    1: ([0, 3, 2], [3, 1, 2]),
    2: ([3, 1, 4], [0, 3, 4], [0, 4, 2]),
    3: ([0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]),
}
_OTHER_WAY = ([3, 1, 4], [0, 3, 2], [3, 4, 2])


def _shell(shell: Shell, net: _Net) -> Shell:
    """The net as a shell, whose vertices keep their points on the body."""
    count = len(net.vertices)
    place = np.zeros(count, dtype=np.int64)
    place[net.faces.ravel()[::-1]] = np.arange(net.faces.size)[::-1]
    row, corner = place // 3, place % 3
    face, weight = net.parent[row], net.weight[row, corner]
    old = len(shell.surface.vertices)
    face[:old], weight[:old] = shell.on_body_face, shell.on_body_barycentric
    return Shell(Surface(net.vertices, net.faces), face, weight, net.thickness)
