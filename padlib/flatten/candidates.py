"""New darts worth trying, ranked by the forecast, one at a time and in pairs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.flatten.forecast import Forecaster
from padlib.flatten.ground import Ground, price, samples
from padlib.flatten.sketch import Wedge, inside
from padlib.flatten.trial import CLOSING
from padlib.mesh.surface import Plane

SLANTS = np.radians([-50.0, -25.0, 0.0, 25.0, 50.0])  # of a candidate, from the inward normal
FINE = np.radians(np.linspace(-37.5, 37.5, 7))  # of the second of a pair
MOST_PAIRS = 600  # of the forecast that are looked at more closely
STARTS = 5  # mouths, and best single candidates, that pairs begin with


def candidates(
    ground: Ground, wedges: tuple[Wedge, ...], *, closing: bool = False
) -> list[tuple[float, Wedge]]:
    """New darts next to these, with the mean square stretch that the forecast gives each, best first.

    From every mouth of the sketch, in five directions, at all depths; only those whose legs the
    forecast says will open, or, of closing ones, only those whose legs it says will overlap.
    """
    sketch, h = ground.sketch, ground.sketch.spacing
    spots = cKDTree(ground.base.flat[ground.forecast.inside])
    lines = [samples(sketch.flat[w.mouth], np.asarray(w.tip), h) for w in wedges]
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
    points = samples(mouth, np.asarray(wedge.tip), ground.sketch.spacing)
    return list(dict.fromkeys(spots.query(points)[1].tolist()))[::2]
