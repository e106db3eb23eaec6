"""The search for darts on a sketch of a panel: few, short, opening, and where a maker would put them.

Rounds of: rank every mouth, direction and depth by the forecast; lay the best few flat on the
sketch; keep the best; let it settle. When the limit holds: drop what is not needed, then shorten.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.flatten.cloth import Cloth
from padlib.flatten.forecast import Forecaster, forecaster
from padlib.flatten.injective import overlaps
from padlib.flatten.quick import relax
from padlib.flatten.sketch import Mesh, Sketch, Wedge, draw, inside
from padlib.flatten.slit import carry
from padlib.flatten.strain import Energy
from padlib.flatten.stretch import areas, stretch, worst
from padlib.mesh.surface import Plane

SLANTS = np.radians([-50.0, -25.0, 0.0, 25.0, 50.0])  # of a candidate, from the inward normal
FINE = np.radians(np.linspace(-37.5, 37.5, 7))  # of the second of a pair
POWER = 2.0
MOST_PAIRS = 600  # of the forecast that are looked at more closely
SLACK = 1.5  # power of the length in the stretch left, as seen on domes when darts are shortened
STARTS = 5  # mouths, and best single candidates, that pairs begin with
SHARP = 8.0  # power of the second look, near the limit: close to what the panel's own solve does
SOFT = 0.01  # part of the mean square strain in it
LOOK = 1.35  # of what is asked for: nearer than that a trial is looked at a second time
HARD = 0.6  # of the limit: above that strain counts heavily, so that little of it passes the limit
NEARLY = 1.12  # of the limit: what moves of the darts left may mend when one is left out
CLOSELY = 1.15  # of the limit: what longer darts may mend before one more is tried
PUSHED = 1.7  # of the limit: what moving all darts may mend before one more is tried
PUSHES = (1.0, 1.5, 1.0, 1.0, 0.7)  # of the sketch's spacing: how far they are moved
ENOUGH = 0.2  # of what it is over the limit: what each round of that must gain
LONGER = 1.15
FINEST = 0.07  # share of a dart below which it is not worth shortening it by itself
WORTH = 0.97  # of the energy: what a dart must at least bring it down to
CLOSING = 1.15  # of its width at the mouth: no dart is wider than that on the way


@dataclass(frozen=True)
class Rules:
    """What is asked of darts.

    limit: stretch that the percentile may reach (0.05 is 5 %); percentile of area; max_darts;
    shortest, clear: least length and least distance from corners, other darts and the far edge, mm;
    longest: greatest length, as part of the root of the panel's area;
    least_intake, most_intake: degrees between the legs; slant: most degrees off the edge's normal;
    tries: how many candidates a round lays flat; beam: how many trials live on to the next round;
    cloth, pile (3,): what the panel is laid for and which way its pile lies; the limit is then
    `cloth.plain` times the use that the percentile may reach;
    show: what a millimetre in plain view costs more than a hidden one, so that a dart in a hollow may
    be longer by that share; seen (n,): how much in view each vertex is, 0 to 1 (`mesh.seen`), None:
    all alike.
    """

    limit: float = 0.05
    percentile: float = 95.0
    max_darts: int = 6
    shortest: float = 30.0
    longest: float = 0.75
    clear: float = 15.0
    least_intake: float = 5.0
    most_intake: float = 75.0
    slant: float = 65.0
    tries: int = 8
    beam: int = 2
    cloth: Cloth | None = None
    pile: tuple[float, float, float] | None = None
    show: float = 0.05
    seen: NDArray[np.float64] | None = field(default=None, compare=False)


@dataclass(frozen=True, eq=False)
class Trial:
    """Darts tried: their wedges, the percentile of stretch they leave, the energy, their intakes.

    mesh and flat: the sketch laid flat, where the next try starts from.
    """

    wedges: tuple[Wedge, ...]
    value: float
    energy: float
    intakes: tuple[float, ...]
    mesh: Mesh
    flat: Plane


@dataclass(frozen=True, eq=False)
class Ground:
    """What a search stands on: the sketch, the rules, where mouths may be, the forecast.

    mouths (k,): places in the sketch's loop where a dart may start; inward (b, 2): inward normal at
    each place of the loop; ask: the percentile that the sketch must show, which allows for its
    coarseness; longest: of a dart, mm; gain: the panel's percentile over the sketch's, without darts;
    fixed: darts that the maker wants, the first of every trial, bound by no rule; barred (k, 2): places
    that darts must keep `away` mm from; views: `mesh.seen` at the vertices of base, None: all alike; tried: what was
    laid flat before.
    """

    sketch: Sketch
    rules: Rules
    mouths: NDArray[np.int64]
    inward: Plane
    base: Mesh
    forecast: Forecaster
    ask: float
    longest: float
    gain: float = 1.0
    fixed: tuple[Wedge, ...] = ()
    barred: Plane = field(default_factory=lambda: np.zeros((0, 2)))
    away: float = 0.0
    views: NDArray[np.float64] | None = None
    spots: cKDTree | None = None
    tried: dict[tuple[Wedge, ...], Trial | None] = field(default_factory=dict)

    def is_free(self, k: int) -> bool:
        """Whether dart k of a trial may be moved or left out."""
        return k >= len(self.fixed)


def ground(sketch: Sketch, rules: Rules, mouths: NDArray[np.int64]) -> Ground | None:
    """Prepare a search; None where the sketch cannot be drawn."""
    base = draw(sketch, ())
    if base is None:
        return None
    ahead = forecaster(base.vertices, base.faces, np.arange(len(sketch.kept)))
    inward = _inward(sketch.outline, max(sketch.spacing, rules.clear))
    longest = rules.longest * float(np.sqrt(areas(sketch.vertices, sketch.faces).sum()))
    spots, views = cKDTree(base.flat), None
    if rules.seen is not None and rules.show:
        views = np.asarray(rules.seen)[cKDTree(sketch.vertices).query(base.vertices)[1]]
    made = Ground(sketch, rules, mouths, inward, base, ahead, rules.limit, longest)
    return replace(made, views=views, spots=spots)


def evaluate(ground: Ground, wedges: tuple[Wedge, ...], near: Trial | None = None) -> Trial | None:
    """Lay the sketch flat with these darts, from the flat of a trial near by; None where one breaks
    a rule. What was laid flat before is not laid again."""
    if wedges not in ground.tried:
        ground.tried[wedges] = _tried(ground, wedges, near)
    return ground.tried[wedges]


def _tried(ground: Ground, wedges: tuple[Wedge, ...], near: Trial | None) -> Trial | None:
    """A trial of these wedges, see `evaluate`."""
    if not _apart(ground, wedges):
        return None
    mesh = draw(ground.sketch, wedges)
    if mesh is None:
        return None
    flat, left, value = _relaxed(ground, mesh, near)
    intakes = [_intake(flat[a], flat[b]) for a, b in mesh.legs]
    for k, (a, b) in enumerate(mesh.legs[: len(ground.fixed)]):
        intakes[k] = angle(flat[a], flat[b])
    least = ground.rules.least_intake
    if any(intake is None or intake < least for intake in intakes[len(ground.fixed) :]):
        return None
    if wedges and overlaps(mesh.faces, flat):
        return None
    return Trial(wedges, value, left, tuple(intakes), mesh, flat)


def _relaxed(ground: Ground, mesh: Mesh, near: Trial | None) -> tuple[Plane, float, float]:
    """The sketch's mesh laid flat, its energy and its percentile of stretch.

    Near the limit the worst strain is pulled down a second time, as the panel's own solve does it.
    """
    energy = Energy(1.0, 1.0, POWER, HARD * ground.rules.limit)
    starts = [mesh.flat]
    if near is not None:
        starts.append(carry(near.mesh.faces, near.mesh.flat, near.flat, mesh.flat))
    flat, left = relax(mesh.vertices, mesh.faces, starts, energy=energy)
    value = reached(mesh, flat, ground.rules.percentile)
    if value < LOOK * ground.ask:
        sharper = Energy(SOFT, 1.0, SHARP, max(HARD * ground.rules.limit, value))
        again = relax(mesh.vertices, mesh.faces, [flat], energy=sharper)[0]
        sharp = reached(mesh, again, ground.rules.percentile)
        flat, value = (again, sharp) if sharp < value else (flat, value)
    return flat, left, value


def reached(mesh: Mesh, flat: Plane, at: float) -> float:
    """The percentile `at` of the stretch that a flat (n, 2) of a sketch's mesh asks for."""
    size = worst(stretch(mesh.vertices, mesh.faces, flat))
    return percentile(size, areas(mesh.vertices, mesh.faces), at)


