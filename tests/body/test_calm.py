"""Surfaces that newly run through themselves, brought apart again."""

from __future__ import annotations

import numpy as np
import trimesh

from padlib.body.calm import calmed, untangled
from padlib.mesh.crossings import crossings
from padlib.mesh.surface import Surface

GAP = 0.5


def lips() -> Surface:
    """A sheet of 3 mm triangles folded over: two layers 0.5 mm apart, 90 mm long and 60 mm wide."""
    along, across = np.meshgrid(
        np.arange(-90.0, 91.0, 3.0), np.arange(0.0, 61.0, 3.0), indexing="ij"
    )
    height = np.clip(along / 3.0, -0.5, 0.5) * GAP
    vertices = np.column_stack([np.abs(along).ravel(), across.ravel(), height.ravel()])
    n, m = along.shape
    k = (np.arange(n - 1)[:, None] * m + np.arange(m - 1)).ravel()
    faces = np.concatenate(
        [np.column_stack([k, k + m, k + 1]), np.column_stack([k + 1, k + m, k + m + 1])]
    )
    return Surface(vertices, faces.astype(np.int64))


def count(surface: Surface) -> int:
    """At how many places a surface runs through itself."""
    return len(crossings(surface.vertices, surface.faces)[1])


def test_lips_that_crossed_are_moved_as_one() -> None:
    """The upper layer pressed 1 mm into the lower one comes free; what lies 60 mm away stays where it was put."""
    before = lips()
    v = before.vertices.copy()
    bump = np.exp(-((v[:, 0] - 30) ** 2 + (v[:, 1] - 30) ** 2) / (2 * 6.0**2))
    v[:, 2] -= np.where(v[:, 2] > 0, 2.0 * GAP * bump, 0.0)
    v += [5.0, -3.0, 2.0]
    after = Surface(v, before.faces)
    out = calmed(before, after)
    far = (before.vertices[:, 0] > 80) | (before.vertices[:, 1] > 58)

    assert count(before) == 0
    assert count(after) > 0
    assert count(out) == 0
    assert np.abs(out.vertices - v)[far].max() < 0.05
    assert np.abs(out.vertices - v).max() < 2.0


def test_what_does_not_cross_stays() -> None:
    """Without a new crossing the very same surface comes back."""
    before = lips()
    after = Surface(before.vertices + [0, 0, 7.0], before.faces)

    assert calmed(before, after) is after
    assert untangled(after) is after


def test_a_spike_that_turned_inside_out_is_smoothed() -> None:
    """One vertex of a ball of 100 mm pushed through the other side: smoothed out, the ball within 5 mm elsewhere."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    v = np.array(ball.vertices)
    v[0] *= -1.15
    out = untangled(Surface(v, np.array(ball.faces, dtype=np.int64)))
    rest = np.linalg.norm(ball.vertices - ball.vertices[0], axis=1) > 60

    assert count(out) == 0
    assert np.abs(np.linalg.norm(out.vertices, axis=1) - 100.0)[rest].max() < 5.0
