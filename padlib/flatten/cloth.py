"""What a cloth bears along its pile, across it and in shear, and how much of that a flat asks of it.

The cloth's own strain is that of F = J^-1, the map from the flat onto the panel: along the pile
|F w| - 1, across it |F f| - 1, on the bias |F (w + f)| / sqrt(2) - 1, in shear 90 degrees less the
angle between F w and F f (McCartney, Hinds, Seow, Gong 2000 use the same three parts).

A triangle's *use* of its cloth is the larger absolute eigenvalue of the tensor
[[along, shear], [shear, across]] with each entry divided by its own limit, stretch and slack apart.
In words: the strain over the limit in the direction in which that is worst, where the limit goes
smoothly from the one along, through the bias, to the one across. A plain largest ratio of the three
would miss a pull on the bias in which no single part is at its limit; a sum of squares (Tsai, Hill)
would call a cloth that bears 5 % each way overstrained when it gives 5 % both ways at once. Where all
limits are one number, use is the largest principal strain over that number: padlib's plain rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from padlib.errors import InputError
from padlib.flatten.rest import determinants, jacobians, rest
from padlib.flatten.strain import Scales
from padlib.mesh.surface import Faces, Plane, Vertices

COMMON = "common practice, no source"
BOUNDS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "stretch_along": (0.005, 1.5),
        "stretch_across": (0.005, 1.5),
        "slack_along": (0.005, 0.5),
        "slack_across": (0.005, 0.5),
        "shear_deg": (0.5, 60.0),
        "stiffness_along": (0.01, 100.0),
        "stiffness_across": (0.01, 100.0),
        "stiffness_shear": (0.01, 100.0),
    }
)
"""Least and greatest value of each number of a cloth."""

BIAS = (0.005, 0.36)
"""Least and greatest stretch of a strip on the bias: up to 58 degrees of shear."""

DOWN = (0.0, -1.0)
SOFT = 0.1  # of the least limit: strain within which stretch goes over into slack


@dataclass(frozen=True)
class Cloth:
    """What a cloth bears. Limits are fractions (0.05 is 5 %), slack counted positive.

    name, words: what it is; stretch_along, stretch_across: how far it may be stretched along the
    pile and across it; slack_along, slack_across: how much too long it may lie before it shows
    wrinkles; shear_deg: by how much threads or courses may leave their right angle, degrees;
    stiffness_along, stiffness_across, stiffness_shear: relative to each other; source: where the
    numbers are from. Raises InputError for a number outside BOUNDS.
    """

    name: str
    words: str
    stretch_along: float
    stretch_across: float
    slack_along: float
    slack_across: float
    shear_deg: float
    stiffness_along: float = 1.0
    stiffness_across: float = 1.0
    stiffness_shear: float = 1.0
    source: str = COMMON

    def __post_init__(self) -> None:
        """Check every number."""
        for key, (least, most) in BOUNDS.items():
            value = getattr(self, key)
            if not least <= value <= most:
                raise InputError(
                    f"cloth '{self.name}': {key} is {value:g}; it must lie between {least:g} and {most:g}"
                )

    @property
    def bias(self) -> float:
        """The stretch of a strip cut on the bias at the shear limit, a fraction."""
        return float(np.sqrt(1.0 + np.sin(np.radians(self.shear_deg))) - 1.0)

    @property
    def plain(self) -> float:
        """The lesser of the two stretch limits: a limit for what knows no directions."""
        return min(self.stretch_along, self.stretch_across)


def shear_of_bias(stretch: float) -> float:
    """The shear in degrees at which a strip cut on the bias is stretched by a fraction.

    Threads keep their length and turn: the diagonal of a unit square whose right angle has become
    90 - g is sqrt(2 + 2 sin g) (law of cosines), so sin g = (1 + stretch)^2 - 1. Raises InputError
    outside BIAS.
    """
    least, most = BIAS
    if not least <= stretch <= most:
        raise InputError(
            f"a bias strip's stretch of {stretch:g} cannot be; it must lie between {least:g} and {most:g}"
        )
    return float(np.degrees(np.arcsin((1.0 + stretch) ** 2 - 1.0)))


def _presets(*cloths: Cloth) -> Mapping[str, Cloth]:
    return MappingProxyType({cloth.name: cloth for cloth in cloths})


PRESETS = _presets(
    Cloth(
        "long-pile-fur",
        "long pile on a knitted backing; the pile hides small wrinkles",
        *(0.05, 0.08, 0.05, 0.06, shear_of_bias(0.08)),
        *(1.0, 0.6, 0.4),
    ),
    Cloth(
        "short-pile",
        "short plush pile on a knitted backing; every wrinkle shows",
        *(0.06, 0.12, 0.03, 0.04, shear_of_bias(0.08)),
        *(1.0, 0.5, 0.4),
    ),
    Cloth(
        "fleece",
        "brushed knit, both faces alike, little recovery",
        *(0.05, 0.12, 0.04, 0.04, shear_of_bias(0.08)),
        *(1.0, 0.5, 0.4),
    ),
    Cloth(
        "woven-cotton",
        "plain weave, firm along both threads, gives on the bias",
        *(0.015, 0.02, 0.02, 0.02, shear_of_bias(0.08)),
        *(1.0, 0.8, 0.1),
    ),
    Cloth(
        "four-way-lycra",
        "elastic knit, cut small and stretched on; slack shows at once",
        *(0.25, 0.35, 0.03, 0.03, shear_of_bias(0.15)),
        *(1.0, 0.8, 0.5),
    ),
)
"""Cloths by name. Every number is common practice without a source: measure your own."""

STRIP_TEST = (
    "From the very cloth that you will sew, cut three strips 150 mm long and 50 mm wide: one along the "
    "pile, one across it, one on the bias (at 45 degrees). Keep clear of the selvedge.",
    "On the back of each strip draw two lines across it, 100 mm apart, and lay the strip on a table.",
    "Hold the strip outside both lines and pull slowly along a ruler, as hard as a seam in wear would. "
    "Stop where the backing stops giving easily, its edges curl, or the pile parts; read "
    "the distance of the lines. Each millimetre over 100 is 1 %.",
    "Let go, wait a minute and read again. If it stays more than 2 mm longer, pull less far and begin again "
    "with a new strip: the limit is where it still comes back.",
    "Lay the strips along and across flat and push the two lines together with your fingertips. Read the "
    "distance where the first wrinkle stands that smoothing the pile does not hide: each millimetre under "
    "100 is 1 % of slack.",
    "Do it with three strips each way and take the smallest number. Enter fractions: 6 % is 0.06. Along: "
    "stretch_along, slack_along. Across: stretch_across, slack_across. Bias: stretch_bias.",
)
"""How a maker measures a cloth, in steps. Common practice, no source."""


@dataclass(frozen=True)
class Use:
    """What a flat asks of its cloth, per triangle (m,).

    along, across: stretch (positive) or slack (negative), a fraction; bias (m, 2) on the two
    diagonals; shear_deg; use: 1 at the cloth's limit.
    """

    along: NDArray[np.float64]
    across: NDArray[np.float64]
    bias: NDArray[np.float64]
    shear_deg: NDArray[np.float64]
    use: NDArray[np.float64]


def cloth_use(
    cloth: Cloth, vertices: Vertices, faces: Faces, flat: Plane, *, pile: ArrayLike = DOWN
) -> Use:
    """What a flat asks of its cloth.

    vertices (n, 3) mm; faces (m, 3); flat (n, 2) mm without flips; pile (2,): which way the pile
    runs in the flat. Raises InputError where pile is no direction.
    """
    way = np.asarray(pile, dtype=np.float64)
    size = float(np.linalg.norm(way))
    if way.shape != (2,) or not 0 < size < np.inf:
        raise InputError(f"the pile in a flat needs a direction of two numbers, not {pile!r}")
    x, y = way / size
    turned = np.asarray(flat, dtype=np.float64) @ np.array([[-y, -x], [x, -y]])
    faces = np.asarray(faces, dtype=np.int64)
    at_rest = rest(np.asarray(vertices, dtype=np.float64), faces)
    return use_of(cloth, jacobians(at_rest, faces, turned))


def use_of(cloth: Cloth, jacobian: NDArray[np.float64]) -> Use:
    """The use of a cloth by unflipped Jacobians (4, m) of a flat whose pile runs along -y."""
    a, b, c, d = jacobian
    det = determinants(jacobian)
    one, two = np.hypot(a, b), np.hypot(c, d)
    along, across = one / det, two / det
    sine = np.clip(-(a * c + b * d) / (one * two), -1.0, 1.0)
    mean, lean = 0.5 * (along**2 + across**2), along * across * sine
    bias = np.sqrt(np.maximum(np.stack([mean + lean, mean - lean], axis=1), 0.0)) - 1.0
    shear = np.degrees(np.arcsin(sine))
    first = _share(along - 1.0, cloth.stretch_along, cloth.slack_along)
    second = _share(across - 1.0, cloth.stretch_across, cloth.slack_across)
    third = shear / cloth.shear_deg
    use = 0.5 * np.abs(first + second) + np.hypot(0.5 * (first - second), third)
    return Use(along - 1.0, across - 1.0, bias, shear, use)


def _share(strain: NDArray, stretch: float, slack: float) -> NDArray:
    """Strain over its limit, negative for slack."""
    return strain / np.where(strain > 0, stretch, slack)


def limit_scales(cloth: Cloth, *, unit: float | None = None) -> Scales:
    """Scales at which the strain tensor's eigenvalues are `unit` at the cloth's limits.

    unit: `cloth.plain` where none is given, so that scaled strains are about as large as strains.
    """
    unit, soft = cloth.plain if unit is None else unit, _soft(cloth)
    shear = 2.0 * unit / float(np.tan(np.radians(cloth.shear_deg)))
    along = _apart(unit, cloth.stretch_along, cloth.slack_along, soft)
    across = _apart(unit, cloth.stretch_across, cloth.slack_across, soft)
    return Scales(*along, *across, shear, soft)


def _apart(unit: float, stretch: float, slack: float, soft: float) -> tuple[float, float]:
    """Scales of stretch and of slack at which both are `unit` at their limits.

    Two linear equations in the scales' mean and half their difference, see `orthotropic`.
    """
    more, less = _half(1.0 + stretch), -_half(1.0 - slack)
    bent = np.hypot([more, less], soft) - soft
    lean = unit * (less - more) / (bent[0] * less + bent[1] * more)
    mean = (unit - lean * bent[0]) / more
    return float(mean + lean), float(mean - lean)


def _soft(cloth: Cloth) -> float:
    """The strain within which stretch goes over into slack."""
    return SOFT * min(cloth.plain, cloth.slack_along, cloth.slack_across)


def stiff_scales(cloth: Cloth) -> Scales:
    """Scales of the cloth's stiffness, the mean of the three 1.

    Slack at its limit costs as much as stretch at its limit.
    """
    three = (cloth.stiffness_along, cloth.stiffness_across, cloth.stiffness_shear)
    along, across, shear = np.sqrt(np.array(three) / np.mean(three)).tolist()
    return Scales(
        along,
        along * cloth.stretch_along / cloth.slack_along,
        across,
        across * cloth.stretch_across / cloth.slack_across,
        shear,
        _soft(cloth),
    )


def _half(ratio: float) -> float:
    """h of a length ratio, the strain of `orthotropic`."""
    return 0.5 * (ratio - 1.0 / ratio)
