"""How surfaces bend at a scale, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from padlib.mesh.relief import relief


def test_a_ball_bends_by_one_over_its_radius_and_a_hollow_ball_the_other_way():
    """Both principal curvatures of a sphere are 1 / R; seen from inside they are negative."""
    ball = trimesh.creation.icosphere(4, radius=100.0)

    out = relief(ball.vertices, ball.faces, 20.0)
    hollow = relief(ball.vertices, ball.faces[:, ::-1], 20.0)

    for value in (out.most, out.least, -hollow.most, -hollow.least):
        assert value == pytest.approx(np.full(len(value), 0.01), rel=0.02)


def test_a_ring_bends_inwards_on_its_inner_half_and_says_across_what():
    """A torus of radii R and r (do Carmo 1976): at the angle v around the tube the curvatures are 1 / r and
    cos v / (R + r cos v); where the latter is negative its direction runs around the ring."""
    wide, thin = 200.0, 60.0
    ring = trimesh.creation.torus(wide, thin, major_sections=160, minor_sections=48)
    at = ring.vertices
    flat = np.hypot(at[:, 0], at[:, 1])
    cosine = (flat - wide) / thin

    found = relief(at, ring.faces, 20.0)

    assert found.most == pytest.approx(np.full(len(at), 1 / thin), rel=0.03)
    assert found.least == pytest.approx(cosine / (wide + thin * cosine), abs=2e-4)
    inner = cosine < -0.5
    around = np.stack([-at[:, 1], at[:, 0], np.zeros(len(at))], axis=1) / flat[:, None]
    assert np.abs((found.across * around).sum(axis=1))[inner].min() > 0.99
