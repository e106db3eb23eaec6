"""Sewing the flats back together in 3D: the suit that the pattern really gives.

The sheets are the rest state; what is sewn to one another is one vertex. From a rough wrap the cloth
finds its shape: every triangle wants its flat's lengths (as rigid as it can be: O. Sorkine and M. Alexa
2007, L. Liu and others 2008), as stiffly as its cloth is along the pile, across it and in shear, and
the padded body holds it up from inside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, eye_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from padlib.mesh.areas import vertex_areas
from padlib.mesh.solve import factor
from padlib.mesh.surface import Surface, Vertices
from padlib.proof.sheets import Bundle

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

HOLD = 0.02  # weight of the support against the cloth's stiffness, each vertex
WEIGHT = (
    6e-6  # N/mm2: 600 g/m2 of long pile, over a stiffness of 1 N/mm (common practice, no source)
)
MEMORY = 6  # earlier steps that the next one learns from


@dataclass(frozen=True, eq=False)
class Sewn:
    """A suit sewn together as one mesh.

    faces (m, 3) over the welded vertices; welded: for each flat its vertices' places in it;
    gradients (m, 3, 2): of the hat functions on the flat triangles, 1/mm; area (m,) mm2 of the flats;
    stiffness (m, 3): along the pile, across it and in shear, the largest 1.
    """

    faces: Ints
    welded: tuple[Ints, ...]
    gradients: Array
    area: Array
    count: int
    stiffness: Array


def weld(suit: Bundle) -> Sewn:
    """All sheets joined along their stitches."""
    first = np.cumsum([0, *(len(sheet.positions) for sheet in suit.sheets)])
    twins = [np.stack([first[s.one] + s.a, first[s.two] + s.b], axis=1) for s in suit.stitches]
    pairs = np.concatenate([np.zeros((0, 2), np.int64), *twins])
    total = int(first[-1])
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(total, total))
    count, label = connected_components(graph, directed=False)
    welded = tuple(label[a:b].astype(np.int64) for a, b in zip(first[:-1], first[1:], strict=True))
    faces = np.concatenate([w[f.faces] for w, f in zip(welded, suit.sheets, strict=True)])
    corner = np.concatenate([sheet.positions[sheet.faces] for sheet in suit.sheets])
    gradients, area = _hat_gradients(corner)
    stiffness = np.concatenate(
        [np.tile(sheet.stiffness, (len(sheet.faces), 1)) for sheet in suit.sheets]
    )
    return Sewn(faces, welded, gradients, area, int(count), stiffness)


def _hat_gradients(corner: Array) -> tuple[Array, Array]:
    """Gradients (m, 3, 2) of the three hat functions of flat triangles (m, 3, 2), and areas (m,)."""
    side = np.roll(corner, -2, axis=1) - np.roll(corner, -1, axis=1)
    cross = corner[:, 1] - corner[:, 0]
    other = corner[:, 2] - corner[:, 0]
    double = np.maximum(cross[:, 0] * other[:, 1] - cross[:, 1] * other[:, 0], 1e-9)
    turned = np.stack([-side[..., 1], side[..., 0]], axis=2)
    return turned / double[:, None, None], double / 2


def stiffness(sewn: Sewn) -> csc_matrix:
    """The cloth's stiffness (n, n): the Laplacian of the flat triangles over the welded vertices."""
    local = np.einsum("mia,mja,m->mij", sewn.gradients, sewn.gradients, sewn.area)
    rows = np.repeat(sewn.faces, 3, axis=1).ravel()
    columns = np.tile(sewn.faces, (1, 3)).ravel()
    return csc_matrix((local.ravel(), (rows, columns)), shape=(sewn.count, sewn.count))


def frames(sewn: Sewn, place: Vertices) -> tuple[Array, Array]:
    """For each triangle the nearest rigid image (m, 3, 2) of its flat at positions (n, 3), and the
    strain (m, 2, 2) in pile axes (x across, y along) that is left beyond it (polar decomposition)."""
    f = np.einsum("mkx,mka->mxa", place[sewn.faces], sewn.gradients)
    gram = np.einsum("mxa,mxb->mab", f, f)
    # square root of a 2 x 2 matrix in closed form (Cayley and Hamilton)
    det = np.sqrt(np.maximum(gram[:, 0, 0] * gram[:, 1, 1] - gram[:, 0, 1] ** 2, 1e-12))
    trace = np.sqrt(gram[:, 0, 0] + gram[:, 1, 1] + 2 * det)
    root = (gram + det[:, None, None] * np.eye(2)) / trace[:, None, None]
    size = root[:, 0, 0] * root[:, 1, 1] - root[:, 0, 1] ** 2
    inverse = np.empty_like(root)
    inverse[:, 0, 0], inverse[:, 1, 1] = root[:, 1, 1], root[:, 0, 0]
    inverse[:, 0, 1] = inverse[:, 1, 0] = -root[:, 0, 1]
    return f @ (inverse / size[:, None, None]), root - np.eye(2)


