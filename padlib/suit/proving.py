"""A suit's proof, and its flats corrected by what the proof shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.together import with_images
from padlib.padding.shell import Shell
from padlib.proof.correct import EXCESS, Corrected, correct
from padlib.proof.motion import Move, moving
from padlib.proof.prices import KEEPS
from padlib.proof.proof import TOO_TIGHT, Proof, prove
from padlib.proof.sheets import bundle
from padlib.proof.walk import walk
from padlib.suit.file import Suit
from padlib.suit.matching import turned
from padlib.suit.steps import Panels
from padlib.suit.taut import resting_flats, taut_flats

TRIES = 4  # rounds of corrections that are sewn anew
SURE = 0.002  # share more than what a panel was over its limit by, that the next one is to have to spare
OUT = 0.10  # of a panel's area that corrections may leave stretched beyond the limit untold
UNWALKED = (
    603,
    604,
    605,
)  # findings of a seam that does not walk: such a pattern is told, not bent


def proved(
    suit: Suit,
    flats: Sequence[Flat],
    shell: Shell,
    panels: Panels,
    eases: Sequence[Ease],
) -> tuple[tuple[Flat, ...], Proof | None]:
    """The flats to cut, and the proof of them; None where the suit asks for none.

    Where the suit asks for corrections, the flats are those given, cut as small as lies taut and laid for how their
    cloth will rest (`resting_flats`), then moved by what sewing them back shows as far as pays; every proof starts
    anew from the rough wrap and knows nothing of how they came about.
    """
    if not suit.proof["sew"]:
        return tuple(flats), None
    limit, rounds = suit.darts["limit"], int(suit.proof["rounds"])
    eased = [e.seam for e in suit.ease]
    again = partial(
        prove, support=shell.surface, axes=panels.place.axes, stretch=limit, eased=eased
    )
    if not rounds or any(f.number in UNWALKED for f in walk(bundle(flats, limit), eased)):
        return tuple(flats), again(flats)
    own = {"limit": limit, "ease": eases}
    smaller = taut_flats(flats, percentile=suit.darts["percentile"], **own)
    begun, rested = resting_flats(smaller, shell.surface, rounds=rounds, **own)
    flats = _pile_down(begun, panels)
    first = again(flats)
    start = first.surface.vertices
    made = correct(flats, shell.surface, start, rounds=rounds, after=rested, **own)
    better, last = _sewn_anew(made, flats, first, partial(again, over=OUT), panels)
    if last is first:
        return flats, first
    told = {f.where for f in last.findings if f.number == TOO_TIGHT}
    missing = [f for f in first.findings if f.number == TOO_TIGHT and f.where not in told]
    findings = (*last.findings, *missing)
    return better, replace(last, uncorrected_mm=first.deviation_mm, findings=findings)


def _sewn_anew(
    made: Corrected,
    flats: tuple[Flat, ...],
    first: Proof,
    again: Callable[[Sequence[Flat]], Proof],
    panels: Panels,
) -> tuple[tuple[Flat, ...], Proof]:
    """The nearest round's flats and their proof, or those that the rounds began with. Sewn anew they come to rest a
    little otherwise than along the rounds: where a panel that kept its limit as laid lies over it then, rounds that
    have that to spare are sewn too, and what lies nearest is taken, with that counted as along the rounds."""
    kept = made.laid[0] <= KEEPS
    spare = np.zeros(len(kept))
    spilt = _spilt(first, kept)
    done = [(_worth(first, spilt), flats, first)]
    took = [made.rounds[0]]
    while len(done) <= TRIES and (now := made.nearest(spare, but=took)) is not None:
        cut = _pile_down(now.flats, panels)
        last = again(cut)
        spilt = _spilt(last, kept)
        done.append((_worth(last, spilt), cut, last))
        if not spilt.any():
            break
        took.append(now)
        spare = np.maximum(spare, spilt + SURE * (spilt > 0.0))
    _, taken, best = min(done, key=itemgetter(0))
    return taken, best


def _spilt(proof: Proof, kept: NDArray[np.bool_]) -> NDArray[np.float64]:
    """By how much (panels,) those that kept their limit are over it."""
    return np.maximum(np.array([t.over for t in proof.tight]) - KEEPS, 0.0) * kept


def _worth(proof: Proof, spilt: NDArray[np.float64]) -> float:
    """How far off a suit is, with what it is over its limits counted."""
    return (1.0 + EXCESS * float(spilt.max())) * proof.deviation_mm["mean"]


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
