"""Plans of one suit's seams laid flat one after another, as `padlib build` does; only changed panels are darted."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from padlib.body.body import Body
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import areas, summary
from padlib.padding.even import even_shell
from padlib.padding.shell import Shell
from padlib.seams.panels import Panel
from padlib.seams.place import Place, mirror_map, place_on_shell
from padlib.suit.ease import own_eases, suit_eases
from padlib.suit.file import Suit
from padlib.suit.matching import share_used
from padlib.suit.steps import Known, Panels, flatten_panels, flattening, make_panels, on_shell
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
    """Where plans of one suit on one shell are laid; what was darted is kept."""

    body: Body
    shell: Shell
    place: Place
    workers: int = 1
    known: Known = field(default_factory=dict)

    def cut(self, suit: Suit) -> Panels:
        """The panels of a plan. Raises SuitError where it cannot be cut."""
        return make_panels(suit, self.body, self.shell, self.place)

    def part(
        self, suit: Suit, cut: Panels, names: Collection[str], *, most: int
    ) -> tuple[Flat, ...]:
        """Some panels of a plan laid flat by themselves, with so many darts at most."""
        own = [panel for panel in cut.panels if panel.name in names]
        wishes = own_wishes(suit, cut.panels, self.place.at)
        asked = flattening(suit, {p.name for p in cut.panels}) | {"most": most, "wishes": wishes}
        return flatten_panels(own, cut.pile, among=cut.panels, known=self.known, **asked)

    def lay(self, suit: Suit) -> Trial:
        """All panels of a plan laid flat, with darts and matched. Raises PadlibError where that cannot be done."""
        cut = self.cut(suit)
        each = cut.panels
        locate = partial(on_shell, body=self.body, shell=self.shell, place=self.place)
        flats = flatten_panels(
            each,
            cut.pile,
            **flattening(suit, {p.name for p in each}),
            wishes=own_wishes(suit, each, self.place.at),
            ease=suit_eases(own_eases(suit), each, locate)[0],
            known=self.known,
            workers=self.workers,
        )
        return Trial(suit, each, flats, told(flats, suit.darts["limit"], suit.darts["percentile"]))


def bench(body: Body, shell: Shell, *, workers: int = 1) -> Bench:
    """A bench for plans on a shell."""
    place = place_on_shell(body, even_shell(shell, mirror_map(shell.surface)))
    return Bench(body, shell, place, workers)


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
