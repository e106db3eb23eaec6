"""Flats corrected by where their cloth comes to rest: the map of error fed back to the outlines.

How far the suit at rest is off the shell changes with the outlines through the equilibrium, whose
derivative is one more solve with the matrix at rest (the adjoint; M. Ly and others 2018, "Inverse elastic
shell design with contact and friction", from memory). Flats take a smooth step against it, turned by what the
steps before showed of how the slope turns (J. Nocedal 1980, limited memory), those that are sewn to one another
are made to agree again, and the suit comes to rest anew; until that stops paying.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_matrix, eye_array

from padlib.errors import FlatteningError
from padlib.flatten.agree import match_flats
from padlib.flatten.ease import Ease, ease_of_pairs
from padlib.flatten.flat import Flat
from padlib.flatten.together import named_pairs, with_images
from padlib.mesh.areas import sums
from padlib.mesh.solve import factor
from padlib.mesh.surface import Plane, Surface, Vertices
from padlib.progress import Tell, quiet
from padlib.proof import elastic
from padlib.proof.half import Half, half_of
from padlib.proof.prices import (
    HOLDS,
    KEEPS,
    SHORT_OF,
    Prices,
    astray,
    beyond,
    cut_beyond,
    far_off,
    first,
    strayed,
    taut,
)
from padlib.proof.settle import Scene, Work, at, scene, settle, solver, touch
from padlib.proof.sew import Sewn, weld
from padlib.proof.sheets import Bundle, bundle
from padlib.proof.told import TOLD, deviation, tight, volume_percent

Array = NDArray[np.float64]

POWER = 3  # of the distance in what is to fall: the worst places count most
ALSO = 20.0  # mm: distances under this count by their square above all, so that mean and volume fall as well
LONGEST = 30.0  # mm: farthest that a round moves any place of an outline
HOPED = 0.7  # share of what is to fall that a round is to take at most
FURTHER = 2.0  # times what the last round moved, at most
MEMORY = 6  # steps whose turns of the slope are kept
CURVED = 1e-3  # cosine between a step and its turn, above which that tells anything
STILL = 0.01  # mm, mean movement of a step at which the cloth rests in a round; at 0.02 costs are off by 1 in 30
# mm off or towards the shell, the same: the last steps slide along it, and costs ask for heights (off by 1 in 140)
LEVEL = 0.006
# Times as much before the first round of those that go on from others: it moves flats by more than that tells
FIRST = 2.0
PAYS = 0.02  # share that rounds must take, at prices that stand, for more to follow
IDLE = 2  # rounds that do not pay, after which none follows
LATELY = 4  # rounds that together must bring what a suit is chosen by down by GAINS for more to follow, where nothing
GAINS = 0.1  # is told and no panel lies over its limit by more than a share NEARLY, unless the last
COMING = 0.05  # round alone brought it down by so much: prices may still bring a suit on
NEARLY = 0.015
SOON = 2  # the same as LATELY of rounds that go on from others
# The same as LATELY of how far off they lie, where something is told or a panel lies over its limit
LONG = 10
STUCK = 2  # times that no step lowers what is to fall, after which prices alone are moved
STAND = 0.3  # relative change of a price at which it stands
EXCESS = 30.0  # by how much the largest share beyond what may be over a panel's limit counts against a round
TRIES = 4
ALIKE = 5e-3  # mm, of sewn edges: those that differ by less agree
AGREE = 1e3  # stiffness that keeps the two sides of a seam equally long in a round, by mm of edge
LOOSE = 1e-6  # stiffness against a sheet that moves as a whole


@dataclass(frozen=True, eq=False)
class Round:
    """Flats that a round of corrections came to.

    away_mm: how far their suit at rest is off the shell (mean, p95, max); far: what that counts; over (panels,):
    share of each panel's cloth that is strained beyond its limit then; keeps: whether as cut they keep it.
    """

    flats: tuple[Flat, ...]
    away_mm: dict[str, float]
    far: float
    over: Array
    keeps: bool

    @property
    def counts(self) -> float:
        """How far off it lies, more where the worst place is told."""
        return self.far * max(1.0, self.away_mm["max"] / TOLD)

    def worth(self, laid: Array, spare: Array | float = 0.0) -> float:
        """What it is to be chosen by: the same, more where cloth is over its limit; laid (panels,): what was over it at
        first; spare (panels,): by what share sooner."""
        return (1.0 + EXCESS * float(beyond(self.over + spare, laid).max())) * self.counts


@dataclass(frozen=True, eq=False)
class Corrected:
    """All rounds of corrections, first the flats as given; laid (panels,), twice: what was over each panel's limit
    before any corrections, once sewn and as cut; prices: of the last round; place (n, 3): the whole suit at rest after
    it, vertices as they are welded."""

    rounds: tuple[Round, ...]
    laid: tuple[Array, Array]
    prices: Prices
    place: Vertices

    def nearest(self, spare: Array | float = 0.0, *, but: Sequence[Round] = ()) -> Round | None:
        """The round that lies nearest to the shell of those that keep the limit as cut; None where but names all.

        What is over it once sewn counts against a round; spare (panels,): by what share sooner.
        """
        held = [r for r in self.rounds if r.keeps and r not in but]
        return min(held, key=lambda r: r.worth(self.laid[0], spare), default=None)


@dataclass(frozen=True, eq=False)
class _State:
    """Flats, what is sewn of the suit that they make, its place at rest, and how high (n,) over the shell that is, mm.

    Where half a suit tells all, cloth and places are that half's.
    """

    flats: tuple[Flat, ...]
    half: Half
    here: Scene
    place: Vertices
    height: Array
    prices: Prices

    @property
    def suit(self) -> Bundle:
        """The sheets that are sewn."""
        return self.half.suit

    @property
    def sewn_flats(self) -> list[Flat]:
        """The flats of those sheets."""
        return [self.flats[k] for k in self.half.own]

    @property
    def each(self) -> Array:
        """The price of taut cloth by triangle (m,)."""
        own = self.prices.taut[self.half.own]
        return np.repeat(own, [len(s.faces) for s in self.suit.sheets])

    def over(self) -> Array:
        """The share (panels,) of each panel's cloth that is strained beyond its limit."""
        return np.array([t.over for t in tight(self.suit, self.here.sewn, self.place)])[
            self.half.of
        ]

    def astray(self) -> Array:
        """The share (panels,) of each flat whose lengths are off its panel's by more than its cloth bears."""
        return astray(self.sewn_flats, self.suit.sheets)[self.half.of]

    @property
    def own(self) -> list[Flat]:
        """The flats that are no mirror images."""
        return [flat for flat in self.flats if flat.panel.mirror_of is None]