def percentile(size: NDArray[np.float64], weight: NDArray[np.float64], at: float) -> float:
    """The percentile `at` of values (m,) with weights (m,), drawn straight between the values."""
    order = np.argsort(size, kind="stable")
    share = (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum()
    return float(np.interp(at / 100.0, share, size[order]))


def _intake(left: Plane, right: Plane) -> float | None:
    """Degrees between two legs (k, 2), mouth first; None where they overlap or close again.

    A dart opens steadily from its tip to its mouth; one that closes again on the way crosses a
    hollow, where cloth is wanted, not spare.
    """
    tip = left[-1]
    gap = left[:-1] - right[:-1]
    way = tip - 0.5 * (left[:-1] + right[:-1])
    wide = (way[:, 0] * gap[:, 1] - way[:, 1] * gap[:, 0]) / np.maximum(np.hypot(*way.T), 1e-12)
    if wide[0] <= 0 or (wide < 0).any() or wide.max() > CLOSING * wide[0]:
        return None
    return angle(left, right)


def angle(left: Plane, right: Plane) -> float:
    """Degrees from the right leg (k, 2) to the left, mouth first; negative where they overlap."""
    a, b = left[0] - left[-1], right[0] - right[-1]
    return float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))


def length(ground: Ground, wedge: Wedge) -> float:
    """Length of a wedge in mm, as laid flat without darts."""
    return float(np.hypot(*(np.asarray(wedge.tip) - ground.sketch.flat[wedge.mouth])))


