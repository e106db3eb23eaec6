"""A seam plan bettered: the plan's seams moved, new ones drawn in valleys, each kept only where it pays.

What pays is told by laying the whole suit flat, with darts, with the seam and without it; the forecast only says what
is worth trying. While seams are sought, panels that matching brings over the limit are not darted closer, which took
three quarters of the time on a thin body: that is done for the suit's own plan and for the last one, and where the last
does not pay then, its last steps are taken back. Nothing that the maker pinned is moved, and the maker's own seams stay
as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from padlib.suit.trials import Bench, Laid, Trial, Worth, bench, digest, told

SHARES = (1.0, 0.5)  # of the moves of one seam that a search found, tried in turn
LEAST_DART, LEAST_MEAN = 5.0, 0.01  # mm and per cent by which a plan must be better
NEW = 3  # new seams at most, each on both sides
TRIES = 8  # lines across a panel that are drawn into the shell
LAID = 3  # those of them that are darted
VAIN = 3  # panels across which new seams may be sought in vain, before the search is given up
PLANS = 20  # plans that are laid at most while seams are sought
CHECKS = 6  # plans that are laid at most to see whether steps still pay beside each other, and what they buy
NEED = 60.0  # mm of dart in a panel from which a new seam is tried across it


@dataclass(frozen=True)
class Suggestion:
    """What is suggested for a suit, and what it comes to.

    moves: keys of [seams] with their numbers; seams: new ones; usual, sought: the suit's own plan and the suggested one
    laid flat as they are built; worth: of each move, each new seam and, where asked for, of the plan's own, as they are
    laid while seams are sought; found: what the forecast found; laid: plans that were laid flat.
    """

    moves: Mapping[str, float]
    seams: tuple[DrawnSeam, ...]
    usual: Laid
    sought: Laid
    worth: tuple[Worth, ...]
    found: Found
    laid: int


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
    tell: Tell = quiet,
) -> Suggestion:
    """Moves of the plan's seams and new seams that pay, and what each of them buys.

    new: most new seams, each on both sides; plan: also tell what the plan's own seams buy; workers: processes. Raises
    SuitError where the suit's own plan cannot be cut, PadlibError where it cannot be laid.
    """
    found = search(suit, body, shell, tell=lambda words, share: tell(words, 0.3 * share))
    work = _Work(suit, bench(body, shell, workers=workers), {})
    tell("laying the suit's own plan", 0.3)
    usual = work.lay(())
    steps = _moved(work, found, usual, tell)
    steps = _drawn(work, steps, new, tell)
    tell("laying the plan without each seam in turn", 0.9)
    checks = _Checks(work, len(work.laid) + CHECKS)
    steps = _surely(work, _that_pay(checks, steps))
    first, last = (work.lay(s, closer=True) for s in ((), steps))
    moves = {key: value for step in steps for key, value in step.moves.items()}
    seams = tuple(seam for step in steps for seam in step.seams)
    worth = tuple(w for w in (_worth(checks, steps, k) for k in range(len(steps))) if w is not None)
    if plan:
        worth += plan_worth(
            work.bench, work.lay(steps), tell=lambda words, share: tell(words, 0.9 + 0.1 * share)
        )
    return Suggestion(moves, seams, first.laid, last.laid, worth, found, len(work.laid))


@dataclass(frozen=True)
class _Work:
    """A suit's own plan, the bench, and every plan that was laid, by its steps."""

    suit: Suit
    bench: Bench
    laid: dict[tuple[object, ...], Trial]

    def plan(self, steps: Sequence[_Step]) -> Suit:
        """The suit with these steps."""
        suit = self.suit
        for step in steps:
            suit = step.on(suit)
        return suit

    def key(self, suit: Suit, closer: bool) -> tuple[object, ...]:
        """What tells one plan from another."""
        return (*(suit.seams[k] for k in MOVES), *((s.name, s.through) for s in suit.drawn), closer)

    def known(self, steps: Sequence[_Step]) -> Trial | None:
        """A plan that was laid already, else None."""
        return self.laid.get(self.key(self.plan(steps), False))

    def lay(self, steps: Sequence[_Step], *, closer: bool = False) -> Trial:
        """A plan laid, once; closer: as it is built. Raises PadlibError where it cannot be."""
        suit = self.plan(steps)
        key = self.key(suit, closer)
        if key not in self.laid:
            self.laid[key] = self.bench.lay(suit, closer=closer)
        return self.laid[key]

    def tried(self, steps: Sequence[_Step], *, closer: bool = False) -> Trial | None:
        """The same, None where it cannot be cut or laid."""
        try:
            return self.lay(steps, closer=closer)
        except PadlibError:
            return None


