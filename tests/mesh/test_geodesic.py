"""Locally shortest curves, against closed forms and igl's exact distances."""

import igl
import numpy as np
import pytest
import trimesh
from scipy.sparse.csgraph import dijkstra

from padlib.errors import MeshError
from padlib.mesh.geodesic import distance, geodesic, prepare
from padlib.mesh.point import Curve, at_vertex, nearest, positions, share_face
from padlib.mesh.smooth import smooth_path
from padlib.mesh.surface import Point


def _grid(width, height, nx, ny, seed=None):
    """A plane rectangle of triangles, its inner vertices shaken if a seed is given."""
    x, y = np.meshgrid(np.linspace(0, width, nx + 1), np.linspace(0, height, ny + 1))
    v = np.column_stack((x.ravel(), y.ravel(), np.zeros(x.size)))
    if seed is not None:
        inner = (v[:, 0] > 0) & (v[:, 0] < width) & (v[:, 1] > 0) & (v[:, 1] < height)
        shake = np.random.default_rng(seed).uniform(-0.3, 0.3, size=(inner.sum(), 2))
        v[inner, :2] += shake * (width / nx, height / ny)
    k = (np.arange(ny)[:, None] * (nx + 1) + np.arange(nx)).ravel()
    f = np.vstack(
        (np.column_stack((k, k + 1, k + nx + 2)), np.column_stack((k, k + nx + 2, k + nx + 1)))
    )
    return v, f


def _chained(curve: Curve, faces) -> bool:
    """Whether each two neighbouring points share a face."""
    onward = curve.points[1:] + (curve.points[:1] if curve.closed else ())
    return all(share_face(faces, p, q) for p, q in zip(curve.points, onward, strict=False))


def _place(rng, faces) -> Point:
    """A place in a face, on an edge or at a vertex."""
    weights = rng.dirichlet([1, 1, 1])
    kind = rng.integers(3)
    weights[rng.permutation(3)[:kind]] = 0.0
    weights /= weights.sum()
    return Point(int(rng.integers(len(faces))), tuple(weights.tolist()))


def test_in_a_plane_it_is_the_straight_line():
    """Between any two places of a shaken plane grid the curve is as long as the straight line."""
    v, f = _grid(2.0, 1.0, 20, 10, seed=4)
    rng = np.random.default_rng(5)
    ground = prepare(v, f)
    for _ in range(40):
        p, q = _place(rng, f), _place(rng, f)
        line = geodesic(v, f, (p, q), ground=ground)
        assert line.length(v, f) == pytest.approx(
            np.linalg.norm(p.on(v, f) - q.on(v, f)), abs=1e-12
        )
        assert _chained(line, f)


def test_round_a_corner_it_bends_at_the_corner():
    """In an L of plane faces the curve goes straight to the inner corner and straight on."""
    v, f = _grid(2.0, 2.0, 8, 8)
    centre = v[f].mean(axis=1)
    f = f[(centre[:, 0] < 1) | (centre[:, 1] < 1)]
    p, q = nearest(v, f, np.array([[0.3, 1.9, 0.0], [1.9, 0.2, 0.0]]))
    corner = np.array([1.0, 1.0, 0.0])
    wanted = np.linalg.norm(p.on(v, f) - corner) + np.linalg.norm(q.on(v, f) - corner)
    assert distance(v, f, p, q) == pytest.approx(wanted, rel=1e-12)


