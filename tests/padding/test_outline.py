"""Outlines of pads evened out, against circles."""

import numpy as np
import trimesh

from padlib.mesh.section import level_set
from padlib.padding.outline import even_level


def radii(curve, vertices, faces):
    """Distances of a curve's points from the z axis."""
    return np.hypot(*curve.positions(vertices, faces)[:, :2].T)


def test_a_run_out_on_a_sphere_is_drawn_as_the_circle_that_it_is():
    """A height that runs out as the square of the distance: the exact level of coarse triangles is up to 3 mm
    wide of it in places, the outline half of that at most, and as large on average."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=200.0)
    turned = trimesh.transformations.rotation_matrix(0.4, [1, 2, 0.5])
    vertices = trimesh.transform_points(ball.vertices, turned)
    faces = np.asarray(ball.faces, dtype=np.int64)
    arc = 200.0 * np.arccos(np.clip(vertices[:, 2] / 200.0, -1, 1))
    values = 0.02 * np.maximum(140.0 - arc, 0.0) ** 2 - 2.0
    exact = 200.0 * np.sin((140.0 - 10.0) / 200.0)

    (plain,) = level_set(vertices, faces, values)
    (drawn,) = even_level(vertices, faces, values)
    before, after = (radii(c, vertices, faces) - exact for c in (plain, drawn))
    assert np.ptp(before) > 2.0
    assert np.ptp(after) < np.ptp(before) / 2
    assert abs(after.mean() - before.mean()) < 0.3
    assert after.std() < before.std() / 3


def test_an_open_level_stays_as_it_is():
    """On a strip that the level crosses from side to side nothing is changed."""
    x, y = np.meshgrid(np.arange(0.0, 200.0, 10.0), np.arange(0.0, 50.0, 10.0), indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    at = np.arange(x.size).reshape(x.shape)
    quads = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=-1).reshape(-1, 4)
    faces = np.concatenate([quads[:, :3], quads[:, [0, 2, 3]]])
    values = vertices[:, 0] - 93.0
    assert even_level(vertices, faces, values) == level_set(vertices, faces, values)