def _moved(work: _Work, found: Found, usual: Trial, tell: Tell) -> tuple[_Step, ...]:
    """The moves that pay: all together, or seam by seam, those first that the forecast hopes most of."""
    whole = {key: float(value) for key, value in found.moves.items()}
    names = sorted(dict.fromkeys(map(seam_of, whole)), key=lambda n: -found.buys.get(n, 0.0))
    steps: tuple[_Step, ...] = ()
    best = usual
    for k, name in enumerate(names):
        for share in SHARES if len(work.laid) < PLANS else ():
            tell(f"laying the {name} seam's moves", 0.3 + 0.2 * k / len(names))
            more = (*steps, _move(work.suit, whole, name, share))
            trial = work.tried(more)
            if trial is not None and better(trial.laid, best.laid):
                steps, best = more, trial
                break
    every = tuple(_move(work.suit, whole, name, 1.0) for name in names)
    trial = work.tried(every)
    return every if trial is not None and better(trial.laid, best.laid) else steps


def _move(suit: Suit, whole: Mapping[str, float], name: str, share: float) -> _Step:
    moves = {
        key: round(suit.seams[key] + share * (value - suit.seams[key]), 1)
        for key, value in whole.items()
        if seam_of(key) == name
    }
    return _Step(name, "moved", moves, (), 0.0, 0.0)


def _drawn(work: _Work, steps: tuple[_Step, ...], new: int, tell: Tell) -> tuple[_Step, ...]:
    """The steps and new seams that pay, one after another, across the panel first that takes most darts."""
    bench = work.bench
    land = survey(bench.body, bench.shell, bench.place)
    vain: set[tuple[bytes, bytes]] = set()
    for k in range(new):
        base = work.lay(steps)
        found = None
        for panel in _needy(base, work.suit, vain):
            tell(f"seeking seams across {panel.name}", 0.5 + 0.4 * k / new)
            found = _best_across(work, steps, base, land, panel)
            if found is not None:
                break
            vain.add(digest(panel))
            if len(vain) >= VAIN or len(work.laid) >= PLANS:
                break
        if found is None:
            break
        steps = (*steps, found)
    return steps


def _needy(base: Trial, suit: Suit, vain: set[tuple[bytes, bytes]]) -> list[Panel]:
    """Panels of one side that take many darts, most first, without those tried in vain or kept whole."""
    taken: dict[str, float] = {}
    limit, percentile = suit.darts["limit"], suit.darts["percentile"]
    for flat in base.flats:
        name = flat.panel.name.rpartition("-")[0]
        taken[name] = max(taken.get(name, 0.0), told([flat], limit, percentile).price)
    out = [
        (-taken[panel.name.rpartition("-")[0]], panel)
        for panel in base.panels
        if panel.side == "left" and digest(panel) not in vain
    ]
    whole = _kept_whole(suit)
    kept = [(t, p) for t, p in out if -t > NEED and stem(p.name) not in whole]
    return [panel for _, panel in sorted(kept, key=lambda pair: pair[0])]


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
    drawn: list[tuple[float, int, _Across]] = []
    for line in lines_across(land, panel, TRIES):
        across = _across(work, suit, base, panel, _new(suit, land, line))
        if across is not None:
            bare = work.bench.bare(across.suit, across.cut, across.names)
            drawn.append((told(bare, *asked).price, len(drawn), across))
    ranked: list[tuple[float, int, _Step]] = []
    for _, k, across in sorted(drawn)[:LAID]:
        flats = work.bench.part(across.suit, across.cut, across.names)
        ranked.append((told(flats, *asked).price + 0.5 * across.step.price, k, across.step))
    for _, _, step in sorted(ranked, key=lambda row: row[:2]):
        trial = work.tried((*steps, step))
        if trial is not None and better(trial.laid, base.laid, step.price):
            return step
    return None


