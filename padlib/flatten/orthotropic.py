"""Strain energy of a cloth that is not the same along its pile, across it and in shear.

The flat lies so that the pile runs along -y. With J the 3D-to-flat map, R1 and R2 its rows, D its
determinant and F = J^-1 what the cloth does when it is pulled onto the panel,

    |F y| = |R1| / D = exp(x)         length ratio of the cloth along the pile
    |F x| = |R2| / D = exp(y)         and across it
    sin(shear) = -R1.R2 / (|R1| |R2|)

and the strains are h = sinh(x), sinh(y) (h(s) of `strain` for s the ratio) and
t = R1.R2 sqrt(1/|R1|^2 + 1/|R2|^2) / sqrt(8), half the tangent of the shear where threads keep their
length. Then h1^2 + h2^2 of the singular values is exactly sinh(x)^2 + sinh(y)^2 + 2 t^2: the plain
symmetric Dirichlet energy parted into what the three directions of a cloth bear (it follows from
|J|^2 = tr C^-1 and |J^-1|^2 = tr C with C = F'F).

Each strain is multiplied by its own scale, stretch and slack apart, and the energy of a triangle is
f(m1) + f(m2), m the eigenvalues of the symmetric tensor [[along, shear], [shear, across]] and f as in
`strain`. With all scales 1 and no p-norm it is `strain`'s energy; whatever the scales, it is infinite
where a triangle collapses, because then the cloth's length ratio is.

The form (tensile energy along each thread plus shear) is that of McCartney, Hinds, Seow, Gong (2000,
J. Mater. Process. Technol. 107, 312); the strains above and their derivatives are derived here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.rest import Rest, determinants, jacobians
from padlib.flatten.strain import PAIRS, Energy, Local, Scales
from padlib.mesh.surface import Faces, Plane

_ROOT8 = np.sqrt(8.0)
_AREA = np.array([[0, 0, 0, 1], [0, 0, -1, 0], [0, -1, 0, 0], [1, 0, 0, 0.0]])
_CROSS = np.array([[0, 0, 1, 0], [0, 0, 0, 1], [1, 0, 0, 0], [0, 1, 0, 0.0]])


@dataclass(frozen=True)
class _Tensor:
    """Eigenvalues (2, m) of the scaled tensor, products (3, m) cc, ss, cs of the first eigenvector's
    entries, derivatives of the tensor's: first (3, m) by x, y, t and second (2, m) by x and y."""

    eigen: NDArray[np.float64]
    frame: NDArray[np.float64]
    first: NDArray[np.float64]
    second: NDArray[np.float64]


def total(energy: Energy, at_rest: Rest, weight: NDArray, faces: Faces, flat: Plane) -> float:
    """Weighted energy of a flat (n, 2), pile along -y; infinity where a triangle is flipped."""
    jacobian = jacobians(at_rest, faces, flat)
    if not (determinants(jacobian) > 0).all():
        return np.inf
    first, second = eigenvalues(energy.scales, jacobian)
    return float(weight @ (_scalar(energy, first) + _scalar(energy, second)))


def eigenvalues(scales: Scales, jacobian: NDArray[np.float64]) -> NDArray[np.float64]:
    """Eigenvalues (2, m) of the scaled strain tensor of unflipped Jacobians (4, m), larger first."""
    return _tensor(scales, _strains(jacobian)).eigen


def local(energy: Energy, at_rest: Rest, weight: NDArray, faces: Faces, flat: Plane) -> Local:
    """Gradient and projected Hessian of every triangle of a flip-free flat (n, 2), pile along -y."""
    jacobian = jacobians(at_rest, faces, flat)
    gradient, hessian = derivatives(energy, jacobian)
    hats = np.stack([at_rest.gx, at_rest.gy])  # (2, 3, m)
    slope = (weight * gradient).reshape(2, 2, -1)
    pulled = np.einsum("ukm,kim->ium", slope, hats)
    curved = (weight * positive(hessian, jacobian)).reshape(2, 2, 2, 2, -1)
    first, second = ([pair[k] for pair in PAIRS] for k in (0, 1))
    half = np.einsum("ukvlm,kpm->pulvm", curved, hats[:, first])
    blocks = np.einsum("pulvm,lpm->puvm", half, hats[:, second])
    return Local(pulled, blocks)