@dataclass(eq=False)
class _Trail:
    """What rounds leave for the next: the last state and the slope there (n,), and of the last few steps (n,) by how
    much the slope turned (n,) along each."""

    last: _State | None = None
    slope: Array | None = None
    turns: list[tuple[Array, Array]] = field(default_factory=list)


def correct(
    flats: Sequence[Flat],
    support: Surface,
    place: Vertices,
    *,
    rounds: int,
    limit: float,
    ease: Sequence[Ease] = (),
    after: Corrected | None = None,
    tell: Tell = quiet,
) -> Corrected:
    """Flats whose suit lies nearer to the shell.

    support: the shell; place (n, 3): the suit of the given flats near its rest over it; rounds: at most;
    limit: strain that cloth bears of which no more is known; ease: which seam's sides are to differ; after: the
    corrections that these go on from, if any. Mirror images stay mirror images.

    What falls is the cube and the square of the distance, averaged over the cloth, and a price on cloth that is
    strained near its limit (`prices`). Of all rounds whose flats keep the limit against their panels one is to be
    taken (`Corrected.nearest`).
    """
    work = Work()
    prices = first(len(flats)) if after is None else after.prices
    suit = bundle(flats, limit)
    half = half_of(flats, suit, support)
    place = half.folded(weld(half.suit), weld(suit), place)
    now = _rested(flats, half, support, place, work, prices, 1.0 if after is None else FIRST)
    told = now.over(), now.astray()
    laid = before(*told) if after is None else after.laid
    done = [_round(now, told, laid)]
    if after is None:
        done = [replace(done[0], keeps=True)]  # what is given at first can always be taken
    reach, idle, stuck, some = LONGEST, 0, 0, done[0].keeps
    trail, lately = _Trail(), LATELY if after is None else SOON
    for k in range(rounds):
        tell(f"bringing the flats nearer to the outline, round {k + 1}", k / rounds)
        cost = _cost(now)
        slope = _followed(trail, now, work)
        # the trail may tell of cloth that lay otherwise: one try, then the plain way
        for tries in (1, TRIES) if trail.turns else (TRIES,):
            way = _way(now, slope, trail.turns)
            longest = max(float(np.abs(w).max()) for w in way)
            hoped = HOPED * cost / max(-_fall(slope, way), 1e-12)
            share = min(hoped, reach / max(longest, 1e-12), 1.0 if trail.turns else np.inf)
            new = _tried(now, cost, way, share, work, limit=limit, ease=ease, tries=tries)
            if new is not None:
                break
            trail.turns.clear()
        held = _held(now if new is None else new[0], len(flats), support)
        if new is None:
            # nothing is to be had at these prices: where something is left they go on to others
            stuck += 1
            if stuck > STUCK or (some and _well(done[-1], held, laid)):
                break
            away = done[-1].away_mm["max"]
            now = replace(now, prices=now.prices.moved(*told, laid, away, held))
            continue
        now, after, taken = new
        reach = min(LONGEST, FURTHER * taken * longest)
        told = now.over(), now.astray()
        done.append(_round(now, told, laid))
        prices = now.prices.moved(*told, laid, done[-1].away_mm["max"], held)
        stand = np.allclose(_standing(prices), _standing(now.prices), rtol=STAND)
        idle = idle + 1 if after > (1.0 - PAYS) * cost and stand and _untold(done[-1], held) else 0
        if _well(done[-1], held, laid):
            slow = _slow([r.worth(laid[0]) for r in done], lately)
        else:
            slow = _slow([r.counts for r in done], LONG)
        some = any(r.keeps for r in done)  # before any can be taken rounds go on
        if some and (slow or idle >= IDLE):
            break
        now = replace(now, prices=prices)
    place = now.half.unfolded(now.here.sewn, weld(bundle(now.flats)), now.place)
    return Corrected(tuple(done), laid, now.prices, place)


