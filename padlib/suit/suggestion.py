"""A seam plan bettered: the plan's seams moved, new ones drawn in valleys or over domes, each kept only where it pays.

Two stages, in a time that is given. First many plans are told apart by what their panels, laid flat without darts, will
need (`padlib.suit.trials.need`); the forecast only says which are worth a try. That does not tell whether darts bring
a panel within the limit, so a new seam is judged by the darts of the panel that it parts and of its parts. Then darts
are sought for all panels in which the plan so found differs from the suit's own, and steps that do not pay are taken
back. When the time is out, what was found so far is given, with word of how far it was judged. Nothing that the maker
pinned is moved, and the maker's own seams stay as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from padlib.body.body import Body
from padlib.errors import PadlibError
from padlib.padding.shell import Shell
from padlib.progress import Tell, quiet
from padlib.seams.panels import Panel, stem
from padlib.suit.file import DrawnSeam, Suit
from padlib.suit.new_seams import Land, Line, lines_across, survey, with_line
from padlib.suit.plan_worth import plan_worth
from padlib.suit.schema import MOVES
from padlib.suit.seam_search import Found, seam_of, search
from padlib.suit.steps import Panels
from padlib.suit.suggestion_watch import Watch, watch
from padlib.suit.trials import Bench, Laid, Trial, Worth, bench, digest, told

SECONDS = 300.0  # that a suggestion may take
SEARCH, MOVE, SEEK = 0.2, 0.4, 0.7  # shares after which no more is forecast, moved, and sought
SHARES = (1.0, 0.5)  # of the moves of one seam that a search found, tried in turn
LEAST_DART, LEAST_MEAN = 5.0, 0.01  # mm and per cent by which a plan must be better
NEW = 3  # new seams at most, each on both sides
TRIES = 6  # lines across a panel that are drawn into the shell
LAID = 3  # those of them that are judged with the whole suit
VAIN = 3  # panels across which new seams may be sought in vain, before the search is given up
HALF = "left"  # while plans are sought, its darts stand for both: scans are nearly symmetric
NEEDY = 60.0  # mm of dart that a panel comes to from which a new seam is tried across it
GUESSED, DARTED, BUILT = "guessed", "darted", "built"  # how far a suggestion was judged


@dataclass(frozen=True)
class Suggestion:
    """What is suggested for a suit, and what it comes to.

    moves: keys of [seams] with their numbers; seams: new ones; usual, sought: the suit's own plan and the suggested one
    laid flat; worth: of each move, each new seam and, where asked for, of the plan's own; found: what the forecast
    found; plans: how many were laid flat without darts; judged: `GUESSED` by these alone, `DARTED` by the darts of the
    panels that the suggestion changes, or `BUILT`: both plans as they are built; out: whether the seconds that
    were given were not enough.
    """

    moves: Mapping[str, float]
    seams: tuple[DrawnSeam, ...]
    usual: Laid
    sought: Laid
    worth: tuple[Worth, ...]
    found: Found
    plans: int
    judged: str = BUILT
    seconds: float = SECONDS
    out: bool = False


@dataclass(frozen=True)
class _Step:
    """One thing that a plan differs in from the suit's own: moves of one seam, or a new seam on both sides."""

    name: str
    kind: str
    moves: Mapping[str, float]
    seams: tuple[DrawnSeam, ...]
    price: float  # mm of dart that it must save
    length_mm: float

    def on(self, suit: Suit) -> Suit:
        """A suit with this step."""
        return replace(suit, seams=dict(suit.seams) | self.moves, drawn=(*suit.drawn, *self.seams))


def better(one: Laid, usual: Laid, price: float = 0.0) -> bool:
    """Whether a plan pays: no more panels over the limit, and less dart length, or as much and less stretch.

    price: dart length in mm that it must save besides.
    """
    if one.over > usual.over:
        return False
    saved = usual.price - one.price - price
    return saved > LEAST_DART or (
        not price and abs(saved) <= LEAST_DART and one.mean < usual.mean - LEAST_MEAN
    )


