"""Self-intersections, against an exact test from outside (CGAL through libigl)."""

import numpy as np
import pytest
import trimesh
from igl.copyleft import cgal

from padlib.mesh.crossings import crossings


def exact_pairs(vertices, faces):
    """Pairs of triangles (k, 2) that meet where they should not, by exact arithmetic."""
    return cgal.remesh_self_intersections(
        np.ascontiguousarray(vertices, dtype=np.float64),
        np.ascontiguousarray(faces, dtype=np.int64),
        detect_only=True,
    )[2]


def test_a_sphere_does_not_cross_itself():
    """No edge of a plain sphere pierces one of its triangles."""
    ball = trimesh.creation.icosphere(4)
    edges, hit = crossings(ball.vertices, ball.faces)
    assert len(edges) == len(hit) == 0


@pytest.mark.parametrize("shift", [(1.0, 0.11, 0.07), (1.9, 0.2, 0.3), (0.0, 0.03, 1.2)])
def test_two_spheres_cross_where_the_exact_test_says(shift):
    """Every piercing found is between triangles that cross exactly, and each such pair is found."""
    ball = trimesh.creation.icosphere(3)
    vertices = np.vstack([ball.vertices, ball.vertices + shift])
    faces = np.vstack([ball.faces, ball.faces + len(ball.vertices)])
    edges, hit = crossings(vertices, faces)
    exact = {frozenset(pair) for pair in exact_pairs(vertices, faces).tolist()}
    around = {}
    for face, corners in enumerate(faces.tolist()):
        for k in range(3):
            around.setdefault(frozenset((corners[k], corners[k - 1])), []).append(face)
    found = {
        frozenset((face, int(other)))
        for edge, other in zip(edges.tolist(), hit, strict=True)
        for face in around[frozenset(edge)]
    }
    assert found == exact


@pytest.mark.parametrize("seed", range(4))
def test_a_crumpled_sphere_crosses_where_the_exact_test_says(seed):
    """On a sphere with a noisy skin both tests agree on whether there is any crossing, and where."""
    rng = np.random.default_rng(seed)
    ball = trimesh.creation.icosphere(3)
    vertices = ball.vertices + rng.normal(0, 0.06, ball.vertices.shape)
    edges, hit = crossings(vertices, ball.faces)
    exact = exact_pairs(vertices, ball.faces)
    assert (len(hit) > 0) == (len(exact) > 0)
    assert set(hit.tolist()) <= set(exact.ravel().tolist())
    touched = set(edges.ravel().tolist()) | set(ball.faces[hit].ravel().tolist())
    assert all(touched & set(ball.faces[pair].ravel().tolist()) for pair in exact)


def test_only_the_region_asked_for_is_looked_at():
    """Crossings outside `within` are left out."""
    ball = trimesh.creation.icosphere(2)
    vertices = np.vstack([ball.vertices, ball.vertices + [1.0, 0.1, 0.05]])
    faces = np.vstack([ball.faces, ball.faces + len(ball.vertices)])
    assert len(crossings(vertices, faces)[1]) > 0
    away = vertices[:, 0] < -0.5
    assert len(crossings(vertices, faces, within=away)[1]) == 0
