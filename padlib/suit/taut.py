"""Flats cut so that their cloth lies taut over the outline: smaller, as far as it bears, then for how it will rest.

Cloth that is cut as large as the outline stands off it wherever laying it flat made it a little too large; common
practice, no source, is to cut a cover small. Darts leave the room for it (`[darts] reserve`). Taut cloth then spans
hollows. What it must be cut like to rest on the outline all the same is the reverse problem (M. Skouras and others
2014, M. Ly and others 2018, both from memory), begun on the outline that the flats were laid from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import FlatteningError
from padlib.flatten.agree import match_flats, moved_flat
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.together import with_images
from padlib.mesh.surface import Surface, Vertices
from padlib.progress import Tell, quiet, within
from padlib.proof.coarse import coarser
from padlib.proof.correct import Corrected, agreed, before, correct
from padlib.proof.prices import astray
from padlib.proof.sew import weld
from padlib.proof.sheets import bundle
from padlib.seams.mirror import other_side
from padlib.suit.again import partners
from padlib.suit.matching import share_used

MOST = 0.03  # by which no flat is cut smaller
STEP = 0.001
BEARS = 0.96  # share of what its cloth bears that a flat may use then; making seams agree takes a little more
TRIES = 5
SURE = 0.007  # of a panel, over its limit: by how much more sewing the flats back may show
# Times the limit, for coarse cloth, which strains a little more where the shell curves
LOOSER = 1.05
# Times as many rounds as a pass of corrections has, at most: they begin farther off
COARSELY, FINELY = 4, 3


def taut_flats(
    flats: Sequence[Flat], limit: float, *, percentile: float = 95.0, ease: Sequence[Ease] = ()
) -> tuple[Flat, ...]:
    """The flats, each smaller by what the cloth on so many per cent of its area has to spare, agreeing along seams.

    limit: what cloth bears of which no more is known, a fraction; ease: which seams' sides are to differ. A flat that
    keeps the limit goes on to keep it; where that cannot be had the flats stay as they are.
    """
    own = [flat for flat in flats if flat.panel.mirror_of is None]
    less = np.array([_room(flat, limit, percentile) for flat in own])
    held = np.array([share_used(flat, limit, percentile) <= 1.0 for flat in own])
    beside = _beside(own)
    for k in range(TRIES):
        cut = [(1.0 - m) * flat.positions for flat, m in zip(own, less, strict=True)]
        try:
            laid = match_flats(own, ease=ease, cut=cut)
        except FlatteningError:
            less *= 0.5
            continue
        over = held & np.array([share_used(flat, limit, percentile) > 1.0 for flat in laid])
        if not over.any():
            return with_images(laid, [flat.panel for flat in flats])
        # what a panel has no room for comes from those that it is sewn to
        less[over | beside[over].any(axis=0)] *= 0.0 if k else 0.25
    return tuple(flats)


def resting_flats(
    flats: Sequence[Flat],
    outline: Surface,
    *,
    rounds: int,
    limit: float,
    ease: Sequence[Ease] = (),
    tell: Tell = quiet,
) -> tuple[tuple[Flat, ...], Corrected]:
    """The flats, moved until their cloth rests as near to the outline as pays, and the last rounds that led there.

    rounds: of a pass of corrections, at most; limit: what cloth bears of which no more is known; ease: which seams'
    sides are to differ. Most rounds run on coarser meshes of the flats, where these can be had.
    """
    own = {"limit": limit, "ease": ease}
    begun = _begun(flats, outline, rounds=COARSELY * rounds, tell=within(tell, 0.0, 0.4), **own)
    if begun is not None:
        fine, place, made = begun
        made = correct(
            fine,
            outline,
            place,
            rounds=FINELY * rounds,
            after=made,
            tell=within(tell, 0.4, 1.0),
            **own,
        )
        near = made.nearest(SURE)
        if near is not None:
            return near.flats, made
    place = _on_panels(flats)
    made = correct(flats, outline, place, rounds=FINELY * rounds, tell=tell, **own)
    return made.nearest(SURE).flats, made


def _begun(
    flats: Sequence[Flat],
    outline: Surface,
    *,
    rounds: int,
    limit: float,
    ease: Sequence[Ease],
    tell: Tell,
) -> tuple[tuple[Flat, ...], Vertices, Corrected] | None:
    """The flats moved as coarse ones were until these rested near the outline, where their vertices (n, 3), as they are
    welded, lie then, and the rounds that led there; None where that cannot be had."""
    coarse = coarser(flats)
    if coarse is None:
        return None
    start = _on_panels(coarse.flats)
    looser = {"limit": LOOSER * limit, "ease": ease, "tell": tell}
    made = correct(coarse.flats, outline, start, rounds=rounds, **looser)
    own = [flat for flat in flats if flat.panel.mirror_of is None]
    try:
        # the last ones, whose prices go on; whether they keep the limit as cut only the fine flats tell
        laid = agreed(own, coarse.moved(made.rounds[-1].flats), ease)
    except FlatteningError:
        return None
    if laid is None:
        return None
    # coarse flats stray from coarse panels as much as edges cut corners there
    made = replace(made, laid=before(made.laid[0], astray(flats, bundle(flats, limit).sheets)))
    return with_images(laid, [f.panel for f in flats]), coarse.placed(made.place), made


def _on_panels(flats: Sequence[Flat]) -> Vertices:
    """The vertices (n, 3) of flats, as they are welded, where their panels have them."""
    sewn = weld(bundle(flats))
    place = np.empty((sewn.count, 3))
    for at, flat in zip(sewn.welded, flats, strict=True):
        place[at] = flat.panel.surface.vertices
    return place


def _beside(flats: Sequence[Flat]) -> NDArray[np.bool_]:
    """Which flats (n, n) are sewn to which, or to an image of them."""
    place = {flat.panel.name: k for k, flat in enumerate(flats)}
    place |= {other_side(n): k for n, k in place.items() if other_side(n) not in place}
    out = np.zeros((len(flats), len(flats)), dtype=np.bool_)
    for k, flat in enumerate(flats):
        out[k, [place[name] for name in partners(flat) if name in place]] = True
    return out | out.T


def _room(flat: Flat, limit: float, percentile: float) -> float:
    """By how much a flat can be smaller, a fraction of its lengths."""
    for less in np.arange(MOST, 0.0, -STEP):
        smaller = moved_flat(flat, (1.0 - less) * flat.positions)
        if share_used(smaller, limit, percentile) <= BEARS:
            return float(less)
    return 0.0
