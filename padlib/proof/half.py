"""A suit that is its own mirror image in x = 0, sewn as one half: what the images do, their originals did.

Cloth that begins alike on both sides over a shell that is alike on both comes to rest alike, so that half of the
unknowns tell all. What an original is sewn to its own image along stays in the plane x = 0. A suit that is not alike
on both sides, by as little as one place of one flat, is sewn whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface, Vertices, per_surface
from padlib.proof.sew import Sewn
from padlib.proof.sheets import Bundle
from padlib.seams.mirror import MIRROR
from padlib.seams.place import mirror_map

Ints = NDArray[np.int64]

ALIKE = 1e-6  # mm: an image's places differ by no more from those of what it is the image of


@dataclass(frozen=True, eq=False)
class Half:
    """The sheets that are sewn of a suit, all of them where it is not alike on both sides.

    suit: those sheets; own (k,): their places among all; of (n,): for each sheet of all which of them it is, or is the
    image of; image (n,): whether it is the image.
    """

    suit: Bundle
    own: Ints
    of: Ints
    image: NDArray[np.bool_]

    @property
    def whole(self) -> bool:
        """Whether all sheets are sewn."""
        return not self.image.any()

    def moved(self, suit: Bundle) -> Half:
        """The same of a suit that is sewn alike, of other sheets."""
        sheets = tuple(suit.sheets[k] for k in self.own)
        return replace(self, suit=replace(self.suit, sheets=sheets))

    def folded(self, one: Sewn, sewn: Sewn, place: Vertices) -> Vertices:
        """Positions of the half's welded vertices from those (n, 3) of the whole suit's."""
        if self.whole:
            return place
        out = np.empty((one.count, 3))
        for at, k in zip(one.welded, self.own, strict=True):
            out[at] = place[sewn.welded[k]]
        out[one.middle, 0] = 0.0
        return out

    def unfolded(self, one: Sewn, sewn: Sewn, place: Vertices) -> Vertices:
        """Positions (n, 3) of the whole suit's welded vertices from those of the half's."""
        if self.whole:
            return place
        out = np.empty((sewn.count, 3))
        for at, k, image in zip(sewn.welded, self.of, self.image, strict=True):
            mine = place[one.welded[k]]
            out[at] = MIRROR * mine if image else mine
        return out


def half_of(flats: Sequence[Flat], suit: Bundle, support: Surface) -> Half:
    """The half of a suit that tells all of it over a support; suit: the bundle of the flats."""
    count = len(flats)
    every = Half(suit, np.arange(count), np.arange(count), np.zeros(count, np.bool_))
    names = {flat.panel.name: k for k, flat in enumerate(flats)}
    original = np.array([names.get(flat.panel.mirror_of or "", -1) for flat in flats])
    image = original >= 0
    if 2 * len(set(original[image])) != count or not _even(support):
        return every
    twin = np.arange(count)
    twin[image], twin[original[image]] = original[image], np.flatnonzero(image)
    if not all(_alike(suit, original[k], k) for k in np.flatnonzero(image)):
        return every
    first = np.cumsum([0, *(len(sheet.positions) for sheet in suit.sheets)])
    if not np.array_equal(_sewn(suit, first, np.arange(count)), _sewn(suit, first, twin)):
        return every
    own = np.flatnonzero(~image)
    rank = np.cumsum(~image) - 1
    kept, middle = [], [np.zeros(0, np.int64)] * count
    for stitch in suit.stitches:
        one, two = stitch.one, stitch.two
        if not image[one] and not image[two]:
            kept.append(replace(stitch, one=int(rank[one]), two=int(rank[two])))
        elif image[one] != image[two]:
            if twin[one] != two or not np.array_equal(stitch.a, stitch.b):
                return every  # sewn to the image of another piece, or of another place
            k = two if image[one] else one
            middle[k] = np.union1d(middle[k], stitch.a)
    half = Bundle(tuple(suit.sheets[k] for k in own), tuple(kept), tuple(middle[k] for k in own))
    return Half(half, own, rank[np.where(image, twin, np.arange(count))], image)


@per_surface
def _even(surface: Surface) -> bool:
    return mirror_map(surface) is not None


def _alike(suit: Bundle, one: int, two: int) -> bool:
    """Whether a sheet is another's mirror image, wherever it lies along x."""
    a, b = suit.sheets[one], suit.sheets[two]
    if a.positions.shape != b.positions.shape or (a.stiffness, a.limits) != (b.stiffness, b.limits):
        return False
    off = b.positions - a.positions * [-1.0, 1.0]
    return (
        np.array_equal(a.faces[:, [0, 2, 1]], b.faces)
        and float(np.abs(off - [off[:, 0].mean(), 0.0]).max()) <= ALIKE
    )


def _sewn(suit: Bundle, first: Ints, twin: Ints) -> Ints:
    """What is sewn to what (p, 2), each vertex by its number among all, of sheets that stand for their twins."""
    pairs = [
        np.stack([first[twin[s.one]] + s.a, first[twin[s.two]] + s.b], axis=1)
        for s in suit.stitches
    ]
    every = np.concatenate([np.zeros((0, 2), np.int64), *pairs])
    return np.unique(np.sort(every, axis=1), axis=0)