def suggest(
    suit: Suit,
    body: Body,
    shell: Shell,
    *,
    new: int = NEW,
    plan: bool = False,
    workers: int = 1,
    seconds: float = SECONDS,
    tell: Tell = quiet,
) -> Suggestion:
    """Moves of the plan's seams and new seams that pay, and what each of them buys.

    new: most new seams, each on both sides; plan: also tell what the plan's own seams buy; workers: processes; seconds:
    by the clock, which it may overrun by one plan laid without darts; where they are enough, it is the same every time.
    What tell raises ends it. Raises SuitError where the suit's own plan cannot be cut, PadlibError where it cannot be
    laid.
    """
    whole = watch(seconds, tell)
    ends = [whole.until - (1.0 - share) * seconds for share in (SEARCH, MOVE, SEEK)]
    found = search(suit, body, shell, watch=whole.part(0.0, 0.25, ends[0]))
    work = _Work(suit, bench(body, shell, workers=workers), {}, whole.part(0.25, 0.6, ends[2]))
    usual = work.lay(())
    moved = _half_sure(work, _moved(work, found, usual), whole.part(0.25, 0.35, ends[1]))
    steps = _that_pay(work, _drawn(work, moved, new))
    short = work.watch.out
    steps, sure = _surely(work, steps, whole.part(0.6, 0.8))
    steps, both, judged = _whole(work, steps, sure, whole.part(0.8, 0.95))
    worth = [_worth(work, steps, k, whole.part(0.95, 1.0)) for k in range(len(steps))]
    if plan:
        worth += plan_worth(work.bench, work.lay(steps), whole.part(0.95, 1.0))
    moves = {key: value for step in steps for key, value in step.moves.items()}
    seams = tuple(seam for step in steps for seam in step.seams)
    kept = tuple(w for w in worth if w is not None)
    more = judged, seconds, short or whole.out
    return Suggestion(moves, seams, *both, kept, found, len(work.laid), *more)


@dataclass(frozen=True)
class _Work:
    """A suit's own plan, the bench, every plan that was laid without darts, and how long more are sought."""

    suit: Suit
    bench: Bench
    laid: dict[tuple[object, ...], Trial]
    watch: Watch

    def plan(self, steps: Sequence[_Step]) -> Suit:
        """The suit with these steps."""
        suit = self.suit
        for step in steps:
            suit = step.on(suit)
        return suit

    def lay(self, steps: Sequence[_Step]) -> Trial:
        """A plan laid without darts, once. Raises PadlibError where it cannot be."""
        suit = self.plan(steps)
        key = (*(suit.seams[k] for k in MOVES), *((s.name, s.through) for s in suit.drawn))
        if key not in self.laid:
            self.laid[key] = self.bench.guess(suit)
        return self.laid[key]

    def tried(self, steps: Sequence[_Step]) -> Trial | None:
        """The same, None where it cannot be cut or laid."""
        try:
            return self.lay(steps)
        except PadlibError:
            return None

    def darted(
        self, one: Trial, other: Trial, watch: Watch, side: str = ""
    ) -> tuple[Laid, Laid] | None:
        """What those panels of two plans come to with darts in which they differ, of one side only where it is given;
        None where the time is out or some cannot be laid."""
        try:
            plans = [(one, one.apart(other, side)), (other, other.apart(one, side))]
            return self.bench.beside(one, other, side) if self.bench.dart(plans, watch) else None
        except PadlibError:
            return None


def _moved(work: _Work, found: Found, usual: Trial) -> tuple[_Step, ...]:
    """The moves that pay: all together, or seam by seam, those first that the forecast hopes most of."""
    whole = {key: float(value) for key, value in found.moves.items()}
    names = sorted(dict.fromkeys(map(seam_of, whole)), key=lambda n: -found.buys.get(n, 0.0))
    steps: tuple[_Step, ...] = ()
    best = usual
    for k, name in enumerate(names):
        for share in () if work.watch.out else SHARES:
            work.watch.say(f"laying the {name} seam's moves", 0.3 * k / len(names))
            more = (*steps, _move(work.suit, whole, name, share))
            trial = work.tried(more)
            if trial is not None and better(trial.laid, best.laid):
                steps, best = more, trial
                break
    every = tuple(_move(work.suit, whole, name, 1.0) for name in names)
    trial = None if work.watch.out else work.tried(every)
    return every if trial is not None and better(trial.laid, best.laid) else steps


