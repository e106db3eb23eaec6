"""Places on a surface."""

import numpy as np
import pytest
import trimesh

from padlib.mesh.along import between, lengths, nearest_length, place, stretch_between
from padlib.mesh.point import (
    Curve,
    at_vertex,
    barycentric,
    faces_at,
    nearest,
    positions,
    share_face,
    snapped,
)
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Point

SPHERE = trimesh.creation.icosphere(3)
V, F = np.array(SPHERE.vertices), np.array(SPHERE.faces)


def test_nearest_is_what_trimesh_finds():
    """The nearest places are as far away as those that trimesh finds, and lie on their faces."""
    query = np.random.default_rng(0).normal(size=(50, 3))
    found = positions(V, F, nearest(V, F, query))
    for spot, mine in zip(query, found, strict=True):
        on_each = trimesh.triangles.closest_point(V[F], np.tile(spot, (len(F), 1)))
        theirs = np.linalg.norm(on_each - spot, axis=1).min()
        assert np.linalg.norm(mine - spot) == pytest.approx(theirs, rel=1e-9)


def test_barycentrics_give_the_place_back():
    """Weights of a place in its triangle put it where it was."""
    weights = np.random.default_rng(1).dirichlet([1, 1, 1], size=len(F))
    where = np.einsum("kc,kcx->kx", weights, V[F])
    assert barycentric(V[F], where) == pytest.approx(weights, abs=1e-12)


def test_a_triangle_without_area_still_gives_weights():
    """In a triangle that is a line, weights along its longest side give the place back."""
    corners = np.array([[[0.0, 0, 0], [1, 0, 0], [4, 0, 0]]])
    weights = barycentric(corners, np.array([[3.0, 0, 0]]))
    assert np.einsum("kc,kcx->kx", weights, corners) == pytest.approx(np.array([[3.0, 0, 0]]))


def test_snapping_is_the_same_from_both_faces_of_an_edge():
    """A place on an edge moves the same way whichever face it is told in."""
    t = np.linspace(0.0, 1.0, 101)
    zero = np.zeros_like(t)
    one = snapped(np.column_stack((zero, t, 1.0 - t)), snap=0.02)
    other = snapped(np.column_stack((1.0 - t, zero, t)), snap=0.02)
    assert np.array_equal(one[:, 1], other[:, 2])
    assert ((one == 0.0) | (one >= 0.02)).all()


def test_faces_of_a_place_are_one_two_or_a_fan():
    """Inside one face, on an edge two, at a vertex as many as meet there."""
    inside, on_edge = Point(7, (0.2, 0.3, 0.5)), Point(7, (0.0, 0.5, 0.5))
    assert faces_at(F, inside).tolist() == [7]
    assert len(faces_at(F, on_edge)) == 2
    assert len(faces_at(F, at_vertex(F, 0))) == (F == 0).sum()
    assert share_face(F, inside, on_edge)
    assert not share_face(F, inside, Point(700, (0.2, 0.3, 0.5)))


def test_parts_of_a_curve_add_up():
    """Two stretches of a closed curve between two places are as long as the whole."""
    (ring,) = plane_section(V, F, np.array([0.1, 0.0, 0.2]), np.array([0.2, 0.1, 1.0]))
    whole = ring.length(V, F)
    assert lengths(V, F, ring)[-1] == pytest.approx(whole)
    near, far = stretch_between(V, F, ring, 0.3, 4.0), stretch_between(V, F, ring, 4.0, 0.3)
    assert near.length(V, F) == pytest.approx(3.7)
    assert near.length(V, F) + far.length(V, F) == pytest.approx(whole)
    assert all(share_face(F, p, q) for p, q in zip(far.points, far.points[1:], strict=False))


def test_an_open_stretch_runs_backwards_when_asked():
    """From the far place to the near one the same points come the other way round."""
    (ring,) = plane_section(V, F, np.zeros(3), np.array([0.2, 0.1, 1.0]))
    line = Curve(ring.points[:20])
    there, back = stretch_between(V, F, line, 0.1, 0.9), stretch_between(V, F, line, 0.9, 0.1)
    assert back == there.reversed()


def test_a_place_by_length_is_found_again_by_position():
    """The length at which a curve comes nearest to one of its own places is that place's length."""
    (ring,) = plane_section(V, F, np.zeros(3), np.array([0.2, 0.1, 1.0]))
    for at in (0.0, 0.5, 3.21):
        spot = place(V, F, ring, at).on(V, F)
        assert nearest_length(V, F, ring, spot) == pytest.approx(at, abs=1e-9)


def test_a_stretch_without_length_and_points_apart_are_refused():
    """An empty stretch and a way between faces apart are told in a sentence."""
    (ring,) = plane_section(V, F, np.zeros(3), np.array([0.2, 0.1, 1.0]))
    with pytest.raises(ValueError, match="has no length"):
        stretch_between(V, F, Curve(ring.points), 0.5, 0.5)
    with pytest.raises(ValueError, match="share no face"):
        between(F, Point(7, (0.2, 0.3, 0.5)), Point(700, (0.2, 0.3, 0.5)), 0.5)
