"""The search for darts on a sketch of a panel: few, short, opening, and where a maker would put them.

Rounds of: rank every mouth, direction and depth by the forecast; lay the best few flat on the
sketch; keep the best; let it settle. When the limit holds: drop what is not needed, then shorten.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.candidates import MOST_PAIRS, candidates, pairs, spread
from padlib.flatten.ground import Ground, Trial, apart, price, reach
from padlib.flatten.moves import all_scaled, cost, ends, holds, moves_of, scaled, sound, swapped
from padlib.flatten.shorten import leads, polished, shortened
from padlib.flatten.trial import evaluate

NEARLY = 1.12  # of the limit: what moves of the darts left may mend when one is left out
CLOSELY = 1.15  # of the limit: what longer darts may mend before one more is tried
PUSHED = 1.7  # of the limit: what moving all darts may mend before one more is tried
PUSHES = (1.0, 1.5, 1.0, 1.0, 0.7)  # of the sketch's spacing: how far they are moved
ENOUGH = 0.2  # of what it is over the limit: what each round of that must gain
LONGER = 1.15
CLOSE = 1.06  # of the shortest: which trials are polished
WORTH = 0.97  # of the energy: what a dart must at least bring it down to


def best_pairs(ground: Ground, plain: Trial) -> list[Trial]:
    """A few pairs of darts tried, in turn the least strain and the most gained per millimetre."""
    ranked = [pair for pair in pairs(ground)[:MOST_PAIRS] if apart(ground, pair[1])]
    sizes = np.array([40.0 + price(ground, both) for _, both in ranked])
    whole = float(ground.forecast.strain(ground.forecast.u[None])[0])
    gains = [(whole - left) / size for (left, _), size in zip(ranked, sizes, strict=True)]
    thrifty = [ranked[i] for i in np.argsort([-gain for gain in gains], kind="stable")]
    out: list[Trial] = []
    taken: list[NDArray[np.float64]] = []
    for both in (pair for two in zip(ranked, thrifty, strict=True) for _, pair in two):
        own = ends(ground, both)
        near = (np.abs(own - t).max() < 2.5 * ground.sketch.spacing for t in taken)
        if len(taken) < 2 * ground.rules.tries and not any(near):
            taken += [own, own[::-1]]
            out.append(evaluate(ground, both, plain))
    return [trial for trial in out if trial is not None]


def find(ground: Ground) -> Trial | None:
    """The search: few and short darts such that the limit holds, or the best that darts can do.

    A beam: at every round each of the few best trials grows by one dart in several ways.
    """
    plain = evaluate(ground, ground.fixed)
    if plain is None or holds(ground, plain):
        return plain
    beam, best = [plain], plain
    for _ in range(ground.rules.max_darts - len(ground.fixed)):
        paired = len(beam[0].wedges) == 1 and not ground.fixed
        beam = _round(ground, beam, best_pairs(ground, plain) if paired else [])
        held = [trial for trial in beam if holds(ground, trial)] or _stretched(ground, beam)
        held = held or _pushed(ground, beam)
        if held:
            return _shortest(ground, pruned(ground, min(held, key=lambda t: cost(ground, t))))
        openable = [trial for trial in beam if sound(ground, trial)]
        best = min([best, *openable], key=lambda t: t.value)
        if not beam:
            break
    return pruned(ground, best)


def suited(ground: Ground, trial: Trial) -> Trial:
    """A trial that was made for another sketch, such as the other leg's, moved and lengthened until it holds the limit
    on this one, then as short as it can be; as near to that as it comes."""
    if not holds(ground, trial):
        held = _stretched(ground, [trial]) or _pushed(ground, [trial])
        if not held:
            return trial
        trial = held[0]
    short = shortened(ground, pruned(ground, trial))
    return polished(ground, short) if ground.rules.polish else short


def _shortest(ground: Ground, trial: Trial) -> Trial:
    """The shortest darts to be had from a trial that holds the limit, and from unlike ones that were
    tried on the way to it and may come out shorter yet."""
    if not ground.rules.polish:
        return shortened(ground, trial)
    short = [shortened(ground, rival) for rival in (trial, *leads(ground, trial))]
    most = CLOSE * min(price(ground, t.wedges) for t in short)
    close = [polished(ground, t) for t in short if price(ground, t.wedges) <= most]
    return min(close, key=lambda t: price(ground, t.wedges))


def _stretched(ground: Ground, beam: list[Trial]) -> list[Trial]:
    """Those trials that hold the limit once their darts are longer, of those that nearly do."""
    out = []
    for trial in beam:
        if trial.value > CLOSELY * ground.ask:
            continue
        for share in (1.1, 1.2, 1.35):
            wedges = all_scaled(ground, trial, share)
            longer = evaluate(ground, wedges, trial)
            if longer is not None and holds(ground, longer):
                out.append(longer)
                break
    return out


def _pushed(ground: Ground, beam: list[Trial]) -> list[Trial]:
    """The trial of a beam that is nearest the limit, if it can be moved until it holds: no trial with
    fewer darts is given up before that was tried."""
    trial = min(beam, key=lambda t: t.value, default=None)
    if trial is None or trial.value > PUSHED * ground.ask:
        return []
    for step in PUSHES:
        before = trial.value
        for k in range(len(ground.fixed), len(trial.wedges)):
            trial = _driven(ground, trial, k, step * ground.sketch.spacing)
            if holds(ground, trial):
                return [trial]
        if before - trial.value < ENOUGH * (before - ground.ask):
            break
    return []


def _driven(ground: Ground, trial: Trial, k: int, step: float) -> Trial:
    """The trial with dart k moved, turned or longer, wherever that lowers the percentile most."""
    wedge = trial.wedges[k]
    moves = [*moves_of(ground, wedge, step), scaled(ground, wedge, LONGER)]
    moves += [scaled(ground, move, LONGER) for move in moves_of(ground, wedge, step)[:2]]
    for move in moves:
        over = reach(ground, move) / ground.longest
        move = scaled(ground, move, 0.999 / over) if over > 1.0 else move
        tried = evaluate(ground, swapped(trial, k, move), trial)
        if tried is not None and sound(ground, tried) >= sound(ground, trial):
            trial = tried if tried.value < trial.value else trial
    return trial


def _round(ground: Ground, beam: list[Trial], more: list[Trial]) -> list[Trial]:
    """The few best of the beam's trials with one dart more and of `more`, each settled."""
    grown = list(more)
    for trial in beam:
        for wedge in spread(ground, candidates(ground, trial.wedges), ground.rules.tries):
            tried = evaluate(ground, (*trial.wedges, wedge), trial)
            if tried is not None and tried.energy < WORTH * trial.energy:
                grown.append(tried)
    grown.sort(key=lambda t: cost(ground, t))
    return sorted(
        (_settled(ground, trial) for trial in grown[: ground.rules.beam]),
        key=lambda t: cost(ground, t),
    )