def _untold(last: Round, held: float) -> bool:
    """Whether no place of a suit is told and it holds little more than the shell."""
    return last.away_mm["max"] < SHORT_OF * TOLD and held < HOLDS


def _well(last: Round, held: float, laid: tuple[Array, Array]) -> bool:
    """Whether moreover no panel lies over its limit by much."""
    return _untold(last, held) and float(beyond(last.over, laid[0]).max()) <= NEARLY


def _held(now: _State, panels: int, support: Surface) -> float:
    """What a suit of so many panels holds more than the shell, in per cent of that."""
    return panels / len(now.half.own) * volume_percent(now.height, now.here.area, support)


def before(over: Array, cut: Array) -> tuple[Array, Array]:
    """What was over each panel's limit (panels,) before any corrections, once sewn and as cut, as it counts: a panel
    that keeps its limit as cut is to keep it once sewn."""
    return np.where(cut <= KEEPS, np.minimum(over, KEEPS), over), cut


def _slow(worth: Sequence[float], lately: int) -> bool:
    """Whether the last few of rounds of such worth (rounds,), the less the better, bring a suit on no more."""
    if len(worth) <= lately or worth[-1] < (1.0 - COMING) * worth[-2]:
        return False
    return min(worth) > (1.0 - GAINS) * min(worth[:-lately])


def _standing(prices: Prices) -> Array:
    return np.append(prices.taut, [prices.worst, prices.more])


