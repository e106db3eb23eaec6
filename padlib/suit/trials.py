"""Plans of one suit's seams laid flat one after another, as `padlib build` does; only changed panels are darted."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.flatten.carry import carried
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import areas, summary
from padlib.mesh.seen import seen
from padlib.padding.even import even_shell
from padlib.padding.shell import Shell
from padlib.seams.panels import Panel
from padlib.seams.place import Place, mirror_map, place_on_shell
from padlib.suit.ease import own_eases, suit_eases
from padlib.suit.file import Suit
from padlib.suit.matching import share_used
from padlib.suit.steps import (
    Known,
    Panels,
    cloths_borne,
    flatten_panels,
    flattening,
    make_panels,
    on_shell,
)
from padlib.suit.wishes import own_wishes

OVER = 1.0  # a panel over the limit counts as so many times the root of its area of dart, the more the farther over


@dataclass(frozen=True)
class Laid:
    """What a plan comes to when its panels are laid flat with darts: stretch in per cent over all panels by area (mean,
    95th and 99th percentile), darts on both sides and their length in mm, panels over the limit, and the price: dart
    length in mm, and what panels over the limit would take (`OVER`)."""

    mean: float
    p95: float
    p99: float
    darts: int
    dart_mm: float
    over: int
    price: float = 0.0


@dataclass(frozen=True)
class Worth:
    """What one seam buys: the panels that it touches laid flat without it and with it, all others as they are.

    seam: its name, of a move that of [seams]; kind: moved, new or plan; length_mm: of a new one on both sides together,
    of the plan's own on its one side; early: the others are as they were before new seams that cannot be without it.
    """

    seam: str
    kind: str
    length_mm: float
    without: Laid
    with_it: Laid
    early: bool = False


@dataclass(frozen=True)
class Trial:
    """A plan laid: its suit, its panels, their flats, what they come to."""

    suit: Suit
    panels: tuple[Panel, ...]
    flats: tuple[Flat, ...]
    laid: Laid

    def apart(self, other: Trial) -> list[Flat]:
        """The flats of those panels that the other plan has not got, vertex for vertex."""
        known = {digest(panel) for panel in other.panels}
        names = {panel.name for panel in self.panels if digest(panel) not in known}
        return [flat for flat in self.flats if flat.panel.name in names]


@dataclass(frozen=True)
class Bench:
    """Where plans of one suit on one shell are laid; what was darted is kept.

    views (n,): how much in plain view each vertex of the uncut shell is, so that where a panel is seen does not hang on
    how others are cut.
    """

    body: Body
    shell: Shell
    place: Place
    views: NDArray[np.float64]
    workers: int = 1
    known: Known = field(default_factory=dict)

    def cut(self, suit: Suit) -> Panels:
        """The panels of a plan. Raises SuitError where it cannot be cut."""
        return make_panels(suit, self.body, self.shell, self.place)

    def bare(self, suit: Suit, cut: Panels, names: Collection[str]) -> tuple[Flat, ...]:
        """Some panels of a plan laid flat without darts."""
        limit, cloths = suit.darts["limit"], cloths_borne(suit, {p.name for p in cut.panels})
        out = []
        for panel in (p for p in cut.panels if p.name in names):
            cloth = cloths.get(panel.name)
            way = {} if cloth is None else {"cloth": cloth, "pile": cut.pile[panel.name]}
            out.append(carried(panel, None, limit=limit if cloth is None else 1.0, **way))
        return tuple(out)

    def part(self, suit: Suit, cut: Panels, names: Collection[str]) -> tuple[Flat, ...]:
        """Some panels of a plan laid flat by themselves, with darts."""
        own = [panel for panel in cut.panels if panel.name in names]
        wishes = own_wishes(suit, cut.panels, self.place.at)
        asked = flattening(suit, (), {p.name for p in cut.panels}) | {"wishes": wishes}
        kept = {"views": self._seen(own), "known": self.known, "closer": False}
        return flatten_panels(own, cut.pile, **kept, **asked)

    def alone(self, suit: Suit, panel: Panel) -> tuple[Flat, ...]:
        """One panel that is not of the plan laid flat, its pile down."""
        down = {panel.name: np.array([0.0, 0.0, -1.0])}
        kept = {"views": self._seen([panel]), "known": self.known, "closer": False}
        return flatten_panels([panel], down, **kept, **flattening(suit, ()))

    def _seen(self, panels: Sequence[Panel]) -> dict[str, NDArray[np.float64]]:
        """How much in plain view the vertices of panels are."""
        tree = cKDTree(self.place.surface.vertices)
        return {p.name: self.views[tree.query(p.surface.vertices)[1]] for p in panels}

    def lay(self, suit: Suit, *, closer: bool = True) -> Trial:
        """All panels of a plan laid flat, with darts and matched; closer: as for `flatten_panels`.

        Raises PadlibError where that cannot be done.
        """
        cut = self.cut(suit)
        each = cut.panels
        locate = partial(on_shell, body=self.body, shell=self.shell, place=self.place)
        flats = flatten_panels(
            each,
            cut.pile,
            **flattening(suit, (), {p.name for p in each}),
            wishes=own_wishes(suit, each, self.place.at),
            ease=suit_eases(own_eases(suit), each, locate)[0],
            views=self._seen(each),
            known=self.known,
            closer=closer,
            workers=self.workers,
        )
        return Trial(suit, each, flats, told(flats, suit.darts["limit"], suit.darts["percentile"]))


def bench(body: Body, shell: Shell, *, workers: int = 1) -> Bench:
    """A bench for plans on a shell."""
    place = place_on_shell(body, even_shell(shell, mirror_map(shell.surface)))
    surface = place.surface
    return Bench(body, shell, place, seen(surface.vertices, surface.faces), workers)


def digest(panel: Panel) -> tuple[bytes, bytes]:
    """What says whether two panels are the same, vertex for vertex."""
    return panel.surface.vertices.tobytes(), panel.surface.faces.tobytes()


def told(flats: Sequence[Flat], limit: float, percentile: float = 95.0) -> Laid:
    """What flats come to; limit: of the cloth, a fraction, kept by so many per cent of each panel's area."""
    weight = [areas(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
    s = summary(np.concatenate([f.stretch for f in flats]), np.concatenate(weight))
    darts = [d.length_mm for f in flats for d in f.darts]
    used = np.array([share_used(f, limit, percentile) for f in flats])
    root = np.sqrt([float(w.sum()) for w in weight])
    above = used > 1.0
    price = sum(darts) + OVER * float((root * used)[above].sum())
    stretch = {key: round(100 * s[key], 3) for key in ("mean", "p95", "p99")}
    return Laid(
        **stretch,
        darts=len(darts),
        dart_mm=round(sum(darts)),
        over=int(above.sum()),
        price=round(price, 1),
    )
