"""The shell as the page picks on it: ways between clicks, places of the body, forecasts while dragging."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.flatten.cotangent import laplacian
from padlib.flatten.forecast import defects
from padlib.flatten.rest import rest
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.point import nearest, positions
from padlib.mesh.smooth import smooth_path
from padlib.mesh.solve import factor
from padlib.mesh.surface import Point, Surface
from padlib.padding.spot import held
from padlib.seams.assemble import part_of
from padlib.seams.place import Place
from padlib.seams.plan import Options
from padlib.seams.steer import Plan
from padlib.suit.extras import written
from padlib.workshop.frames import Blocks, array

Array = NDArray[np.float64]

MOST_POINTS = 200  # of one drawn line
REACH = 150.0  # mm about a moved stretch of a seam within which the forecast is made anew
END_REACH = 60.0  # mm within which an end of a drawn seam is led onto another
BEYOND = 12.0  # mm past it; what is too long is cut off when the seam is drawn in
COVERED = 15.0  # mm from the nearest vertex of a panel; farther away there is no cloth


@dataclass(frozen=True)
class OwnLine:
    """A seam, mark or stroke of the maker's: its table (seam, mark, pile) and number in the suit file, its points
    (k, 3) on the shell, mm; round: whether it is round at them."""

    table: str
    number: int
    name: str
    closed: bool
    points: Array
    round: bool = False


@dataclass
class _Lazy:
    """What is made when it is first asked for; guarded, since several may ask at once."""

    guard: threading.RLock = field(default_factory=threading.RLock)
    ground: Ground | None = None
    matrix: Any = None
    bend: Array | None = None
    tree: cKDTree | None = None


@dataclass(frozen=True)
class Shape:
    """The shell: vertices (n, 3) mm, faces (m, 3); under (n, 3): the places of the body below.

    pad (n,): thickness of the pads, mm; seams: lines (k, 3) mm of each seam, by name; own: the maker's own lines;
    darts: lines of the darts; beyond (n,): what no panel covers, such as hands; on (n,): the panel, an index into
    panels, that each vertex is on or next to; plan: the seam plan with its numbers, worn: those of them that worn parts
    say instead of the suit file.
    """

    revision: int
    vertices: Array
    faces: NDArray[np.int64]
    under: Array
    body: Body
    seams: Mapping[str, Array] = field(default_factory=dict)
    own: tuple[OwnLine, ...] = ()
    darts: tuple[Array, ...] = ()
    beyond: NDArray[np.bool_] | None = None
    panels: tuple[str, ...] = ()
    on: NDArray[np.int64] | None = None
    pad: Array | None = None
    plan: Plan | None = None
    worn: frozenset[str] = frozenset()
    lazy: _Lazy = field(default_factory=_Lazy, repr=False, compare=False)

    @classmethod
    def read(cls, text: Mapping[str, Any], block: bytes, last: Shape | None = None) -> Shape:
        """The shape of a message of `padlib.workshop.look`; last: whose body stays where the message has none."""
        vertices = array(block, text["vertices"], "<f8").reshape(-1, 3)
        faces = array(block, text["faces"], "<u4").reshape(-1, 3).astype(np.int64)
        under = array(block, text["under"], "<f8").reshape(-1, 3)
        told = text.get("body")
        if told is None and last is not None:
            body = last.body
        elif told is None:
            body = Body(Surface(under, faces))
        else:
            skin = array(block, told["vertices"], "<f8").reshape(-1, 3)
            surface = Surface(skin, array(block, told["faces"], "<u4").reshape(-1, 3).astype(int))
            marks = {k: Point(f, (a, b, c)) for k, (f, a, b, c) in told["landmarks"].items()}
            body = Body(surface, marks)
        pad = array(block, text["pad"], "<f8") if "pad" in text else np.zeros(len(vertices))
        return cls(text["revision"], vertices, faces, under, body, pad=pad)

    def told(self, number: int) -> tuple[dict[str, Any], bytes]:
        """What the page is told of it; number: by which the page names it."""
        blocks = Blocks()
        text = {
            "stage": "shape",
            "revision": self.revision,
            "shape": number,
            "vertices": blocks.keep(self.vertices.astype("<f4")),
            "faces": blocks.keep(self.faces.astype("<u4")),
        }
        data = blocks.message(text)
        return text, data[4 + int.from_bytes(data[:4], "little") :]

    def with_seams(
        self, scene: Mapping[str, Any], block: bytes, own: Sequence[Mapping[str, Any]]
    ) -> Shape:
        """The shape with the seams of a cut scene."""
        lines: dict[str, list[Array]] = {}
        darts, covered, panels = [], [], []
        for panel in scene["panels"]:
            at = array(block, panel["vertices"], "<f4").reshape(-1, 3).astype(float)
            covered.append(at)
            panels.append(panel["name"])
            for kind, seam, run in panel["edges"]:
                line = at[array(block, run, "<u4")]
                if kind == "dart":
                    darts.append(line)
                else:
                    lines.setdefault(seam, []).append(line)
        away, near = cKDTree(np.concatenate(covered)).query(self.vertices)
        on = np.repeat(np.arange(len(covered)), [len(at) for at in covered])[near]
        seams = {k: np.concatenate(v) for k, v in lines.items()}
        mine = tuple(
            OwnLine(
                *(s[k] for k in ("table", "number", "name", "closed")),
                np.array(s["points"]),
                s["round"],
            )
            for s in own
        )
        found = {"panels": tuple(panels), "on": on, "beyond": away > COVERED}
        return replace(self, seams=seams, own=mine, darts=tuple(darts), **found)

    def with_plan(self, told: Mapping[str, Any]) -> Shape:
        """The shape with its seams' plan, as `plan_told` tells it."""
        place = Place(
            Surface(self.vertices, self.faces),
            {name: np.array(at) for name, at in told["at"].items()},
            {name: np.array(line) for name, line in told["axes"].items()},
            {},
            self.pad,
            None,
            told["stature"],
        )
        of = [part_of(name) for name in self.panels]
        parts = tuple(dict.fromkeys(of))
        part = np.array([parts.index(name) for name in of])[self.on]
        plan = Plan(place, Options(**told["options"]), parts, part, self.beyond)
        return replace(self, plan=plan, worn=frozenset(told["worn"]))

    # Points and ways ------------------------------------------------------------------------------

    def points(self, given: Sequence[Sequence[float]]) -> list[Point]:
        """Points of [face, a, b, c]. Raises InputError for those that are not on the shape."""
        if not 0 < len(given) <= MOST_POINTS:
            raise InputError(f"A line has 1 to {MOST_POINTS} points.")
        out = []
        for face, *weights in given:
            low, total = min(weights), sum(weights)
            if not 0 <= face < len(self.faces) or low < -1e-3 or not 0.9 < total < 1.1:
                raise InputError("A point of the line is not on the figure; click again.")
            a, b, c = (max(w, 0.0) for w in weights)
            size = a + b + c
            out.append(Point(int(face), (a / size, b / size, c / size)))
        return out

    def places(self, points: Sequence[Point]) -> Array:
        """The places (k, 3) mm of points."""
        return positions(self.vertices, self.faces, points)

    def ground(self) -> Ground:
        """What ways need, made at the first one."""
        with self.lazy.guard:
            if self.lazy.ground is None:
                self.lazy.ground = prepare(self.vertices, self.faces)
            return self.lazy.ground

    def way(self, points: Sequence[Point], *, closed: bool, smooth: bool = False) -> Array:
        """The line (k, 3) mm on the shape through points: the shortest, or round at them."""
        if len(points) < 2:
            return self.places(points)
        draw = smooth_path if smooth else geodesic
        curve = draw(self.vertices, self.faces, points, closed=closed, ground=self.ground())
        line = curve.positions(self.vertices, self.faces)
        return np.vstack((line, line[:1])) if closed else line

    def on_body(self, points: Sequence[Point]) -> Array:
        """The places (k, 3) of the body under points, mm."""
        return positions(self.under, self.faces, points)

    def spots(self, points: Sequence[Point]) -> list[Any]:
        """The places of the body under points as a suit file writes them: in coordinates that follow the wearer."""
        return [written(spot) for spot in held(self.body, list(self.on_body(points)))]

    def to_seam(self, end: Point, before: Point) -> Point:
        """An end of a seam led onto the nearest other one, and a little beyond, so that they surely meet.

        before: the point next to the end. Raises InputError where none is near.
        """
        here, inner = positions(self.vertices, self.faces, [end, before])
        lines = [_walked(line) for line in self.seams.values() if len(line)]
        if not lines:
            raise InputError("The seams are not cut yet; wait until the panels are drawn.")
        on = np.concatenate(lines)
        away = np.linalg.norm(on - here, axis=1)
        best = int(np.argmin(away))
        if away[best] > END_REACH:
            raise InputError(
                f"A seam begins and ends on another seam or an opening, or is closed; an end of this "
                f"one lies {away[best]:.0f} mm from the nearest."
            )
        way = on[best] - inner
        beyond = BEYOND * way / max(float(np.linalg.norm(way)), 1e-9)
        return nearest(self.vertices, self.faces, (on[best] + beyond)[None])[0]

    # Forecasts ------------------------------------------------------------------------------------

    def _prepared(self) -> tuple[Any, Array, cKDTree]:
        with self.lazy.guard:
            if self.lazy.matrix is None:
                at_rest = rest(self.vertices, self.faces)
                self.lazy.matrix = laplacian(at_rest, self.faces).tocsr()
                self.lazy.bend = defects(self.vertices, self.faces)
                self.lazy.tree = cKDTree(self.vertices)
            return self.lazy.matrix, self.lazy.bend, self.lazy.tree

    def _near(self, lines: Sequence[Array]) -> NDArray[np.int64]:
        """Vertices nearest to points of lines, walked so closely that none between is missed."""
        tree = self._prepared()[2]
        dense = [_walked(line) for line in lines if len(line)]
        if not dense:
            return np.zeros(0, np.int64)
        return np.unique(tree.query(np.concatenate(dense))[1])

    def held(self, *seams: str) -> Held:
        """Everything for dragging seams: the forecast with all seams where they are."""
        matrix, bend, _ = self._prepared()
        others = [line for name, line in self.seams.items() if name not in seams]
        fixed = self._near([*others, *self.darts])
        if self.beyond is not None:
            fixed = np.union1d(fixed, np.flatnonzero(self.beyond))
        now = self._near([self.seams.get(seam, np.zeros((0, 3))) for seam in seams])
        shut = np.zeros(len(self.vertices), bool)
        shut[fixed] = shut[now] = True
        u = _solved(matrix, bend, np.flatnonzero(~shut), np.zeros(len(bend)))
        return Held(self, fixed, now, u)


