"""Curves carried to a mesh that divides their own: the same line, with a point wherever it meets a new edge."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.errors import InputError
from padlib.mesh.cut import insert
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.onto import divided
from padlib.mesh.point import Curve, nearest
from padlib.mesh.surface import Faces, Point, Vertices

SIDE = 9


def sheet() -> tuple[Vertices, Faces]:
    """A square of 8 by 8 cells of 10 mm, each halved."""
    x, y = np.meshgrid(np.arange(SIDE) * 10.0, np.arange(SIDE) * 10.0, indexing="ij")
    number = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    a, b, c, d = (
        number[i : SIDE - 1 + i, j : SIDE - 1 + j].ravel()
        for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))
    )
    faces = np.concatenate([np.column_stack((a, b, c)), np.column_stack((a, c, d))])
    return np.column_stack((x.ravel(), y.ravel(), np.zeros(SIDE * SIDE))), faces


def straight(land: Ground, *ends: tuple[float, float], closed: bool = False) -> Curve:
    """Straight from place to place."""
    at = np.array([(x, y, 0.0) for x, y in ends])
    points = nearest(land.vertices, land.faces, at)
    return geodesic(land.vertices, land.faces, points, closed=closed, ground=land)


def test_lines_keep_their_places_and_cross_every_new_edge() -> None:
    """40 lines over a sheet into which lines were drawn twice: same corners and length to 1e-7 mm, and they can be
    drawn in as they are; among them one along a drawn line, and a closed one."""
    rng = np.random.default_rng(5)
    vertices, faces = sheet()
    land = prepare(vertices, faces)

    def lines(on: Ground, count: int) -> list[Curve]:
        ends = rng.uniform(1.0, 79.0, (count, 3, 2)).tolist()
        return [straight(on, *((x, y) for x, y in one)) for one in ends]

    first = insert(vertices, faces, [*lines(land, 4), straight(land, (3.0, 7.0), (77.0, 71.0))])
    second = insert(first.vertices, first.faces, lines(prepare(first.vertices, first.faces), 3))
    mesh = divided(faces, first, second)
    drawn = [*lines(land, 38), straight(land, (3.0, 7.0), (77.0, 71.0))]
    drawn.append(straight(land, (23.0, 27.0), (57.0, 30.0), (40.0, 66.0), closed=True))

    carried = mesh.curves(drawn)

    for one, other in zip(drawn, carried, strict=True):
        before, after = (
            one.positions(vertices, faces),
            other.positions(second.vertices, second.faces),
        )
        assert one.closed == other.closed
        np.testing.assert_allclose(after[0], before[0], atol=1e-7)
        gap = np.linalg.norm(after[:, None] - before, axis=2).min(axis=0)
        assert gap.max() < 1e-7
        assert other.length(second.vertices, second.faces) == pytest.approx(
            one.length(vertices, faces), abs=1e-7
        )
    assert len(insert(second.vertices, second.faces, carried).chains) == len(drawn)


def test_points_that_share_no_face_are_refused() -> None:
    """A line that jumps over an edge without a point there is no curve of the mesh."""
    vertices, faces = sheet()
    none = insert(vertices, faces, [])
    third = (1 / 3, 1 / 3, 1 / 3)
    far = Curve((Point(0, third), Point(len(faces) - 1, third)))

    with pytest.raises(InputError, match="points 0 and 1 share no face"):
        divided(faces, none, none).curves([far])
