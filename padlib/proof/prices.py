"""What corrected flats pay for cloth that is strained near its limit, panel by panel, for far places and for volume.

A panel keeps its limit where all but a small share of its cloth does (`told`), so the price is not one number:
what lies over the limit on a panel makes its price rise from round to round, what lies well under it fall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.flatten.rest import rest as at_rest
from padlib.mesh.surface import Plane, Surface, per_surface
from padlib.proof import elastic
from padlib.proof.sew import ONE, Sewn, principal
from padlib.proof.sheets import Sheet
from padlib.proof.told import TOLD

Array = NDArray[np.float64]

TAUT = 60.0  # mm3 that all cloth strained to 1 + 0.2 times its limit costs at first, in distances cubed over 3
ROOM = 0.8  # share of its limit from which cloth is spared
STRAY = 0.85  # the same of how far a flat's lengths may be from its panel's
STRAYED = 4200.0  # mm3 at first for each square of the share of the limit that is beyond that
KEEPS = 0.05  # share of a panel that may be over its limit where it keeps it (the 95th percentile)
PASSES = 0.043  # the same along the rounds: sewn anew up to 0.007 more is
AIM = 0.035  # what the prices aim at once sewn: sewn anew cloth lies a little tighter than along the rounds
CUT = 0.028  # and as cut
CUT_PASSES = 0.049  # which no round may exceed as cut
WORST = 120.0  # of the cube of what a distance is over NEAR_TOLD, over 3, at first
NEAR_TOLD = 0.75 * TOLD  # mm
SHORT_OF = 0.96  # of what is told, which the price of the worst places aims at
ROOMY = 40.0  # mm2 by mm of height, at first, for what the suit holds more than the shell
HOLDS = 0.8  # % of the shell's volume more, at most, along the rounds: sewn anew 0.1 more is
WORSE = 1.1  # of what was over its limit at first, of a panel that did not keep it: let pass
LESS = 0.9  # the same, that its price aims at as cut
DEARER, CHEAPER = 2.0, 0.5  # by how much a price may rise and fall from one round to the next
RISES = 1.0  # power of the share over what it aims at, by which a price moves
SOONER = 1.0  # the same as cut, which no round may exceed
LEAST, MOST = 0.1, 10.0  # of the first price


@dataclass(frozen=True, eq=False)
class Prices:
    """Of each panel (panels,), as multiples of the first ones: cloth that is taut once sewn, and flats that
    stray from their panels; worst: of all, for places nearly as far off as is told; more: for what the suit holds
    more than the shell."""

    taut: Array
    stray: Array
    worst: float
    more: float

    def moved(
        self,
        over: Array,
        astray: Array,
        laid: tuple[Array, Array],
        farthest: float,
        volume: float,
    ) -> Prices:
        """The next round's, from the shares (panels,) of each panel that are over its limit, once sewn and as
        cut, how far the worst place is off, mm, and what the suit holds more than the shell, %; laid: what the shares
        were at first."""
        off = max(farthest - NEAR_TOLD, 0.0) / (SHORT_OF * TOLD - NEAR_TOLD)
        full = max(volume / HOLDS - 0.5, 0.0) / 0.5
        # what a panel may be strained comes before how near it lies: until all flats keep that, nearness gets no dearer
        dearer = 1.0 if cut_beyond(astray, laid[1]).any() else DEARER
        return Prices(
            _moved(self.taut, over, _let(laid[0], AIM)),
            _moved(self.stray, astray, _let(laid[1], CUT, LESS), rises=SOONER),
            _moved(self.worst, off, 1.0, dearer=dearer),
            _moved(self.more, full, 1.0, dearer=dearer),
        )


def first(panels: int) -> Prices:
    """The prices of the first round."""
    return Prices(np.ones(panels), np.ones(panels), 1.0, 1.0)


def far_off(height: Array, prices: Prices) -> tuple[Array, Array]:
    """The price (n,) of places near the worst that may be untold and of what the suit holds more than the shell, by
    mm2, and its derivative (n,) by their height (n,) over the shell, mm; both to be divided by the suit's area."""
    over = np.maximum(np.abs(height) - NEAR_TOLD, 0.0)
    price, more = prices.worst * WORST, prices.more * ROOMY
    return (
        price * over**3 / 3.0 + more * height,
        price * np.sign(height) * over**2 + more,
    )


