"""The shell as the page picks on it: ways between clicks, places of the body, forecasts while dragging."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, tril, triu
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.errors import InputError
from padlib.flatten.cotangent import laplacian
from padlib.flatten.forecast import defects
from padlib.flatten.rest import rest
from padlib.mesh.dissect import dissection
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.point import nearest, positions
from padlib.mesh.smooth import smooth_path
from padlib.mesh.solve import factor, lower_triangle
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
BOX = 20.0  # mm: as fine as that is told what lies within it
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


@dataclass(frozen=True, eq=False)
class _Equation:
    """The forecast's equation, matrix @ u = -bend, ready to be solved at any vertices.

    order (n,): in which vertices had best be eliminated: of some of them the same order does, and to find it for each
    forecast would take most of its time; row, column, value (k,): the matrix's lower triangle with its vertices in that
    order, column by column.
    """

    matrix: csr_matrix
    bend: Array
    order: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    value: Array

    @classmethod
    def of(cls, vertices: Array, faces: NDArray[np.int64]) -> _Equation:
        """The equation on a mesh."""
        matrix = laplacian(rest(vertices, faces), faces).tocsr()
        edges = triu(matrix, 1).tocoo()
        order = dissection(vertices, np.column_stack([edges.row, edges.col]))
        lower = tril(matrix[order][:, order], format="csc")
        lower.sort_indices()
        column = np.repeat(np.arange(len(order)), np.diff(lower.indptr))
        return cls(
            matrix, defects(vertices, faces), order, lower.indices.astype(int), column, lower.data
        )

    def solved(self, free: NDArray[np.bool_], u: Array) -> Array:
        """u (n,) that solves it at the vertices free (n,), the others as they are."""
        out = u.copy()
        if not free.any():
            return out
        right = -self.bend - self.matrix @ np.where(free, 0.0, u)
        here = free[self.order]
        number = np.cumsum(here) - 1
        keep = here[self.row] & here[self.column]
        count = np.bincount(number[self.column[keep]], minlength=number[-1] + 1)
        pointers = np.concatenate([[0], np.cumsum(count)])
        inner = lower_triangle(self.value[keep], number[self.row[keep]], pointers)
        at = self.order[here]
        out[at] = factor(inner, lower=True, order=np.arange(len(at)), sure=True).solve(right[at])
        return out


@dataclass
class _Lazy:
    """What is made when it is first asked for; guarded, since several may ask at once."""

    guard: threading.RLock = field(default_factory=threading.RLock)
    ground: Ground | None = None
    equation: _Equation | None = None
    tree: cKDTree | None = None
    boxes: tuple[Array, NDArray[np.int64]] | None = None


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

    def _prepared(self) -> tuple[_Equation, cKDTree]:
        with self.lazy.guard:
            if self.lazy.equation is None:
                self.lazy.tree = cKDTree(self.vertices)
                self.lazy.boxes = _boxed(self.vertices)
                self.lazy.equation = _Equation.of(self.vertices, self.faces)
            return self.lazy.equation, self.lazy.tree

    def _about(self, places: Array, reach: float) -> NDArray[np.bool_]:
        """Which vertices (n,) lie in boxes whose middles are at most reach mm from some places (k, 3)."""
        self._prepared()
        middles, box = self.lazy.boxes
        return (cKDTree(places).query(middles)[0] <= reach)[box]

    def _near(self, lines: Sequence[Array]) -> NDArray[np.int64]:
        """Vertices nearest to points of lines, walked so closely that none between is missed."""
        tree = self._prepared()[1]
        dense = [_walked(line) for line in lines if len(line)]
        if not dense:
            return np.zeros(0, np.int64)
        return np.unique(tree.query(np.concatenate(dense))[1])

    def held(self, *seams: str) -> Held:
        """Everything for dragging seams: the forecast with all seams where they are."""
        others = [line for name, line in self.seams.items() if name not in seams]
        fixed = self._near([*others, *self.darts])
        if self.beyond is not None:
            fixed = np.union1d(fixed, np.flatnonzero(self.beyond))
        now = self._near([self.seams.get(seam, np.zeros((0, 3))) for seam in seams])
        shut = np.zeros(len(self.vertices), bool)
        shut[fixed] = shut[now] = True
        u = self._prepared()[0].solved(~shut, np.zeros(len(shut)))
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
        new = shape._near(lines)
        differ = np.setxor1d(new, self.now)
        if not len(differ):
            return differ, np.zeros(0)
        # a sparse choice of the changed places: the reach is far wider than a triangle
        thin = shape.vertices[differ][:: max(1, len(differ) // 40)]
        band = shape._about(thin, REACH)
        free = band.copy()
        free[self.fixed] = free[new] = False
        u = self.u.copy()
        u[self.now] = 0.0
        u[new] = 0.0
        u = shape._prepared()[0].solved(free, u)
        at = np.flatnonzero(band)
        return at, np.expm1(-u[at])


def _boxed(vertices: Array) -> tuple[Array, NDArray[np.int64]]:
    """Middles (b, 3) of the boxes, `BOX` mm wide, that vertices (n, 3) lie in, and the box of each."""
    low = np.floor(vertices / BOX).astype(int)
    low -= low.min(axis=0)
    size = low.max(axis=0) + 1
    number, box = np.unique(np.ravel_multi_index(low.T, size), return_inverse=True)
    first = np.floor(vertices.min(axis=0) / BOX)
    return (np.stack(np.unravel_index(number, size), axis=1) + first + 0.5) * BOX, box


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
