"""What helps where darts do not, or better than darts: a gusset put in, or a seam across the panel.

Where the curvature under a slit is negative its legs overlap in the plane, so cloth must be put in
there: a wedge with the overlap's angle, sewn between the legs. A seam parts the panel in two, each
of which may spread as it likes. Both are tried on the sketch: the slit, or the two parts, are laid
flat, and what stretch that leaves is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.flatten.candidates import candidates, spread
from padlib.flatten.forecast import Forecaster
from padlib.flatten.ground import Ground, samples
from padlib.flatten.sketch import Wedge, draw, halves, inside
from padlib.flatten.trial import angle, relaxed
from padlib.mesh.surface import Plane
from padlib.seams.panels import Panel

TRIES = 6  # gussets, and seams, that are laid flat
LEAST_PART = 0.12  # of the panel: no seam parts off less
SHORTER = 6  # times that a gusset is made a fifth shorter
LEAST_OPENING = 3.0  # degrees: of a gusset
OVER = 1.0  # what is over the limit counts as so many times the root of the area of seam

Spots = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True)
class Gusset:
    """A wedge of cloth put in: its point lies inside the panel, its wide end at the edge.

    path: its line on the panel, from the edge to the point, mm; seam: that it starts from; length_mm;
    opening_deg: angle at the point; stretch_left: percentile of stretch of the panel with it.
    """

    path: Spots
    seam: str
    length_mm: float
    opening_deg: float
    stretch_left: float

    @property
    def width_mm(self) -> float:
        """Width at the edge."""
        return 2.0 * self.length_mm * float(np.sin(np.radians(0.5 * self.opening_deg)))


@dataclass(frozen=True)
class Split:
    """A seam that parts a panel in two.

    path: its line on the panel, mm; seams: those that it joins; length_mm; parts_left: percentile of
    stretch of the part to the left of its way and of that to the right.
    """

    path: Spots
    seams: tuple[str, str]
    length_mm: float
    parts_left: tuple[float, float]

    @property
    def stretch_left(self) -> float:
        """The larger of the two."""
        return max(self.parts_left)


@dataclass(frozen=True)
class Cures:
    """The best gusset and the best seam that were found, or None; hollow: whether the panel's
    curvature is negative rather than positive, so that cloth is wanted more than it is spare."""

    gusset: Gusset | None
    split: Split | None
    hollow: bool


def cures_on(panel: Panel, here: Ground, limit: float, darts: tuple[Wedge, ...] = ()) -> Cures:
    """The best gusset and the best seam across a panel.

    here: its ground; limit: to be held; darts: which the gusset comes on top of; a seam stands alone.
    """
    u = here.forecast.u
    hollow = len(u) > 0 and float(u.max()) >= -float(u.min())
    return Cures(_gusset(panel, here, limit, darts), _split(panel, here, limit), hollow)


def _gusset(panel: Panel, here: Ground, limit: float, darts: tuple[Wedge, ...]) -> Gusset | None:
    """The gusset that holds the limit and is shortest, else the one that leaves least."""
    best, at = None, None
    for wedge in spread(here, candidates(here, darts, closing=True), TRIES):
        tried = _put_in(panel, here, darts, wedge)
        if tried is not None and (
            best is None or _worse(here, tried, limit) < _worse(here, best, limit)
        ):
            best, at = tried, wedge
    for _ in range(SHORTER if best is not None and best.stretch_left <= limit else 0):
        mouth = here.sketch.flat[at.mouth]
        at = Wedge(at.mouth, tuple((mouth + 0.8 * (np.asarray(at.tip) - mouth)).tolist()))
        tried = _put_in(panel, here, darts, at)
        if tried is None or tried.stretch_left > limit:
            break
        best = tried
    return best


def _put_in(panel: Panel, here: Ground, darts: tuple[Wedge, ...], wedge: Wedge) -> Gusset | None:
    """A gusset tried: the sketch slit there and laid flat; None where its legs do not overlap."""
    mesh = draw(here.sketch, (*darts, wedge))
    if mesh is None:
        return None
    flat, _, value = relaxed(replace(here, ask=np.inf), mesh, None)
    left, right = mesh.legs[-1]
    opening = -angle(flat[left], flat[right])
    if opening < LEAST_OPENING:
        return None
    path = mesh.vertices[left]
    size = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
    return Gusset(spots(path), _seam_at(panel, wedge.mouth), size, opening, value * here.gain)


def _worse(here: Ground, cure: Gusset | Split, limit: float) -> float:
    """What cures are compared by: length, dearer by what they leave over the limit."""
    root = here.longest / here.rules.longest
    over = max(cure.stretch_left / limit - 1.0, 0.0)
    return cure.length_mm + (OVER * root * (1.0 + over) if over else 0.0)


def _split(panel: Panel, here: Ground, limit: float) -> Split | None:
    """The seam that holds the limit and is shortest, else the one that leaves least."""
    lines = _lines(here)
    ranked = [lines[k] for k in np.argsort(_forecast(here, lines), kind="stable")]
    tried: dict[tuple[int, int], Split | None] = {}

    def judged(line: tuple[int, int]) -> float:
        if line not in tried:
            tried[line] = _parted(panel, here, line)
        return np.inf if tried[line] is None else _worse(here, tried[line], limit)

    few: list[tuple[int, int]] = []
    rim = here.sketch.outline[here.sketch.kept]
    for line in ranked:
        ends = rim[list(line)].ravel()
        near = (np.abs(ends - rim[list(f)].ravel()).max() for f in few)
        if len(few) < TRIES and not any(d < 2.5 * here.sketch.spacing for d in near):
            few.append(line)
    best = min(few, key=judged, default=None)
    known = set(lines)
    for step in (2, 1) if best is not None else ():
        moves = [(best[0] + i * step, best[1] + k * step) for i in (-1, 0, 1) for k in (-1, 0, 1)]
        moves = [tuple(sorted(m % len(rim) for m in move)) for move in moves]
        best = min([best, *(m for m in moves if m in known)], key=judged)
    return None if best is None else tried[best]


def _lines(here: Ground) -> list[tuple[int, int]]:
    """Straight lines between kept places of the edge that run inside and part off enough."""
    rim = here.sketch.outline[here.sketch.kept]
    count, h = len(rim), here.sketch.spacing
    i, k = np.triu_indices(count, 2)
    share = np.linspace(0.0, 1.0, 12)[1:-1, None]
    way = rim[k] - rim[i]
    long = np.hypot(*way.T) > max(2.0 * h, here.rules.shortest)
    part = np.abs(_areas(rim, i, k))
    part /= abs(_areas(rim, np.array([0]), np.array([count - 1]))[0])
    fit = long & (part > LEAST_PART) & (part < 1.0 - LEAST_PART)
    i, k, way = i[fit], k[fit], way[fit]
    points = rim[i][:, None] + share * way[:, None]
    off = cKDTree(rim).query(points.reshape(-1, 2))[0].reshape(points.shape[:2])
    clear = (off[:, 1:-1] > 0.6 * h).all(axis=1)
    within = inside(rim, points.reshape(-1, 2)).reshape(points.shape[:2]).all(axis=1)
    return list(zip(i[clear & within].tolist(), k[clear & within].tolist(), strict=True))


def _areas(rim: Plane, i: NDArray[np.int64], k: NDArray[np.int64]) -> NDArray[np.float64]:
    """Areas of the polygons from place i to place k of a rim and straight back."""
    after = np.roll(rim, -1, axis=0)
    run = np.concatenate([[0.0], np.cumsum(rim[:, 0] * after[:, 1] - rim[:, 1] * after[:, 0])])
    back = rim[k, 0] * rim[i, 1] - rim[k, 1] * rim[i, 0]
    return 0.5 * (run[k] - run[i] + back)


def _forecast(here: Ground, lines: list[tuple[int, int]]) -> NDArray[np.float64]:
    """Mean square stretch that the forecast leaves where the panel is parted along each line."""
    ahead, flat = here.forecast, here.base.flat
    spots = cKDTree(flat[ahead.inside])
    rim = here.sketch.outline[here.sketch.kept]
    return np.array([_parted_strain(ahead, spots, rim[i], rim[k], here) for i, k in lines])


def _parted_strain(ahead: Forecaster, spots: cKDTree, a: Plane, b: Plane, here: Ground) -> float:
    """What the forecast leaves on both sides of a line from a to b, each side at its own level."""
    held = np.unique(spots.query(samples(a, b, here.sketch.spacing))[1])
    block = ahead.green[held]
    u = ahead.u - np.linalg.solve(block[:, held], ahead.u[held]) @ block
    off = spots.data - a
    left = (b - a)[0] * off[:, 1] - (b - a)[1] * off[:, 0] > 0
    total = 0.0
    for side in (left, ~left):
        weight = ahead.weight[side]
        if weight.sum() > 0:
            total += float(weight @ (u[side] - weight @ u[side] / weight.sum()) ** 2)
    return total


def _parted(panel: Panel, here: Ground, line: tuple[int, int]) -> Split | None:
    """The panel's sketch really cut along a line and both parts laid flat."""
    parts = halves(here.sketch, *line)
    if parts is None:
        return None
    sure = replace(here, ask=np.inf)
    left, right = (relaxed(sure, mesh, None)[2] * here.gain for mesh in parts[:2])
    path = parts[2]
    size = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
    ends = here.sketch.loop[here.sketch.kept[list(line)]]
    seams = tuple(_seam_at(panel, int(v)) for v in ends)
    return Split(spots(path), (seams[0], seams[1]), size, (left, right))


