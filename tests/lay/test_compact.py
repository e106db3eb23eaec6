"""Lays pushed together: against closed form, and against shapely's own distances."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from padlib.lay.compact import compact, convex_parts

SQUARE = np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]])


def star(rng: np.random.Generator) -> np.ndarray:
    """A star-shaped outline of 18 points with hollows."""
    angle = np.linspace(0, 2 * np.pi, 18, endpoint=False)
    radius = rng.uniform(30, 110, 18)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def test_squares_in_a_column_close_up_to_the_gap() -> None:
    """Three squares on cloth as wide as they are end up one gap apart, however far apart they began."""
    at = compact([SQUARE] * 3, np.array([[0, 0], [0, 137.0], [0, 300]]), 100.0, 10.0)
    assert np.sort(at[:, 1]) == pytest.approx([0, 110, 220], abs=0.01)


def test_a_key_slides_into_its_slot() -> None:
    """Moved across and along at once, a bar comes to rest in the slot of a U: as long as the U is."""
    u = np.array([[0, 0], [100, 0], [100, 90], [62, 90], [62, 30], [38, 30], [38, 90], [0, 90.0]])
    bar = np.array([[0, 0], [20, 0], [20, 60], [0, 60.0]])
    at = compact([u, bar], np.array([[0, 0], [41.5, 75.0]]), 100.0, 0.0)
    length = max(at[0, 1] + 90, at[1, 1] + 60)
    assert length == pytest.approx(90.0, abs=0.01)
    shapes = [shapely.Polygon(line + by) for line, by in zip((u, bar), at, strict=True)]
    assert shapes[0].intersection(shapes[1]).area < 1e-6


@pytest.mark.parametrize("gap", [0.0, 6.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_loose_lays_get_shorter_and_keep_the_gap(seed: int, gap: float) -> None:
    """Hollow outlines on a loose grid: shorter by a tenth or more, none nearer than the gap or off the cloth."""
    rng = np.random.default_rng(seed)
    lines = [star(rng) for _ in range(12)]
    at = np.array([[120 + 240 * (k % 3), 120 + 240 * (k // 3)] for k in range(12)], dtype=float)
    new = compact(lines, at, 740.0, gap)
    shapes = [shapely.Polygon(line + by) for line, by in zip(lines, new, strict=True)]
    for k, one in enumerate(shapes):
        assert all(one.distance(other) >= gap - 1e-3 for other in shapes[k + 1 :])
        assert all(one.intersection(other).area < 1e-3 for other in shapes[k + 1 :])
    x0, y0, x1, y1 = shapely.union_all(shapes).bounds
    assert min(x0, y0) >= -1e-6
    assert x1 <= 740 + 1e-6
    old = max(float((line + by)[:, 1].max()) for line, by in zip(lines, at, strict=True))
    assert y1 < 0.9 * old


def test_convex_parts_are_convex_and_fill_the_outline() -> None:
    """Parts are their own hulls, do not overlap, and have the outline's area; a convex outline is one part."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        shape = shapely.Polygon(star(rng))
        parts = convex_parts(shape)
        assert all(p.convex_hull.area == pytest.approx(p.area) for p in parts)
        assert sum(p.area for p in parts) == pytest.approx(shape.area)
        assert shapely.union_all(parts).symmetric_difference(shape).area < 1e-6 * shape.area
    assert len(convex_parts(shapely.Point(0, 0).buffer(10))) == 1
