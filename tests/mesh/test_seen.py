"""How much of a surface is in plain view: all of a ball, little of what lies in a fold."""

import numpy as np
import trimesh

from padlib.mesh.seen import seen


def test_a_ball_is_in_view_all_round() -> None:
    """Nothing is in the way of a convex body: every view that meets its skin sees it."""
    ball = trimesh.creation.icosphere(4, 100.0)
    assert seen(ball.vertices, ball.faces).min() > 0.999


def test_what_lies_between_two_balls_is_hidden() -> None:
    """Where two balls all but touch they hide each other; far from there they are seen."""
    one = trimesh.creation.icosphere(4, 100.0)
    both = trimesh.util.concatenate([one, one.copy().apply_translation([202.0, 0, 0])])
    views = seen(both.vertices, both.faces)
    near = np.linalg.norm(both.vertices - [101.0, 0, 0], axis=1)
    assert views[near < 30].max() < 0.45
    assert views[near > 180].min() > 0.95


def test_views_do_not_depend_on_size_and_place() -> None:
    """Ten times larger and elsewhere the same is in view, but for cells that round otherwise."""
    mesh = trimesh.creation.torus(100.0, 40.0, major_sections=80, minor_sections=40)
    one = seen(mesh.vertices, mesh.faces)
    two = seen(10.0 * mesh.vertices + 777.0, mesh.faces)
    assert np.abs(one - two).mean() < 0.02
    inner = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]) < 70
    outer = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]) > 130
    assert one[inner].mean() < 0.85 * one[outer].mean()