def test_on_a_cylinder_it_is_a_helix():
    """On a prism it is exactly the straight line of the unrolled prism, which tends to the helix."""
    sides, radius, height = 64, 1.0, 3.0
    flat, f = _grid(sides, height, sides, 12)
    a = 2 * np.pi * flat[:, 0] / sides
    v = np.column_stack((radius * np.cos(a), radius * np.sin(a), flat[:, 1]))
    p, q = Point(0, (0.5, 0.3, 0.2)), Point(len(f) // 2 - 44, (0.1, 0.6, 0.3))
    side = 2 * radius * np.sin(np.pi / sides)
    across = (q.on(flat, f) - p.on(flat, f)) * (side, 1.0, 1.0)
    found = distance(v, f, p, q)
    assert found == pytest.approx(np.linalg.norm(across), rel=1e-12)
    helix = np.hypot(across[0] * np.pi / sides / np.sin(np.pi / sides), across[1])
    assert found == pytest.approx(helix, rel=5e-4)


def test_on_a_cube_it_is_the_line_of_the_unfolding():
    """From one face's place to the next face's, and from corner to far corner: sqrt 5 (known)."""
    m = trimesh.creation.box()
    v, f = np.array(m.vertices), np.array(m.faces)
    p, q = nearest(v, f, np.array([[0.5, -0.1, 0.2], [0.2, 0.5, -0.3]]))
    wanted = np.hypot(0.6 + 0.3, 0.5)  # unfolded over the edge x = y = 0.5
    assert distance(v, f, p, q) == pytest.approx(wanted, rel=1e-12)
    far = [int(np.argmin(v.sum(axis=1))), int(np.argmax(v.sum(axis=1)))]
    found = distance(v, f, at_vertex(f, far[0]), at_vertex(f, far[1]))
    assert found == pytest.approx(np.sqrt(5.0), rel=1e-12)


def test_on_a_sphere_it_tends_to_the_great_circle():
    """The difference to the arc falls with the square of the edge length."""
    ends = np.array([[0.3, 0.5, 0.8], [-0.7, 0.6, -0.4]])
    ends /= np.linalg.norm(ends, axis=1, keepdims=True)
    arc = np.arccos(ends[0] @ ends[1])
    errors = []
    for level in (2, 3, 4):
        m = trimesh.creation.icosphere(level)
        p, q = nearest(m.vertices, m.faces, ends)
        errors.append(abs(distance(m.vertices, m.faces, p, q) / arc - 1))
    assert errors[2] < 1.5e-3
    assert errors[2] < errors[1] / 3.0 < errors[0] / 9.0


@pytest.mark.parametrize("shape", ["sphere", "torus", "bumpy"])
def test_never_shorter_than_exact_and_mostly_equal(shape):
    """Each curve lies between igl's exact distance and the way over vertices and edge midpoints.

    It is locally shortest and need not be the shortest of all; at least half of them are.
    """
    m = trimesh.creation.icosphere(3)
    v, f = np.array(m.vertices), np.array(m.faces, dtype=np.int64)
    if shape == "torus":
        m = trimesh.creation.torus(3.0, 1.0, major_sections=36, minor_sections=18)
        v, f = np.array(m.vertices), np.array(m.faces, dtype=np.int64)
    if shape == "bumpy":
        v = v * (1.0 + 0.15 * np.sin(5 * v[:, :1]) * np.cos(4 * v[:, 1:2]))
    goals = np.random.default_rng(6).integers(1, len(v), size=30)
    none = np.zeros(0, dtype=np.int64)
    exact = np.ravel(igl.exact_geodesic(v, f, np.array([0]), none, goals, none))
    ground = prepare(v, f)
    start = at_vertex(f, 0)
    found = [distance(v, f, start, at_vertex(f, int(g)), ground=ground) for g in goals]
    over_links = dijkstra(ground.links, indices=0)[goals]
    assert (np.array(found) >= exact * (1.0 - 1e-9)).all()
    assert (np.array(found) <= over_links * (1.0 + 1e-9)).all()
    assert (np.array(found) < exact * (1.0 + 1e-9)).mean() >= 0.5


def test_it_cannot_be_shortened_by_moving_a_point_along_its_edge():
    """At each edge that it crosses, the angles on both sides agree: it is straight when unfolded."""
    m = trimesh.creation.icosphere(3)
    v = m.vertices * (1.0 + 0.15 * np.sin(5 * m.vertices[:, :1]))
    f = np.array(m.faces)
    rng = np.random.default_rng(7)
    ground = prepare(v, f)
    for _ in range(15):
        line = geodesic(v, f, (_place(rng, f), _place(rng, f)), ground=ground)
        x = line.positions(v, f)
        for k in range(1, len(x) - 1):
            on = [
                c
                for c, b in zip(f[line.points[k].face], line.points[k].barycentric, strict=True)
                if b
            ]
            if len(on) == 2:
                edge = (v[on[1]] - v[on[0]]) / np.linalg.norm(v[on[1]] - v[on[0]])
                came, goes = x[k] - x[k - 1], x[k + 1] - x[k]
                bend = came @ edge / np.linalg.norm(came) - goes @ edge / np.linalg.norm(goes)
                assert abs(bend) < 1e-6


def test_a_closed_curve_comes_back_through_all_its_points():
    """Each given point is on the closed curve, and neighbours share a face all the way round."""
    m = trimesh.creation.torus(3.0, 1.0, major_sections=36, minor_sections=18)
    rng = np.random.default_rng(8)
    given = [_place(rng, m.faces) for _ in range(4)]
    ring = geodesic(m.vertices, m.faces, given, closed=True)
    assert ring.closed
    assert _chained(ring, m.faces)
    where = ring.positions(m.vertices, m.faces)
    for spot in positions(m.vertices, m.faces, given):
        assert np.linalg.norm(where - spot, axis=1).min() < 1e-9


def test_a_smooth_path_through_a_circle_is_the_circle():
    """Through eight places on a parallel of a sphere it stays within 0.3 % of the radius of it."""
    m = trimesh.creation.icosphere(4, radius=100.0)
    a = np.linspace(0.0, 2 * np.pi, 8, endpoint=False)
    ring = np.column_stack((80 * np.cos(a), 80 * np.sin(a), np.full(8, 60.0)))
    given = nearest(m.vertices, m.faces, ring)
    found = smooth_path(m.vertices, m.faces, given, closed=True)
    where = found.positions(m.vertices, m.faces)
    assert np.abs(where[:, 2] - 60.0).max() < 0.3
    assert found.length(m.vertices, m.faces) == pytest.approx(2 * np.pi * 80.0, rel=2e-3)
    assert _chained(found, m.faces)


def test_places_on_separate_parts_and_too_few_are_refused():
    """Two spheres apart, one point alone, and a face that is not there are told in a sentence."""
    m = trimesh.creation.icosphere(1)
    v = np.vstack((m.vertices, m.vertices + 5.0))
    f = np.vstack((m.faces, m.faces + len(m.vertices)))
    spot = (0.2, 0.3, 0.5)
    with pytest.raises(MeshError, match="separate parts"):
        geodesic(v, f, (Point(0, spot), Point(len(f) - 1, spot)))
    with pytest.raises(ValueError, match="at least two points"):
        geodesic(v, f, (Point(0, spot),))
    with pytest.raises(ValueError, match="not on this mesh"):
        geodesic(v, f, (Point(0, spot), Point(len(f), spot)))
