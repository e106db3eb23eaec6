"""What darts may cost: shorter ones of the other side are taken over, and a reserve is bought at its price."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from padlib.flatten import fit
from padlib.flatten.flat import Flat
from padlib.flatten.ground import Rules
from padlib.flatten.stretch import areas
from padlib.mesh.surface import Surface
from padlib.progress import quiet
from padlib.seams.panels import Edge, Panel
from padlib.suit import darting
from padlib.suit.darting import Task, darted
from padlib.suit.known import Known
from padlib.suit.matching import share_used
from padlib.suit.wishes import NONE, Wishes


def task(panel: Panel, use: float = 1.0) -> Task:
    """A panel with a cloth that bears 5 %."""
    return Task(panel, np.array([0.0, 0.0, -1.0]), None, 0.05, Rules(), NONE, use)


def length(flat: Flat) -> float:
    """Of all its darts, mm."""
    return sum(dart.length_mm for dart in flat.darts)


def sought(known: Known, *tasks: Task) -> list[Flat]:
    """Their darted flats."""
    return darted(tasks, share=0.9, most=6, tell=quiet, known=known, workers=1)


def cap(name: str) -> Panel:
    """A cap of a ball of 100 mm, 50 degrees from its top to its rim, which is sewn."""
    rings, around = 8, 40
    down = np.radians(50.0) * np.arange(1, rings + 1)[:, None] / rings
    turn = 2.0 * np.pi * np.arange(around) / around
    ring = np.stack(
        [np.sin(down) * np.cos(turn), np.sin(down) * np.sin(turn), np.cos(down) + 0.0 * turn],
        axis=2,
    )
    place = 100.0 * np.concatenate([[[0.0, 0.0, 1.0]], ring.reshape(-1, 3)])
    a = 1 + np.arange(around)
    b = np.roll(a, -1)
    faces = [np.column_stack([np.zeros_like(a), a, b])]
    for k in range(rings - 1):
        low, high = k * around, (k + 1) * around
        faces.append(np.column_stack([a + low, a + high, b + high]))
        faces.append(np.column_stack([a + low, b + high, b + low]))
    rim = np.append(a, a[0]) + (rings - 1) * around
    edges = (Edge("rim", "sewn", rim),)
    return Panel(name, "left", Surface(place, np.concatenate(faces)), np.arange(len(place)), edges)


def real_bare(asked: Task) -> Flat:
    """The flat of a task without darts."""
    return darting._laid(asked, 0.9, 0)


def mirrored(panel: Panel, name: str) -> Panel:
    """The mirror image of a panel in x = 0 as a panel of its own, its places some tenths of a mm off."""
    at = panel.surface.vertices * [-1.0, 1.0, 1.0]
    at = at + 0.3 * np.random.default_rng(2).standard_normal(at.shape)
    edges = tuple(replace(e, run=e.run[::-1]) for e in panel.edges)
    surface = Surface(at, panel.surface.faces[:, ::-1])
    return replace(panel, name=name, side="right", surface=surface, edges=edges)


def test_longer_darts_give_way_to_those_of_the_other_side(monkeypatch: pytest.MonkeyPatch) -> None:
    """A search that ends with darts longer than need be on the left finds what it found on the right, mirrored."""
    left = cap("leg-left")
    tasks = task(left), task(mirrored(left, "leg-right"))
    known: Known = {}
    alone = sought(known, tasks[1])[0]
    real = darting._laid

    def laid(asked: Task, share: float, most: int) -> Flat:
        poor = asked.panel.name == "leg-left" and not asked.like
        return real(asked, (0.6 if poor else 1.0) * share, most)

    monkeypatch.setattr(darting, "_laid", laid)
    asked = {"share": 0.9, "most": 6, "known": known, "workers": 1}
    poor = darting._sought({0: tasks[0]}, **asked)[0]
    one, other = sought(known, *tasks)

    assert length(poor) > 1.1 * length(alone)
    assert length(other) == pytest.approx(length(alone))
    assert length(one) <= darting.UNLIKE * length(alone)
    assert len(one.darts) == len(alone.darts)
    assert share_used(one, 0.05) <= 0.9 * darting.NEAR


def test_the_other_side_goes_by_the_one_that_was_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two sides that are alike one is searched, for its limit and for the reserve; the other begins with the darts
    that were taken there, for the share that they leave, and comes out alike."""
    left = cap("leg-left")
    tasks = task(left, 0.8), task(mirrored(left, "leg-right"), 0.8)
    real, asked = darting._laid, []

    def laid(own: Task, share: float, most: int) -> Flat:
        asked.append((own.panel.name, len(own.like), round(share, 3)))
        return real(own, share, most)

    monkeypatch.setattr(darting, "_laid", laid)
    one, other = sought({}, *tasks)
    left_for = round(0.9 * 0.8 if share_used(one, 0.05) <= 0.72 * darting.NEAR else 0.9, 3)

    assert asked[:2] == [("leg-left", 0, 0.9), ("leg-left", 0, 0.72)]
    assert asked[2:] == [("leg-right", len(one.darts), left_for)]
    assert len(other.darts) == len(one.darts) > 0
    assert length(other) <= darting.FAR * length(one)
    assert share_used(other, 0.05) <= left_for * darting.NEAR


