"""Flats of a whole suit made to agree along everything that is sewn."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.errors import FlatteningError
from padlib.flatten.darts import pairs_of_darts
from padlib.flatten.ease import Ease, ease_of_pairs
from padlib.flatten.flat import Flat
from padlib.flatten.match import matched
from padlib.flatten.nap import nap_of
from padlib.flatten.stretch import stretch
from padlib.flatten.together import Pair, moved_dart, named_pairs
from padlib.mesh.surface import Plane


def match_flats(
    flats: Sequence[Flat],
    *,
    limit: float | None = None,
    ease: Sequence[Ease] = (),
    held: Collection[str] = (),
    cut: Sequence[Plane] | None = None,
    loose: Mapping[str, NDArray[np.bool_]] | None = None,
) -> list[Flat]:
    """Flats whose sewn edges and dart legs agree in length, vertex to vertex, laid in one solve.

    limit: the cloth's stretch limit, a fraction; with it the worst stretch is kept down as well, and
    the use of its cloth where a flat is laid for one.
    ease: where one side of a seam is to be longer. held: names of panels that stay as they are, so
    that the others agree with them. cut: flats (n, 2) of each that the result is to stray from as
    little as it can, in place of the panels' own surfaces, pile down the page. loose: of flats
    that agreed before, by name, the vertices (n,) that are new since; none where a panel is not named.
    Raises InputError where two eases are asked of one edge, FlatteningError where a flat would overlap, which then
    knows the numbers of those that would.
    """
    named = named_pairs(flats)
    pairs: list[Pair] = [pair for _, pair in named]
    more: list[NDArray] = list(ease_of_pairs(flats, named, ease))
    for i, flat in enumerate(flats):
        legs = pairs_of_darts(flat)
        pairs += [(i, one, i, other) for one, other in legs]
        more += [np.zeros(len(one) - 1) for one, _ in legs]
    stay = {k for k, f in enumerate(flats) if f.panel.name in held}
    options = {"ease": more, "limit": limit, "held": stay}
    if loose is not None:
        options["loose"] = [
            loose.get(f.panel.name, np.zeros(len(f.positions), np.bool_)) for f in flats
        ]
    if cut is None:
        meshes = [(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
        options["naps"] = [
            nap_of(f.cloth, f.pile, *mesh) for f, mesh in zip(flats, meshes, strict=True)
        ]
        begin = [f.positions for f in flats]
    else:
        faces = [f.panel.surface.faces for f in flats]
        meshes = [
            (np.column_stack([p, np.zeros(len(p))]), f) for p, f in zip(cut, faces, strict=True)
        ]
        begin = list(cut)
    try:
        laid = matched(meshes, begin, pairs, **options)
    except FlatteningError as why:
        for number in why.panels[:1]:
            why.args = (f"panel '{flats[number].panel.name}' would overlap itself once matched",)
        raise
    return [
        flat
        if k in stay
        else moved_flat(flat, positions, unmatched=flat.stretch if cut is None else None)
        for k, (flat, positions) in enumerate(zip(flats, laid, strict=True))
    ]


def moved_flat(flat: Flat, positions: Plane, *, unmatched: Plane | None = None) -> Flat:
    """A flat with its vertices moved to other places (n, 2) in the plane; stretch and darts follow.

    unmatched (m, 2): its stretch when it was laid on its own; None: as the flat has it.
    """
    surface = flat.panel.surface
    return replace(
        flat,
        positions=positions,
        stretch=stretch(surface.vertices, surface.faces, positions),
        stretch_unmatched=flat.stretch_unmatched if unmatched is None else unmatched,
        darts=tuple(moved_dart(d, positions) for d in flat.darts),
    )
