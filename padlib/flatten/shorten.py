"""Darts that hold the limit made as short as it allows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.ground import Ground, Trial, length, price
from padlib.flatten.moves import SLACK, all_scaled, ends, holds, moves_of, scaled, sound, swapped
from padlib.flatten.trial import evaluate

FINEST = 0.07  # share of a dart below which it is not worth shortening it by itself
LEADS = 3  # unlike trials that are followed up besides the best
HOPEFUL = 1.15  # of the best one's prospect: what a trial may promise and still be followed up
STEPS = (1.0, 0.5)  # of the sketch's spacing: how far darts are moved, one after the other
SHARES = (0.92, 1.06)  # of its length: what a dart is made on the way
SWEEPS = 1  # over all darts at each step; three shorten darts by 1 % for a quarter more of a search
GAIN = 0.997  # of the prospect: what a move must bring it down to


def shortened(ground: Ground, trial: Trial, cut: float = 0.3) -> Trial:
    """The trial with every dart as short as the limit allows, sliding where that gives room.

    cut: share of a dart that is taken off at first.
    """
    cuts = [cut if ground.is_free(k) else 0.0 for k in range(len(trial.wedges))]
    for _ in range(6):
        for k in np.argsort([-length(ground, w) for w in trial.wedges]):
            if cuts[k] < FINEST:
                continue
            less = scaled(ground, trial.wedges[k], 1 - cuts[k])
            tried = evaluate(ground, swapped(trial, k, less), trial)
            if tried is not None and holds(ground, tried):
                trial = tried
            else:
                cuts[k] *= 0.5
                trial = _slid(ground, trial, int(k), cuts[k])
        if max(cuts, default=0.0) < FINEST:
            break
    return trial


def _slid(ground: Ground, trial: Trial, k: int, share: float) -> Trial:
    """The trial with dart k moved to where a shorter one holds the limit, if there is such a place."""
    wedge = trial.wedges[k]
    step = max(0.5 * ground.sketch.spacing, 1.5 * share * length(ground, wedge))
    for move in moves_of(ground, wedge, step):
        move = scaled(ground, move, (1 - share) * length(ground, wedge) / length(ground, move))
        tried = evaluate(ground, swapped(trial, k, move), trial)
        if tried is not None and holds(ground, tried):
            return tried
    return trial


def prospect(ground: Ground, trial: Trial) -> float:
    """What a trial's darts can be expected to cost once they just hold the limit; infinite where one
    of them is too wide."""
    if not sound(ground, trial):
        return np.inf
    return price(ground, trial.wedges) * (trial.value / ground.ask) ** SLACK


def leads(ground: Ground, best: Trial) -> list[Trial]:
    """Trials with as many darts as the best that hold the limit once they are longer, unlike it and
    each other, the most promising first."""
    count, worst = len(best.wedges), HOPEFUL * prospect(ground, best)
    known = [t for t in ground.tried.values() if t is not None and len(t.wedges) == count]
    ranked = sorted(((prospect(ground, t), i) for i, t in enumerate(known)))
    out, taken = [], [_in_order(ground, best)]
    for value, i in ranked:
        if value > worst or len(out) == LEADS:
            break
        own = _in_order(ground, known[i])
        if min(np.abs(own - other).max() for other in taken) > 2.5 * ground.sketch.spacing:
            taken.append(own)
            held = _held(ground, known[i])
            out += [] if held is None else [held]
    return out


def _in_order(ground: Ground, trial: Trial) -> NDArray[np.float64]:
    """Mouths and tips (k, 4) of a trial's wedges, in order of their mouths."""
    return ends(ground, sorted(trial.wedges, key=lambda wedge: wedge.mouth))


def _held(ground: Ground, trial: Trial) -> Trial | None:
    """The trial, with longer darts where it needs them to hold the limit; None where that fails."""
    share = 1.0
    for _ in range(5):
        if holds(ground, trial):
            return trial
        share *= 1.02 * max(trial.value / ground.ask, 1.0) ** SLACK
        longer = evaluate(ground, all_scaled(ground, trial, share), trial)
        if longer is None or share > 1.6:
            return None
        trial, share = longer, 1.0
    return None


def polished(ground: Ground, trial: Trial) -> Trial:
    """The trial with its darts moved, turned and traded against each other until no move promises less
    length; no longer than it was."""
    here, left = trial, prospect(ground, trial)
    for step in STEPS:
        for _ in range(SWEEPS):
            before = left
            for k in range(len(ground.fixed), len(here.wedges)):
                wedge = here.wedges[k]
                ways = moves_of(ground, wedge, step * ground.sketch.spacing)
                ways += [scaled(ground, wedge, 1 + step * (share - 1)) for share in SHARES]
                for way in ways:
                    tried = evaluate(ground, swapped(here, k, way), here)
                    value = np.inf if tried is None else prospect(ground, tried)
                    if value < GAIN * left:
                        here, left = tried, value
            if left > GAIN * before:
                break
    held = _held(ground, here)
    if held is not None:
        held = shortened(ground, held, 2 * FINEST)
        trial = held if price(ground, held.wedges) < price(ground, trial.wedges) else trial
    return trial