def _move(suit: Suit, whole: Mapping[str, float], name: str, share: float) -> _Step:
    moves = {
        key: round(suit.seams[key] + share * (value - suit.seams[key]), 1)
        for key, value in whole.items()
        if seam_of(key) == name
    }
    return _Step(name, "moved", moves, (), 0.0, 0.0)


def _drawn(work: _Work, steps: tuple[_Step, ...], new: int) -> tuple[_Step, ...]:
    """The steps and new seams that pay, one after another, across the panel first that needs most darts."""
    own = work.bench
    land = survey(own.body, own.shell, own.place)
    vain: set[tuple[bytes, bytes]] = set()
    for k in range(new):
        base = work.lay(steps)
        found = None
        for panel in _needy(work, base, vain):
            if work.watch.out or len(vain) >= VAIN:
                return steps
            work.watch.say(f"seeking seams across {panel.name}", 0.3 + 0.7 * k / new)
            found = _best_across(work, steps, base, land, panel)
            if found is not None:
                break
            vain.add(digest(panel))
        if found is None:
            break
        steps = (*steps, found)
    return steps


def _needy(work: _Work, base: Trial, vain: set[tuple[bytes, bytes]]) -> list[Panel]:
    """Panels of one side that cost much, most first, without those tried in vain or kept whole.

    Darts are sought for them, as far as there is time, since nothing else tells whether they hold the limit.
    """
    whole = _kept_whole(work.suit)
    some = [
        k
        for k, panel in enumerate(base.panels)
        if panel.side == "left"
        and digest(panel) not in vain
        and stem(panel.name) not in whole
        and work.bench.cost(base, [k]) > NEEDY
    ]
    with suppress(PadlibError):
        work.bench.dart([(base, some)], work.watch)
    costs = {k: work.bench.cost(base, [k]) for k in some}
    return [base.panels[k] for k in sorted(some, key=lambda k: -costs[k]) if costs[k] > NEEDY]


def _kept_whole(suit: Suit) -> set[str]:
    """Panels that no new seam parts: those that the maker wants whole, and those that the suit file names by name."""
    named = [ask.panel for table in (suit.ease, suit.dart, suit.edges) for ask in table]
    return {*suit.seams["whole"], *(s for n in named for s in (n, stem(n)) if s)}


def _best_across(
    work: _Work, steps: tuple[_Step, ...], base: Trial, land: Land, panel: Panel
) -> _Step | None:
    """The new seam across a panel that pays most, None where none does."""
    suit = work.plan(steps)
    asked = suit.darts["limit"], suit.darts["percentile"]
    now = work.bench.cost(base, [k for k, p in enumerate(base.panels) if p.name == panel.name])
    ranked: list[tuple[float, int, _Step]] = []
    for line in lines_across(land, panel, TRIES):
        if work.watch.out:
            break
        step = _new(suit, land, line)
        across = _across(work, step.on(suit), base, panel)
        if across is not None:
            bare = work.bench.bare(step.on(suit), *across)
            price = told(bare, *asked, [True] * len(bare)).price + 0.5 * step.price
            if price < now:
                ranked.append((price, len(ranked), step))
    for _, _, step in sorted(ranked, key=lambda row: row[:2])[:LAID]:
        trial = work.tried((*steps, step))
        if trial is None:
            continue
        both = work.darted(trial, base, work.watch, HALF)
        if better(*both, 0.5 * step.price) if both else better(trial.laid, base.laid, step.price):
            return step
    return None


def _new(suit: Suit, land: Land, line: Line) -> _Step:
    """A line as a new seam on both sides."""
    seams = with_line(suit, land, line).drawn[len(suit.drawn) :]
    name = seams[0].name.rpartition("-")[0]
    return _Step(name, "new", {}, seams, 2.0 * line.price, 2.0 * line.length_mm)


def _across(
    work: _Work, plan: Suit, base: Trial, panel: Panel
) -> tuple[Panels, tuple[str, ...]] | None:
    """A plan with a new seam cut, and the names of what that makes of its panel; None where the seam does not part the
    panel in two on each side, and nothing else."""
    try:
        cut = work.bench.cut(plan)
    except PadlibError:
        return None
    known = {digest(p) for p in base.panels}
    own = [p for p in cut.panels if p.side == panel.side and stem(p.name) == stem(panel.name)]
    names = tuple(p.name for p in own if digest(p) not in known)
    return (cut, names) if len(cut.panels) == len(base.panels) + 2 else None