def derivatives(energy: Energy, jacobian: NDArray) -> tuple[NDArray, NDArray]:
    """Gradient (4, m) and Hessian (4, 4, m) of a triangle's energy in its Jacobian (a, b, c, d).

    Exact, the Hessian not yet made positive; where a triangle is flipped they mean nothing.
    """
    strains = _strains(jacobian)
    told = _tensor(energy.scales, strains)
    slopes, bends = _curve(energy, told.eigen)
    features = _gradients(jacobian)
    cc, ss, cs = told.frame
    pull = np.stack(
        [
            slopes[0] * cc + slopes[1] * ss,
            slopes[0] * ss + slopes[1] * cc,
            2.0 * (slopes[0] - slopes[1]) * cs,
        ]
    )
    chained = pull * told.first
    gradient = np.einsum("im,ikm->km", chained, features)
    ways = _ways(told, features)
    hessian = _seconds(jacobian, chained)
    for size, way in zip((*bends, _twisted(told.eigen, slopes, bends)), ways, strict=True):
        hessian += (size * way)[:, None] * way
    for k in (0, 1):
        hessian += (pull[k] * told.second[k] * features[k])[:, None] * features[k]
    return gradient, hessian


def _ways(told: _Tensor, features: NDArray) -> NDArray:
    """Derivatives (3, 4, m) of the tensor's entries in its own frame: both eigenvalues, then the twist."""
    cc, ss, cs = told.frame
    moved = told.first[:, None] * features
    return np.stack(
        [
            cc * moved[0] + ss * moved[1] + 2.0 * cs * moved[2],
            ss * moved[0] + cc * moved[1] - 2.0 * cs * moved[2],
            cs * (moved[1] - moved[0]) + (cc - ss) * moved[2],
        ]
    )


def _strains(jacobian: NDArray) -> NDArray:
    """exp(x), exp(y), t (3, m) of Jacobians (4, m)."""
    a, b, c, d = jacobian
    one, two = a * a + b * b, c * c + d * d
    size = determinants(jacobian)
    shear = (a * c + b * d) * np.sqrt(1.0 / one + 1.0 / two) / _ROOT8
    return np.stack([np.sqrt(one) / size, np.sqrt(two) / size, shear])


def _gradients(jacobian: NDArray) -> NDArray:
    """Gradients (3, 4, m) of x, y and t in the entries of the Jacobians (4, m)."""
    a, b, c, d = jacobian
    zero = np.zeros_like(a)
    one, two = a * a + b * b, c * c + d * d
    size = np.stack([d, -c, -b, a]) / determinants(jacobian)
    root = np.sqrt(1.0 / one + 1.0 / two)
    shear = root * np.stack([c, d, a, b]) - (a * c + b * d) / root * _inverse(jacobian)
    along, across = (
        np.stack([a / one, b / one, zero, zero]),
        np.stack([zero, zero, c / two, d / two]),
    )
    return np.stack([along - size, across - size, shear / _ROOT8])


def _inverse(jacobian: NDArray) -> NDArray:
    """R1 / |R1|^4 and R2 / |R2|^4 (4, m): minus half the gradient of 1/|R1|^2 + 1/|R2|^2."""
    a, b, c, d = jacobian
    one, two = (a * a + b * b) ** 2, (c * c + d * d) ** 2
    return np.stack([a / one, b / one, c / two, d / two])


def _seconds(jacobian: NDArray, by: NDArray) -> NDArray:
    """Sum (4, 4, m) of the Hessians of x, y and t times `by` (3, m)."""
    a, b, c, d = jacobian
    dot, size = a * c + b * d, determinants(jacobian)
    root = np.sqrt(1.0 / (a * a + b * b) + 1.0 / (c * c + d * d))
    cross, inverse = np.stack([c, d, a, b]), _inverse(jacobian)
    lean = np.stack([d, -c, -b, a]) / size
    both, shear = by[0] + by[1], by[2] / _ROOT8
    out = both * lean[:, None] * lean
    out += _AREA[:, :, None] * (-both / size) + _CROSS[:, :, None] * (shear * root)
    mixed = (shear / root * cross)[:, None] * inverse
    out -= mixed + mixed.transpose(1, 0, 2)
    out -= (shear * dot / (root * root * root) * inverse)[:, None] * inverse
    for k, row in enumerate((jacobian[:2], jacobian[2:])):
        square = (row * row).sum(axis=0)
        bent = shear * dot / (root * square)
        still = (by[k] - bent) / square
        turned = (4.0 * bent - 2.0 * by[k]) / (square * square)
        part = out[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]
        part += (turned * row)[:, None] * row
        part[0, 0] += still
        part[1, 1] += still
    return out