@dataclass(frozen=True)
class Held:
    """Seams in hand: vertices on the other seams, those on these, and the forecast u (n,) before."""

    shape: Shape
    fixed: NDArray[np.int64]
    now: NDArray[np.int64]
    u: Array

    def stretch(self) -> Array:
        """The forecast stretch (n,) at each vertex of the shape, before the seam is moved."""
        return np.expm1(-self.u)

    def moved(self, *lines: Array) -> tuple[NDArray[np.int64], Array]:
        """Vertices near what of the seams moved, and the stretch forecast there; lines: all that they are now.

        Solved anew within `REACH` of what moved; beyond it the forecast stands as it was.
        """
        shape = self.shape
        matrix, bend, _ = shape._prepared()
        new = shape._near(lines)
        differ = np.setxor1d(new, self.now)
        if not len(differ):
            return differ, np.zeros(0)
        # a sparse choice of the changed places: the reach is far wider than a triangle
        thin = shape.vertices[differ][:: max(1, len(differ) // 40)]
        band = _within(shape.vertices, thin, REACH)
        shut = np.zeros(len(shape.vertices), bool)
        shut[self.fixed] = shut[new] = True
        free = band[~shut[band]]
        u = self.u.copy()
        u[self.now] = 0.0
        u[new] = 0.0
        u = _solved(matrix, bend, free, u)
        return band, np.expm1(-u[band])


def _solved(matrix: Any, bend: Array, free: NDArray[np.int64], u: Array) -> Array:
    """u (n,) with the equation of the forecast solved at the vertices free, the others as they are."""
    out = u.copy()
    if not len(free):
        return out
    rows = matrix[free]
    known = u.copy()
    known[free] = 0.0
    right = -bend[free] - rows @ known
    inner = rows[:, free].tocsc()
    out[free] = factor(inner).solve(right)
    return out


def _within(vertices: Array, places: Array, reach: float) -> NDArray[np.int64]:
    """Numbers of the vertices (n, 3) at most reach mm from any of some places (k, 3)."""
    boxed = np.ones(len(vertices), bool)
    for axis in range(3):
        at, own = vertices[:, axis], places[:, axis]
        boxed &= (at >= own.min() - reach) & (at <= own.max() + reach)
    found = np.flatnonzero(boxed)
    away = cKDTree(places).query(vertices[found], distance_upper_bound=reach)[0]
    return found[np.isfinite(away)]


def _walked(line: Array, step: float = 3.0) -> Array:
    """Points (k, 3) along a line at most `step` mm apart."""
    if len(line) < 2:
        return line
    size = np.linalg.norm(np.diff(line, axis=0), axis=1)
    count = np.maximum(1, np.ceil(size / step).astype(int))
    count[size > 100.0] = 1  # from the end of one panel's edge to the start of another's
    at = np.repeat(np.arange(len(size)), count)
    share = (np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)) / count[at]
    return np.vstack((line[at] + share[:, None] * (line[at + 1] - line[at]), line[-1:]))
