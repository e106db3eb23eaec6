"""Flats after one seam was moved: only the panels that it touches are laid again.

Cutting is local: a panel that a moved seam does not touch comes out of the cut the same, vertex for
vertex, so its flat is kept. A touched panel keeps its darts (`padlib.flatten.carry`) and fits itself
to its neighbours, which keep the lengths that they have.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.agree import match_flats
from padlib.flatten.carry import carried, followed, new_vertices
from padlib.flatten.cloth import Cloth
from padlib.flatten.ease import Ease
from padlib.flatten.flat import Flat
from padlib.flatten.together import with_images
from padlib.seams.panels import Panel
from padlib.suit.matching import turned

FEW = 0.7  # of all vertices: 10 to 15 steps for so many and 2 to 4 for all cost less than 9 to 14 for all
KEPT = 0.01  # mm: a change of a pad is felt a little, ever less, far from it


@dataclass(frozen=True)
class Again:
    """Flats of all panels, in their order, and the names of those that were laid again."""

    flats: tuple[Flat, ...]
    laid: tuple[str, ...]


def flatten_again(
    panels: Sequence[Panel],
    pile: Mapping[str, NDArray],
    last: Sequence[Flat],
    before: Sequence[Panel],
    *,
    limit: float,
    ease: Sequence[Ease] = (),
    cloths: Mapping[str, Cloth] = MappingProxyType({}),
    anew: Sequence[Flat] = (),
) -> Again:
    """Flats of the panels as they are now, from the last flats and the panels that those came from.

    pile, limit, ease, cloths: as for `flatten_panels`. A panel without a namesake before is laid
    without darts; anew: flats of panels that were laid just now, which stand for their last ones.
    Raises MeshError where a panel is not a disk, FlatteningError where no flat without
    flip or overlap was found.
    """
    own = [panel for panel in panels if panel.mirror_of is None]
    known = {panel.name: panel for panel in before}
    flat_of = {flat.panel.name: flat for flat in last}
    laid = {flat.panel.name: flat for flat in anew}
    flats, fresh, loose = [], [], {}
    for panel in own:
        old, flat, cloth = (of.get(panel.name) for of in (known, flat_of, cloths))
        if panel.name in laid:
            fresh.append(len(flats))
            flats.append(laid[panel.name])
        elif flat is not None and old is not None and flat.cloth == cloth and _same(old, panel):
            flats.append(relabelled(flat, old, panel))
        else:
            fresh.append(len(flats))
            begun = None if flat is None or cloth is not None else followed(panel, flat)
            if begun is not None:
                loose[panel.name] = new_vertices(begun.panel, flat.panel)
            else:
                way = {} if cloth is None else {"cloth": cloth, "pile": pile[panel.name]}
                begun = carried(panel, flat, limit=limit if cloth is None else 1.0, **way)
                loose[panel.name] = np.ones(len(begun.positions), dtype=np.bool_)
            flats.append(begun)
    led = loose if len(loose) == len(fresh) and _few(loose) else None
    flats = _matched(flats, fresh, pile, limit=limit, ease=ease, loose=led)
    return Again(with_images(flats, panels), tuple(own[k].name for k in fresh))


def _few(loose: Mapping[str, NDArray[np.bool_]]) -> bool:
    """Whether few enough of all vertices are new for these to come to rest first: else that is the whole work."""
    return sum(map(np.count_nonzero, loose.values())) < FEW * sum(map(len, loose.values()))


def _same(old: Panel, new: Panel) -> bool:
    """Whether two panels are the same surface, but for `KEPT`, with the same runs of boundary."""
    runs = len(old.edges) == len(new.edges) and all(
        a.kind == b.kind and np.array_equal(a.run, b.run)
        for a, b in zip(old.edges, new.edges, strict=True)
    )
    return (
        runs
        and np.array_equal(old.surface.faces, new.surface.faces)
        and old.surface.vertices.shape == new.surface.vertices.shape
        and float(np.abs(old.surface.vertices - new.surface.vertices).max()) < KEPT
    )


def relabelled(flat: Flat, old: Panel, new: Panel) -> Flat:
    """A kept flat whose panel knows the new cut's numbers and partners."""
    to = np.full(int(old.parents.max()) + 2, -1)  # the last place answers for the parent -1
    to[old.parents] = new.parents
    count = len(new.edges)
    edges = tuple(
        replace(edge, partner=now.partner, seam=now.seam)
        for edge, now in zip(flat.panel.edges[:count], new.edges, strict=True)
    )
    panel = replace(
        flat.panel, parents=to[flat.panel.parents], edges=edges + flat.panel.edges[count:]
    )
    return replace(flat, panel=panel)


def _matched(
    flats: Sequence[Flat],
    fresh: Sequence[int],
    pile: Mapping[str, NDArray],
    *,
    limit: float,
    ease: Sequence[Ease],
    loose: Mapping[str, NDArray[np.bool_]] | None,
) -> list[Flat]:
    """The flats with the fresh ones agreeing with their partners, their pile down the page."""
    out = list(flats)
    names = {flats[k].panel.name for k in fresh}
    around = [f for f in flats if f.panel.name in names or partners(f) & names]
    held = {f.panel.name for f in around} - names
    at = {f.panel.name: k for k, f in enumerate(flats)}
    for flat in (
        match_flats(around, limit=limit, ease=ease, held=held, loose=loose) if fresh else ()
    ):
        if flat.panel.name in names:
            out[at[flat.panel.name]] = turned(flat, pile[flat.panel.name])
    return out


def partners(flat: Flat) -> set[str]:
    """Names of the panels that a flat is sewn to."""
    return {edge.partner[0] for edge in flat.panel.edges if edge.partner is not None}