def _tensor(scales: Scales, strains: NDArray) -> _Tensor:
    """The scaled tensor of strains exp(x), exp(y), t (3, m)."""
    ratio, back = strains[:2], 1.0 / strains[:2]
    stretched, coshes = 0.5 * (ratio - back), 0.5 * (ratio + back)
    more = np.stack(np.atleast_1d(scales.stretch_along, scales.stretch_across))
    less = np.stack(np.atleast_1d(scales.slack_along, scales.slack_across))
    # stretch and slack have their own scale; the change from one to the other is smooth
    mean, lean = 0.5 * (more + less), 0.5 * (more - less)
    root = np.sqrt(stretched * stretched + np.square(scales.soft))
    entries = mean * stretched + lean * (root - scales.soft)
    slope = mean + lean * stretched / root
    bend = lean * np.square(scales.soft) / (root * root * root)
    shear = scales.shear * strains[2]
    half, middle = 0.5 * (entries[0] - entries[1]), 0.5 * (entries[0] + entries[1])
    reach = np.sqrt(half * half + shear * shear)
    safe = np.where(reach > 0, reach, 1.0)
    split, cross = np.where(reach > 0, half / safe, 1.0), shear / safe
    return _Tensor(
        np.stack([middle + reach, middle - reach]),
        0.5 * np.stack([1.0 + split, 1.0 - split, cross]),
        np.stack([*(slope * coshes), np.broadcast_to(scales.shear, shear.shape)]),
        bend * coshes**2 + slope * stretched,
    )


def _scalar(energy: Energy, strain: NDArray) -> NDArray:
    """f of scaled strains (any shape)."""
    square = strain**2
    if not energy.norm:
        return energy.quadratic * square
    c2 = energy.reference**2
    return (
        energy.quadratic * square
        + energy.norm * (c2 / energy.power) * (square / c2) ** energy.power
    )


def _curve(energy: Energy, eigen: NDArray) -> tuple[NDArray, NDArray]:
    """f' and f'' (2, m) of eigenvalues (2, m)."""
    gain = np.zeros_like(eigen)
    if energy.norm:
        gain = energy.norm * ((eigen / energy.reference) ** 2) ** (energy.power - 1.0)
    steep = (2.0 * energy.power - 1.0) * gain
    return 2.0 * eigen * (energy.quadratic + gain), 2.0 * (energy.quadratic + steep)


def _twisted(eigen: NDArray, slopes: NDArray, bends: NDArray) -> NDArray:
    """Twice the difference quotient (m,) of f' between the eigenvalues, f'' where they are one."""
    gap = eigen[0] - eigen[1]
    near = gap <= 1e-7 * (1e-9 + np.abs(eigen).max(axis=0))
    quotient = (slopes[0] - slopes[1]) / np.where(near, 1.0, gap)
    return 2.0 * np.where(near, bends.mean(axis=0), quotient)


def positive(hessian: NDArray, jacobian: NDArray) -> NDArray:
    """Hessians (4, 4, m) at Jacobians (4, m), made positive semidefinite where they are not.

    What bends the wrong way is almost always the turning of the triangle in its own plane, n: it gets
    as much curvature as is missing, H + max(-d, 0) n n' with d the Schur complement of n, which is the
    least multiple of n n' that will do. Where another direction bends the wrong way as well, negative
    eigenvalues are set to zero (Teran et al. 2005).
    """
    a, b, c, d = jacobian / np.sqrt((jacobian * jacobian).sum(axis=0))
    turn = np.stack([b, -a, d, -c])
    # three directions at right angles to it and to each other (units of quaternions times it)
    others = np.stack([[a, b, c, d], [-d, -c, b, a], [c, -d, -a, b]])
    moved = np.einsum("klm,ilm->ikm", hessian, others)
    inner = np.einsum("ikm,jkm->ijm", moved, others)
    side = np.einsum("ikm,km->im", moved, turn)
    pivots, rest = _pivots(inner, side)
    missing = np.einsum("km,klm,lm->m", turn, hessian, turn) - rest
    out = hessian + (np.maximum(-missing, 0.0) * turn)[:, None] * turn
    # where that would be much, the others are all but zero: then the nearest is worth its time
    much = ~(missing > -np.sqrt((hessian * hessian).sum(axis=(0, 1))))
    wrong = np.flatnonzero(~(pivots > 0).all(axis=0) | much)
    out[:, :, wrong] = _clamped(hessian[:, :, wrong])
    return out


def _pivots(inner: NDArray, side: NDArray) -> tuple[NDArray, NDArray]:
    """Pivots (3, m) of symmetric matrices (3, 3, m), and side' inner^-1 side (m,) for side (3, m)."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        one = inner[0, 0]
        low, far = inner[1, 0] / one, inner[2, 0] / one
        two = inner[1, 1] - low * inner[1, 0]
        both = inner[2, 1] - far * inner[1, 0]
        last = both / two
        three = inner[2, 2] - far * inner[2, 0] - last * both
        second = side[1] - low * side[0]
        third = side[2] - far * side[0] - last * second
        rest = side[0] ** 2 / one + second**2 / two + third**2 / three
    return np.stack([one, two, three]), rest


def _clamped(hessian: NDArray) -> NDArray:
    """Symmetric matrices (4, 4, k) with negative eigenvalues set to zero."""
    values, vectors = np.linalg.eigh(np.ascontiguousarray(hessian.transpose(2, 0, 1)))
    kept = vectors * np.maximum(values, 0.0)[:, None, :]
    return (kept @ vectors.transpose(0, 2, 1)).transpose(1, 2, 0)
