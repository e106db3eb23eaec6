"""Notches: marks that meet when a seam is pinned.

Words: a chain is the stretch of a seam that two panels share, as one polyline in 3D, darts closed;
it is walked from its upper end, the same way on both panels and on both sides of the body. A stop is
a place on a chain where a notch goes; each panel finds it on its own sew line, so that what meets in
3D meets when sewn. Notches keep clear of corners by the allowance and KEEP_MM more.

Spacing, one mark for front and two for back: common practice, no source (VALUES 4.7 and 7).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from padlib.pattern.edge import Rim, Run, Wedge
from padlib.pattern.piece import Notch

KEEP_MM = 5.0  # beyond the allowance, from any corner
END_MM = 25.0  # no evenly spaced notch is nearer to the end of a seam
SHIFT = 0.15  # of the spacing: the notches lie off the middle, so that a seam has one direction
SAME_MM = 0.01  # places of the shell that are closer are one
SHORTEST_MM = 60.0  # shorter seams have no notch

Place = NDArray[np.float64]  # (3,) mm on the shell


@dataclass(frozen=True, eq=False)
class Chain:
    """A stretch of a seam along one panel: places (k, 3) in 3D and ring positions (k,), from its start.

    twin: name of the panel on the other side (which may be the same), or None; seam: its name.
    """

    panel: str
    twin: str | None
    seam: str
    kind: str
    positions: NDArray[np.int64]
    places: NDArray[np.float64]

    def lengths(self) -> NDArray[np.float64]:
        """Arc length (k,) at each place, mm on the shell."""
        steps = np.linalg.norm(np.diff(self.places, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])


@dataclass(frozen=True)
class Joint:
    """A chain with its twin chain on the other panel (None where there is none)."""

    chain: Chain
    twin: Chain | None


def joints(rims: Mapping[str, Rim]) -> tuple[Joint, ...]:
    """Every seam of a set of panels once, with both its sides where both are there, in panel order.

    Where one side comes in several chains (what a mark leaves of a dart parts them), the other is parted there too.
    """
    whole = [chain for rim in rims.values() for chain in chains(rim)]
    every = [part for chain in whole for part in parted(chain, whole)]
    taken: set[int] = set()
    out = []
    for i, chain in enumerate(every):
        if i in taken or chain.kind == "opening":
            continue
        twin = next(
            (
                j
                for j in range(len(every))
                if j != i and j not in taken and _are_twins(chain, every[j])
            ),
            None,
        )
        taken |= {i} if twin is None else {i, twin}
        out.append(Joint(chain, None if twin is None else every[twin]))
    return tuple(out)


def parted(chain: Chain, every: Sequence[Chain]) -> list[Chain]:
    """A chain parted where chains of its other side end within it."""
    facing = [
        c
        for c in every
        if c is not chain
        and (c.seam, c.panel, c.twin) == (chain.seam, chain.twin, chain.panel)
        and np.linalg.norm(c.places[0] - c.places[-1]) >= SAME_MM
    ]
    if chain.kind == "opening" or not facing:
        return [chain]
    ends = np.concatenate([c.places[[0, -1]] for c in facing])
    own = chain.places[[0, -1]]
    inside = [e for e in ends if np.linalg.norm(own - e, axis=1).min() >= SAME_MM]
    cuts = [
        k
        for k in range(1, len(chain.places) - 1)
        if inside and np.linalg.norm(np.array(inside) - chain.places[k], axis=1).min() < SAME_MM
    ]
    if not cuts:
        return [chain]
    s, out, first = chain.lengths(), [], 0
    for k in [*cuts, len(chain.places) - 1]:
        if s[k] - s[first] > SAME_MM:  # a folded dart has both its mouths at one place
            part = slice(first, k + 1)
            out.append(replace(chain, positions=chain.positions[part], places=chain.places[part]))
        first = k
    return out


def chains(rim: Rim) -> tuple[Chain, ...]:
    """The chains of one panel: neighbouring runs of one seam and partner, across darts, upper end first."""
    n = len(rim.points)
    groups: list[list[Run]] = []
    for run in rim.runs:
        if (
            groups
            and _continues(rim, groups[-1][-1], run)
            and not _turns_back(rim, groups[-1], run)
        ):
            groups[-1].append(run)
        else:
            groups.append([run])
    first, last = groups[0], groups[-1]
    if (
        len(groups) > 1
        and _continues(rim, last[-1], first[0])
        and not _turns_back(rim, last, first[0])
    ):
        groups = [last + first, *groups[1:-1]]
    out = []
    for group in groups:
        positions = np.concatenate([np.arange(r.start, r.stop + 1) for r in group]) % n
        positions = _from_upper_end(rim, positions)
        places = rim.places[positions]
        run = group[0]
        out.append(Chain(rim.panel.name, run.partner, run.seam, run.kind, positions, places))
    return tuple(out)


def stops(
    joint: Joint, rims: Mapping[str, Rim], *, spacing_mm: float, allowance_mm: float
) -> NDArray[np.float64]:
    """Arc lengths (s,) in mm along a joint's chain where notches go, increasing.

    Darts that are folded get one at their mouth; between them notches stand about spacing_mm apart,
    a little off the middle, and keep clear of corners of either panel.
    """
    chain = joint.chain
    s = chain.lengths()
    total = float(s[-1])
    closed = bool(np.linalg.norm(chain.places[0] - chain.places[-1]) < SAME_MM)
    shut = _corner_places(joint, rims)
    keep = allowance_mm + KEEP_MM
    blocked = np.concatenate([shut, shut - total, shut + total] if closed else [shut, [0.0, total]])
    out = [m for m in _mouths(joint, rims) if _clear(m, blocked, keep)]
    count = max(int(round(total / spacing_mm)) - 1, 1 if total >= SHORTEST_MM else 0)
    pitch = total / (count + 1)
    apart = min(60.0, 0.4 * pitch)
    for k in range(0 if closed else 1, count + 1):
        at = _nearest_clear((k + SHIFT) * pitch, blocked, keep, None if closed else total)
        if at is not None and all(
            _gap(at, other, total if closed else None) > apart for other in out
        ):
            out.append(at)
    return np.array(sorted(out))


def notches_on(rim: Rim, chain: Chain, at: Place, count: int, pair: str) -> list[Notch]:
    """The notches of one stop on one panel: one, or two where it is the mouth of a folded dart.

    at (3,): the stop's place on the shell. A stop in the mouth of a dart that is cut out has none.
    """
    a, b = chain.places[:-1], chain.places[1:]
    way = b - a
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    t = np.clip(np.einsum("ij,ij->i", at - a, way) / square, 0.0, 1.0)
    off = np.linalg.norm(a + t[:, None] * way - at, axis=1)
    k = int(np.argmin(off))
    mouth = mouth_at(rim, chain, at)
    if mouth is not None:
        ends = (mouth.start, mouth.stop) if mouth.folded else ()
        return [_notch(rim, p, p % len(rim.points), 0.0, count, pair, at_mouth=mouth) for p in ends]
    i, j = int(chain.positions[k]), int(chain.positions[k + 1])
    return [_notch(rim, i, j, float(t[k]), count, pair)]


def junction_notches(rim: Rim, names: Mapping[tuple[str, int], str]) -> list[Notch]:
    """Notches where one seam hands over to the next without a corner.

    names: (seam, ring position of the run's start) to the seam's letter; used to name the notch.
    """
    n, out = len(rim.points), []
    for run, after in zip(rim.runs, rim.runs[1:] + rim.runs[:1], strict=True):
        at = run.stop % n
        if (
            at != after.start % n
            or _continues(rim, run, after)
            or _near_corner(rim, at, run.allowance_mm)
        ):
            continue
        letters = sorted({names.get((r.seam, r.start % n), "") for r in (run, after)} - {""})
        if letters:
            out.append(_notch(rim, at, at, 0.0, 1, "/".join(letters), width=run.allowance_mm))
    return out


def leg_notches(rim: Rim, allowance_mm: float) -> list[Notch]:
    """A pair of notches half-way down each dart that is cut out, where its slot is open wide enough."""
    out = []
    for k, wedge in enumerate(w for w in rim.wedges if not w.folded):
        left = rim.take(wedge.start, wedge.apex)
        right = rim.take(wedge.apex, wedge.stop)[::-1]
        lengths = [
            np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(x, axis=0).T))])
            for x in (left, right)
        ]
        share = 0.4
        spots = [
            np.array([np.interp(share * s[-1], s, x[:, c]) for c in (0, 1)])
            for x, s in zip((left, right), lengths, strict=True)
        ]
        gap = float(np.hypot(*(spots[0] - spots[1])))
        if gap < 2 * allowance_mm + 4 or share * lengths[0][-1] < allowance_mm + KEEP_MM:
            continue
        for x, s, spot in zip((left, right), lengths, spots, strict=True):
            i = int(np.clip(np.searchsorted(s, share * s[-1]) - 1, 0, len(x) - 2))
            way = (x[i + 1] - x[i]) / np.hypot(*(x[i + 1] - x[i]))
            way = way if x is left else -way
            out.append(Notch(spot, np.array([way[1], -way[0]]), 1, f"dart {k + 1}", allowance_mm))
    return out


def marks_of(words: Sequence[str]) -> int:
    """Two marks where the names of a seam and its panels speak of the back only, one otherwise."""
    text = " ".join(words).lower()
    return 2 if "back" in text and "front" not in text else 1


def letters(k: int) -> str:
    """A, B, ..., Z, AA, AB, ... without I and O, which read as figures."""
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    out = ""
    k += 1
    while k:
        k, rest = divmod(k - 1, len(alphabet))
        out = alphabet[rest] + out
    return out


def folded_key(chain: Chain) -> NDArray[np.float64]:
    """Start, middle and end (3, 3) of a chain with x taken without its sign: alike on both body sides."""
    s = chain.lengths()
    at = [np.interp(f * s[-1], s, chain.places[:, c]) for f in (0.0, 0.37, 1.0) for c in range(3)]
    key = np.array(at).reshape(3, 3)
    key[:, 0] = np.abs(key[:, 0])
    return key


def place_at(chain: Chain, at: float) -> Place:
    """Place (3,) at arc length `at` along a chain."""
    s = chain.lengths()
    return np.array([np.interp(at, s, chain.places[:, c]) for c in range(3)])


def _continues(rim: Rim, run: Run, after: Run) -> bool:
    """Whether two runs are one seam that a dart, or nothing, parts."""
    same = (run.seam, run.kind, run.partner) == (after.seam, after.kind, after.partner)
    gap = np.linalg.norm(
        rim.places[run.stop % len(rim.places)] - rim.places[after.start % len(rim.places)]
    )
    return same and bool(gap < SAME_MM) and run is not after


def _turns_back(rim: Rim, group: list[Run], run: Run) -> bool:
    """Whether a run goes back along its neighbour in 3D: the two sides of one cut, not one chain."""
    n = len(rim.places)
    last = rim.places[np.arange(group[-1].start, group[-1].stop + 1) % n]
    there = rim.places[np.arange(run.start, run.stop + 1) % n]
    return bool(
        _distance(there[min(1, len(there) - 1)], last) < SAME_MM
        and _distance(there[len(there) // 2], last) < SAME_MM
    )


def _distance(point: Place, line: NDArray[np.float64]) -> float:
    """Distance of a point (3,) from a polyline (k, 3)."""
    a, way = line[:-1], np.diff(line, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    t = np.clip(np.einsum("ij,ij->i", point - a, way) / square, 0.0, 1.0)
    return float(np.linalg.norm(a + t[:, None] * way - point, axis=1).min())


def _from_upper_end(rim: Rim, positions: NDArray[np.int64]) -> NDArray[np.int64]:
    """A chain's ring positions, walked from its upper end; a closed one from its top, front side first."""
    places = rim.places[positions]
    if np.linalg.norm(places[0] - places[-1]) < SAME_MM and len(positions) > 3:
        if positions[0] == positions[-1]:
            positions = positions[:-1]
        places = rim.places[positions]
        top = int(np.lexsort((places[:, 1], -np.round(places[:, 2], 1)))[0])
        positions = np.roll(positions, -top)
        positions = np.append(positions, positions[0])
        quarter = len(positions) // 4
        return (
            positions[::-1]
            if _depth(rim, positions, quarter) > _depth(rim, positions, -quarter)
            else positions
        )
    return positions[::-1] if _upper_last(places) else positions


def _depth(rim: Rim, positions: NDArray[np.int64], k: int) -> float:
    """How far back (mm) the k-th place of a chain lies."""
    return float(rim.places[positions[k], 1])


def _upper_last(places: NDArray[np.float64]) -> bool:
    """Whether an open chain should be walked the other way: upper end first, then front, then middle."""
    a, b = places[0], places[-1]
    for one, other in ((a[2], b[2]), (-a[1], -b[1]), (-abs(a[0]), -abs(b[0])), (a[0], b[0])):
        if abs(one - other) > 0.5:
            return bool(other > one)
    return False


def _are_twins(one: Chain, other: Chain) -> bool:
    """Whether two chains are the two sides of one seam."""
    if one.seam != other.seam or one.twin != other.panel or other.twin != one.panel:
        return False
    s = one.lengths()
    middle = np.array([np.interp(0.5 * s[-1], s, one.places[:, c]) for c in range(3)])
    return _distance(middle, other.places) < SAME_MM


def _sides(joint: Joint) -> list[Chain]:
    """The chains of a joint."""
    return [joint.chain] + ([joint.twin] if joint.twin is not None else [])


def _corner_places(joint: Joint, rims: Mapping[str, Rim]) -> NDArray[np.float64]:
    """Arc lengths along a joint's chain at which either panel has a corner inside the seam."""
    s = joint.chain.lengths()
    out = []
    for chain in _sides(joint):
        rim = rims[chain.panel]
        inner = [p for p in chain.positions[1:-1] if rim.corner[p] and not _in_folded_mouth(rim, p)]
        out += [_arc_of(joint.chain, s, rim.places[p]) for p in inner]
    return np.array(sorted(out), dtype=np.float64)


def _in_folded_mouth(rim: Rim, position: int) -> bool:
    """Whether a ring position is the mouth of a folded dart."""
    n = len(rim.points)
    return any(w.folded and position in (w.start % n, w.stop % n) for w in rim.wedges)


def _mouths(joint: Joint, rims: Mapping[str, Rim]) -> list[float]:
    """Arc lengths along a joint's chain at which a dart of either panel opens."""
    s = joint.chain.lengths()
    out = set()
    for chain in _sides(joint):
        rim = rims[chain.panel]
        on = set(chain.positions.tolist())
        for wedge in rim.wedges:
            if wedge.start % len(rim.points) in on and wedge.folded:
                out.add(
                    round(_arc_of(joint.chain, s, rim.places[wedge.start % len(rim.points)]), 6)
                )
    return sorted(out)


def _arc_of(chain: Chain, s: NDArray[np.float64], place: Place) -> float:
    """Arc length along a chain of the place nearest to a given one."""
    a, way = chain.places[:-1], np.diff(chain.places, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    t = np.clip(np.einsum("ij,ij->i", place - a, way) / square, 0.0, 1.0)
    k = int(np.argmin(np.linalg.norm(a + t[:, None] * way - place, axis=1)))
    return float(s[k] + t[k] * (s[k + 1] - s[k]))


def off_chain(chain: Chain, place: Place) -> float:
    """Distance of a place from a chain, mm on the shell."""
    a, way = chain.places[:-1], np.diff(chain.places, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-18)
    t = np.clip(np.einsum("ij,ij->i", place - a, way) / square, 0.0, 1.0)
    return float(np.linalg.norm(a + t[:, None] * way - place, axis=1).min())


def _clear(at: float, blocked: NDArray[np.float64], keep: float) -> bool:
    """Whether a place keeps clear of all blocked ones."""
    return bool(np.all(np.abs(blocked - at) >= keep))


def _gap(one: float, other: float, around: float | None) -> float:
    """Arc length between two places, the short way on a closed chain."""
    gap = abs(one - other)
    return gap if around is None else min(gap, around - gap)


def _nearest_clear(
    at: float, blocked: NDArray[np.float64], keep: float, total: float | None
) -> float | None:
    """The place nearest to `at` that keeps clear of all blocked ones and of the ends, or None."""
    tries = np.concatenate([[at], blocked - keep - 1e-6, blocked + keep + 1e-6])
    if total is not None:
        ends = max(min(END_MM, total / 3), keep)
        tries = tries[(tries >= ends) & (tries <= total - ends)]
    good = [t for t in tries if _clear(float(t), blocked, keep)]
    return float(min(good, key=lambda t: (abs(t - at), t))) if good else None


def mouth_at(rim: Rim, chain: Chain, at: Place) -> Wedge | None:
    """The dart of a panel that opens at a place of a chain, or None."""
    n = len(rim.points)
    on = set(chain.positions.tolist())
    for wedge in rim.wedges:
        if wedge.start % n in on and np.linalg.norm(rim.places[wedge.start % n] - at) < SAME_MM:
            return wedge
    return None


def _near_corner(rim: Rim, at: int, allowance: float) -> bool:
    """Whether a ring position lies within the allowance of a corner, along the ring."""
    steps = np.hypot(*(np.roll(rim.points, -1, axis=0) - rim.points).T)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    gap = np.abs(s[:-1] - s[at])
    gap = np.minimum(gap, s[-1] - gap)
    return bool(np.any(rim.corner & (gap < allowance + KEEP_MM)))


def _notch(
    rim: Rim,
    i: int,
    j: int,
    t: float,
    count: int,
    pair: str,
    *,
    at_mouth: Wedge | None = None,
    width: float | None = None,
) -> Notch:
    """A notch between ring positions i and j, or at i itself where they are equal."""
    n = len(rim.points)
    i, j = i % n, j % n
    point = rim.points[i] * (1 - t) + rim.points[j] * t
    if at_mouth is not None:
        first = i == at_mouth.start % n
        way = (
            rim.points[i] - rim.points[(i - 1) % n]
            if first
            else rim.points[(i + 1) % n] - rim.points[i]
        )
    elif i == j:
        way = rim.points[(i + 1) % n] - rim.points[(i - 1) % n]
    else:
        way = rim.points[j] - rim.points[i] if (j - i) % n == 1 else rim.points[i] - rim.points[j]
    way = way / max(float(np.hypot(*way)), 1e-12)
    beside = _run_at(rim, i, j)
    width = beside.allowance_mm if width is None else width
    return Notch(point, np.array([way[1], -way[0]]), count, pair, width, beside.notch)


def _run_at(rim: Rim, i: int, j: int) -> Run:
    """The run beside ring positions i and j."""
    n = len(rim.points)
    for run in rim.runs:
        on = np.arange(run.start, run.stop + 1) % n
        if i in on and j in on:
            return run
    return rim.runs[0]


def by_piece(found: Sequence[tuple[int, Notch]]) -> dict[int, list[Notch]]:
    """Notches by piece number."""
    ordered = sorted(found, key=lambda item: item[0])
    return {k: [n for _, n in group] for k, group in groupby(ordered, key=lambda item: item[0])}
