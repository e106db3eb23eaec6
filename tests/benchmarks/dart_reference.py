"""A reference for the search for darts that costs minutes: a grid of layouts, then descent.

Everything is judged on the panel itself (cut exactly, laid flat with the cloth's limit), as the
library's own result is. Nothing here is used by the library.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import dataclass, field

import numpy as np

from padlib.errors import FlatteningError
from padlib.flatten.cutting import cut_darts
from padlib.flatten.darts import dart_panel
from padlib.flatten.disk import boundary_loop
from padlib.flatten.ground import Rules, ground
from padlib.flatten.isometric import isometric, solve
from padlib.flatten.sketch import Wedge, sketch
from padlib.flatten.stretch import areas, stretch, summary
from padlib.flatten.trial import HARD, evaluate

PENALTY = 1500.0  # mm for being over the limit by the whole of it
DEGREES = (-30.0, -15.0, 0.0, 15.0, 30.0)
SHARES = (0.45, 0.6, 0.75)  # of the root of the area: lengths of the grid


@dataclass(frozen=True)
class Layout:
    """Darts as (place in the boundary, degrees off the inward normal, length on the flat in mm)."""

    darts: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True)
class Judged:
    """A layout cut and laid: total 3D length mm, percentiles of stretch, intakes; sound or not."""

    layout: Layout
    total: float
    p95: float
    p99: float
    sound: bool

    def cost(self, limit: float) -> float:
        """Length, with a penalty for what is over the limit."""
        return self.total + PENALTY * max(self.p95 / limit - 1.0, 0.0) if self.sound else np.inf


@dataclass
class Study:
    """One panel: its flat without darts, boundary and inward normals; counts full solves."""

    panel: object
    limit: float = 0.05
    rules: Rules = field(default_factory=Rules)
    solves: int = 0
    tries: int = 0
    seen: dict = field(default_factory=dict)

    def __post_init__(self) -> None:
        v, f = self.panel.surface.vertices, self.panel.surface.faces
        self.flat = isometric(v, f, limit=HARD * self.limit)
        self.loop = boundary_loop(f)
        at = self.flat[self.loop]
        way = np.roll(at, -3, axis=0) - np.roll(at, 3, axis=0)
        normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
        self.inward = normal / np.hypot(*normal.T)[:, None]
        self.root = float(np.sqrt(areas(v, f).sum()))
        plan = sketch(v, f, self.flat, self.loop, triangles=400)
        self.ground = ground(plan, self.rules, np.arange(len(self.loop)))

    def wedges(self, layout: Layout) -> tuple[Wedge, ...]:
        """The layout's darts as straight lines of the flat without darts."""
        out = []
        for place, degrees, size in layout.darts:
            c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
            n = self.inward[place % len(self.loop)]
            mouth = int(self.loop[place % len(self.loop)])
            tip = self.flat[mouth] + size * np.array([c * n[0] - s * n[1], s * n[0] + c * n[1]])
            out.append(Wedge(mouth, tuple(tip.tolist())))
        return tuple(out)

    def sketched(self, layout: Layout) -> float:
        """The percentile of stretch on the sketch; infinity where a rule is broken."""
        self.tries += 1
        tried = evaluate(self.ground, self.wedges(layout))
        if tried is None or max(tried.intakes) > self.rules.most_intake + 5:
            return np.inf
        return tried.value

    def judge(self, layout: Layout) -> Judged | None:
        """The layout on the panel itself; None where it cannot be cut."""
        if layout in self.seen:
            return self.seen[layout]
        self.seen[layout] = self._judge(layout)
        return self.seen[layout]

    def _judge(self, layout: Layout) -> Judged | None:
        wedges = self.wedges(layout)
        if evaluate(self.ground, wedges) is None:  # the same rules of distance as the library's
            return None
        opened = cut_darts(self.panel, self.flat, wedges)
        if opened is None:
            return None
        self.solves += 1
        v, f = opened.panel.surface.vertices, opened.panel.surface.faces
        try:
            solved = solve(v, f, opened.flat, limit=HARD * self.limit)
        except FlatteningError:
            return None
        told = summary(stretch(v, f, solved.flat), areas(v, f))
        total, sound = 0.0, not solved.barrier
        for left, right in opened.legs:
            total += float(np.linalg.norm(np.diff(v[left], axis=0), axis=1).sum())
            a, b = solved.flat[left[0]] - solved.flat[left[-1]], solved.flat[right[0]]
            b = b - solved.flat[right[-1]]
            intake = np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
            sound &= 0.5 * self.rules.least_intake <= intake <= self.rules.most_intake
        return Judged(layout, total, told["p95"], told["p99"], bool(sound))


def grid(study: Study, mouths: list[tuple[int, ...]]) -> list[tuple[float, Layout]]:
    """All layouts of the grid with the least strain that the sketch gives them, best first.

    mouths: sets of places. Directions and lengths are all of DEGREES and SHARES; each layout is
    ranked by its length with a penalty, as in the descent.
    """
    out = []
    one = list(itertools.product(DEGREES, [share * study.root for share in SHARES]))
    for places in mouths:
        for shape in itertools.product(one, repeat=len(places)):
            darts = tuple((p, d, size) for p, (d, size) in zip(places, shape, strict=True))
            layout = Layout(darts)
            value = study.sketched(layout) * study.ground.gain
            if np.isfinite(value):
                length = sum(size for _, _, size in darts)
                out.append((length + PENALTY * max(value / study.limit - 1.0, 0.0), layout))
    return sorted(out, key=lambda pair: pair[0])


def neighbours(layout: Layout, step: float) -> list[Layout]:
    """Layouts one step away: a dart longer, shorter, turned, or moved; all darts together; trades."""
    out = []
    darts = layout.darts

    def put(k: int, dart: tuple[int, float, float]) -> None:
        out.append(Layout((*darts[:k], dart, *darts[k + 1 :])))

    for k, (place, degrees, size) in enumerate(darts):
        for s in (1, -1):
            put(k, (place, degrees, size + s * 12 * step))
            put(k, (place, degrees + s * 10 * step, size))
            hop = max(1, round(2 * step))
            put(k, (place + s * hop, degrees, size))
            put(k, (place + s * hop, degrees + s * 10 * step, size))
            put(k, (place + s * hop, degrees - s * 10 * step, size))
    for share in (1 + 0.04 * step, 1 - 0.04 * step):
        out.append(Layout(tuple((p, d, share * size) for p, d, size in darts)))
    for i, j in itertools.permutations(range(len(darts)), 2):
        both = list(darts)
        both[i] = (*both[i][:2], both[i][2] + 12 * step)
        both[j] = (*both[j][:2], both[j][2] - 12 * step)
        out.append(Layout(tuple(both)))
    return out


def descend(
    study: Study, layout: Layout, until: float, steps: tuple[float, ...] = (2.0, 1.0, 0.5)
) -> Judged | None:
    """The layout that no step betters, from one of the grid; full solves throughout.

    until: time.process_time() at which it ends with what it has.
    """
    best = study.judge(layout)
    for step in steps:
        better = best is not None
        while better and time.process_time() < until:
            better = False
            for other in neighbours(best.layout, step):
                tried = study.judge(other)
                if tried is not None and tried.cost(study.limit) < best.cost(study.limit) - 0.1:
                    best, better = tried, True
    return best


__all__ = ["Judged", "Layout", "Study", "dart_panel", "descend", "grid", "neighbours"]
