"""The search for darts on a sketch of a panel: few, short, opening, and where a maker would put them.

Rounds of: rank every mouth, direction and depth by the forecast; lay the best few flat on the
sketch; keep the best; let it settle. When the limit holds: drop what is not needed, then shorten.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.candidates import MOST_PAIRS, candidates, pairs, spread
from padlib.flatten.ground import Ground, Trial, apart, length, price
from padlib.flatten.sketch import Wedge
from padlib.flatten.trial import evaluate

SLACK = 1.5  # power of the length in the stretch left, as seen on domes when darts are shortened
NEARLY = 1.12  # of the limit: what moves of the darts left may mend when one is left out
CLOSELY = 1.15  # of the limit: what longer darts may mend before one more is tried
PUSHED = 1.7  # of the limit: what moving all darts may mend before one more is tried
PUSHES = (1.0, 1.5, 1.0, 1.0, 0.7)  # of the sketch's spacing: how far they are moved
ENOUGH = 0.2  # of what it is over the limit: what each round of that must gain
LONGER = 1.15
FINEST = 0.07  # share of a dart below which it is not worth shortening it by itself
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
        ends = np.array([[*ground.sketch.flat[w.mouth], *w.tip] for w in both])
        near = (np.abs(ends - t).max() < 2.5 * ground.sketch.spacing for t in taken)
        if len(taken) < 2 * ground.rules.tries and not any(near):
            taken += [ends, ends[::-1]]
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
            shortest = min(held, key=lambda t: _cost(ground, t))
            return shortened(ground, pruned(ground, shortest))
        sound = [trial for trial in beam if _sound(ground, trial)]
        best = min([best, *sound], key=lambda t: t.value)
        if not beam:
            break
    return pruned(ground, best)


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
    moves = [*_moves(ground, wedge, step), _scaled(ground, wedge, LONGER)]
    moves += [_scaled(ground, move, LONGER) for move in _moves(ground, wedge, step)[:2]]
    for move in moves:
        over = length(ground, move) / ground.longest
        move = _scaled(ground, move, 0.999 / over) if over > 1.0 else move
        tried = evaluate(ground, _swapped(trial, k, move), trial)
        if tried is not None and _sound(ground, tried) >= _sound(ground, trial):
            trial = tried if tried.value < trial.value else trial
    return trial


def holds(ground: Ground, trial: Trial) -> bool:
    """Whether a trial keeps the limit with darts that can be sewn."""
    return trial.value <= ground.ask and _sound(ground, trial)


def _sound(ground: Ground, trial: Trial) -> bool:
    """Whether no dart of a trial is too wide; in the search others may yet take their share."""
    return max(trial.intakes[len(ground.fixed) :], default=0.0) <= ground.rules.most_intake


def _round(ground: Ground, beam: list[Trial], more: list[Trial]) -> list[Trial]:
    """The few best of the beam's trials with one dart more and of `more`, each settled."""
    grown = list(more)
    for trial in beam:
        for wedge in spread(ground, candidates(ground, trial.wedges), ground.rules.tries):
            tried = evaluate(ground, (*trial.wedges, wedge), trial)
            if tried is not None and tried.energy < WORTH * trial.energy:
                grown.append(tried)
    grown.sort(key=lambda t: _cost(ground, t))
    return sorted(
        (_settled(ground, trial) for trial in grown[: ground.rules.beam]),
        key=lambda t: _cost(ground, t),
    )


def _cost(ground: Ground, trial: Trial) -> tuple[bool, float]:
    """What trials are compared by: holding the limit first, then what length will be left when what
    they keep to spare is taken off; else less energy."""
    if holds(ground, trial):
        return False, price(ground, trial.wedges) * (trial.value / ground.ask) ** SLACK
    return True, trial.energy


def _swapped(trial: Trial, k: int, wedge: Wedge) -> tuple[Wedge, ...]:
    """The trial's wedges with wedge k replaced."""
    return (*trial.wedges[:k], wedge, *trial.wedges[k + 1 :])


def _moves(ground: Ground, wedge: Wedge, step: float) -> list[Wedge]:
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


def _settled(ground: Ground, trial: Trial, *, longer: bool = False) -> Trial:
    """The trial after moves of its last dart (or all, which may also grow) that lower the energy."""
    last = len(trial.wedges) - 1
    which = range(len(ground.fixed) if longer else max(last, len(ground.fixed)), last + 1)
    for k in which:
        wedge = trial.wedges[k]
        moves = _moves(ground, wedge, ground.sketch.spacing)
        if longer:
            moves.append(_scaled(ground, wedge, 1.25))
        for move in moves:
            tried = evaluate(ground, _swapped(trial, k, move), trial)
            if tried is not None and _cost(ground, tried) < _cost(ground, trial):
                trial = tried
    return trial


def _scaled(ground: Ground, wedge: Wedge, share: float) -> Wedge:
    """A wedge of another length along the same line."""
    mouth = ground.sketch.flat[wedge.mouth]
    return replace(wedge, tip=tuple((mouth + share * (np.asarray(wedge.tip) - mouth)).tolist()))


def all_scaled(ground: Ground, trial: Trial, share: float) -> tuple[Wedge, ...]:
    """The trial's wedges, all that may change longer or shorter."""
    return tuple(
        _scaled(ground, wedge, share) if ground.is_free(k) else wedge
        for k, wedge in enumerate(trial.wedges)
    )


def pruned(ground: Ground, trial: Trial) -> Trial:
    """The trial without the darts that it can do without."""
    k, held = len(ground.fixed), holds(ground, trial)
    while k < len(trial.wedges):
        fewer = evaluate(ground, trial.wedges[:k] + trial.wedges[k + 1 :])
        if fewer is not None and held and not holds(ground, fewer):
            near = fewer.value < NEARLY * ground.ask
            fewer = _settled(ground, fewer, longer=True) if near else fewer
        allowed = ground.ask if held else trial.value / WORTH
        if fewer is not None and fewer.value <= allowed and _sound(ground, fewer):
            trial, k = fewer, len(ground.fixed)
        else:
            k += 1
    return trial


def shortened(ground: Ground, trial: Trial, cut: float = 0.3) -> Trial:
    """The trial with every dart as short as the limit allows, sliding where that gives room.

    cut: share of a dart that is taken off at first.
    """
    cuts = [cut if ground.is_free(k) else 0.0 for k in range(len(trial.wedges))]
    for _ in range(6):
        for k in np.argsort([-length(ground, w) for w in trial.wedges]):
            if cuts[k] < FINEST:
                continue
            less = _scaled(ground, trial.wedges[k], 1 - cuts[k])
            tried = evaluate(ground, _swapped(trial, k, less), trial)
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
    for move in _moves(ground, wedge, step):
        move = _scaled(ground, move, (1 - share) * length(ground, wedge) / length(ground, move))
        tried = evaluate(ground, _swapped(trial, k, move), trial)
        if tried is not None and holds(ground, tried):
            return tried
    return trial