def _round(now: _State, told: tuple[Array, Array], laid: tuple[Array, Array]) -> Round:
    """A state as a round of corrections; told: what is over, once sewn and as cut; laid: what was before any."""
    away = deviation(now.height, now.here.area)
    keeps = not cut_beyond(told[1], laid[1]).any()
    return Round(now.flats, away, _far(now), told[0], keeps)


def _fall(slope: Sequence[Plane], way: Sequence[Plane]) -> float:
    return sum(float(np.vdot(s, w)) for s, w in zip(slope, way, strict=True))


def _tried(
    now: _State,
    cost: float,
    way: Sequence[Plane],
    share: float,
    work: Work,
    *,
    limit: float,
    ease: Sequence[Ease],
    tries: int,
) -> tuple[_State, float, float] | None:
    """The suit after the longest step that makes it better, what it costs and the share taken; or None."""
    for _ in range(tries):
        cut = [flat.positions + share * step for flat, step in zip(now.own, way, strict=True)]
        taken, share = share, 0.4 * share
        try:
            laid = agreed(now.own, cut, ease)
        except FlatteningError:
            continue  # an outline would cross itself: a shorter step
        if laid is None:
            continue
        flats = with_images(laid, [f.panel for f in now.flats])
        half = now.half.moved(bundle(flats, limit))
        new = _rested(flats, half, now.here.support, now.place, work, now.prices)
        costs = _cost(new)
        if costs < cost:
            return new, costs, taken
    return None


def agreed(own: Sequence[Flat], cut: Sequence[Plane], ease: Sequence[Ease]) -> list[Flat] | None:
    """Flats at places (n, 2) each, but for what it takes that sewn edges agree; None where they do not. After a long
    step the first match may have ended too early.

    own: all that are no mirror images; ease: which seam's sides are to differ. Raises FlatteningError where a flat
    would overlap.
    """
    laid = match_flats(own, ease=ease, cut=cut)
    for _ in range(TRIES):
        if _unlike(laid, ease) < ALIKE:
            return laid
        laid = match_flats(laid, ease=ease, cut=[flat.positions for flat in laid])
    return None


def _unlike(laid: Sequence[Flat], ease: Sequence[Ease]) -> float:
    """The largest difference in mm between an edge and its partner, or what it is to be besides."""
    named = named_pairs(laid)
    more = ease_of_pairs(laid, named, ease)
    worst = 0.0
    for (_, (i, one, j, two)), longer in zip(named, more, strict=True):
        sides = [
            np.linalg.norm(np.diff(laid[k].positions[run], axis=0), axis=1)
            for k, run in ((i, one), (j, two))
        ]
        worst = max(worst, float(np.abs(sides[0] - (1.0 + longer) * sides[1]).max(initial=0.0)))
    return worst


def _rested(
    flats: Sequence[Flat],
    half: Half,
    support: Surface,
    place: Vertices,
    work: Work,
    prices: Prices,
    times: float = 1.0,
) -> _State:
    """The suit of flats, brought to rest from a place near it; times: as far as in a round it may move in a step."""
    here = scene(half.suit, weld(half.suit), support)
    still, level = times * STILL, times * LEVEL
    rest, _ = settle(here, place, rough=0, still=still, level=level, work=work)
    return _State(tuple(flats), half, here, rest, touch(support, rest, work)[0], prices)


def _far(now: _State) -> float:
    """What distance from the shell counts (`POWER`, `ALSO`), averaged over the cloth."""
    away, area = np.abs(now.height), now.here.area
    return float(area @ (away**POWER / POWER + 0.5 * ALSO * away**2)) / float(area.sum())


def _drawn(height: Array) -> Array:
    """Its derivative (n,) by the height, area left out."""
    away = np.abs(height)
    return np.sign(height) * (away ** (POWER - 1) + ALSO * away)


def _cost(now: _State) -> float:
    """What is to fall."""
    state = elastic.strained(now.here.sewn, now.place)
    tension = float(now.here.sewn.area @ taut(now.here.sewn, state, now.each)[0])
    worst = float(now.here.area @ far_off(now.height, now.prices)[0]) / float(now.here.area.sum())
    return _far(now) + worst + tension + _strayed(now)[0]


