"""One try: darts drawn into the sketch, laid flat, and judged."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.cloth import cloth_use, limit_scales
from padlib.flatten.ground import Ground, Rules, Trial, apart
from padlib.flatten.injective import overlaps
from padlib.flatten.nap import Nap, nap_of
from padlib.flatten.quick import relax
from padlib.flatten.sketch import Mesh, Wedge, draw
from padlib.flatten.slit import carry
from padlib.flatten.strain import Energy
from padlib.flatten.stretch import areas, stretch, worst
from padlib.mesh.surface import Plane

POWER = 2.0
SHARP = 8.0  # power of the second look, near the limit: close to what the panel's own solve does
SOFT = 0.01  # part of the mean square strain in it
LOOK = 1.35  # of what is asked for: nearer than that a trial is looked at a second time
HARD = 0.6  # of the limit: above that strain counts heavily, so that little of it passes the limit
CLOSING = 1.15  # of its width at the mouth: no dart is wider than that on the way


def evaluate(ground: Ground, wedges: tuple[Wedge, ...], near: Trial | None = None) -> Trial | None:
    """Lay the sketch flat with these darts, from the flat of a trial near by; None where one breaks
    a rule. What was laid flat before is not laid again."""
    if wedges not in ground.tried:
        ground.tried[wedges] = _tried(ground, wedges, near)
    return ground.tried[wedges]


def _tried(ground: Ground, wedges: tuple[Wedge, ...], near: Trial | None) -> Trial | None:
    """A trial of these wedges, see `evaluate`."""
    if not apart(ground, wedges):
        return None
    mesh = draw(ground.sketch, wedges)
    if mesh is None:
        return None
    flat, left, value = relaxed(ground, mesh, near)
    intakes = [_intake(flat[a], flat[b]) for a, b in mesh.legs]
    for k, (a, b) in enumerate(mesh.legs[: len(ground.fixed)]):
        intakes[k] = angle(flat[a], flat[b])
    least = ground.rules.least_intake
    if any(intake is None or intake < least for intake in intakes[len(ground.fixed) :]):
        return None
    if wedges and overlaps(mesh.faces, flat):
        return None
    return Trial(wedges, value, left, tuple(intakes), mesh, flat)


def relaxed(ground: Ground, mesh: Mesh, near: Trial | None) -> tuple[Plane, float, float]:
    """The sketch's mesh laid flat, its energy and its percentile of stretch.

    Near the limit the worst strain is pulled down a second time, as the panel's own solve does it.
    """
    rules, nap = ground.rules, _nap(ground.rules, mesh)
    scales = None if nap is None else limit_scales(nap.cloth)
    energy = Energy(1.0, 1.0, POWER, HARD * rules.limit, scales)
    starts = [mesh.flat]
    if near is not None:
        starts.append(carry(near.mesh.faces, near.mesh.flat, near.flat, mesh.flat))
    flat, left = relax(mesh.vertices, mesh.faces, starts, energy=energy, nap=nap)
    value = reached(mesh, flat, rules)
    if value < LOOK * ground.ask:
        sharper = Energy(SOFT, 1.0, SHARP, max(HARD * rules.limit, value), scales)
        again = relax(mesh.vertices, mesh.faces, [flat], energy=sharper, nap=nap)[0]
        sharp = reached(mesh, again, rules)
        flat, value = (again, sharp) if sharp < value else (flat, value)
    return flat, left, value


def _nap(rules: Rules, mesh: Mesh) -> Nap | None:
    """The cloth on a sketch's mesh; its pile is on the sketch what it is on the panel."""
    return nap_of(rules.cloth, rules.pile, mesh.vertices, mesh.faces)


def reached(mesh: Mesh, flat: Plane, rules: Rules) -> float:
    """The percentile of the stretch that a flat (n, 2) of a sketch's mesh asks for.

    Of a cloth it is the use, times `cloth.plain`.
    """
    if rules.cloth is None:
        size = worst(stretch(mesh.vertices, mesh.faces, flat))
    else:
        size = rules.cloth.plain * cloth_use(rules.cloth, mesh.vertices, mesh.faces, flat).use
    return percentile(size, areas(mesh.vertices, mesh.faces), rules.percentile)


def percentile(size: NDArray[np.float64], weight: NDArray[np.float64], at: float) -> float:
    """The percentile `at` of values (m,) with weights (m,), drawn straight between the values."""
    order = np.argsort(size, kind="stable")
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    return float(np.interp(at / 100.0, share, size[order]))


def _intake(left: Plane, right: Plane) -> float | None:
    """Degrees between two legs (k, 2), mouth first; None where they overlap or close again.

    A dart opens steadily from its tip to its mouth; one that closes again on the way crosses a
    hollow, where cloth is wanted, not spare.
    """
    tip = left[-1]
    gap = left[:-1] - right[:-1]
    way = tip - 0.5 * (left[:-1] + right[:-1])
    wide = (way[:, 0] * gap[:, 1] - way[:, 1] * gap[:, 0]) / np.maximum(np.hypot(*way.T), 1e-12)
    if wide[0] <= 0 or (wide < 0).any() or wide.max() > CLOSING * wide[0]:
        return None
    return angle(left, right)


def angle(left: Plane, right: Plane) -> float:
    """Degrees from the right leg (k, 2) to the left, mouth first; negative where they overlap."""
    a, b = left[0] - left[-1], right[0] - right[-1]
    return float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))