def _that_pay(work: _Work, steps: tuple[_Step, ...]) -> tuple[_Step, ...]:
    """The steps without those that the others make needless, told without darts, or with where they were sought."""
    kept = steps
    for step in steps if len(steps) > 1 else ():
        if work.watch.out:
            break
        rest = tuple(s for s in kept if s is not step)
        one, other = work.tried(kept), work.tried(rest)
        if one is None or other is None:
            continue
        if not better(*work.bench.beside(one, other), step.price):
            kept = rest
    return kept


def _half_sure(work: _Work, steps: tuple[_Step, ...], watch: Watch) -> tuple[_Step, ...]:
    """The steps that pay with the darts of one side, all together, of which the last are taken back until they do."""
    usual = work.lay(())
    while steps:
        trial = work.tried(steps)
        both = None if trial is None else work.darted(trial, usual, watch, HALF)
        if watch.out or (both is not None and better(*both)):
            break
        steps = steps[:-1]
    return steps


def _surely(work: _Work, steps: tuple[_Step, ...], watch: Watch) -> tuple[tuple[_Step, ...], bool]:
    """The steps that pay with darts, too, and whether the time was enough to tell.

    First each beside the others, the last first, then all of them, of which the last are taken back until they pay.
    """
    usual = work.lay(())
    for step in steps[::-1] if len(steps) > 1 else ():
        rest = tuple(s for s in steps if s is not step)
        other = work.tried(rest)
        if other is None:
            continue  # others end on what it moved
        both = work.darted(work.lay(steps), other, watch)
        if both is not None and not better(*both, step.price):
            steps = rest
    while steps:
        trial = work.tried(steps)
        both = None if trial is None else work.darted(trial, usual, watch)
        if both is None and watch.out:
            return steps, False
        if both is not None and better(*both, sum(s.price for s in steps)):
            break
        steps = steps[:-1]
    return steps, True


def _worth(work: _Work, steps: tuple[_Step, ...], number: int, watch: Watch) -> Worth | None:
    """What one of the steps buys; where later ones cannot be without it, before they came."""
    step = steps[number]
    for last in dict.fromkeys((len(steps), number + 1)):
        one, other = (work.tried(steps[:number] + steps[k:last]) for k in (number, number + 1))
        if one is not None and other is not None:
            both = work.darted(one, other, watch) or work.bench.beside(one, other)
            size = round(step.length_mm, 1)
            return Worth(step.name, step.kind, size, both[1], both[0], last < len(steps))
    return None


def _whole(
    work: _Work, steps: tuple[_Step, ...], sure: bool, watch: Watch
) -> tuple[tuple[_Step, ...], tuple[Laid, Laid], str]:
    """The steps, what the suit's own plan and that with them come to, and how far that was judged.

    Where there is time, both as they are built; the last steps are taken back until they pay so, too. Raises
    PadlibError where the suit's own plan cannot be laid.
    """
    usual = work.lay(())
    if not sure:
        return steps, (usual.laid, work.lay(steps).laid), GUESSED
    done: dict[int, Laid | None] = {}  # by how many of the steps there are
    while True:
        plans = {len(some): work.lay(some) for some in ((), steps)}
        new = [count for count in plans if count not in done]
        if not work.bench.dart([(t, range(len(t.panels))) for t in plans.values()], watch):
            break
        built = work.bench.built([plans[count].suit for count in new], watch)
        if built is None:
            break
        done |= zip(new, built, strict=True)
        one, other = done[0], done[len(steps)]
        if one is None:
            work.bench.lay(work.suit)  # which says why it cannot be
        elif not steps or (other and better(other, one, sum(s.price for s in steps))):
            return steps, (one, other or one), BUILT
        steps = steps[:-1]
    laid = [work.bench.with_darts(work.lay(some)).laid for some in ((), steps)]
    none = not steps and laid[0].guessed == len(usual.flats)
    return steps, (laid[0], laid[1]), GUESSED if none else DARTED
