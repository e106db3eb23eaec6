"""What a search for darts stands on: the sketch, the rules, what keeps darts apart, what they cost."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.flatten.cloth import Cloth
from padlib.flatten.forecast import Forecaster, forecaster
from padlib.flatten.sketch import Mesh, Sketch, Wedge, draw, inside
from padlib.flatten.stretch import root_of_area
from padlib.mesh.surface import Plane


@dataclass(frozen=True)
class Rules:
    """What is asked of darts.

    limit: stretch that the percentile may reach (0.05 is 5 %); percentile of area; max_darts;
    shortest, clear: least length and least distance from corners, other darts and the far edge, mm;
    longest: greatest length, as part of the root of the panel's area;
    least_intake, most_intake: degrees between the legs; slant: most degrees off the edge's normal;
    tries: how many candidates a round lays flat; beam: how many trials live on to the next round;
    polish: whether darts that hold the limit are moved and traded until none gets shorter;
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
    polish: bool = True
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
    each place of the loop; spots: tree of the vertices of base; metric: at each of them, see `metric`;
    ask: the percentile that the sketch must show, which allows for its coarseness; longest: of a dart,
    mm; gain: the panel's percentile over the sketch's, without darts; fixed: darts that the maker wants,
    the first of every trial, bound by no rule; barred (k, 2): places that darts must keep `away` mm from;
    views: `mesh.seen` at the vertices of base, None: all alike; tried: what was laid flat before.
    """

    sketch: Sketch
    rules: Rules
    mouths: NDArray[np.int64]
    inward: Plane
    base: Mesh
    spots: cKDTree
    metric: NDArray[np.float64]
    forecast: Forecaster
    ask: float
    longest: float
    gain: float = 1.0
    fixed: tuple[Wedge, ...] = ()
    barred: Plane = field(default_factory=lambda: np.zeros((0, 2)))
    away: float = 0.0
    views: NDArray[np.float64] | None = None
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
    longest = rules.longest * root_of_area(sketch.vertices, sketch.faces)
    views = None
    if rules.seen is not None and rules.show:
        views = np.asarray(rules.seen)[cKDTree(sketch.vertices).query(base.vertices)[1]]
    spots, sizes = cKDTree(base.flat), metric(base)
    made = Ground(sketch, rules, mouths, inward, base, spots, sizes, ahead, rules.limit, longest)
    return replace(made, views=views)


def reach(ground: Ground, wedge: Wedge) -> float:
    """Length of a wedge in mm on the flat without darts, by which the rules go."""
    return float(np.hypot(*(np.asarray(wedge.tip) - ground.sketch.flat[wedge.mouth])))


def length(ground: Ground, wedge: Wedge) -> float:
    """Length of a wedge in mm on the panel itself: where the flat without darts is squeezed, a line of
    it is longer once it is cut."""
    return float(_pieces(ground, wedge)[0].sum())


def _pieces(ground: Ground, wedge: Wedge) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """A wedge in pieces of about half a spacing: their lengths on the panel, and the vertex of base
    next to each."""
    mouth = ground.sketch.flat[wedge.mouth]
    way = np.asarray(wedge.tip) - mouth
    count = max(1, int(np.ceil(np.hypot(*way) / (0.5 * ground.sketch.spacing))))
    near = ground.spots.query(mouth + ((np.arange(count) + 0.5) / count)[:, None] * way)[1]
    return np.sqrt(np.einsum("i,kij,j->k", way, ground.metric[near], way)) / count, near


def metric(mesh: Mesh) -> NDArray[np.float64]:
    """Metric tensors (n, 2, 2) of a sketch's mesh at its vertices: of what squared length on the panel
    a step on the flat is; means of the faces around, by their area."""
    corner, flat = mesh.vertices[mesh.faces], mesh.flat[mesh.faces]
    edges, drawn = corner[:, 1:] - corner[:, :1], flat[:, 1:] - flat[:, :1]
    back = np.linalg.inv(drawn)
    jacobian = np.einsum("mab,mbc->mac", back, edges)
    area = np.abs(np.linalg.det(drawn))
    own = area[:, None, None] * np.einsum("mac,mbc->mab", jacobian, jacobian)
    total, weight = np.zeros((len(mesh.vertices), 2, 2)), np.zeros(len(mesh.vertices))
    for k in range(3):
        np.add.at(total, mesh.faces[:, k], own)
        np.add.at(weight, mesh.faces[:, k], area)
    return total / np.maximum(weight, 1e-300)[:, None, None]


def total_length(ground: Ground, wedges: tuple[Wedge, ...]) -> float:
    """Length of all wedges in mm."""
    return sum(length(ground, wedge) for wedge in wedges)


def price(ground: Ground, wedges: tuple[Wedge, ...]) -> float:
    """Length of all wedges in mm, dearer where they are in plain view."""
    if ground.views is None:
        return total_length(ground, wedges)
    parts = [_pieces(ground, wedge) for wedge in wedges]
    return sum(
        float(sizes.sum() * (1.0 + ground.rules.show * ground.views[near].mean()))
        for sizes, near in parts
    )


def samples(mouth: Plane, tip: Plane, spacing: float) -> Plane:
    """Points (s, 2) on a line, half a spacing apart, without the mouth."""
    size = float(np.hypot(*(tip - mouth)))
    share = np.arange(0.5 * spacing, size + 0.1 * spacing, 0.5 * spacing) / size
    return mouth + share[:, None] * (tip - mouth)


def _inward(outline: Plane, reach: float) -> Plane:
    """Inward unit normals (b, 2) of a counter-clockwise polygon, over `reach` to either side."""
    step = float(np.hypot(*(np.roll(outline, -1, axis=0) - outline).T).mean())
    k = max(1, int(round(reach / max(step, 1e-9))))
    k = min(k, max(1, len(outline) // 6))
    way = np.roll(outline, -k, axis=0) - np.roll(outline, k, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
    return normal / np.maximum(np.hypot(*normal.T), 1e-12)[:, None]


def apart(ground: Ground, wedges: tuple[Wedge, ...]) -> bool:
    """Whether wedges keep their distance, their length and their slant; fixed ones may do as they like."""
    flat = ground.sketch.flat
    ends = [(flat[w.mouth], np.asarray(w.tip)) for w in wedges]
    free = [k for k in range(len(wedges)) if ground.is_free(k)]
    if not all(_fits(ground, wedges[k].mouth, *ends[k]) for k in free):
        return False
    pairs = ((ends[i], ends[k]) for k in free for i in range(k))
    return all(gap(*one, *two) >= ground.rules.clear for one, two in pairs)


def _fits(ground: Ground, start: int, mouth: Plane, tip: Plane) -> bool:
    """Whether one wedge keeps the rules of length, slant and distance."""
    rules, way = ground.rules, tip - mouth
    size = np.hypot(*way)
    place = int(np.flatnonzero(ground.sketch.loop == start)[0])
    straight = way @ ground.inward[place] >= size * np.cos(np.radians(rules.slant))
    if not (straight and rules.shortest <= size <= ground.longest):
        return False
    if len(ground.barred) and off_line(ground.barred, mouth, tip).min() < ground.away:
        return False
    return _clear_of_rim(ground, place, mouth, tip)


def off_line(points: Plane, mouth: Plane, tip: Plane) -> NDArray[np.float64]:
    """Distance (p,) of points (p, 2) from the segment mouth-tip."""
    way = tip - mouth
    share = np.clip((points - mouth) @ way / (way @ way), 0.0, 1.0)
    return np.hypot(*(points - mouth - share[:, None] * way).T)


def _clear_of_rim(ground: Ground, place: int, mouth: Plane, tip: Plane) -> bool:
    """Whether a wedge keeps its distance from the outline, but near its own mouth."""
    outline, rules = ground.sketch.outline, ground.rules
    gap = off_line(outline, mouth, tip)
    need = np.minimum(rules.clear, 0.5 * np.hypot(*(outline - mouth).T))
    need[place] = -1.0
    beyond = np.hypot(*(outline - tip).T).min()
    return bool((gap > 0.8 * need).all() and beyond > rules.clear and inside(outline, tip[None])[0])


def gap(a: Plane, b: Plane, c: Plane, d: Plane) -> float:
    """Least distance of segments a-b and c-d in the plane, from 24 places on each."""
    share = np.linspace(0.0, 1.0, 24)[:, None]
    one, two = a + share * (b - a), c + share * (d - c)
    return float(np.sqrt(((one[:, None] - two) ** 2).sum(axis=2).min()))