def _strayed(now: _State) -> tuple[float, list[Plane]]:
    """The price of flats that stray, and its derivative (n, 2) by the places of each that is no mirror image."""
    prices, whole = now.prices.stray[now.half.own], float(now.here.sewn.area.sum())
    return strayed(now.sewn_flats, now.suit.sheets, prices, whole)


def _slopes(now: _State, work: Work, wanted: Sequence[Prices]) -> list[list[Plane]]:
    """Derivatives (n, 2) of the cost at some prices by the flat places of every panel that is no mirror image."""
    here, sewn = now.here, now.here.sewn
    state = at(here, now.place, work)
    if work.factor is None:
        solver(here, state, work)
    # else the step that ended the rest has left the factor of a place that is less than STILL away
    solve = work.factor.solve
    out = []
    for prices in wanted:
        then = replace(now, prices=prices)
        drawn = _drawn(state.height) + far_off(state.height, prices)[1]
        far = here.area / here.area.sum() * drawn
        price, strain = taut(sewn, state.cloth, then.each)
        tension = elastic.referred(state.cloth, strain)
        pull = far[:, None] * state.up + elastic.pulled(sewn, state.cloth, tension)
        pull[sewn.middle, 0] = 0.0
        shift = solve(pull.ravel()).reshape(-1, 3)
        # the mixed derivative along the shift by a central difference of the derivative by the flats
        small = 1e-2 / max(float(np.abs(shift).max()), 1e-12)
        ahead, behind = (_felt(sewn, now.place + s * shift) for s in (small, -small))
        corner = elastic.cut_otherwise(sewn, state.cloth, tension, price) - (ahead - behind) / (
            2 * small
        )
        out.append(
            [one + two for one, two in zip(_by_panel(now, corner), _strayed(then)[1], strict=True)]
        )
    return out


def _felt(sewn: Sewn, place: Vertices) -> Array:
    """Derivative (m, 3, 2) of the cloth's energy by its flat places."""
    state = elastic.strained(sewn, place)
    referred = elastic.referred(state, elastic.stress(sewn, state))
    return elastic.cut_otherwise(sewn, state, referred, elastic.energy(sewn, state))


def _by_panel(now: _State, corner: Array) -> list[Plane]:
    """Sums (n, 2) over the corners (m, 3, 2) of each panel's triangles, those of images added to what
    they are images of."""
    out: dict[str, Plane] = {}
    first = 0
    for flat, sheet in zip(now.sewn_flats, now.suit.sheets, strict=True):
        part = corner[first : first + len(sheet.faces)]
        first += len(sheet.faces)
        at_vertex = sums(sheet.faces.ravel(), part.reshape(-1, 2), len(sheet.positions))
        name = flat.panel.mirror_of or flat.panel.name
        turned = at_vertex * [-1.0, 1.0] if flat.panel.mirror_of else at_vertex
        out[name] = out.get(name, 0.0) + turned
    return [out[flat.panel.name] for flat in now.own]


def _followed(trail: _Trail, now: _State, work: Work) -> list[Plane]:
    """The slope (n, 2) of the cost by the flat places of every panel that is no mirror image; the trail learns how it
    turned since the last state, at that one's prices."""
    last = trail.last
    slope, *then = _slopes(now, work, [now.prices, *([] if last is None else [last.prices])])
    if last is not None:
        step = _joined([n.positions - o.positions for n, o in zip(now.own, last.own, strict=True)])
        turn = _joined(then[0]) - trail.slope
        if step @ turn > CURVED * np.linalg.norm(step) * np.linalg.norm(turn):
            trail.turns.append((step, turn))
            del trail.turns[:-MEMORY]
    trail.last, trail.slope = now, _joined(slope)
    return slope


def _joined(planes: Sequence[Plane]) -> Array:
    """Values (n, 2) of every panel in one row."""
    return np.concatenate(planes).ravel()


