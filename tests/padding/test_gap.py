"""The room outside a surface, against closed forms."""

import numpy as np
import pytest
import trimesh

from padlib.padding.gap import outside_balls


def test_between_two_walls_the_ball_is_half_the_gap():
    """Two facing planes 30 mm apart leave room for a ball of radius 15 mm, and no more."""
    x, z = np.meshgrid(np.arange(-100, 101, 4.0), np.arange(-100, 101, 4.0))
    wall = np.c_[x.ravel(), np.zeros(x.size), z.ravel()]
    points = np.vstack([wall, wall + [0, 30, 0]])
    normals = np.vstack([np.tile([0, 1.0, 0], (x.size, 1)), np.tile([0, -1.0, 0], (x.size, 1))])
    radius, other = outside_balls(points, normals, largest=80.0)
    middle = np.abs(points[:, [0, 2]]).max(axis=1) < 50
    np.testing.assert_allclose(radius[middle], 15.0, rtol=1e-6)
    assert (normals[other[middle]] == -normals[middle]).all()


def test_outside_a_sphere_there_is_room_without_end():
    """No ball that touches a sphere from outside meets the sphere again."""
    ball = trimesh.creation.icosphere(3, radius=100)
    radius, other = outside_balls(ball.vertices, ball.vertices / 100.0, largest=500.0)
    assert (radius == 500.0).all()
    assert (other == -1).all()


def test_inside_a_hollow_sphere_the_ball_is_the_sphere():
    """From the inside of a sphere of radius 100 mm the largest ball has radius 100 mm."""
    ball = trimesh.creation.icosphere(4, radius=100)
    radius, _ = outside_balls(ball.vertices, -ball.vertices / 100.0, largest=400.0)
    np.testing.assert_allclose(radius, 100.0, rtol=1e-3)


@pytest.mark.parametrize("half_angle", [15.0, 30.0])
def test_in_a_groove_the_ball_touches_both_walls(half_angle):
    """At a distance l up a wall of a groove of half angle a, the ball has radius l tan a."""
    up, along = np.meshgrid(np.arange(2, 250, 4.0), np.arange(-100, 101, 4.0))
    a = np.radians(half_angle)
    wall = np.c_[up.ravel() * np.sin(a), along.ravel(), up.ravel() * np.cos(a)]
    points = np.vstack([wall, wall * [-1, 1, 1]])
    inward = np.array([-np.cos(a), 0, np.sin(a)])
    normals = np.vstack(
        [np.tile(inward, (len(wall), 1)), np.tile(inward * [-1, 1, 1], (len(wall), 1))]
    )
    radius, _ = outside_balls(points, normals, largest=500.0)
    ups = np.concatenate([up.ravel(), up.ravel()])
    ask = (ups > 60) & (ups < 120) & (np.abs(points[:, 1]) < 40)
    np.testing.assert_allclose(radius[ask], ups[ask] * np.tan(a), rtol=5e-3)
