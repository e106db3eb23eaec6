"""The flats sewn to one another: one mesh whose rest state is the sheets, and its first-order elasticity.

What is sewn to one another is one vertex. Every triangle wants its flat's lengths (as rigid as it can
be: O. Sorkine and M. Alexa 2007, L. Liu and others 2008), as stiffly as its cloth is along the pile,
across it and in shear.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, csr_matrix, diags_array
from scipy.sparse.csgraph import connected_components

from padlib.mesh.surface import Vertices
from padlib.proof.sheets import Bundle

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ONE = np.eye(2)


@dataclass(frozen=True, eq=False)
class Sewn:
    """A suit sewn together as one mesh.

    faces (m, 3) over the welded vertices; welded: for each flat its vertices' places in it;
    gradients (m, 3, 2): of the hat functions on the flat triangles, 1/mm; area (m,) mm2 of the flats;
    stiffness (m, 3): along the pile, across it and in shear, the largest 1; limits (m, 3): the strains
    that the cloth bears; middle: of half a suit, the vertices that stay in the plane x = 0.
    """

    faces: Ints
    welded: tuple[Ints, ...]
    gradients: Array
    area: Array
    count: int
    stiffness: Array
    limits: Array
    middle: Ints = field(default_factory=lambda: np.zeros(0, np.int64))

    @cached_property
    def images(self) -> csr_matrix:
        """The form (2m, n) that takes positions to the images of each triangle's pile axes."""
        rows = 2 * np.arange(len(self.faces))[:, None, None] + np.arange(2)[None, :, None]
        shape = (len(self.faces), 2, 3)
        columns = np.broadcast_to(self.faces[:, None, :], shape)
        values = np.swapaxes(self.gradients, 1, 2)
        entries = (values.ravel(), (np.broadcast_to(rows, shape).ravel(), columns.ravel()))
        return csr_matrix(entries, shape=(2 * len(self.faces), self.count))

    @cached_property
    def gathered(self) -> csr_matrix:
        """The form (n, 2m) that sums what acts on the images of pile axes over vertices, by area."""
        weight = np.repeat(self.area, 2)
        return csr_matrix((diags_array(weight) @ self.images).T)


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
    gradients, area = hat_gradients(corner)
    stiffness, limits = (
        np.concatenate(
            [np.tile(own, (len(s.faces), 1)) for own, s in zip(each, suit.sheets, strict=True)]
        )
        for each in ([s.stiffness for s in suit.sheets], [s.limits for s in suit.sheets])
    )
    on = [w[m] for w, m in zip(welded, suit.middle, strict=True)] if suit.middle else []
    middle = np.unique(np.concatenate([np.zeros(0, np.int64), *on]))
    return Sewn(faces, welded, gradients, area, int(count), stiffness, limits, middle)


def hat_gradients(corner: Array) -> tuple[Array, Array]:
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
    across, along = np.moveaxis((sewn.images @ place).reshape(-1, 2, 3), 1, 0)
    gram = np.empty((len(across), 2, 2))
    gram[:, 0, 0], gram[:, 1, 1] = (across**2).sum(axis=1), (along**2).sum(axis=1)
    gram[:, 0, 1] = gram[:, 1, 0] = (across * along).sum(axis=1)
    # square root of a 2 x 2 matrix in closed form (Cayley and Hamilton)
    det = np.sqrt(np.maximum(gram[:, 0, 0] * gram[:, 1, 1] - gram[:, 0, 1] ** 2, 1e-12))
    trace = np.sqrt(gram[:, 0, 0] + gram[:, 1, 1] + 2 * det)
    root = (gram + det[:, None, None] * np.eye(2)) / trace[:, None, None]
    size = root[:, 0, 0] * root[:, 1, 1] - root[:, 0, 1] ** 2
    inverse = np.empty_like(root)
    inverse[:, 0, 0], inverse[:, 1, 1] = root[:, 1, 1], root[:, 0, 0]
    inverse[:, 0, 1] = inverse[:, 1, 0] = -root[:, 0, 1]
    inverse /= size[:, None, None]
    turned = np.stack(
        [
            across * inverse[:, 0, 0, None] + along * inverse[:, 1, 0, None],
            across * inverse[:, 0, 1, None] + along * inverse[:, 1, 1, None],
        ],
        axis=2,
    )
    return turned, root - np.eye(2)


def principal(tensor: Array) -> tuple[Array, Array, Array]:
    """Larger and smaller eigenvalue (m,) of symmetric tensors (m, 2, 2), and the projectors (m, 2, 2)
    on the axis of the larger one."""
    mean = 0.5 * (tensor[:, 0, 0] + tensor[:, 1, 1])
    off = tensor - mean[:, None, None] * ONE
    reach = np.hypot(off[:, 0, 0], off[:, 0, 1])
    axis = 0.5 * (ONE + off / np.maximum(reach, 1e-12)[:, None, None])
    return mean + reach, mean - reach, axis


def slackened(strain: Array, slack: float) -> Array:
    """Strain (m, 2, 2) with its negative eigenvalue times `slack`: cloth that is pushed together folds
    instead of pushing back."""
    high, low, axis = principal(strain)
    high, low = (np.where(v < 0, slack * v, v) for v in (high, low))
    return low[:, None, None] * ONE + (high - low)[:, None, None] * axis


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
    asked = turned + _times(turned, left)
    return summed(sewn, asked)


def summed(sewn: Sewn, acting: Array) -> Array:
    """Sums (n, 3) at vertices of what acts (m, 3, 2) on the images of each triangle's pile axes, by area."""
    return sewn.gathered @ np.swapaxes(acting, 1, 2).reshape(-1, 3)


def _times(one: Array, two: Array) -> Array:
    """Products (m, 3, 2) of (m, 3, 2) and (m, 2, 2): several times faster than numpy's for many small ones."""
    x, y = one[:, :, 0], one[:, :, 1]
    return np.stack([x * two[:, 0, k, None] + y * two[:, 1, k, None] for k in range(2)], axis=2)