def _way(now: _State, slope: Sequence[Plane], turns: Sequence[tuple[Array, Array]]) -> list[Plane]:
    """The step (n, 2) of each panel: what falls fastest for how much it strains the panel, sides of seams changing
    their lengths alike, turned by how the slope turned along earlier steps."""
    own = bundle(now.own)
    alone = weld(Bundle(own.sheets, ()))
    first = np.cumsum([0, *(len(s.positions) for s in own.sheets)])
    matrix = _plane_stiffness(alone) + _alike(own, first)
    matrix += LOOSE * eye_array(2 * alone.count)
    solve = factor(csc_matrix(matrix)).solve
    left, shares = _joined(slope), []
    for step, turn in reversed(turns):
        shares.append(float(step @ left) / float(step @ turn))
        left = left - shares[-1] * turn
    # the shortest of what each turn says of the scale: prices change on the way, and the last one may say too much
    way = solve(left) * min((float(s @ t) / float(t @ solve(t)) for s, t in turns), default=1.0)
    for (step, turn), share in zip(turns, reversed(shares), strict=True):
        way += (share - float(turn @ way) / float(step @ turn)) * step
    ways = np.split(-way.reshape(-1, 2), first[1:-1])
    return [_bent(sheet.positions, w) for sheet, w in zip(own.sheets, ways, strict=True)]


def _bent(positions: Plane, way: Plane) -> Plane:
    """A step (n, 2) of a sheet without what moves and turns it as a whole, which changes nothing."""
    arm = positions - positions.mean(axis=0)
    across = np.column_stack([-arm[:, 1], arm[:, 0]])
    left = way - way.mean(axis=0)
    return left - np.vdot(across, left) / np.vdot(across, across) * across


def _plane_stiffness(sheets: Sewn) -> csc_matrix:
    """Stiffness (2n, 2n) of sheets in their plane, unknowns x0, y0, x1, ..."""
    gx, gy = sheets.gradients[:, :, 0], sheets.gradients[:, :, 1]
    none = np.zeros_like(gx)
    rows = [
        np.stack([gx, none], axis=2),
        np.stack([none, gy], axis=2),
        np.stack([gy, gx], axis=2) * np.sqrt(0.5),
    ]
    root = np.stack(rows, axis=1).reshape(-1, 3, 6) * np.sqrt(sheets.area)[:, None, None]
    local = np.swapaxes(root, 1, 2) @ root
    corner = (2 * sheets.faces[:, :, None] + np.arange(2)).reshape(-1, 6)
    row, column = np.repeat(corner, 6, axis=1).ravel(), np.tile(corner, (1, 6)).ravel()
    size = 2 * sheets.count
    return csc_matrix((local.ravel(), (row, column)), shape=(size, size))


def _alike(suit: Bundle, first: NDArray[np.int64]) -> csc_matrix:
    """What keeps edges that are sewn to one another changing their lengths alike (2n, 2n)."""
    entries, columns, weights = [], [], []
    for stitch in suit.stitches:
        each = []
        for k, run, sign in ((stitch.one, stitch.a, 1.0), (stitch.two, stitch.b, -1.0)):
            along = np.diff(suit.sheets[k].positions[run], axis=0)
            length = np.linalg.norm(along, axis=1)
            unit = sign * along / length[:, None]
            at = 2 * (first[k] + run)
            each.append((-unit, at[:-1], length))
            each.append((unit, at[1:], length))
        entries.append(np.concatenate([unit for unit, _, _ in each], axis=1))
        columns.append(np.concatenate([a[:, None] + np.arange(2) for _, a, _ in each], axis=1))
        weights.append(AGREE / each[0][2])
    size = 2 * int(first[-1])
    if not suit.stitches:
        return csc_matrix((size, size))
    entry, column, weight = (np.concatenate(v) for v in (entries, columns, weights))
    row = np.repeat(np.arange(len(entry)), 8)
    scaled = entry * np.sqrt(weight)[:, None]
    ties = coo_array((scaled.ravel(), (row, column.ravel())), shape=(len(entry), size)).tocsc()
    return csc_matrix(ties.T @ ties)
