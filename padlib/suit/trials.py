"""Plans of one suit's seams laid flat one after another; only panels that changed are laid again.

Three ways, each dearer than the one before: without darts, which tells in a tenth of a second a panel how much dart it
will need (`need`); with the darts that its panels take, each panel by itself; and as `padlib build` does, matched and
darted closer. Nothing is done twice.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.errors import FlatteningError
from padlib.flatten.carry import carried
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import areas, root_of_area, summary
from padlib.mesh.seen import seen
from padlib.padding.even import even_shell
from padlib.padding.shell import Shell
from padlib.seams.panels import Panel
from padlib.seams.place import Place, mirror_map, place_on_shell
from padlib.suit.ease import own_eases, suit_eases
from padlib.suit.file import Suit
from padlib.suit.known import Known
from padlib.suit.matching import DART_SHARES, share_used
from padlib.suit.spread import spread_over
from padlib.suit.steps import (
    Panels,
    cloths_borne,
    flatten_panels,
    flattening,
    make_panels,
    on_shell,
)
from padlib.suit.suggestion_watch import OutOfTime, Watch
from padlib.suit.wishes import own_wishes

OVER = 4.0  # roots of its area of dart that a panel over the limit counts as, times how far it is over: a line that
# cures the front of a thin build, which darts do not, must save 0.7 to 0.9 of them, one that winds up to 4.0
BARELY = 0.05  # of the limit, over which that rises from nothing
HOLDS = 1.01  # of what darts aim at: so far a flat without darts may be over, as it comes out of the solve
NEED, RISE = 1.0, 0.5  # dart in roots of a panel's area that it needs by how far it is over: `need`
RISK = 0.4  # the share of panels which darts did not bring within the limit, by how far they were over: `need`
Key = tuple[bytes, bytes, str]


@dataclass(frozen=True)
class Laid:
    """What a plan comes to when its panels are laid flat with darts: stretch in per cent over all panels by area (mean,
    95th and 99th percentile), darts on both sides and their length in mm, panels over the limit, and the price: dart
    length in mm, and what panels over the limit would take (`OVER`); guessed: panels whose darts were not sought: their
    length is what they will need (`need`), their stretch is without darts, and over are those that darts will more
    likely than not leave over the limit (`RISK`)."""

    mean: float
    p95: float
    p99: float
    darts: int
    dart_mm: float
    over: int
    price: float = 0.0
    guessed: int = 0


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
    """A plan laid: its suit, its panels, a flat for each (of an image that of its original), what they come to, and
    the way (3,) that the pile lies on each by name."""

    suit: Suit
    panels: tuple[Panel, ...]
    flats: tuple[Flat, ...]
    laid: Laid
    pile: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)

    def apart(self, other: Trial, side: str = "") -> list[int]:
        """Which of its panels, of one side only where it is given, the other plan has not got, vertex for vertex."""
        known = {digest(panel) for panel in other.panels}
        own = (k for k, panel in enumerate(self.panels) if side in ("", panel.side))
        return [k for k in own if digest(self.panels[k]) not in known]


@dataclass(frozen=True)
class Bench:
    """Where plans of one suit on one shell are laid; what was laid and darted is kept.

    views (n,): how much in plain view each vertex of the uncut shell is, so that where a panel is seen does not hang on
    how others are cut; bares: panels laid without darts; darted: with them; known: the same for `flatten_panels`.
    """

    body: Body
    shell: Shell
    place: Place
    views: NDArray[np.float64]
    workers: int = 1
    known: Known = field(default_factory=dict)
    bares: dict[Key, Flat] = field(default_factory=dict)
    darted: dict[Key, Flat] = field(default_factory=dict)

    def cut(self, suit: Suit) -> Panels:
        """The panels of a plan. Raises SuitError where it cannot be cut."""
        return make_panels(suit, self.body, self.shell, self.place)

    def bare(self, suit: Suit, cut: Panels, names: Collection[str]) -> tuple[Flat, ...]:
        """Some panels of a plan laid flat without darts. Raises PadlibError where that cannot be done."""
        limit, cloths = suit.darts["limit"], cloths_borne(suit, {p.name for p in cut.panels})
        out = []
        for panel in (p for p in cut.panels if p.name in names):
            if (key := _key(panel)) not in self.bares:
                cloth = cloths.get(panel.name)
                way = {} if cloth is None else {"cloth": cloth, "pile": cut.pile[panel.name]}
                aim = DART_SHARES[0] * (limit if cloth is None else 1.0)
                self.bares[key] = carried(panel, None, limit=aim, **way)
            out.append(replace(self.bares[key], panel=panel))
        return tuple(out)

    def guess(self, suit: Suit) -> Trial:
        """All panels of a plan laid flat without darts. Raises PadlibError where it cannot be cut or laid."""
        cut = self.cut(suit)
        own = self.bare(suit, cut, {p.name for p in cut.panels if p.mirror_of is None})
        of = {flat.panel.name: flat for flat in own}
        flats = tuple(of[p.mirror_of or p.name] for p in cut.panels)
        return Trial(suit, cut.panels, flats, _told(suit, flats, [True] * len(flats)), cut.pile)

    def dart(self, plans: Sequence[tuple[Trial, Sequence[int]]], watch: Watch) -> bool:
        """Whether darts were found in time for some panels of each of some plans, each panel by itself.

        They are sought in processes that end when the time is out. Raises PadlibError where a panel cannot be laid.
        """
        todo: dict[Key, _Task] = {}
        for trial, which in plans:
            for panel in _originals(trial.panels, which):
                if (key := _key(panel)) not in self.darted and key not in todo:
                    todo[key] = self._task(trial, panel)
        if not todo:
            return True
        if watch.out:
            return False
        keys, found = sorted(todo, key=lambda k: -len(todo[k].panel.surface.faces)), {}

        def told(done: Mapping[int, Known]) -> None:
            found.update(done)
            names = " and ".join(todo[k].panel.name for n, k in enumerate(keys) if n not in done)
            watch.say(f"seeking darts of {names[:60]}", len(done) / len(keys))
            if watch.out:
                raise OutOfTime

        try:
            found = dict(spread_over(_darted, [todo[k] for k in keys], max(1, self.workers), told))
        except OutOfTime:
            return False
        finally:
            for number, known in found.items():
                self.known.update(known)
                self.darted[keys[number]] = next(iter(known.values()))[1]
        return True

    def _task(self, trial: Trial, panel: Panel) -> _Task:
        """One panel of a plan, with all that is asked of it."""
        wishes = own_wishes(trial.suit, trial.panels, self.place.at)
        asked = flattening(trial.suit, (), {p.name for p in trial.panels})
        asked |= {"cloths": {k: v for k, v in asked["cloths"].items() if k == panel.name}}
        asked |= {"wishes": {k: v for k, v in wishes.items() if k == panel.name}}
        return _Task(panel, trial.pile[panel.name], self._seen([panel]), asked)

    def with_darts(self, trial: Trial) -> Trial:
        """A plan with the darts of those panels for which they were sought."""
        flats, guessed = self._found(trial, range(len(trial.panels)))
        return replace(trial, flats=tuple(flats), laid=_told(trial.suit, flats, guessed))

    def beside(self, one: Trial, other: Trial, side: str = "") -> tuple[Laid, Laid]:
        """What those panels of two plans come to in which they differ, of one side only where it is given: with darts
        where those of all were sought, else all of them guessed."""
        plans = [(one, one.apart(other, side)), (other, other.apart(one, side))]
        sure = all(_key(p) in self.darted for t, own in plans for p in _originals(t.panels, own))
        out = []
        for plan, which in plans:
            flats = self._found(plan, which)[0] if sure else [plan.flats[k] for k in which]
            out.append(_told(plan.suit, flats, [not sure] * len(flats)))
        return out[0], out[1]

    def cost(self, trial: Trial, which: Sequence[int]) -> float:
        """The price of some panels of a plan, with darts where they were sought."""
        return _told(trial.suit, *self._found(trial, which)).price

    def _found(self, trial: Trial, which: Sequence[int]) -> tuple[list[Flat], list[bool]]:
        """Flats of some panels of a plan, and which of them are guessed: as they are without the darts that were not
        sought."""
        own = {p.name: p for p in trial.panels}
        names = [trial.panels[k].mirror_of or trial.panels[k].name for k in which]
        found = [self.darted.get(_key(own[name])) for name in names]
        flats = [trial.flats[k] if d is None else d for k, d in zip(which, found, strict=True)]
        return flats, [d is None for d in found]

    def alone(self, suit: Suit, panel: Panel, watch: Watch) -> Flat | None:
        """One panel that is not of the plan laid flat with its darts, its pile down; None where the time is out."""
        down = {panel.name: np.array([0.0, 0.0, -1.0])}
        task = Trial(suit, (panel,), (), _told(suit, (), ()), down)
        return self.darted[_key(panel)] if self.dart([(task, [0])], watch) else None

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
        return Trial(suit, each, flats, _told(suit, flats, [False] * len(flats)), cut.pile)

    def built(self, suits: Sequence[Suit], watch: Watch) -> list[Laid | None] | None:
        """What plans come to as they are built, in processes that end when the time is out; None where it is.

        None for a plan whose panels cannot be made to agree.
        """

        def told(done: Mapping[int, Laid | None]) -> None:
            watch.say("laying plans as they are built", len(done) / len(suits))
            if watch.out:
                raise OutOfTime

        with suppress(OutOfTime):
            work = partial(_built, replace(self, workers=1))
            done = spread_over(work, suits, max(1, self.workers), told) if suits else {}
            return [done[k] for k in range(len(suits))]
        return None


@dataclass(frozen=True)
class _Task:
    """A panel whose darts are sought: its pile (3,), its views by name, and what else is asked of it."""

    panel: Panel
    pile: NDArray[np.float64]
    views: Mapping[str, NDArray[np.float64]]
    asked: Mapping[str, Any]


def _darted(task: _Task) -> Known:
    """A panel with its darts, as `flatten_panels` knows it. Raises PadlibError where it cannot be laid."""
    known: Known = {}
    pile, views = {task.panel.name: task.pile}, task.views
    try:
        flatten_panels([task.panel], pile, views=views, known=known, closer=False, **task.asked)
    except FlatteningError:
        if not known:  # else its darts were found, and only their legs could not be made to agree
            raise
    return known


def _built(own: Bench, suit: Suit) -> Laid | None:
    try:
        return own.lay(suit).laid
    except FlatteningError:
        return None


def bench(body: Body, shell: Shell, *, workers: int = 1) -> Bench:
    """A bench for plans on a shell."""
    place = place_on_shell(body, even_shell(shell, mirror_map(shell.surface)))
    surface = place.surface
    return Bench(body, shell, place, seen(surface.vertices, surface.faces), workers)


def digest(panel: Panel) -> tuple[bytes, bytes]:
    """What says whether two panels are the same, vertex for vertex."""
    return panel.surface.vertices.tobytes(), panel.surface.faces.tobytes()


def _key(panel: Panel) -> Key:
    """What a panel's flat is kept by; its name says what cloth it is of and what is wished of it."""
    return (*digest(panel), panel.name)