def taut(sewn: Sewn, state: elastic.Strained, each: Array) -> tuple[Array, Array]:
    """The price (m,) of strained cloth by mm2, and its derivative (m, 2, 2) by the strain; each (m,): its
    panel's."""
    high, _, axis = principal(elastic.shares(sewn, state))
    over = np.maximum(high - ROOM, 0.0)
    price = each * TAUT / ((1.2 - ROOM) ** 2 * float(sewn.area.sum()))
    return price * over**2, 2.0 * (price * over)[:, None, None] * axis / elastic.bears(sewn)


def strayed(
    flats: Sequence[Flat], sheets: Sequence[Sheet], prices: Array, whole: float
) -> tuple[float, list[Plane]]:
    """The price of flats that stray from their panels by more than their cloth bears, and its derivative
    (n, 2) by the places of each that is no mirror image; prices (flats,): of each; whole: area of all, mm2."""
    total, slopes = 0.0, []
    twice = 1.0 + any(flat.panel.mirror_of is not None for flat in flats)
    for flat, sheet, each in zip(flats, sheets, prices, strict=True):
        if flat.panel.mirror_of is not None:
            continue
        panel, state = _laid_out(flat)
        high, low, axis = principal(state.strain / min(sheet.limits[:2]))
        over, under = np.maximum(high - STRAY, 0.0), np.minimum(low + STRAY, 0.0)
        price = twice * float(each) * STRAYED / whole
        total += price * float(panel.area @ (over**2 + under**2))
        strain = over[:, None, None] * axis + under[:, None, None] * (ONE - axis)
        strain *= 2.0 * price / min(sheet.limits[:2])
        slopes.append(elastic.pulled(panel, state, elastic.referred(state, strain))[:, :2])
    return total, slopes


def astray(flats: Sequence[Flat], sheets: Sequence[Sheet]) -> Array:
    """The share (panels,) of each flat whose cloth its panel stretches by more than it bears."""
    share: dict[str, float] = {}
    for flat, sheet in zip(flats, sheets, strict=True):
        if flat.panel.mirror_of is None:
            panel, state = _laid_out(flat)
            high, low, _ = principal(state.strain)
            # what is told is the cloth's stretch, from the flat to the panel, and not the other way round
            stretch = np.maximum(1.0 / (1.0 + low) - 1.0, 1.0 - 1.0 / (1.0 + high))
            wide = panel.area[stretch > min(sheet.limits[:2])].sum()
            share[flat.panel.name] = float(wide / panel.area.sum())
    return np.array([share[flat.panel.mirror_of or flat.panel.name] for flat in flats])


def beyond(share: Array, laid: Array) -> Array:
    """By how much shares (panels,) over a limit are more than is let pass, or clearly more than they were at first."""
    return np.maximum(share - _let(laid, PASSES, WORSE), 0.0)


def cut_beyond(share: Array, laid: Array) -> Array:
    """The same of flats as cut, whose shares (panels,) stay what they are."""
    return np.maximum(share - _let(laid, CUT_PASSES, WORSE), 0.0)


def _let(laid: Array, kept: float, worse: float = 1.0) -> Array:
    """What each panel's share (panels,) may be: that, where the panel kept its limit at first; else what it was, so
    many times."""
    return np.where(laid > KEEPS, worse * laid, kept)


def _moved(
    price: Array | float,
    share: Array | float,
    aim: Array | float,
    *,
    dearer: float = DEARER,
    rises: float = RISES,
) -> Array | float:
    return np.clip(price * np.clip((share / aim) ** rises, CHEAPER, dearer), LEAST, MOST)


def _laid_out(flat: Flat) -> tuple[Sewn, elastic.Strained]:
    """A panel's own triangles as cloth at rest, and its state as the flat."""
    panel = _own(flat.panel.surface)
    flat_place = np.column_stack([flat.positions, 0.0 * flat.positions[:, 0]])
    return panel, elastic.strained(panel, flat_place)


@per_surface
def _own(surface: Surface) -> Sewn:
    """A surface's own triangles, each laid in the plane by itself, as cloth at rest."""
    own = at_rest(surface.vertices, surface.faces)
    gradients = np.stack([own.gx.T, own.gy.T], axis=2)
    one = np.ones((len(own.area), 3))
    return Sewn(surface.faces, (), gradients, own.area, len(surface.vertices), one, one)
