"""Signed distances: the same as libigl's, inside and outside, at corners and edges too."""

import igl
import numpy as np
import trimesh

from padlib.padding.skin import skin


def test_distances_and_signs_are_those_of_libigl():
    """Over points near a box with sharp edges and near a ball: distance, sign and nearest point."""
    random = np.random.default_rng(5)
    for mesh in (trimesh.creation.box((40, 60, 90)), trimesh.creation.icosphere(3, radius=50)):
        v, f = np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64)
        points = np.vstack([random.uniform(-80, 80, (3000, 3)), 1.2 * v, 0.8 * v])
        distance, close, _ = skin(v, f).signed(points)
        expected, _, where, _ = igl.signed_distance(
            np.ascontiguousarray(points), v, f, sign_type=igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
        )
        np.testing.assert_allclose(distance, expected, atol=1e-9)
        far = np.linalg.norm(points - close, axis=1)
        np.testing.assert_allclose(far, np.linalg.norm(points - where, axis=1), atol=1e-9)


def test_nothing_asked_is_nothing_told():
    """No points give empty answers."""
    box = trimesh.creation.box((1, 1, 1))
    distance, close, normal = skin(np.array(box.vertices), np.array(box.faces)).signed(
        np.zeros((0, 3))
    )
    assert distance.shape == (0,)
    assert close.shape == normal.shape == (0, 3)