def _originals(panels: Sequence[Panel], which: Sequence[int]) -> list[Panel]:
    """Some panels, those of which they are images in their places."""
    by_name = {p.name: p for p in panels}
    names = dict.fromkeys(panels[k].mirror_of or panels[k].name for k in which)
    return [by_name[name] for name in names]


def need(flat: Flat, limit: float, percentile: float = 95.0) -> tuple[float, float]:
    """The dart length in mm that a panel will need, told by its flat without darts, and how likely it is (0 to 1) that
    they leave it over the limit.

    limit: of the cloth, a fraction, kept by so many per cent of the area. The flat spreads its stretch until the limit
    holds, where that can be: one within it needs no darts, one beyond it the more the farther it is and the larger the
    panel. Of 21 panels of the demo and of a thin build that took 31 to 475 mm, as they are and parted by a line, it is
    right within a factor of 1.7 (standard deviation of the logarithm 0.5). Darts held the limit of all panels up to 1.2
    of what they aim at, of 12 of 17 from 1.2 to 1.5 (most of the others are saddles), of all 7 from 1.5 to 2.3, of 2 of
    6 from 2.4 to 2.7 (demo, thin, heavy, a child, a muscular man).
    """
    used = share_used(flat, limit, percentile) / DART_SHARES[0]
    if used <= HOLDS:
        return 0.0, 0.0
    return NEED * _root(flat) * (used - HOLDS) ** RISE, min(RISK * (used - HOLDS), 1.0)