def _seam_at(panel: Panel, vertex: int) -> str:
    """Name of a seam that runs through a vertex of the edge; at a corner, of the one it begins."""
    found = [edge for edge in panel.edges if edge.kind != "dart" and vertex in edge.run]
    return next((e.seam for e in found if e.run[0] == vertex), found[0].seam if found else "")


def spots(path: NDArray[np.float64]) -> Spots:
    """Places (k, 3) as plain numbers."""
    return tuple((float(x), float(y), float(z)) for x, y, z in path)


def told(cures: Cures, limit: float) -> str:
    """In words, the cures that hold the limit, or the better of the two, with their numbers."""
    both = [cure for cure in (cures.gusset, cures.split) if cure is not None]
    if not both:
        return "a seam that splits the panel would"
    held = [cure for cure in both if cure.stretch_left <= limit]
    if not held:
        held = [min(both, key=lambda cure: cure.stretch_left)]
    if not cures.hollow:
        held = held[::-1]
    words = "; or ".join(
        gusset_words(cure) if isinstance(cure, Gusset) else split_words(cure) for cure in held
    )
    return words if held[0].stretch_left <= limit else f"{words}: still too much, but less"


def gusset_words(gusset: Gusset) -> str:
    """A gusset in words."""
    return (
        f"a gusset (cloth put in) of {gusset.opening_deg:.0f} degrees, {gusset.length_mm:.0f} mm long, "
        f"from '{gusset.seam}' near {place(gusset.path[0])} to its point near "
        f"{place(gusset.path[-1])} would leave {100 * gusset.stretch_left:.1f} %"
    )


def split_words(split: Split) -> str:
    """A seam across a panel in words."""
    left, right = (100 * value for value in split.parts_left)
    return (
        f"a seam that splits the panel, {split.length_mm:.0f} mm long, from '{split.seams[0]}' near "
        f"{place(split.path[0])} to '{split.seams[1]}' near {place(split.path[-1])} would leave "
        f"{left:.1f} and {right:.1f} % in its two parts"
    )


def place(spot: tuple[float, float, float]) -> str:
    """A place in words; -0 is 0."""
    x, y, z = (round(float(c)) for c in spot)
    return f"x {x}, y {y}, z {z} mm"
