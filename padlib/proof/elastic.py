"""What it costs to stretch sewn cloth, and how that changes as the cloth moves or is cut otherwise.

Strain is that of Biot, the symmetric root of the metric less one, so that a turn costs nothing and 1 %
counts the same at any place; stress is the cloth's stiffness times it, along the pile, across it and
in shear apart. The second derivative is the Gauss-Newton part in the cloth's plane and, out of it,
what tension holds taut: both are positive, so that every step goes downhill.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.mesh.surface import Vertices
from padlib.proof.sew import ONE, Sewn, frames, principal, summed

Array = NDArray[np.float64]

PAIRS = (
    (0, 0),
    (1, 1),
    (2, 2),
    (1, 0),
    (2, 0),
    (2, 1),
)  # of corners, whose blocks make a lower triangle
DIAGONAL = [0, 3, 4, 6, 7, 8]  # of a block (3, 3) the entries of its own lower triangle
LOWER = [
    (3 * k + e // 3, 3 * j + e % 3) for k, j in PAIRS for e in (DIAGONAL if k == j else range(9))
]
CACHED = 2048  # triangles whose entries stay in a processor's cache


@dataclass(frozen=True, eq=False)
class Strained:
    """The state of every triangle: frame (m, 3, 2), strain (m, 2, 2) in pile axes (x across, y along)."""

    frame: Array
    strain: Array

    @property
    def metric(self) -> Array:
        """The deformation gradients (m, 3, 2), columns the images of the pile axes."""
        return self.frame @ (self.strain + ONE)


def strained(sewn: Sewn, place: Vertices) -> Strained:
    """The state at positions (n, 3)."""
    return Strained(*frames(sewn, place))


def stress(sewn: Sewn, state: Strained) -> Array:
    """Stress (m, 2, 2) over the cloth's largest stiffness."""
    return _entries(sewn.stiffness) * state.strain


def bears(sewn: Sewn) -> Array:
    """The strain (m, 2, 2) that the cloth bears, entry by entry."""
    return _entries(sewn.limits)


def shares(sewn: Sewn, state: Strained) -> Array:
    """Strain (m, 2, 2) over what the cloth bears."""
    return state.strain / bears(sewn)


def energy(sewn: Sewn, state: Strained) -> Array:
    """Energy (m,) of each triangle by its flat area, over the largest stiffness."""
    return 0.5 * (stress(sewn, state) * state.strain).sum(axis=(1, 2))


def referred(state: Strained, stress: Array) -> Array:
    """The stress (m, 2, 2) that goes with half the change of the metric (Piola and Kirchhoff's second).

    A stress s that goes with the change of the root U satisfies U t + t U = s for half of it, which
    for 2 x 2 matrices has the closed form below (Cayley and Hamilton).
    """
    root = state.strain + ONE
    trace = root[:, 0, 0] + root[:, 1, 1]
    size = root[:, 0, 0] * root[:, 1, 1] - root[:, 0, 1] ** 2
    turned = trace[:, None, None] * ONE - root
    whole = size[:, None, None] * stress + turned @ stress @ turned
    return whole / (trace * size)[:, None, None]


def pulled(sewn: Sewn, state: Strained, referred: Array) -> Array:
    """Derivative (n, 3) of an energy with such a stress (m, 2, 2) by the positions."""
    return summed(sewn, state.metric @ referred)


def cut_otherwise(sewn: Sewn, state: Strained, referred: Array, value: Array) -> Array:
    """Derivative (m, 3, 2) of an energy by the flat places of each triangle's corners, cloth held still.

    value (m,): the energy by area. (J. Eshelby 1951: value - F' P is what a defect in a body feels, and a
    seam that is cut elsewhere is one.)
    """
    metric = state.metric
    felt = value[:, None, None] * ONE - np.swapaxes(metric, 1, 2) @ metric @ referred
    return np.einsum("mab,mkb,m->mka", felt, sewn.gradients, sewn.area)


def hessians(sewn: Sewn, state: Strained, referred: Array) -> Array:
    """Second derivative by the corners' coordinates, without what would make it indefinite: the entries (45, m) of
    each triangle's lower triangle, in the order of `LOWER`."""
    out = np.empty((len(LOWER), len(sewn.faces)))
    tension = _tension(referred).reshape(-1, 4).T
    for first in range(0, len(sewn.faces), CACHED):
        part = slice(first, first + CACHED)
        area = sewn.area[part]
        along, across, shear = (k * area for k in sewn.stiffness[part].T)
        gx, gy = np.ascontiguousarray(sewn.gradients[part].transpose(2, 1, 0))
        one, two = np.ascontiguousarray(state.frame[part].transpose(2, 1, 0))
        normal = np.cross(one, two, axis=0)
        txx, txy, _, tyy = area * tension[:, part]
        pairs = ((one, one), (two, two), (one, two), (two, one), (normal, normal))
        each = [(a[:, None] * b).reshape(9, -1) for a, b in pairs]
        row = 0
        for k, j in PAIRS:
            rows = DIAGONAL if k == j else slice(None)
            made = out[row : row + (6 if k == j else 9), part]
            row += len(made)
            ones, twos, there, back, normals = (e[rows] for e in each)
            side, up = 0.5 * shear * gx[j], 0.5 * shear * gy[j]
            np.multiply(across * gx[k] * gx[j] + up * gy[k], ones, out=made)
            made += (along * gy[k] * gy[j] + side * gx[k]) * twos
            made += (side * gy[k]) * there
            made += (up * gx[k]) * back
            taut = gx[k] * (txx * gx[j] + txy * gy[j]) + gy[k] * (txy * gx[j] + tyy * gy[j])
            made += taut * normals
    return out


def _entries(each: Array) -> Array:
    """Values (m, 3) along the pile, across it and in shear as entries of tensors (m, 2, 2)."""
    out = np.empty((len(each), 2, 2))
    out[:, 1, 1], out[:, 0, 0] = each[:, 0], each[:, 1]
    out[:, 0, 1] = out[:, 1, 0] = each[:, 2]
    return out


def _tension(tensor: Array) -> Array:
    """The part of a stress (m, 2, 2) that pulls."""
    high, low, axis = principal(tensor)
    high, low = np.maximum(high, 0.0), np.maximum(low, 0.0)
    return low[:, None, None] * ONE + (high - low)[:, None, None] * axis
