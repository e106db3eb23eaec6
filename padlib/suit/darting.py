"""Panels of a suit darted: as few and as short darts as hold the limit, alike left and right.

Where sewing back is to correct the flats, darts leave a part of the limit for that, if it is worth their length.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from padlib.findings import Finding
from padlib.flatten.cloth import Cloth
from padlib.flatten.darts import dart_panel
from padlib.flatten.flat import Flat
from padlib.flatten.forecast import forecast
from padlib.flatten.ground import Rules
from padlib.flatten.pins import Pin
from padlib.flatten.stretch import areas, percentiles, root_of_area
from padlib.mesh.areas import vertex_areas
from padlib.progress import Tell, quiet
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
# times the limit: where a panel's forecast stretch is over it, it takes darts (panels of four bodies without darts come
# to 0.3 to 2.0, those with darts to 2.3 to 5.9)
WANTING = 2.2
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


@dataclass(frozen=True)
class Part:
    """A task, or of its two searches the one that aims at a share of the limit."""

    task: Task
    aim: float | None = None


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
    seek = partial(_sought, share=share, most=most, known=known, workers=workers)
    led = _led(tasks, [_key(task, share, most) in known for task in tasks])

    def behind(k: int, flat: Flat) -> dict[int, Task]:
        return {f: _behind(tasks[f], flat, share) for f, j in led.items() if j == k}

    first = {k: task for k, task in enumerate(tasks) if k not in led}
    flats = seek(first, tell=tell, behind=behind, count=len(tasks))
    lost = {k for k, t in enumerate(tasks) if t.like and _price(t, flats[k], share)[0]}
    lost |= {k for k, j in led.items() if flats[j].darts and _worse(tasks, flats, k, j, share, FAR)}
    for k, flat in seek({k: replace(tasks[k], like=()) for k in lost}).items():
        flats[k] = min(flats[k], flat, key=partial(_price, tasks[k], share=share))
    again = {k: t for k, t in _unlike(tasks, flats, share).items() if k not in led}
    for k, flat in seek(again).items():
        if _price(tasks[k], flat, share) < _price(tasks[k], flats[k], share):
            flats[k] = flat
    return [flats[k] for k in range(len(tasks))]


def _led(tasks: Sequence[Task], there: Sequence[bool]) -> dict[int, int]:
    """Of two panels of the two sides that are to be darted alike, which one goes by which.

    A body's two sides are alike, and so should their darts be: those of the one are sought, and moved until they suit
    the other. Where the maker has a say in one, the other goes by that. there: which were darted before.
    """
    place = {task.panel.name: k for k, task in enumerate(tasks)}
    out: dict[int, int] = {}
    for k, task in enumerate(tasks):
        j = place.get(other_side(task.panel.name), k)
        if j == k or there[k] or not _free(task) or task.cloth != tasks[j].cloth:
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


def _none(*_: object) -> dict[int, Task]:
    """Nothing goes by any."""
    return {}


def _sought(
    tasks: Mapping[int, Task],
    *,
    share: float,
    most: int,
    known: Known,
    workers: int,
    tell: Tell = quiet,
    behind: Callable[[int, Flat], dict[int, Task]] = _none,
    count: int = 0,
) -> dict[int, Flat]:
    """Darted flats of numbered tasks, the largest panels first so that no worker waits for a late one.

    behind: told of each flat, gives tasks that go by it; count: of all tasks, these included.
    """
    flats: dict[int, Flat] = {}
    every: dict[int, Task] = {}
    asked: list[tuple[int, Part]] = []  # in the order in which the parts of tasks are handed out
    halves: dict[int, dict[int, Flat]] = {}

    def begun(new: Mapping[int, Task]) -> list[Part]:
        """The parts of new tasks; what is known is done at once."""
        out: list[Part] = []
        every.update(new)
        for k in sorted(new, key=lambda k: -len(new[k].panel.surface.faces)):
            key = _key(new[k], share, most)
            if key in known:
                out += ended(k, relabelled(*known[key][::-1], new[k].panel))
                continue
            parts = _parts(new[k], share) if workers > 1 else [Part(new[k])]
            asked.extend((k, part) for part in parts)
            out += parts
        return out

    def ended(k: int, flat: Flat) -> list[Part]:
        flats[k] = flat
        known.setdefault(_key(every[k], share, most), (every[k].panel, flat))
        return begun(behind(k, flat))

    def more(number: int, flat: Flat) -> list[Part]:
        k, part = asked[number]
        if part.aim is None:
            return ended(k, flat)
        own = halves.setdefault(k, {})
        own[number] = flat
        if len(own) < 2:
            return []
        return ended(k, _paying(part.task, *(own[n] for n in sorted(own)), share))

    def told(_: Mapping[int, Flat]) -> None:
        last = f"flattened {flats[[*flats][-1]].panel.name}" if flats else "seeking darts"
        tell(last, len(flats) / max(count, len(every), 1))  # which may end it all

    work, first = partial(_done, share=share, most=most), begun(tasks)
    if workers > 1 and first:
        spread_over(work, first, workers, told, more)
        return flats
    waiting, given = deque(enumerate(first)), len(first)
    while waiting:
        number, part = waiting.popleft()
        new = more(number, work(part))
        waiting.extendleft(reversed(list(enumerate(new, given))))
        given += len(new)
        told(flats)
    return flats


def _parts(task: Task, share: float) -> list[Part]:
    """What of a task can be done apart: both its searches, where it is as good as sure that both are wanted."""
    if task.just is None and task.use < 1.0 and _wanting(task):
        return [Part(task, share), Part(task, share * task.use)]
    return [Part(task)]


def _wanting(task: Task) -> bool:
    """Whether the forecast of a panel's stretch is far over its limit."""
    vertices, faces = task.panel.surface.vertices, task.panel.surface.faces
    limit = task.limit if task.cloth is None else task.cloth.plain
    weight = vertex_areas(faces, areas(vertices, faces), len(vertices))
    asked = np.abs(np.expm1(-forecast(vertices, faces)))
    return percentiles(asked, weight, (task.rules.percentile / 100.0,))[0] > WANTING * limit


def _done(part: Part, *, share: float, most: int) -> Flat:
    if part.aim is None:
        return _dart(part.task, share=share, most=most)
    return _laid(part.task, part.aim, most)


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
    return _paying(task, flat, _laid(task, share * task.use, most), share)


def _paying(task: Task, flat: Flat, longer: Flat, share: float) -> Flat:
    """Of a panel darted for the limit and for less of it, what pays."""
    bare = len(flat.darts) == len(task.wishes.pins)
    if bare or _price(task, longer, share) >= _price(task, flat, share):
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
