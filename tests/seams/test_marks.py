"""Shapes of marks against closed forms, and drawn curves on a mesh whose vertices settle on them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from padlib.mesh.cut import insert
from padlib.mesh.geodesic import prepare
from padlib.mesh.point import nearest
from padlib.mesh.smooth import smooth_path
from padlib.mesh.surface import Surface
from padlib.seams.mark_shapes import oval
from padlib.seams.pile import mean_pile, pile_field
from padlib.seams.settle import settle

RADIUS = 300.0


@pytest.fixture(scope="module")
def ball():
    """A sphere of 300 mm with edges of 21 mm on average, turned so that nothing lies on its axes."""
    mesh = trimesh.creation.icosphere(4, radius=RADIUS)
    turn = trimesh.transformations.euler_matrix(0.3, 0.7, 0.2)[:3, :3]
    return prepare(mesh.vertices @ turn.T, mesh.faces)


@pytest.mark.parametrize("reach", [40.0, 120.0, 250.0])
def test_an_oval_of_equal_width_and_height_is_a_geodesic_circle(ball, reach):
    """On a sphere it is 2 pi R sin(r / R) long and every place lies r from its middle along the surface."""
    centre = np.array([0.2, -0.9, 0.3])
    centre *= RADIUS / np.linalg.norm(centre)
    curve = oval(ball, centre, width=2 * reach, height=2 * reach)
    at = curve.positions(ball.vertices, ball.faces)
    far = RADIUS * np.arccos(at @ centre / RADIUS / np.linalg.norm(at, axis=1))

    assert np.abs(far - reach).max() < 0.01 * reach
    length = 2 * np.pi * RADIUS * np.sin(reach / RADIUS)
    assert curve.length(ball.vertices, ball.faces) == pytest.approx(length, rel=5e-3)


def test_an_oval_keeps_its_width_and_height(ball):
    """Height lies upwards: the farthest places up and across are half of each away."""
    centre = np.array([0.0, -RADIUS, 0.0])
    at = oval(ball, centre, width=80.0, height=200.0).positions(ball.vertices, ball.faces)

    assert RADIUS * np.arcsin(at[:, 2].max() / RADIUS) == pytest.approx(100.0, abs=1.0)
    assert RADIUS * np.arcsin(at[:, 0].max() / RADIUS) == pytest.approx(40.0, abs=1.0)


def test_settled_curves_stay_smooth(ball):
    """Vertices that move onto a loop do not bend it: a circle drawn in turns nowhere by more than 20 degrees.

    Its points lie inside faces, of which corners move; before these were put back, turns of 88 degrees came about.
    """
    centre = np.array([0.3, -0.8, 0.5])
    centre *= RADIUS / np.linalg.norm(centre)
    curve = oval(ball, centre, width=170.0, height=170.0)
    moved, settled = settle(ball.vertices, ball.faces, [curve])
    drawn = insert(moved, ball.faces, settled)
    line = drawn.vertices[drawn.chains[0]]
    step = np.roll(line, -1, axis=0) - line
    long = np.linalg.norm(step, axis=1)
    step = step[long > 0.3] / long[long > 0.3, None]
    turn = np.degrees(np.arccos(np.clip((step * np.roll(step, 1, axis=0)).sum(axis=1), -1, 1)))

    assert turn.max() < 20.0
    assert np.abs(RADIUS * np.arccos(line @ centre / RADIUS**2) - 85.0).max() < 1.5


def test_a_smooth_loop_through_places_on_a_ring_is_the_ring(ball):
    """Eight places on a circle of latitude: the loop keeps within 2 mm of it."""
    angle = np.linspace(0, 2 * np.pi, 8, endpoint=False)
    away = 150.0 / RADIUS
    ring = RADIUS * np.stack(
        [np.sin(away) * np.cos(angle), -np.cos(away) * np.ones(8), np.sin(away) * np.sin(angle)], 1
    )
    points = nearest(ball.vertices, ball.faces, ring)
    curve = smooth_path(ball.vertices, ball.faces, points, closed=True, ground=ball)
    at = curve.positions(ball.vertices, ball.faces)
    far = RADIUS * np.arccos(np.clip(-at[:, 1] / np.linalg.norm(at, axis=1), -1, 1))

    assert np.abs(far - 150.0).max() < 2.0


def plate(width=600.0, height=400.0, step=10.0):
    """A flat sheet in the plane y = 0."""
    x, z = np.meshgrid(np.arange(0, width + 1, step), np.arange(0, height + 1, step))
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.vstack(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    return Surface(np.column_stack([x.ravel(), 0 * x.ravel(), z.ravel()]), faces)


def test_the_pile_follows_a_stroke_and_turns_back_with_its_reach():
    """Beside a stroke over the whole sheet the field falls as exp(-distance / reach), the closed form of
    u - reach^2 u'' = 0 on both sides; far away it is the usual direction, on the stroke the stroke's."""
    sheet = plate()
    line = np.array([[0.0, 0.0, 200.0], [600.0, 0.0, 200.0]])
    down = np.array([0.0, 0.0, -1.0])
    field = pile_field(sheet, down, [(line, 50.0)])
    centre = sheet.vertices[sheet.faces].mean(axis=1)
    away = np.abs(centre[:, 2] - 200.0)
    share = np.exp(-away / 50.0)
    tan = field[:, 0] / np.maximum(-field[:, 2], 1e-12)
    true = share / np.maximum(1.0 - share, 1e-12)
    middle = (away > 15.0) & (away < 100.0)

    assert field[away < 4.0] @ np.array([1.0, 0.0, 0.0]) == pytest.approx(1.0, abs=0.02)
    assert np.degrees(np.abs(np.arctan(tan) - np.arctan(true)))[middle].max() < 4.0
    assert (field[away > 180.0] @ down).min() > 0.99
    assert pile_field(sheet, down, [(line + [0, 100.0, 0], 50.0)]) is None


def test_a_panels_pile_is_the_mean_of_its_field():
    """Half of a sheet's field one way, half square to it: the mean lies between, 45 degrees off both."""
    sheet = plate()
    left = sheet.vertices[sheet.faces].mean(axis=1)[:, 0] < 300.0
    field = np.where(left[:, None], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0])
    mean, off = mean_pile(sheet, field)

    assert mean == pytest.approx([np.sqrt(0.5), 0.0, -np.sqrt(0.5)])
    assert off == pytest.approx(45.0)
