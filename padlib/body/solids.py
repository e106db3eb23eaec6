"""Smooth solids written as functions: negative inside, zero on the skin, about the distance in mm near it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

Array = NDArray[np.float64]
Solid = Callable[[Array], Array]  # points (n, 3) mm to values (n,)
STEP = 2.0  # mm between the sections that a tube keeps


def join(first: Array, second: Array, blend: float) -> Array:
    """Smooth union of two solids' values: the fillet reaches `blend` mm (I. Quilez, polynomial minimum)."""
    gap = np.maximum(blend - np.abs(first - second), 0.0) / blend
    return np.minimum(first, second) - gap**3 * blend / 6.0


def meet(first: Array, second: Array, blend: float) -> Array:
    """Smooth intersection of two solids' values."""
    return -join(-first, -second, blend)


@dataclass(frozen=True, eq=False)
class Ellipsoid:
    """An ellipsoid with axes along x, y, z: centre (3,) and radii (3,), mm."""

    centre: Sequence[float]
    radii: Sequence[float]

    def __call__(self, p: Array) -> Array:
        """Values (n,) at points (n, 3)."""
        size = np.asarray(self.radii, float)
        q = (p - np.asarray(self.centre, float)) / size
        first = np.sqrt(np.einsum("ij,ij->i", q, q))
        q = q / size
        second = np.sqrt(np.einsum("ij,ij->i", q, q))
        return first * (first - 1.0) / np.maximum(second, 1e-9)

    def box(self) -> tuple[Array, Array]:
        """Lowest and highest corner."""
        centre, size = np.asarray(self.centre, float), np.asarray(self.radii, float)
        return centre - size, centre + size


@dataclass(frozen=True, eq=False)
class Bar:
    """A bar from start (3,) to end (3,) with round ends, its radius running from the first to the second of radii."""

    start: Sequence[float]
    end: Sequence[float]
    radii: tuple[float, float]

    def __call__(self, p: Array) -> Array:
        """Values (n,) at points (n, 3)."""
        along = np.subtract(self.end, self.start)
        t = np.clip((p - self.start) @ along / float(along @ along), 0.0, 1.0)
        foot = p - self.start - t[:, None] * along
        radius = self.radii[0] + (self.radii[1] - self.radii[0]) * t * t * (3 - 2 * t)
        return np.sqrt(np.einsum("ij,ij->i", foot, foot)) - radius

    def box(self) -> tuple[Array, Array]:
        """Lowest and highest corner."""
        ends, size = np.array([self.start, self.end]), max(self.radii)
        return ends.min(axis=0) - size, ends.max(axis=0) + size


@dataclass(frozen=True, eq=False)
class Tube:
    """A solid swept along a straight line with changing sections.

    origin (3,), axes (3, 3): rows across, back and along; stations (k,) mm along, ascending;
    half (k, 4): half-width toward +across and -across, toward +back and -back, mm;
    offset (k, 2): the section's centre across and back; power (k,): of the super-ellipse, 2 is an ellipse;
    ends (2,): how round the two ends are, mm; even: reach of the mean that evens the sections out, mm.
    """

    origin: Array
    axes: Array
    stations: Array
    half: Array
    offset: Array
    power: Array
    ends: tuple[float, float]
    even: float = 18.0

    def __call__(self, p: Array) -> Array:
        """Values (n,) at points (n, 3)."""
        s, rows = self.fine
        q = (p - self.origin) @ self.axes.T
        at = np.clip((q[:, 2] - s[0]) / STEP, 0.0, len(s) - 1.001)
        k = at.astype(np.int64)
        row = rows[k] + (at - k)[:, None] * (rows[k + 1] - rows[k])
        u, w = q[:, 0] - row[:, 4], q[:, 1] - row[:, 5]
        a = np.where(u >= 0, row[:, 0], row[:, 1])
        b = np.where(w >= 0, row[:, 2], row[:, 3])
        n = row[:, 6]
        far = np.hypot(u, w)
        gauge = ((np.abs(u) / a) ** n + (np.abs(w) / b) ** n) ** (1 / n)
        deepest = -1.5 * np.minimum(a, b)
        side = np.where(far > 1e-6, far * (1 - 1 / np.maximum(gauge, 1e-9)), deepest)
        out = meet(np.maximum(side, deepest), s[0] - q[:, 2], self.ends[0])
        return meet(out, q[:, 2] - self.stations[-1], self.ends[1])

    @cached_property
    def fine(self) -> tuple[Array, Array]:
        """Stations every STEP mm (f,) and the seven section numbers there (f, 7), evened out."""
        s = np.arange(self.stations[0], self.stations[-1] + STEP, STEP)
        given = np.column_stack([self.half, self.offset, self.power])
        rows = PchipInterpolator(self.stations, given, axis=0)(np.minimum(s, self.stations[-1]))
        # a spline's bend at a station would show as a ring on the skin: a short mean takes it away
        reach = max(1, round(self.even / STEP))
        weight = np.hanning(2 * reach + 3)[1:-1]
        weight /= weight.sum()
        wide = np.concatenate([np.repeat(rows[:1], reach, 0), rows, np.repeat(rows[-1:], reach, 0)])
        return s, np.column_stack([np.convolve(c, weight, mode="valid") for c in wide.T])

    def box(self) -> tuple[Array, Array]:
        """Lowest and highest corner."""
        s, rows = self.fine
        centre = self.origin + np.column_stack([rows[:, 4:6], s]) @ self.axes
        size = rows[:, :4].max(axis=1)[:, None]
        return (centre - size).min(axis=0), (centre + size).max(axis=0)


@dataclass(frozen=True, eq=False)
class Part:
    """A solid of a body, how wide its fillet with the parts before it is (mm), and whether it is its mirror image."""

    solid: Ellipsoid | Bar | Tube
    blend: float
    mirrored: bool = False


def union(parts: Sequence[Part], margin: float) -> Solid:
    """All parts joined in their order. Farther than `margin` mm from its box a part is not looked at."""
    boxes = [part.solid.box() for part in parts]

    def value(points: Array) -> Array:
        out = np.full(len(points), 1e3)
        flipped = points * np.array([-1.0, 1.0, 1.0])
        for part, (low, high) in zip(parts, boxes, strict=True):
            p = flipped if part.mirrored else points
            near = np.flatnonzero(((p > low - margin) & (p < high + margin)).all(axis=1))
            if len(near):
                out[near] = join(out[near], part.solid(p[near]), part.blend)
        return out

    return value
