"""A limb's centre line, and its sections square to that line."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from padlib.body.slices import Slices, girth, hull, oblique

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

SPACING = 8.0  # mm between the sections along a limb
TAIL = 40.0  # mm at the tip of a hand that are taken as straight
SMOOTH = 2.0  # samples: width of the filter that smooths a centre line
ROUNDS = 2  # the line is cut, and its sections' middles make the next line


@dataclass(frozen=True, eq=False)
class Limb:
    """A limb as sections square to its centre line, proximal to distal.

    line (k, 3) mm; tangent (k, 3); cut: the sections; s (k,): distance along the line in mm.
    """

    line: Array
    tangent: Array
    cut: Slices
    s: Array

    @cached_property
    def girth(self) -> Array:
        """Taut girth (k,) in mm, NaN where the section is open (at the root of the limb)."""
        return _girths(self.cut, len(self.line))

    def at(self, s: float) -> Array:
        """Point (3,) of the line at a distance along it."""
        return np.array([np.interp(s, self.s, self.line[:, k]) for k in range(3)])

    def direction(self, s: float) -> Array:
        """Unit tangent (3,) at a distance along the line."""
        out = np.array([np.interp(s, self.s, self.tangent[:, k]) for k in range(3)])
        return out / np.linalg.norm(out)


def submesh(vertices: Array, faces: Ints, keep: Mask) -> tuple[Array, Ints]:
    """The faces whose three vertices are all kept, with only the vertices that they use."""
    part = faces[keep[faces].all(axis=1)]
    used, index = np.unique(part, return_inverse=True)
    return vertices[used], index.reshape(-1, 3).astype(np.int64)


def resampled(line: Array, spacing: float) -> Array:
    """A polyline (k, 3) at even steps of about `spacing` mm, ends kept."""
    s = lengths(line)
    keep = np.concatenate([[True], np.diff(s) > 1e-9])
    s, line = s[keep], line[keep]
    count = max(3, int(round(s[-1] / spacing)) + 1)
    at = np.linspace(0.0, s[-1], count)
    return np.column_stack([np.interp(at, s, line[:, k]) for k in range(3)])


def lengths(line: Array) -> Array:
    """Distance (k,) of each point along a polyline (k, 3) from its first one, mm."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def tangents(line: Array) -> Array:
    """Unit tangents (k, 3) of a smooth polyline (k, 3)."""
    along = np.gradient(line, axis=0)
    return along / np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]


def smooth(line: Array, width: float = SMOOTH) -> Array:
    """A polyline (k, 3) with its kinks taken out, its ends kept."""
    out = gaussian_filter1d(line, width, axis=0, mode="nearest")
    blend = np.clip(
        np.minimum(np.arange(len(line)), np.arange(len(line))[::-1]) / (2 * width), 0, 1
    )[:, None]
    return line * (1 - blend) + out * blend


def limb(vertices: Array, faces: Ints, rough: Array, *, to_tip: bool = False) -> Limb:
    """Centre line and square sections of a limb's own mesh (open at its root), from a rough line (k, 3).

    Where a section is open or missing, the line keeps its place from the round before. to_tip: the
    last TAIL mm run straight to the farthest vertex, since sections of a hand's end are fingers.
    """
    line = smooth(resampled(rough, SPACING))
    for _ in range(ROUNDS):
        line = _to_tip(line, vertices) if to_tip else line
        cut = oblique(vertices, faces, line, tangents(line))
        middle = _middles(cut, len(line))
        known = np.isfinite(middle[:, 0])
        if known.sum() < 3:
            break
        line = resampled(smooth(_filled(line, middle, known)), SPACING)
    line = _to_tip(line, vertices) if to_tip else line
    tangent = tangents(line)
    cut = oblique(vertices, faces, line, tangent)
    return Limb(line, tangent, cut, lengths(line))


def _to_tip(line: Array, vertices: Array) -> Array:
    """The line with its last TAIL mm made straight, as long as the vertices reach that way."""
    s = lengths(line)
    stop, back = (int(np.searchsorted(s, max(s[-1] - d, 0.3 * s[-1]))) for d in (TAIL, 3 * TAIL))
    way = line[stop] - line[back]
    size = np.linalg.norm(way)
    if size < SPACING:
        return line
    reach = float(((vertices - line[stop]) @ way).max() / size)
    tip = line[stop] + way / size * max(reach, SPACING)
    return resampled(np.concatenate([line[: stop + 1], tip[None]]), SPACING)


def _filled(line: Array, middle: Array, known: Mask) -> Array:
    """The new middles, with gaps filled by the old line shifted to meet them."""
    index = np.arange(len(line))
    shift = np.column_stack(
        [np.interp(index, index[known], (middle - line)[known, k]) for k in range(3)]
    )
    fade = np.ones(len(line))
    first, last = index[known][[0, -1]]
    fade[:first] = np.linspace(0.0, 1.0, first, endpoint=False)
    fade[last + 1 :] = np.linspace(1.0, 0.0, len(line) - last - 1)
    return np.where(known[:, None], middle, line + shift * fade[:, None])


def _open(cut: Slices, count: int) -> Mask:
    """Levels (count,) whose section is not closed, or is empty."""
    broken = np.bincount(cut.loop_level, ~cut.whole, count) > 0
    return broken | (np.bincount(cut.loop_level, minlength=count) == 0)


def _middles(cut: Slices, count: int) -> Array:
    """Centroid (count, 3) of each section, NaN where it is open."""
    solid = cut.area > 0
    level, area = cut.loop_level[solid], cut.area[solid]
    total = np.bincount(level, area, count)
    out = np.column_stack(
        [np.bincount(level, area * cut.centre[solid, k], count) for k in range(3)]
    )
    out /= np.where(total > 0, total, 1.0)[:, None]
    out[_open(cut, count) | (total <= 0)] = np.nan
    return out


def _girths(cut: Slices, count: int) -> Array:
    """Taut girth (count,) round everything that each section cuts, NaN where it is open."""
    bounds = np.searchsorted(cut.level, np.arange(count + 1))
    out = np.full(count, np.nan)
    for k in np.flatnonzero(~_open(cut, count)):
        out[k] = girth(hull(cut.start[bounds[k] : bounds[k + 1]], cut.normals[k]))
    return out