def test_a_side_that_cannot_go_by_the_other_is_searched_itself(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where the other side's darts leave a panel over its limit, it has those that its own search finds."""
    left = cap("leg-left")
    tasks = task(left), task(mirrored(left, "leg-right"))
    alone = sought({}, tasks[1])[0]
    bare = real_bare(tasks[1])
    real = darting._laid

    def laid(own: Task, share: float, most: int) -> Flat:
        return bare if own.like else real(own, share, most)

    monkeypatch.setattr(darting, "_laid", laid)
    other = sought({}, *tasks)[1]

    assert not bare.darts
    assert np.array_equal(other.positions, alone.positions)


def test_the_makers_own_dart_leads_the_other_side(monkeypatch: pytest.MonkeyPatch) -> None:
    """A panel in which the maker has a say is searched first, whichever side it is of."""
    left = cap("leg-left")
    right = mirrored(left, "leg-right")
    pin = darting.dart_ends(sought({}, task(right))[0])[0]
    real, asked = darting._laid, []

    def laid(own: Task, share: float, most: int) -> Flat:
        asked.append((own.panel.name, bool(own.like)))
        return real(own, share, most)

    monkeypatch.setattr(darting, "_laid", laid)
    sought({}, task(left), replace(task(right), wishes=Wishes(pins=(pin,))))

    assert asked[:2] == [("leg-right", False), ("leg-left", True)]


def test_processes_find_what_one_finds() -> None:
    """Both searches of a panel in processes of their own end in the same flats, bit for bit."""
    left = cap("leg-left")
    tasks = task(left, 0.8), task(mirrored(left, "leg-right"), 0.8)
    apart = darted(tasks, share=0.9, most=6, tell=quiet, known={}, workers=2)

    assert darting._wanting(tasks[0])
    for one, two in zip(sought({}, *tasks), apart, strict=True):
        assert np.array_equal(one.positions, two.positions)


def test_a_reserve_has_its_price(monkeypatch: pytest.MonkeyPatch) -> None:
    """Longer darts that leave two fifths of the limit are taken where that is worth their length, else not."""
    panel = cap("cap")
    plain = sought({}, task(panel))[0]
    dear = darting._laid(task(panel), 0.9 * 0.6, 6)
    monkeypatch.setattr(
        darting, "_laid", lambda _task, share, _most: dear if share < 0.9 else plain
    )
    worth = (length(dear) - length(plain)) / (share_used(plain, 0.05) - share_used(dear, 0.05))
    root = float(np.sqrt(areas(panel.surface.vertices, panel.surface.faces).sum()))

    for price, taken in ((0.95 * worth / root, plain), (1.05 * worth / root, dear)):
        monkeypatch.setattr(darting, "WORTH", price)
        assert length(sought({}, task(panel, 0.6))[0]) == length(taken)
    assert length(dear) > 1.1 * length(plain)
    assert share_used(dear, 0.05) < 0.6 < 0.8 < share_used(plain, 0.05)


def test_where_darts_cannot_be_longer_a_stronger_trial_is_taken() -> None:
    """Of the trials on the way with as many darts that can be sewn, the one that leaves least."""

    def trial(value: float, *intakes: float) -> SimpleNamespace:
        return SimpleNamespace(value=value, wedges=intakes, intakes=intakes)

    mine, better, best = trial(0.05, 20.0), trial(0.045, 20.0), trial(0.04, 25.0)
    wide, two = trial(0.03, 80.0), trial(0.02, 20.0, 20.0)
    tried = dict(enumerate((mine, None, better, wide, best, two)))
    here = SimpleNamespace(tried=tried, fixed=(), rules=SimpleNamespace(most_intake=75.0))

    assert fit._stronger(here, mine) is best
    assert fit._stronger(here, best) is None