def _root(flat: Flat) -> float:
    """The root of a panel's area, mm."""
    return root_of_area(flat.panel.surface.vertices, flat.panel.surface.faces)


def told(
    flats: Sequence[Flat],
    limit: float,
    percentile: float = 95.0,
    guessed: Sequence[bool] = (),
) -> Laid:
    """What flats come to; limit: of the cloth, a fraction, kept by so many per cent of each panel's area; guessed: for
    each flat whether it is laid without darts, so that what it will need stands for them; none by default."""
    guessed = guessed or [False] * len(flats)
    weight = [areas(f.panel.surface.vertices, f.panel.surface.faces) for f in flats]
    s = dict.fromkeys(("mean", "p95", "p99"), 0.0)
    if flats:
        s = summary(np.concatenate([f.stretch for f in flats]), np.concatenate(weight))
    darts = [d.length_mm for f in flats for d in f.darts]
    size, price, over = float(sum(darts)), float(sum(darts)), 0
    for flat, bare in zip(flats, guessed, strict=True):
        if bare:
            length, risk = need(flat, limit, percentile)
            size += length
            price += length + OVER * _root(flat) * risk
            over += risk > 0.5
        elif (used := share_used(flat, limit, percentile)) > 1.0:
            price += OVER * _root(flat) * used * min((used - 1.0) / BARELY, 1.0)
            over += 1
    stretch = {key: round(100 * s[key], 3) for key in ("mean", "p95", "p99")}
    return Laid(
        **stretch,
        darts=len(darts),
        dart_mm=round(size),
        over=over,
        price=round(price, 1),
        guessed=sum(guessed),
    )


def _told(suit: Suit, flats: Sequence[Flat], guessed: Sequence[bool]) -> Laid:
    """What flats come to by what a suit asks of its darts."""
    return told(flats, suit.darts["limit"], suit.darts["percentile"], guessed)
