"""Where stretch will gather, told by one linear solve, before anything is laid flat.

A conformal map scales lengths by exp(u) with Laplacian(u) = K, K the Gaussian curvature, where the
plane is the target (the Yamabe equation; Springborn, Schroeder, Pinkall 2008, "Conformal equivalence
of triangle meshes"; Sawhney, Crane 2017, "Boundary first flattening"). u = 0 on the boundary gives
the conformal map of least area distortion. On a mesh K is the angle defect of a vertex and the
Laplacian is the cotangent one. A slit is more boundary: u = 0 along it too.

u < 0: the flat is too small there, the cloth must stretch (a dome). u > 0: it is too large there and
the cloth is slack (a saddle).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.flatten.cotangent import laplacian
from padlib.flatten.disk import check_disk
from padlib.flatten.rest import rest
from padlib.mesh.solve import factor
from padlib.mesh.surface import Faces, Vertices


def forecast(
    vertices: Vertices, faces: Faces, *, slit: ArrayLike | None = None
) -> NDArray[np.float64]:
    """Logarithm u (n,) of the scale of the conformal map of least area distortion.

    vertices (n, 3) mm; faces (m, 3), one disk; slit: vertex indices where a cut would run, which
    are given u = 0 as the boundary is. exp(-u) - 1 is the stretch that the conformal map asks of
    the cloth. Raises MeshError where the mesh is not a disk.
    """
    vertices, faces, loop = check_disk(vertices, faces)
    free = np.ones(len(vertices), bool)
    free[loop] = False
    if slit is not None:
        free[np.asarray(slit, dtype=np.int64)] = False
    u = np.zeros(len(vertices))
    inside = np.flatnonzero(free)
    if len(inside):
        matrix = laplacian(rest(vertices, faces), faces)[inside][:, inside]
        u[inside] = -factor(matrix).solve(defects(vertices, faces)[inside])
    return u


def defects(vertices: Vertices, faces: Faces) -> NDArray[np.float64]:
    """Angle defect (n,): 2 pi minus the angles about each vertex (of boundary vertices, too)."""
    corner = vertices[faces]
    total = np.full(len(vertices), 2.0 * np.pi)
    for k in range(3):
        a = corner[:, (k + 1) % 3] - corner[:, k]
        b = corner[:, (k + 2) % 3] - corner[:, k]
        sine = np.linalg.norm(np.cross(a, b), axis=1)
        angle = np.arctan2(sine, np.einsum("ij,ij->i", a, b))
        total -= np.bincount(faces[:, k], angle, len(vertices))
    return total


@dataclass(frozen=True, eq=False)
class Forecaster:
    """The forecast of one small panel, ready to tell many slits apart.

    inside (i,): vertices off the boundary; green (i, i): inverse of their Laplacian; u (i,): the
    forecast without a slit; weight (i,): area share of each; spare: area share of the boundary.
    """

    inside: NDArray[np.int64]
    green: NDArray[np.float64]
    u: NDArray[np.float64]
    weight: NDArray[np.float64]
    spare: float

    def holding(self, held: NDArray[np.int64]) -> Forecaster:
        """The forecast with u = 0 at `held` (k,) (places in `inside`), for slits that are there."""
        if not len(held):
            return self
        block = self.green[:, held]
        gain = np.linalg.solve(block[held], block.T)
        return replace(self, green=self.green - block @ gain, u=self.u - self.u[held] @ gain)

    def with_slits(
        self, held: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What each of s slits would do, one slit a row of `held` (s, k) (places in `inside`).

        Returns the mean square stretch (s,) left, and the angle (s, k) that each vertex of a slit
        frees: what is missing about it in the flat. Where that is positive the legs open, where it
        is negative they overlap.
        """
        block = self.green[held[:, :, None], held[:, None, :]]
        push = np.linalg.solve(block, self.u[held][:, :, None])[:, :, 0]
        u = self.u - np.einsum("sk,ski->si", push, self.green[held])
        return self.strain(u), -push

    def strain(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        """Mean square (area-weighted) of the stretch that forecasts (s, i) ask for."""
        level = u @ self.weight
        off = np.exp(level[:, None] - u) - 1.0
        return off**2 @ self.weight + self.spare * (np.exp(level) - 1.0) ** 2


def forecaster(vertices: Vertices, faces: Faces, loop: NDArray[np.int64]) -> Forecaster:
    """A Forecaster of a small disk (a few hundred vertices: its inverse is kept dense)."""
    at_rest = rest(vertices, faces)
    free = np.ones(len(vertices), bool)
    free[loop] = False
    inside = np.flatnonzero(free)
    matrix = laplacian(at_rest, faces)[inside][:, inside].toarray()
    green = np.linalg.inv(matrix) if len(inside) else np.zeros((0, 0))
    share = np.bincount(faces.ravel(), np.repeat(at_rest.area, 3), len(vertices))
    share /= share.sum()
    u = -green @ defects(vertices, faces)[inside]
    return Forecaster(inside, green, u, share[inside], float(share[loop].sum()))
