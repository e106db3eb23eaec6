"""Panels of a suit darted: as few and as short darts as hold the limit, alike left and right.

Where sewing back is to correct the flats, darts leave a part of the limit for that, if it is worth their length.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.flatten.cloth import Cloth
from padlib.flatten.darts import dart_panel
from padlib.flatten.flat import Flat
from padlib.flatten.ground import Rules
from padlib.flatten.pins import Pin
from padlib.flatten.stretch import root_of_area
from padlib.progress import Tell, quiet, within
from padlib.seams.mirror import other_side
from padlib.seams.panels import Panel
from padlib.suit.again import relabelled
from padlib.suit.known import Known, known_by
from padlib.suit.matching import share_used
from padlib.suit.spread import spread_over
from padlib.suit.wishes import NONE, Wishes

# roots of a panel's area that its darts may be longer for all of its limit that they leave: with 2 the demo's darts
# measure 562 mm instead of 852 and its volume is off by 1.13 % instead of 0.77 once corrected
WORTH = 5.0
UNLIKE = 1.03  # of the other side's price: a panel that costs more is darted again like that one
FAR = 1.10  # of the same: a panel darted like that one that costs more seeks darts of its own
SHORT = 550  # the finding of a panel that holds less than was asked for
NEAR = 1.002  # of what was asked for: what holds it


@dataclass(frozen=True)
class Task:
    """A panel to be laid flat: its pile, its cloth or None, the limit where it has none, what is asked
    of its darts, the maker's own, the share of the limit that they may leave, and darts of the panel of the other side
    to begin with, if any; just: the one share of the limit to be sought for, where it is known which pays."""

    panel: Panel
    pile: NDArray[np.float64]
    cloth: Cloth | None
    limit: float
    rules: Rules
    wishes: Wishes
    use: float
    like: tuple[Pin, ...] = ()
    just: float | None = None


def darted(
    tasks: Sequence[Task],
    *,
    share: float,
    most: int,
    tell: Tell,
    known: Known,
    workers: int,
) -> list[Flat]:
    """Darted flats.

    share: the part of the limit, and of what darts may leave of it, that is aimed at; most: darts in one panel; known:
    what was darted before, to which is added; workers: processes.
    """
    each = partial(_each, share=share, most=most, known=known, workers=workers)
    led = _led(tasks)
    first = [k for k in range(len(tasks)) if k not in led]
    part = len(first) / max(len(tasks), 1)
    done = dict(zip(first, each([tasks[k] for k in first], within(tell, 0.0, part)), strict=True))
    behind = {k: _behind(tasks[k], done[j], share) for k, j in led.items()}
    done |= zip(behind, each(list(behind.values()), within(tell, part, 1.0)), strict=True)
    flats = [done[k] for k in range(len(tasks))]
    lost = [k for k, t in enumerate(tasks) if t.like and _price(t, flats[k], share)[0]]
    lost += [k for k, j in led.items() if flats[j].darts and _worse(tasks, flats, k, j, share, FAR)]
    own = [replace(tasks[k], like=()) for k in lost]
    for k, flat in zip(lost, each(own, quiet), strict=True):
        flats[k] = min(flats[k], flat, key=partial(_price, tasks[k], share=share))
    again = {k: t for k, t in _unlike(tasks, flats, share).items() if k not in led}
    for k, flat in zip(again, each(list(again.values()), quiet), strict=True):
        if _price(tasks[k], flat, share) < _price(tasks[k], flats[k], share):
            flats[k] = flat
    return flats


def _led(tasks: Sequence[Task]) -> dict[int, int]:
    """Of two panels of the two sides that are to be darted alike, which one goes by which.

    A body's two sides are alike, and so should their darts be: those of the one are sought, and moved until they suit
    the other. Where the maker has a say in one, the other goes by that.
    """
    place = {task.panel.name: k for k, task in enumerate(tasks)}
    out: dict[int, int] = {}
    for k, task in enumerate(tasks):
        j = place.get(other_side(task.panel.name), k)
        if j == k or not _free(task) or task.cloth != tasks[j].cloth:
            continue
        if j < k or not _free(tasks[j]):
            out[k] = j
    return out


def _free(task: Task) -> bool:
    """Whether nothing is said of where a panel's darts are to be."""
    return task.wishes == NONE and not task.like


def _behind(task: Task, lead: Flat, share: float) -> Task:
    """The task of a panel that goes by the other side's flat: such darts, for as much of the limit as they leave."""
    if not lead.darts:
        return task
    left = share_used(lead, task.limit, task.rules.percentile)
    just = share * task.use if left <= NEAR * share * task.use else share
    return replace(task, like=dart_ends(lead, mirrored=True), just=just)


def _worse(
    tasks: Sequence[Task], flats: Sequence[Flat], k: int, j: int, share: float, times: float
) -> bool:
    """Whether a panel's darts cost more than so many times those of the panel of the other side."""
    (over, own), (far, price) = (_price(tasks[i], flats[i], share) for i in (k, j))
    return (far, times * price) < (over, own)