def _settled(ground: Ground, trial: Trial, *, longer: bool = False) -> Trial:
    """The trial after moves of its last dart (or all, which may also grow) that lower the energy."""
    last = len(trial.wedges) - 1
    which = range(len(ground.fixed) if longer else max(last, len(ground.fixed)), last + 1)
    for k in which:
        wedge = trial.wedges[k]
        moves = moves_of(ground, wedge, ground.sketch.spacing)
        if longer:
            moves.append(scaled(ground, wedge, 1.25))
        for move in moves:
            tried = evaluate(ground, swapped(trial, k, move), trial)
            if tried is not None and cost(ground, tried) < cost(ground, trial):
                trial = tried
    return trial


def pruned(ground: Ground, trial: Trial) -> Trial:
    """The trial without the darts that it can do without."""
    k, held = len(ground.fixed), holds(ground, trial)
    while k < len(trial.wedges):
        fewer = evaluate(ground, trial.wedges[:k] + trial.wedges[k + 1 :])
        if fewer is not None and held and not holds(ground, fewer):
            near = fewer.value < NEARLY * ground.ask
            fewer = _settled(ground, fewer, longer=True) if near else fewer
        allowed = ground.ask if held else trial.value / WORTH
        if fewer is not None and fewer.value <= allowed and sound(ground, fewer):
            trial, k = fewer, len(ground.fixed)
        else:
            k += 1
    return trial