@dataclass(frozen=True)
class _Across:
    """A new seam across a panel, the plan with it, cut, and the names of what it makes of the panel."""

    step: _Step
    suit: Suit
    cut: Panels
    names: tuple[str, ...]


def _new(suit: Suit, land: Land, line: Line) -> _Step:
    """A line as a new seam on both sides."""
    seams = with_line(suit, land, line).drawn[len(suit.drawn) :]
    name = seams[0].name.rpartition("-")[0]
    return _Step(name, "new", {}, seams, 2.0 * line.price, 2.0 * line.length_mm)


def _across(work: _Work, suit: Suit, base: Trial, panel: Panel, step: _Step) -> _Across | None:
    """A new seam drawn into the shell; None where it does not part its panel in two on each side, and nothing else."""
    plan = step.on(suit)
    try:
        cut = work.bench.cut(plan)
    except PadlibError:
        return None
    known = {digest(p) for p in base.panels}
    own = [p for p in cut.panels if p.side == panel.side and stem(p.name) == stem(panel.name)]
    names = tuple(p.name for p in own if digest(p) not in known)
    return _Across(step, plan, cut, names) if len(cut.panels) == len(base.panels) + 2 else None


@dataclass(frozen=True)
class _Checks:
    """Plans laid to judge steps once all are there, as long as no more than so many are laid in all."""

    work: _Work
    most: int

    def tried(self, steps: Sequence[_Step]) -> Trial | None:
        """A plan laid; None where it cannot be, or was not yet and enough are."""
        found = self.work.known(steps)
        if found is not None or len(self.work.laid) >= self.most:
            return found
        return self.work.tried(steps)

    def stands(self, steps: Sequence[_Step], number: int) -> bool:
        """Whether what a step changed when it came is unchanged by later ones, so that it is judged already."""
        last, one, other = (self.work.known(steps[:k]) for k in (len(steps), number + 1, number))
        if last is None or one is None or other is None:
            return False
        had, has = ({digest(p) for p in trial.panels} for trial in (other, last))
        return {digest(p) for p in one.panels} - had <= has


def _that_pay(checks: _Checks, steps: tuple[_Step, ...]) -> tuple[_Step, ...]:
    """The steps without those that the others make needless; one that could not be checked paid when it came."""
    kept = steps
    for step in steps:
        at = kept.index(step)
        if checks.stands(kept, at):
            continue
        rest = (*kept[:at], *kept[at + 1 :])
        one, other = checks.tried(kept), checks.tried(rest)
        if one is not None and other is not None and not better(one.laid, other.laid, step.price):
            kept = rest
    return kept


def _surely(work: _Work, steps: tuple[_Step, ...]) -> tuple[_Step, ...]:
    """The steps that still pay when both plans are laid as they are built; the last ones are taken back first."""
    usual = work.lay((), closer=True).laid
    for k in range(len(steps), 0, -1):
        trial = work.tried(steps[:k], closer=True)
        if trial is not None and better(trial.laid, usual, sum(s.price for s in steps[:k])):
            return steps[:k]
    return ()


def _worth(checks: _Checks, steps: tuple[_Step, ...], number: int) -> Worth | None:
    """What one of the steps buys; where later ones cannot be without it, or enough plans are laid, before they came."""
    step, suit = steps[number], checks.work.suit
    asked = suit.darts["limit"], suit.darts["percentile"]
    stands = checks.stands(steps, number)
    for last in (number + 1,) if stands else (len(steps), number + 1):
        one, other = (checks.tried(steps[:number] + steps[k:last]) for k in (number, number + 1))
        if one is not None and other is not None:
            without, with_it = told(other.apart(one), *asked), told(one.apart(other), *asked)
            size, early = round(step.length_mm, 1), last < len(steps) and not stands
            return Worth(step.name, step.kind, size, without, with_it, early)
    return None