def _each(
    tasks: Sequence[Task], tell: Tell, *, share: float, most: int, known: Known, workers: int
) -> list[Flat]:
    """Darted flats, the largest panels first so that no worker waits for a late one."""
    work = partial(_dart, share=share, most=most)
    keys = [_key(task, share, most) for task in tasks]
    flats = {
        k: relabelled(*known[key][::-1], tasks[k].panel)
        for k, key in enumerate(keys)
        if key in known
    }
    order = sorted(
        set(range(len(tasks))) - set(flats), key=lambda k: -len(tasks[k].panel.surface.faces)
    )
    if workers <= 1:
        for k in order:
            flats[k] = work(tasks[k])
            known[keys[k]] = tasks[k].panel, flats[k]
            tell(f"flattened {flats[k].panel.name}", len(flats) / len(tasks))
        return [flats[k] for k in range(len(tasks))]

    def told(done: Mapping[int, Flat]) -> None:
        last = f"flattened {done[[*done][-1]].panel.name}" if done else "seeking darts"
        tell(last, (len(tasks) - len(order) + len(done)) / len(tasks))  # which may end it all

    for number, flat in spread_over(work, [tasks[k] for k in order], workers, told).items():
        flats[order[number]] = flat
        known[keys[order[number]]] = tasks[order[number]].panel, flat
    return [flats[k] for k in range(len(tasks))]


def _key(t: Task, share: float, most: int) -> bytes:
    asked = (t.cloth, t.limit, t.wishes, t.use, share, most, t.like, t.just)
    return known_by(t.panel, t.pile, t.rules, *asked)


def _dart(task: Task, *, share: float, most: int) -> Flat:
    """One panel darted for the limit, and for less of it where that is worth the longer darts."""
    if task.just is not None:
        flat = _laid(task, task.just, most)
        return replace(flat, findings=_without_short(flat)) if task.just < share else flat
    flat = _laid(task, share, most)
    if task.use == 1.0 or len(flat.darts) == len(task.wishes.pins):
        return flat
    longer = _laid(task, share * task.use, most)
    if _price(task, longer, share) >= _price(task, flat, share):
        return flat
    return replace(longer, findings=_without_short(longer))


def _without_short(flat: Flat) -> tuple[Finding, ...]:
    """A flat's findings but those of less than was asked for: what was wished for only is no warning."""
    return tuple(f for f in flat.findings if f.number != SHORT)


def _laid(task: Task, share: float, most: int) -> Flat:
    """A panel with darts for a share of what its cloth bears."""
    own = {"rules": task.rules, "percentile": task.rules.percentile, "max_darts": most}
    own |= {"pinned": task.wishes.pins, "forbidden": task.wishes.bans, "like": task.like}
    if task.cloth is None:
        return dart_panel(task.panel, limit=task.limit * share, **own)
    return dart_panel(task.panel, limit=share, cloth=task.cloth, pile=task.pile, **own)


def _price(task: Task, flat: Flat, share: float) -> tuple[bool, float]:
    """What ways to dart a panel are compared by: first whether they hold the share of the limit that was asked for,
    then their length in mm, with what they use of the limit as length."""
    used = share_used(flat, task.limit, task.rules.percentile)
    root = root_of_area(task.panel.surface.vertices, task.panel.surface.faces)
    worth = WORTH * root * used if task.use < 1.0 else 0.0
    return used > NEAR * share, sum(dart.length_mm for dart in flat.darts) + worth


def dart_ends(flat: Flat, *, mirrored: bool = False) -> tuple[Pin, ...]:
    """The darts of a flat by their ends in space; mirrored: in the mirror x = 0."""
    at = flat.panel.surface.vertices * ([-1.0, 1.0, 1.0] if mirrored else 1.0)
    ends = ((at[dart.left[0]], at[dart.apex]) for dart in flat.darts)
    return tuple(Pin(tuple(mouth.tolist()), tuple(tip.tolist())) for mouth, tip in ends)


def _unlike(tasks: Sequence[Task], flats: Sequence[Flat], share: float) -> dict[int, Task]:
    """The panels whose darts cost more than those of the panel of the other side, with that one's to begin with.

    A body's two sides are alike, and so should their darts be; a search may find the shorter ones on one side only.
    """
    place = {task.panel.name: k for k, task in enumerate(tasks)}
    out = {}
    for k, task in enumerate(tasks):
        j = place.get(other_side(task.panel.name), k)
        other = tasks[j]
        if j == k or task.wishes.pins or other.wishes.pins or task.cloth != other.cloth:
            continue
        if flats[j].darts and _worse(tasks, flats, k, j, share, UNLIKE):
            out[k] = replace(task, like=dart_ends(flats[j], mirrored=True))
    return out
