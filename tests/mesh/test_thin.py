"""Thinning a dense scan: far fewer triangles, the surface where it was, noise less, sheets apart."""

import numpy as np
import pytest
import trimesh

from padlib.mesh.repair import genus, is_closed_manifold
from padlib.mesh.surface import Surface
from padlib.mesh.thin import even_edge, raised, sparser, thinned

RADIUS = 100.0
BALL = trimesh.creation.icosphere(5, radius=RADIUS)  # 20,480 triangles of 3.8 mm


def _surface(mesh):
    return Surface(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64))


def test_a_ball_loses_three_of_four_triangles_and_stays_where_it_was():
    """Once raised, the thinned ball's flat triangles lie about the sphere: volume within 0.1 %, no place 0.5 mm off."""
    thin, told = thinned(_surface(BALL), 8.0)
    assert len(thin.faces) < 0.27 * len(BALL.faces)
    assert is_closed_manifold(thin.faces)
    assert told[0].number == 118
    out = trimesh.Trimesh(raised(thin.vertices, thin.faces, 0.39, 0.1), thin.faces, process=False)
    assert out.volume == pytest.approx(4 / 3 * np.pi * RADIUS**3, rel=1e-3)
    assert np.abs(np.linalg.norm(out.vertices, axis=1) - RADIUS).max() < 0.5


def test_what_is_coarse_enough_is_left_alone():
    """Edges of 3.8 mm where 4 mm are wanted: the same surface comes back."""
    ball = _surface(BALL)
    thin, told = thinned(ball, 4.0)
    assert thin is ball
    assert told == ()


def test_noise_grows_less():
    """Independent noise of 0.7 mm along the normal comes out at a third less: groups have one to seven vertices."""
    grain = 0.7 * np.random.default_rng(3).normal(size=len(BALL.vertices))
    v = BALL.vertices * (1.0 + grain / RADIUS)[:, None]
    thin, _ = thinned(Surface(v, np.array(BALL.faces, dtype=np.int64)), 8.0)
    assert np.std(np.linalg.norm(thin.vertices, axis=1)) < 0.48


def test_sheets_that_only_come_near_stay_apart():
    """Two balls 1 mm apart, closer than any edge, stay two."""
    other = BALL.copy()
    other.apply_translation([2 * RADIUS + 1.0, 0, 0])
    thin, _ = thinned(_surface(trimesh.util.concatenate([BALL, other])), 8.0)
    pieces = trimesh.Trimesh(thin.vertices, thin.faces, process=False).split(only_watertight=False)
    assert len(pieces) == 2


def test_a_start_for_remeshing_keeps_its_handle():
    """A torus stays closed, of one handle, with a quarter of its triangles."""
    ring = trimesh.creation.torus(100.0, 30.0, major_sections=160, minor_sections=48)
    start = sparser(_surface(ring))
    assert start is not None
    assert is_closed_manifold(start.faces)
    assert genus(start.faces) == 1
    assert len(start.faces) < 0.3 * len(ring.faces)
    assert even_edge(start) == pytest.approx(2.0 * even_edge(_surface(ring)), rel=0.1)


def test_a_rim_does_not_move_in():
    """A half ball keeps its rim on the plane in which it was cut."""
    half = trimesh.intersections.slice_mesh_plane(BALL, [0, 0, 1.0], [0, 0, 0.0])
    thin, _ = thinned(_surface(half), 8.0)
    assert thin.vertices[:, 2].min() == pytest.approx(0.0, abs=0.05)
