"""A trial of darts judged, and the moves that one of its darts can make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.ground import Ground, Trial, price
from padlib.flatten.sketch import Wedge

SLACK = 1.5  # power of the length in the stretch left, as seen on domes when darts are shortened


def holds(ground: Ground, trial: Trial) -> bool:
    """Whether a trial keeps the limit with darts that can be sewn."""
    return trial.value <= ground.ask and sound(ground, trial)


def sound(ground: Ground, trial: Trial) -> bool:
    """Whether no dart of a trial is too wide; in the search others may yet take their share."""
    return max(trial.intakes[len(ground.fixed) :], default=0.0) <= ground.rules.most_intake


def cost(ground: Ground, trial: Trial) -> tuple[bool, float]:
    """What trials are compared by: holding the limit first, then what length will be left when what
    they keep to spare is taken off; else less energy."""
    if holds(ground, trial):
        return False, price(ground, trial.wedges) * (trial.value / ground.ask) ** SLACK
    return True, trial.energy


def ends(ground: Ground, wedges: Sequence[Wedge]) -> NDArray[np.float64]:
    """Mouths and tips (k, 4) of wedges on the flat without darts."""
    return np.array([[*ground.sketch.flat[wedge.mouth], *wedge.tip] for wedge in wedges])


def swapped(trial: Trial, k: int, wedge: Wedge) -> tuple[Wedge, ...]:
    """The trial's wedges with wedge k replaced."""
    return (*trial.wedges[:k], wedge, *trial.wedges[k + 1 :])


def moves_of(ground: Ground, wedge: Wedge, step: float) -> list[Wedge]:
    """A wedge with its mouth moved along the edge, its tip moved aside, or made longer, by `step` mm."""
    sketch = ground.sketch
    mouth, tip = sketch.flat[wedge.mouth], np.asarray(wedge.tip)
    way = (tip - mouth) / np.hypot(*(tip - mouth))
    aside = np.array([-way[1], way[0]])
    out = [replace(wedge, tip=tuple((tip + s * step * aside).tolist())) for s in (1, -1)]
    place = int(np.flatnonzero(sketch.loop == wedge.mouth)[0])
    for other in _mouths_near(ground, place, step):
        start = sketch.outline[other]
        out.append(Wedge(int(sketch.loop[other]), wedge.tip))
        out.append(Wedge(int(sketch.loop[other]), tuple((tip + start - mouth).tolist())))
    return out


def _mouths_near(ground: Ground, place: int, step: float) -> list[int]:
    """The mouth places about `step` mm before and behind a place of the loop."""
    outline = ground.sketch.outline
    off = (outline[ground.mouths] - outline[place]) @ np.array(
        [ground.inward[place][1], -ground.inward[place][0]]
    )
    far = np.hypot(*(outline[ground.mouths] - outline[place]).T)
    out = []
    for sign in (1.0, -1.0):
        side = (sign * off > 0.3 * step) & (far < 2.0 * step)
        if side.any():
            out.append(int(ground.mouths[side][np.abs(far[side] - step).argmin()]))
    return out


def scaled(ground: Ground, wedge: Wedge, share: float) -> Wedge:
    """A wedge of another length along the same line."""
    mouth = ground.sketch.flat[wedge.mouth]
    return replace(wedge, tip=tuple((mouth + share * (np.asarray(wedge.tip) - mouth)).tolist()))


def all_scaled(ground: Ground, trial: Trial, share: float) -> tuple[Wedge, ...]:
    """The trial's wedges, all that may change longer or shorter."""
    return tuple(
        scaled(ground, wedge, share) if ground.is_free(k) else wedge
        for k, wedge in enumerate(trial.wedges)
    )