def slackened(strain: Array, slack: float) -> Array:
    """Strain (m, 2, 2) with its negative eigenvalue times `slack`: cloth that is pushed together folds
    instead of pushing back."""
    mean = 0.5 * (strain[:, 0, 0] + strain[:, 1, 1])
    off = strain - mean[:, None, None] * np.eye(2)
    reach = np.hypot(off[:, 0, 0], off[:, 0, 1])
    high, low = mean + reach, mean - reach
    high, low = (np.where(v < 0, slack * v, v) for v in (high, low))
    unit = off / np.maximum(reach, 1e-12)[:, None, None]
    return 0.5 * ((high + low)[:, None, None] * np.eye(2) + (high - low)[:, None, None] * unit)


def pull(sewn: Sewn, place: Vertices, slack: float = 1.0) -> Array:
    """Right-hand side (n, 3) of the global step at positions (n, 3).

    The cloth's stress is its stiffness times its strain, along the pile, across it and in shear apart;
    where all are 1 each triangle asks for its own rigid image, as in the papers above.
    """
    turned, strain = frames(sewn, place)
    stressed = slackened(strain, slack) if slack < 1.0 else strain
    along, across, shear = sewn.stiffness.T
    left = strain.copy()
    left[:, 0, 0] -= across * stressed[:, 0, 0]
    left[:, 1, 1] -= along * stressed[:, 1, 1]
    left[:, 0, 1] -= shear * stressed[:, 0, 1]
    left[:, 1, 0] -= shear * stressed[:, 1, 0]
    asked = turned + turned @ left
    each = np.einsum("mxa,mka,m->mkx", asked, sewn.gradients, sewn.area)
    out = np.zeros((sewn.count, 3))
    for k in range(3):
        for d in range(3):
            out[:, d] += np.bincount(sewn.faces[:, k], each[:, k, d], minlength=sewn.count)
    return out


@dataclass(frozen=True, eq=False)
class Support:
    """What holds the cloth up from inside: a surface with its vertex normals, and where to find them."""

    surface: Surface
    normals: Array
    tree: cKDTree


def support_of(surface: Surface) -> Support:
    """A closed surface made ready to be asked often."""
    corner = surface.vertices[surface.faces]
    face = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normals = np.zeros_like(surface.vertices)
    for k in range(3):
        np.add.at(normals, surface.faces[:, k], face)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None]
    return Support(surface, normals, cKDTree(surface.vertices))


def lift(place: Vertices, support: Support) -> Array:
    """How far (n, 3) each vertex must move out to lie on the support, 0 for those outside.

    Told by the tangent plane at the nearest vertex, which is within a tenth of a millimetre on a mesh
    of 10 mm edges; the deviation that is reported is measured exactly, elsewhere.
    """
    _, nearest = support.tree.query(place)
    normal = support.normals[nearest]
    height = np.einsum("nx,nx->n", place - support.surface.vertices[nearest], normal)
    return np.maximum(-height, 0.0)[:, None] * normal


def settle(
    sewn: Sewn,
    start: Vertices,
    support: Surface,
    *,
    steps: int = 160,
    still: float = 0.01,
    weight: float = WEIGHT,
) -> tuple[Vertices, int]:
    """The sewn suit at rest over its support: positions (n, 3) mm and the steps that it took.

    start (n, 3): the rough wrap; weight: of a mm2 of cloth over its stiffness, which lets a skirt fall
    until it is tight; still: mean movement in mm of a step at which it rests.
    """
    matrix = stiffness(sewn)
    hang = np.zeros((sewn.count, 3))
    hang[:, 2] = -weight * vertex_areas(sewn.faces, sewn.area, sewn.count)
    solve = factor(csc_matrix(matrix + HOLD * eye_array(sewn.count))).solve
    held = support_of(support)
    place = start
    history: list[tuple[Array, Array]] = []
    for step in range(steps):
        target = place + lift(place, held)
        new = solve(pull(sewn, place) + HOLD * target + hang)
        moved = new - place
        place = _learned(place, new, history)
        if np.linalg.norm(moved, axis=1).mean() < still:
            return place, step + 1
    return place, steps


def _learned(place: Array, new: Array, history: list[tuple[Array, Array]]) -> Array:
    """The next positions from the last few steps (D. Anderson 1965)."""
    history.append((place, new))
    del history[:-MEMORY]
    residual = np.array([(n - p).ravel() for p, n in history])
    if len(history) < 2:
        return new
    differences = residual[1:] - residual[:-1]
    gram = differences @ differences.T
    gram += 1e-10 * np.trace(gram) * np.eye(len(gram))
    gamma = np.linalg.solve(gram, differences @ residual[-1])
    out = new.ravel().copy()
    for k, g in enumerate(gamma):
        out -= g * (history[k + 1][1] - history[k][1]).ravel()
    return out.reshape(new.shape)
