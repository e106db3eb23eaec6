"""Flats cut a little smaller than their panels, as far as their cloth bears, so that it lies taut over the outline.

Cloth that is cut as large as the outline stands off it wherever laying it flat made it a little too large; common
practice, no source, is to cut a cover small. Darts leave the room for it (`[darts] reserve`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from padlib.errors import FlatteningError
from padlib.flatten.agree import match_flats, moved_flat
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.together import with_images
from padlib.suit.matching import share_used

MOST = 0.03  # by which no flat is cut smaller
STEP = 0.001
BEARS = 0.96  # share of what its cloth bears that a flat may use then; making seams agree takes a little more
TRIES = 3


def taut_flats(
    flats: Sequence[Flat], limit: float, *, percentile: float = 95.0, ease: Sequence[Ease] = ()
) -> tuple[Flat, ...]:
    """The flats, each smaller by what the cloth on so many per cent of its area has to spare, agreeing along seams.

    limit: what cloth bears of which no more is known, a fraction; ease: which seams' sides are to differ. A flat that
    keeps the limit goes on to keep it; where that cannot be had the flats stay as they are.
    """
    own = [flat for flat in flats if flat.panel.mirror_of is None]
    most = [_room(flat, limit, percentile) for flat in own]
    held = [share_used(flat, limit, percentile) <= 1.0 for flat in own]
    for part in (1.0 / 2**k for k in range(TRIES)):
        cut = [(1.0 - part * m) * flat.positions for flat, m in zip(own, most, strict=True)]
        try:
            laid = match_flats(own, ease=ease, cut=cut)
        except FlatteningError:
            continue
        if all(
            share_used(f, limit, percentile) <= 1.0 for f, h in zip(laid, held, strict=True) if h
        ):
            return with_images(laid, [flat.panel for flat in flats])
    return tuple(flats)


def _room(flat: Flat, limit: float, percentile: float) -> float:
    """By how much a flat can be smaller, a fraction of its lengths."""
    for less in np.arange(MOST, 0.0, -STEP):
        smaller = moved_flat(flat, (1.0 - less) * flat.positions)
        if share_used(smaller, limit, percentile) <= BEARS:
            return float(less)
    return 0.0