def total_length(ground: Ground, wedges: tuple[Wedge, ...]) -> float:
    """Length of all wedges in mm."""
    return sum(length(ground, wedge) for wedge in wedges)


def price(ground: Ground, wedges: tuple[Wedge, ...]) -> float:
    """Length of all wedges in mm, dearer where they are in plain view."""
    if ground.views is None:
        return total_length(ground, wedges)
    return sum(length(ground, wedge) * (1.0 + _shown(ground, wedge)) for wedge in wedges)


def _shown(ground: Ground, wedge: Wedge) -> float:
    """What a wedge costs more per millimetre for what is in plain view of it."""
    line = _samples(ground.sketch.flat[wedge.mouth], np.asarray(wedge.tip), ground.sketch.spacing)
    return ground.rules.show * float(ground.views[ground.spots.query(line)[1]].mean())


def _inward(outline: Plane, reach: float) -> Plane:
    """Inward unit normals (b, 2) of a counter-clockwise polygon, over `reach` to either side."""
    step = float(np.hypot(*(np.roll(outline, -1, axis=0) - outline).T).mean())
    k = max(1, int(round(reach / max(step, 1e-9))))
    k = min(k, max(1, len(outline) // 6))
    way = np.roll(outline, -k, axis=0) - np.roll(outline, k, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
    return normal / np.maximum(np.hypot(*normal.T), 1e-12)[:, None]


def _apart(ground: Ground, wedges: tuple[Wedge, ...]) -> bool:
    """Whether wedges keep their distance, their length and their slant; fixed ones may do as they like."""
    flat = ground.sketch.flat
    ends = [(flat[w.mouth], np.asarray(w.tip)) for w in wedges]
    free = [k for k in range(len(wedges)) if ground.is_free(k)]
    if not all(_fits(ground, wedges[k].mouth, *ends[k]) for k in free):
        return False
    pairs = ((ends[i], ends[k]) for k in free for i in range(k))
    return all(_between(*one, *two) >= ground.rules.clear for one, two in pairs)


def _fits(ground: Ground, start: int, mouth: Plane, tip: Plane) -> bool:
    """Whether one wedge keeps the rules of length, slant and distance."""
    rules, way = ground.rules, tip - mouth
    size = np.hypot(*way)
    place = int(np.flatnonzero(ground.sketch.loop == start)[0])
    straight = way @ ground.inward[place] >= size * np.cos(np.radians(rules.slant))
    if not (straight and rules.shortest <= size <= ground.longest):
        return False
    if len(ground.barred) and _off(ground.barred, mouth, tip).min() < ground.away:
        return False
    return _clear_of_rim(ground, place, mouth, tip)


def _off(points: Plane, mouth: Plane, tip: Plane) -> NDArray[np.float64]:
    """Distance (p,) of points (p, 2) from the segment mouth-tip."""
    way = tip - mouth
    share = np.clip((points - mouth) @ way / (way @ way), 0.0, 1.0)
    return np.hypot(*(points - mouth - share[:, None] * way).T)


def _clear_of_rim(ground: Ground, place: int, mouth: Plane, tip: Plane) -> bool:
    """Whether a wedge keeps its distance from the outline, but near its own mouth."""
    outline, rules = ground.sketch.outline, ground.rules
    gap = _off(outline, mouth, tip)
    need = np.minimum(rules.clear, 0.5 * np.hypot(*(outline - mouth).T))
    need[place] = -1.0
    beyond = np.hypot(*(outline - tip).T).min()
    return bool((gap > 0.8 * need).all() and beyond > rules.clear and inside(outline, tip[None])[0])


def _between(a: Plane, b: Plane, c: Plane, d: Plane) -> float:
    """Least distance of segments a-b and c-d in the plane, from 24 places on each."""
    share = np.linspace(0.0, 1.0, 24)[:, None]
    one, two = a + share * (b - a), c + share * (d - c)
    return float(np.sqrt(((one[:, None] - two) ** 2).sum(axis=2).min()))


def candidates(
    ground: Ground, wedges: tuple[Wedge, ...], *, closing: bool = False
) -> list[tuple[float, Wedge]]:
    """New darts next to these, with the mean square stretch that the forecast gives each, best first.

    From every mouth of the sketch, in five directions, at all depths; only those whose legs the
    forecast says will open, or, of closing ones, only those whose legs it says will overlap.
    """
    sketch, h = ground.sketch, ground.sketch.spacing
    spots = cKDTree(ground.base.flat[ground.forecast.inside])
    lines = [_samples(sketch.flat[w.mouth], np.asarray(w.tip), h) for w in wedges]
    held = np.unique(spots.query(np.concatenate(lines))[1]) if lines else np.zeros(0, np.int64)
    ahead = ground.forecast.holding(held)
    rays = _rays(ground, np.intersect1d(ground.mouths, sketch.kept))
    shares = [np.arange(0.5 * h, depths[-1] + 0.1 * h, 0.5 * h) for _, _, depths in rays]
    points = [
        sketch.outline[place] + along[:, None] * way
        for (place, way, _), along in zip(rays, shares, strict=True)
    ]
    hits = spots.query(np.concatenate(points))[1] if points else np.zeros(0, np.int64)
    by_size: dict[int, list[Slit]] = {}
    taken, at = set(held.tolist()), 0
    for (place, way, depths), along in zip(rays, shares, strict=True):
        here, at = hits[at : at + len(along)], at + len(along)
        for slit in _slits(ground, place, way, depths, here, spots.data):
            if not taken.isdisjoint(slit.line):
                break
            by_size.setdefault(len(slit.line), []).append(slit)
    return sorted(_ranked(ahead, by_size, -1.0 if closing else 1.0), key=lambda pair: pair[0])


@dataclass(frozen=True)
class Slit:
    """A candidate as the forecast sees it: vertices on its line, and how far from the mouth each is."""

    wedge: Wedge
    line: list[int]
    along: list[float]


def _slits(
    ground: Ground,
    place: int,
    way: NDArray[np.float64],
    depths: NDArray[np.float64],
    hits: NDArray[np.int64],
    spots: Plane,
) -> list[Slit]:
    """The candidates of one ray, one for each depth; hits: nearest vertices every half spacing."""
    mouth, start = ground.sketch.outline[place], int(ground.sketch.loop[place])
    tips = (mouth + depths[:, None] * way).tolist()
    away = ((spots[hits] - mouth) @ way).tolist()
    first = dict(zip(hits[::-1].tolist(), range(len(hits))[::-1], strict=True))
    steps = sorted(first.items(), key=lambda pair: pair[1])
    out = []
    for tip, reach in zip(tips, depths / (0.5 * ground.sketch.spacing), strict=True):
        line = [v for v, k in steps if k + 1 <= reach + 1e-6]
        out.append(Slit(Wedge(start, tuple(tip)), line, [away[first[v]] for v in line]))
    return out


def _ranked(
    ahead: Forecaster, by_size: dict[int, list[Slit]], sign: float
) -> list[tuple[float, Wedge]]:
    """Forecast strain of candidate slits of each size, without those whose legs would not open.

    sign: -1 for those whose legs overlap.
    """
    out: list[tuple[float, Wedge]] = []
    for group in by_size.values():
        lines = np.array([slit.line for slit in group])
        along = np.array([slit.along for slit in group])
        left, free = ahead.with_slits(lines)
        free, far = sign * free, along.max(axis=1)
        mouth = (free * along).sum(axis=1)
        middle = (free * np.maximum(along - 0.5 * far[:, None], 0.0)).sum(axis=1)
        opens = (mouth > np.radians(1.0) * far) & (middle > 0.0) & (middle < CLOSING * mouth)
        out += [(float(left[i]), group[i].wedge) for i in np.flatnonzero(opens)]
    return out


def pairs(ground: Ground) -> list[tuple[float, tuple[Wedge, Wedge]]]:
    """Pairs of new darts with the mean square stretch that the forecast gives both together, best first.

    One dart at a time misses pairs that only help together, as two that pass each other beside the
    pole of a dome. The first is one of the best single candidates, or starts from one of a few
    places spread over the edge in any direction; the second is any. Both must be forecast to open.
    """
    spots = cKDTree(ground.base.flat[ground.forecast.inside])
    places = np.intersect1d(ground.mouths, ground.sketch.kept)
    rays = _rays(ground, places, FINE)
    others = [(_on_ray(ground, ray, share)) for ray in rays for share in (1.0, 0.67)]
    some = set(places[:: max(1, len(places) // STARTS)].tolist())
    ones = [_on_ray(ground, ray, 1.0) for ray in rays if ray[0] in some]
    ones += spread(ground, candidates(ground, ()), STARTS)
    lines = {wedge: _thin_line(ground, wedge, spots) for wedge in (*ones, *others)}
    by_size: dict[tuple[int, int], list[tuple[Wedge, Wedge]]] = {}
    for one in ones:
        first = set(lines[one])
        for other in others:
            if first.isdisjoint(lines[other]):
                size = len(lines[one]), len(lines[other])
                by_size.setdefault(size, []).append((one, other))
    out = []
    for (size, _), group in by_size.items():
        held = np.array([lines[one] + lines[other] for one, other in group])
        left, free = ground.forecast.with_slits(held)
        opens = np.minimum(free[:, :size].sum(axis=1), free[:, size:].sum(axis=1)) > 0
        out += [(float(left[i]), group[i]) for i in np.flatnonzero(opens)]
    return sorted(out, key=lambda pair: pair[0])


def _on_ray(ground: Ground, ray: tuple[int, Plane, NDArray[np.float64]], share: float) -> Wedge:
    """The wedge that goes down a ray for a share of its depths."""
    place, way, depths = ray
    tip = ground.sketch.outline[place] + depths[int(share * (len(depths) - 1))] * way
    return Wedge(int(ground.sketch.loop[place]), tuple(tip.tolist()))


def _thin_line(ground: Ground, wedge: Wedge, spots: cKDTree) -> list[int]:
    """Every second vertex of the forecast along a wedge."""
    mouth = ground.sketch.flat[wedge.mouth]
    points = _samples(mouth, np.asarray(wedge.tip), ground.sketch.spacing)
    return list(dict.fromkeys(spots.query(points)[1].tolist()))[::2]


def _samples(mouth: Plane, tip: Plane, spacing: float) -> Plane:
    """Points (s, 2) on a line, half a spacing apart, without the mouth."""
    size = float(np.hypot(*(tip - mouth)))
    share = np.arange(0.5 * spacing, size + 0.1 * spacing, 0.5 * spacing) / size
    return mouth + share[:, None] * (tip - mouth)


def _rays(
    ground: Ground, places: NDArray[np.int64], slants: NDArray[np.float64] = SLANTS
) -> list[tuple[int, NDArray[np.float64], NDArray[np.float64]]]:
    """From each mouth in each direction: the place, the way (2,), and all depths on open ground."""
    h = ground.sketch.spacing
    outline = ground.sketch.outline[ground.sketch.kept]
    normal = ground.inward[places]
    cos, sin = np.cos(slants), np.sin(slants)
    across = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    ways = normal[:, None] * cos[:, None] + across[:, None] * sin[:, None]
    depths = np.arange(max(2.0 * h, ground.rules.shortest), ground.longest, h)
    tips = ground.sketch.outline[places][:, None, None] + ways[:, :, None] * depths[:, None]
    spots = tips.reshape(-1, 2)
    clear = cKDTree(outline).query(spots)[0] > max(ground.rules.clear, 0.8 * h)
    if len(ground.barred):
        clear &= cKDTree(ground.barred).query(spots)[0] > max(ground.away, 0.5 * h)
    fit = (clear & inside(outline, spots)).reshape(tips.shape[:3])
    count = np.cumprod(fit, axis=2).sum(axis=2)
    return [
        (int(place), ways[i, k], depths[: count[i, k]])
        for i, place in enumerate(places)
        for k in range(len(slants))
        if count[i, k]
    ]


def spread(ground: Ground, ranked: list[tuple[float, Wedge]], count: int) -> list[Wedge]:
    """The best `count` of ranked candidates that are not too much alike.

    In turn the one that leaves the least strain, and the one that takes most away per millimetre.
    """
    if not ranked:
        return []
    plain = float(ground.forecast.strain(ground.forecast.u[None])[0])
    gains = [max(plain - left, 0.0) / (40.0 + price(ground, (wedge,))) for left, wedge in ranked]
    thrifty = [ranked[i] for i in np.argsort([-gain for gain in gains], kind="stable")]
    flat, apart = ground.sketch.flat, 2.5 * ground.sketch.spacing
    out: list[Wedge] = []
    for pair in zip(ranked, thrifty, strict=True):
        for _, wedge in pair:
            ends = np.concatenate([flat[wedge.mouth], wedge.tip])
            off = [np.abs(ends - np.concatenate([flat[w.mouth], w.tip])).max() for w in out]
            if (not off or min(off) > apart) and len(out) < count:
                out.append(wedge)
        if len(out) == count:
            break
    return out


def _best_pairs(ground: Ground, plain: Trial) -> list[Trial]:
    """A few pairs of darts tried, in turn the least strain and the most gained per millimetre."""
    ranked = [pair for pair in pairs(ground)[:MOST_PAIRS] if _apart(ground, pair[1])]
    sizes = np.array([40.0 + price(ground, both) for _, both in ranked])
    whole = float(ground.forecast.strain(ground.forecast.u[None])[0])
    gains = [(whole - left) / size for (left, _), size in zip(ranked, sizes, strict=True)]
    thrifty = [ranked[i] for i in np.argsort([-gain for gain in gains], kind="stable")]
    out: list[Trial] = []
    taken: list[NDArray[np.float64]] = []
    for both in (pair for two in zip(ranked, thrifty, strict=True) for _, pair in two):
        ends = np.array([[*ground.sketch.flat[w.mouth], *w.tip] for w in both])
        near = (np.abs(ends - t).max() < 2.5 * ground.sketch.spacing for t in taken)
        if len(taken) < 2 * ground.rules.tries and not any(near):
            taken += [ends, ends[::-1]]
            out.append(evaluate(ground, both, plain))
    return [trial for trial in out if trial is not None]


def find(ground: Ground) -> Trial | None:
    """The search: few and short darts such that the limit holds, or the best that darts can do.

    A beam: at every round each of the few best trials grows by one dart in several ways.
    """
    plain = evaluate(ground, ground.fixed)
    if plain is None or holds(ground, plain):
        return plain
    beam, best = [plain], plain
    for _ in range(ground.rules.max_darts - len(ground.fixed)):
        paired = len(beam[0].wedges) == 1 and not ground.fixed
        beam = _round(ground, beam, _best_pairs(ground, plain) if paired else [])
        held = [trial for trial in beam if holds(ground, trial)] or _stretched(ground, beam)
        held = held or _pushed(ground, beam)
        if held:
            shortest = min(held, key=lambda t: _cost(ground, t))
            return shortened(ground, pruned(ground, shortest))
        sound = [trial for trial in beam if _sound(ground, trial)]
        best = min([best, *sound], key=lambda t: t.value)
        if not beam:
            break
    return pruned(ground, best)


def _stretched(ground: Ground, beam: list[Trial]) -> list[Trial]:
    """Those trials that hold the limit once their darts are longer, of those that nearly do."""
    out = []
    for trial in beam:
        if trial.value > CLOSELY * ground.ask:
            continue
        for share in (1.1, 1.2, 1.35):
            wedges = all_scaled(ground, trial, share)
            longer = evaluate(ground, wedges, trial)
            if longer is not None and holds(ground, longer):
                out.append(longer)
                break
    return out


def _pushed(ground: Ground, beam: list[Trial]) -> list[Trial]:
    """The trial of a beam that is nearest the limit, if it can be moved until it holds: no trial with
    fewer darts is given up before that was tried."""
    trial = min(beam, key=lambda t: t.value, default=None)
    if trial is None or trial.value > PUSHED * ground.ask:
        return []
    for step in PUSHES:
        before = trial.value
        for k in range(len(ground.fixed), len(trial.wedges)):
            trial = _driven(ground, trial, k, step * ground.sketch.spacing)
            if holds(ground, trial):
                return [trial]
        if before - trial.value < ENOUGH * (before - ground.ask):
            break
    return []


def _driven(ground: Ground, trial: Trial, k: int, step: float) -> Trial:
    """The trial with dart k moved, turned or longer, wherever that lowers the percentile most."""
    wedge = trial.wedges[k]
    moves = [*_moves(ground, wedge, step), _scaled(ground, wedge, LONGER)]
    moves += [_scaled(ground, move, LONGER) for move in _moves(ground, wedge, step)[:2]]
    for move in moves:
        over = length(ground, move) / ground.longest
        move = _scaled(ground, move, 0.999 / over) if over > 1.0 else move
        tried = evaluate(ground, _swapped(trial, k, move), trial)
        if tried is not None and _sound(ground, tried) >= _sound(ground, trial):
            trial = tried if tried.value < trial.value else trial
    return trial


def holds(ground: Ground, trial: Trial) -> bool:
    """Whether a trial keeps the limit with darts that can be sewn."""
    return trial.value <= ground.ask and _sound(ground, trial)


def _sound(ground: Ground, trial: Trial) -> bool:
    """Whether no dart of a trial is too wide; in the search others may yet take their share."""
    return max(trial.intakes[len(ground.fixed) :], default=0.0) <= ground.rules.most_intake


def _round(ground: Ground, beam: list[Trial], more: list[Trial]) -> list[Trial]:
    """The few best of the beam's trials with one dart more and of `more`, each settled."""
    grown = list(more)
    for trial in beam:
        for wedge in spread(ground, candidates(ground, trial.wedges), ground.rules.tries):
            tried = evaluate(ground, (*trial.wedges, wedge), trial)
            if tried is not None and tried.energy < WORTH * trial.energy:
                grown.append(tried)
    grown.sort(key=lambda t: _cost(ground, t))
    return sorted(
        (_settled(ground, trial) for trial in grown[: ground.rules.beam]),
        key=lambda t: _cost(ground, t),
    )


def _cost(ground: Ground, trial: Trial) -> tuple[bool, float]:
    """What trials are compared by: holding the limit first, then what length will be left when what
    they keep to spare is taken off; else less energy."""
    if holds(ground, trial):
        return False, price(ground, trial.wedges) * (trial.value / ground.ask) ** SLACK
    return True, trial.energy


def _swapped(trial: Trial, k: int, wedge: Wedge) -> tuple[Wedge, ...]:
    """The trial's wedges with wedge k replaced."""
    return (*trial.wedges[:k], wedge, *trial.wedges[k + 1 :])


def _moves(ground: Ground, wedge: Wedge, step: float) -> list[Wedge]:
    """A wedge with its mouth moved along the edge, its tip moved aside, or made longer, by `step` mm."""
    sketch = ground.sketch
    mouth, tip = sketch.flat[wedge.mouth], np.asarray(wedge.tip)
    way = (tip - mouth) / np.hypot(*(tip - mouth))
    aside = np.array([-way[1], way[0]])
    out = [replace(wedge, tip=tuple((tip + s * step * aside).tolist())) for s in (1, -1)]
    place = int(np.flatnonzero(sketch.loop == wedge.mouth)[0])
    for other in _mouths_near(ground, place, step):
        start = sketch.outline[other]
        out.append(Wedge(int(sketch.loop[other]), wedge.tip))
        out.append(Wedge(int(sketch.loop[other]), tuple((tip + start - mouth).tolist())))
    return out


def _mouths_near(ground: Ground, place: int, step: float) -> list[int]:
    """The mouth places about `step` mm before and behind a place of the loop."""
    outline = ground.sketch.outline
    off = (outline[ground.mouths] - outline[place]) @ np.array(
        [ground.inward[place][1], -ground.inward[place][0]]
    )
    far = np.hypot(*(outline[ground.mouths] - outline[place]).T)
    out = []
    for sign in (1.0, -1.0):
        side = (sign * off > 0.3 * step) & (far < 2.0 * step)
        if side.any():
            out.append(int(ground.mouths[side][np.abs(far[side] - step).argmin()]))
    return out


def _settled(ground: Ground, trial: Trial, *, longer: bool = False) -> Trial:
    """The trial after moves of its last dart (or all, which may also grow) that lower the energy."""
    last = len(trial.wedges) - 1
    which = range(len(ground.fixed) if longer else max(last, len(ground.fixed)), last + 1)
    for k in which:
        wedge = trial.wedges[k]
        moves = _moves(ground, wedge, ground.sketch.spacing)
        if longer:
            moves.append(_scaled(ground, wedge, 1.25))
        for move in moves:
            tried = evaluate(ground, _swapped(trial, k, move), trial)
            if tried is not None and _cost(ground, tried) < _cost(ground, trial):
                trial = tried
    return trial


def _scaled(ground: Ground, wedge: Wedge, share: float) -> Wedge:
    """A wedge of another length along the same line."""
    mouth = ground.sketch.flat[wedge.mouth]
    return replace(wedge, tip=tuple((mouth + share * (np.asarray(wedge.tip) - mouth)).tolist()))


def all_scaled(ground: Ground, trial: Trial, share: float) -> tuple[Wedge, ...]:
    """The trial's wedges, all that may change longer or shorter."""
    return tuple(
        _scaled(ground, wedge, share) if ground.is_free(k) else wedge
        for k, wedge in enumerate(trial.wedges)
    )


def pruned(ground: Ground, trial: Trial) -> Trial:
    """The trial without the darts that it can do without."""
    k, held = len(ground.fixed), holds(ground, trial)
    while k < len(trial.wedges):
        fewer = evaluate(ground, trial.wedges[:k] + trial.wedges[k + 1 :])
        if fewer is not None and held and not holds(ground, fewer):
            near = fewer.value < NEARLY * ground.ask
            fewer = _settled(ground, fewer, longer=True) if near else fewer
        allowed = ground.ask if held else trial.value / WORTH
        if fewer is not None and fewer.value <= allowed and _sound(ground, fewer):
            trial, k = fewer, len(ground.fixed)
        else:
            k += 1
    return trial


def shortened(ground: Ground, trial: Trial, cut: float = 0.3) -> Trial:
    """The trial with every dart as short as the limit allows, sliding where that gives room.

    cut: share of a dart that is taken off at first.
    """
    cuts = [cut if ground.is_free(k) else 0.0 for k in range(len(trial.wedges))]
    for _ in range(6):
        for k in np.argsort([-length(ground, w) for w in trial.wedges]):
            if cuts[k] < FINEST:
                continue
            less = _scaled(ground, trial.wedges[k], 1 - cuts[k])
            tried = evaluate(ground, _swapped(trial, k, less), trial)
            if tried is not None and holds(ground, tried):
                trial = tried
            else:
                cuts[k] *= 0.5
                trial = _slid(ground, trial, int(k), cuts[k])
        if max(cuts, default=0.0) < FINEST:
            break
    return trial


def _slid(ground: Ground, trial: Trial, k: int, share: float) -> Trial:
    """The trial with dart k moved to where a shorter one holds the limit, if there is such a place."""
    wedge = trial.wedges[k]
    step = max(0.5 * ground.sketch.spacing, 1.5 * share * length(ground, wedge))
    for move in _moves(ground, wedge, step):
        move = _scaled(ground, move, (1 - share) * length(ground, wedge) / length(ground, move))
        tried = evaluate(ground, _swapped(trial, k, move), trial)
        if tried is not None and holds(ground, tried):
            return tried
    return trial


def lengthened(ground: Ground, trial: Trial) -> Trial | None:
    """The trial with longer or moved darts, so that it holds a limit that it just missed, or None."""
    longer: Trial | None = trial
    for _ in range(6):
        wedges = all_scaled(ground, longer, 1.06)
        longer = evaluate(ground, wedges, longer)
        if longer is None:
            break
        if holds(ground, longer):
            return longer
    settled = _settled(ground, trial, longer=True)
    return settled if holds(ground, settled) else None
