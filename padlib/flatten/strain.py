"""Strain energies of triangles, with gradients and positive semidefinite Hessians in closed form.

Every energy here is sum over triangles of area * weight * (f(s1) + f(s2)), s the singular values of
the 3D-to-flat map, f convex on s > 0 with f(1) = f'(1) = 0 and f -> infinity at s -> 0. With
h(s) = (s - 1/s) / 2, which is -log of the cloth's stretch to second order,

    f(s) = h(s)**2                       symmetric Dirichlet (Smith, Schaefer 2015), up to a factor
    f(s) = c**2 / p * (h(s) / c)**(2 p)  its p-norm: strains below c cost little, above it very much

so that the area mean of the first is close to the mean square strain.

The Hessian of such an energy in the four entries of the Jacobian has the eigenvectors "two scalings,
twist, flip" of Smith, de Goes, Kim (2019, "Analytic eigensystems for isotropic distortion
energies"); negative eigenvalues (only the twist can have one) are set to zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.rest import Rest, jacobians, singular_values
from padlib.mesh.surface import Faces, Plane

PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0))
"""Corner pairs of a triangle's Hessian, in the order of `Local.blocks`."""


@dataclass(frozen=True)
class Scales:
    """By what the strains of a cloth are multiplied, pile along -y; see `orthotropic`.

    Stretch and slack along the pile and across it, and shear, all > 0; soft > 0: the strain within
    which the scale of stretch goes over into that of slack. One number or one for each triangle (m,).
    """

    stretch_along: float | NDArray[np.float64] = 1.0
    slack_along: float | NDArray[np.float64] = 1.0
    stretch_across: float | NDArray[np.float64] = 1.0
    slack_across: float | NDArray[np.float64] = 1.0
    shear: float | NDArray[np.float64] = 1.0
    soft: float | NDArray[np.float64] = 1e-3


@dataclass(frozen=True)
class Energy:
    """How strain is weighed: quadratic * f_1 + norm * f_p with the reference strain c.

    quadratic, norm >= 0; power p >= 1; reference c > 0. quadratic and reference may be one number
    or one for each triangle (m,). scales: of a cloth that is not the same in all directions, whose
    energy is that of `orthotropic`; None: the same in all directions, as here.
    """

    quadratic: float | NDArray[np.float64] = 1.0
    norm: float = 0.0
    power: float = 1.0
    reference: float | NDArray[np.float64] = 1.0
    scales: Scales | None = None


PLAIN = Energy()


@dataclass(frozen=True)
class Local:
    """Per-triangle derivatives. gradient (3, 2, m); blocks (6, 2, 2, m) for the corner pairs."""

    gradient: NDArray[np.float64]
    blocks: NDArray[np.float64]


def scalar(energy: Energy, s: NDArray[np.float64]) -> NDArray[np.float64]:
    """f of singular values s > 0 (any shape); infinity where s <= 0."""
    safe = np.where(s > 0, s, 1.0)
    square = 0.25 * (safe - 1.0 / safe) ** 2
    out = energy.quadratic * square
    if energy.norm:
        c2 = energy.reference**2
        out = out + energy.norm * (c2 / energy.power) * (square / c2) ** energy.power
    return np.where(s > 0, out, np.inf)


def derivatives(energy: Energy, s: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
    """f' and f'' of singular values s > 0 (any shape)."""
    inverse = 1.0 / s
    h, slope = 0.5 * (s - inverse), 0.5 * (1.0 + inverse**2)
    bend = -(inverse**3)
    first, second = 2.0 * h * slope, 2.0 * (slope**2 + h * bend)
    if not energy.norm:
        return energy.quadratic * first, energy.quadratic * second
    ratio = (h / energy.reference) ** 2
    gain = energy.norm * ratio ** (energy.power - 1.0)
    sharp = 2.0 * ((2.0 * energy.power - 1.0) * slope**2 + h * bend)
    return (energy.quadratic + gain) * first, energy.quadratic * second + gain * sharp


def total(energy: Energy, at_rest: Rest, weight: NDArray, faces: Faces, flat: Plane) -> float:
    """Weighted energy of a flat (n, 2); infinity where a triangle is flipped. weight (m,)."""
    big, small = singular_values(jacobians(at_rest, faces, flat))
    if not (small > 0).all():
        return np.inf
    return float(weight @ (scalar(energy, big) + scalar(energy, small)))


def local(energy: Energy, at_rest: Rest, weight: NDArray, faces: Faces, flat: Plane) -> Local:
    """Gradient and projected Hessian of every triangle of a flip-free flat (n, 2)."""
    jacobian = jacobians(at_rest, faces, flat)
    big, small = singular_values(jacobian)
    u, v = frames(jacobian)
    first = [derivatives(energy, s) for s in (big, small)]
    p = v[0] * at_rest.gx + v[1] * at_rest.gy  # gradients along v1
    r = v[0] * at_rest.gy - v[1] * at_rest.gx  # and along v2 = (-v1y, v1x)
    gradient = _turned(weight * first[0][0] * p, weight * first[1][0] * r, u)
    return Local(gradient, _blocks(weight, first, big, small, p, r, u))


def frames(jacobian: NDArray) -> tuple[NDArray, NDArray]:
    """First columns (2, m) of U and V in J = U diag(s1, s2) V', both rotations."""
    a, b, c, d = jacobian
    plus, minus = np.arctan2(c - b, a + d), np.arctan2(b + c, a - d)
    left, right = 0.5 * (minus + plus), 0.5 * (minus - plus)
    return (
        np.stack([np.cos(left), np.sin(left)]),
        np.stack([np.cos(right), np.sin(right)]),
    )


def _turned(first: NDArray, second: NDArray, u: NDArray) -> NDArray:
    """Vectors first * u1 + second * u2 as (3, 2, m)."""
    return np.stack([first * u[0] - second * u[1], first * u[1] + second * u[0]], axis=1)


def _blocks(
    weight: NDArray, first: list, big: NDArray, small: NDArray, p: NDArray, r: NDArray, u: NDArray
) -> NDArray:
    """Corner-pair blocks (6, 2, 2, m) of the projected Hessian."""
    slope, bend = (first[0][0], first[1][0]), (first[0][1], first[1][1])
    twist = np.maximum((slope[0] + slope[1]) / (big + small), 0.0)
    gap = big - small
    near = gap < 1e-6 * big
    flip = np.where(near, 0.5 * (bend[0] + bend[1]), (slope[0] - slope[1]) / np.where(near, 1, gap))
    stretch1, stretch2 = weight * bend[0], weight * bend[1]
    even, odd = 0.5 * weight * (flip + twist), 0.5 * weight * (flip - twist)
    out = np.empty((6, 2, 2, len(weight)))
    cc, ss, cs = u[0] * u[0], u[1] * u[1], u[0] * u[1]
    for k, (i, j) in enumerate(PAIRS):
        pp, rr, rp, pr = p[i] * p[j], r[i] * r[j], r[i] * p[j], p[i] * r[j]
        a11, a22 = stretch1 * pp + even * rr, stretch2 * rr + even * pp
        a12, a21 = odd * rp, odd * pr
        cross = cs * (a12 + a21)
        out[k, 0, 0] = cc * a11 - cross + ss * a22
        out[k, 1, 1] = ss * a11 + cross + cc * a22
        out[k, 0, 1] = cs * (a11 - a22) + cc * a12 - ss * a21
        out[k, 1, 0] = cs * (a11 - a22) + cc * a21 - ss * a12
    return out
