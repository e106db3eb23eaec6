"""A suit's proof, and its flats corrected by what the proof shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.findings import Finding
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.together import with_images
from padlib.mesh.surface import Surface
from padlib.padding.shell import Shell
from padlib.progress import Tell, quiet, within
from padlib.proof.correct import EXCESS, Corrected, Round, correct
from padlib.proof.motion import Move, moving
from padlib.proof.prices import KEEPS
from padlib.proof.proof import OVER, TOO_TIGHT, Proof, prove
from padlib.proof.sheets import bundle
from padlib.proof.told import TOLD
from padlib.proof.walk import walk
from padlib.suit.file import Suit
from padlib.suit.matching import turned
from padlib.suit.steps import Panels
from padlib.suit.taut import SURE as SPARE
from padlib.suit.taut import resting_flats, taut_flats

PASSES = 3  # of corrections, each from how the last one's flats lie sewn anew, at most
PAYS = 0.10  # share that a pass must take for another one to follow, unless the worst place is told or too much held
FULL = 1.0  # % of the shell's volume that a suit may hold more before another pass follows
STANDS_UP = 2.0  # mm that the worst place lies farther off sewn anew than along the rounds: it rests otherwise there
TRIES = 2  # rounds of corrections that are sewn anew
SURE = 0.002  # share more than what a panel was over its limit by, that the next one is to have to spare
OUT = 0.10  # of a panel's area that corrections may leave stretched beyond the limit untold
SEWING = "sewing the flats back together"
UNWALKED = (603, 604, 605)  # findings of a seam that does not walk: it is told, not bent


@dataclass(frozen=True, eq=False)
class Sewn:
    """Flats sewn back; spilt (panels,): by what share panels that kept their limit at first are over it; worth: how
    far off they lie, with that counted, and the worst place where it is told."""

    flats: tuple[Flat, ...]
    proof: Proof
    spilt: NDArray[np.float64]
    worth: float


@dataclass(frozen=True, eq=False)
class Laid:
    """Flats to be sewn back, and the rounds that laid them for how their cloth will rest, None where no corrections
    are to follow."""

    flats: tuple[Flat, ...]
    made: Corrected | None = None


def laid_to_rest(
    suit: Suit,
    flats: Sequence[Flat],
    shell: Shell,
    panels: Panels,
    eases: Sequence[Ease],
    *,
    tell: Tell = quiet,
) -> Laid:
    """The flats cut taut and laid for how their cloth will rest, where the suit asks for corrections."""
    limit, rounds = suit.darts["limit"], int(suit.proof["rounds"])
    if not suit.proof["sew"] or not rounds:
        return Laid(tuple(flats))
    eased = [e.seam for e in suit.ease]
    if any(f.number in UNWALKED for f in walk(bundle(flats, limit), eased)):
        return Laid(tuple(flats))
    small = taut_flats(flats, limit, percentile=suit.darts["percentile"], ease=eases)
    return resting(small, shell.surface, panels, rounds=rounds, limit=limit, ease=eases, tell=tell)


def sewn_back(
    suit: Suit, flats: Sequence[Flat], shell: Shell, panels: Panels, *, over: float = OVER
) -> Proof:
    """The flats sewn back from the rough wrap, by what the suit asks for; it knows nothing of how they came about."""
    limit, eased = suit.darts["limit"], [e.seam for e in suit.ease]
    axes = panels.place.axes
    return prove(flats, shell.surface, axes, stretch=limit, eased=eased, over=over)


def proved(
    suit: Suit,
    laid: Laid,
    proof: Proof,
    shell: Shell,
    panels: Panels,
    eases: Sequence[Ease],
    *,
    tell: Tell = quiet,
) -> tuple[tuple[Flat, ...], Proof]:
    """The flats to cut, and the proof of them: those that were laid, or these corrected by what sewing them back
    showed (`fed_back`); proof: that of the flats as laid."""
    if laid.made is None:
        return laid.flats, proof
    limit, rounds = suit.darts["limit"], int(suit.proof["rounds"])
    again = partial(sewn_back, suit, shell=shell, panels=panels)
    own = {"rounds": rounds, "limit": limit, "ease": eases, "tell": tell}
    first, best = fed_back(laid, proof, shell.surface, again, panels, **own)
    if best is first:
        return first.flats, first.proof
    findings = (*best.proof.findings, *_still_tight(first.proof, best.proof))
    away = first.proof.deviation_mm
    return best.flats, replace(best.proof, uncorrected_mm=away, findings=findings)


def _still_tight(first: Proof, best: Proof) -> list[Finding]:
    """What the flats as laid told of panels that are too tight, where the corrected ones still are but do not tell."""
    over = {t.panel for t in best.tight if t.over > OVER}
    over -= {f.where for f in best.findings if f.number == TOO_TIGHT}
    return [f for f in first.findings if f.number == TOO_TIGHT and f.where in over]


def resting(
    flats: Sequence[Flat],
    outline: Surface,
    panels: Panels,
    *,
    rounds: int,
    limit: float,
    ease: Sequence[Ease] = (),
    tell: Tell = quiet,
) -> Laid:
    """The flats laid for how their cloth will rest; rounds: of a pass of corrections, at most."""
    begun, made = resting_flats(flats, outline, rounds=rounds, limit=limit, ease=ease, tell=tell)
    return Laid(_pile_down(begun, panels), made)


def fed_back(
    laid: Laid,
    proof: Proof,
    outline: Surface,
    again: Callable[..., Proof],
    panels: Panels,
    *,
    rounds: int,
    limit: float,
    ease: Sequence[Ease] = (),
    tell: Tell = quiet,
) -> tuple[Sewn, Sewn]:
    """The flats as laid, and those moved by what sewing them back shows.

    proof: of the flats as laid; again: what proves others, from the rough wrap; rounds: of a pass of
    corrections, at most. Passes go on from how the last one's flats lie sewn anew: cloth that is cut for a hollow may
    stand up in it instead, and only then shows it. None follows flats that lie sewn anew as they did along the rounds,
    and well: the rounds ended where they did not pay any more.
    """
    made = laid.made
    kept = made.laid[0] <= KEEPS
    done = [_sewn(laid.flats, proof, kept)]
    along = made.nearest(SPARE)
    for k in range(PASSES if _may_pay(done[0], along) else 0):
        now = done[-1]
        part = within(tell, k / PASSES, (k + 0.7) / PASSES)
        place = now.proof.surface.vertices
        made = correct(
            now.flats, outline, place, rounds=rounds, limit=limit, ease=ease, after=made, tell=part
        )
        tell(SEWING, (k + 0.7) / PASSES)
        new = _sewn_anew(made, kept, partial(again, over=OUT), panels)
        if new is None:
            break
        done.append(new)
        held = new.proof.deviation_mm["max"] <= TOLD and new.proof.volume_percent <= FULL
        if held and new.worth > (1.0 - PAYS) * now.worth:
            break
    return done[0], min(done, key=attrgetter("worth"))


def _may_pay(now: Sewn, along: Round) -> bool:
    """Whether flats that are sewn anew may lie nearer after a pass of corrections; along: how they lay along the
    rounds that led to them."""
    away = now.proof.deviation_mm
    if away["max"] > TOLD or now.proof.volume_percent > FULL:
        return True
    if now.spilt.max() > SPARE:  # more than sewing anew is known to show
        return True
    farther = away["max"] - along.away_mm["max"]
    return farther > STANDS_UP or away["mean"] > (1.0 + PAYS) * along.away_mm["mean"]


def _sewn(flats: tuple[Flat, ...], proof: Proof, kept: NDArray[np.bool_]) -> Sewn:
    """Flats with their proof; kept (panels,): which kept their limit at first."""
    spilt = np.maximum(np.array([t.over for t in proof.tight]) - KEEPS, 0.0) * kept
    away = proof.deviation_mm
    worth = (1.0 + EXCESS * float(spilt.max())) * away["mean"] * max(1.0, away["max"] / TOLD)
    return Sewn(flats, proof, spilt, worth)


def _sewn_anew(
    made: Corrected,
    kept: NDArray[np.bool_],
    again: Callable[[Sequence[Flat]], Proof],
    panels: Panels,
) -> Sewn | None:
    """The nearest round's flats, sewn anew; None where no round but the first can be taken. Sewn anew they come to
    rest a little otherwise than along the rounds: where a panel that kept its limit as laid lies over it then, rounds
    that have that to spare are sewn too, and what lies nearest is taken, with that counted as along the rounds."""
    spare = np.zeros(len(kept))
    done: list[Sewn] = []
    took = [made.rounds[0]]
    while len(done) < TRIES and (now := made.nearest(spare, but=took)) is not None:
        flats = _pile_down(now.flats, panels)
        done.append(_sewn(flats, again(flats), kept))
        spilt = done[-1].spilt
        if not spilt.any():
            break
        took.append(now)
        spare = np.maximum(spare, spilt + SURE * (spilt > 0.0))
    return min(done, key=attrgetter("worth"), default=None)


def _pile_down(flats: Sequence[Flat], panels: Panels) -> tuple[Flat, ...]:
    """The flats turned so that their pile runs down the page; mirror images of what they are images of."""
    own = [turned(f, panels.pile[f.panel.name]) for f in flats if not f.panel.mirror_of]
    return with_images(own, [f.panel for f in flats])


def moves_of(
    suit: Suit, flats: Sequence[Flat], proof: Proof | None, body: Body, shell: Shell
) -> tuple[Move, ...]:
    """What the wearer's moves do to the sewn suit, where the suit file asks for it."""
    if proof is None or not suit.proof["moves"]:
        return ()
    return moving(flats, proof.surface.vertices, body, shell.surface, limit=suit.darts["limit"])
