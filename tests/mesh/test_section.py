"""Level sets and plane sections, against closed forms and trimesh."""

import numpy as np
import pytest
import trimesh

from padlib.mesh.point import share_face
from padlib.mesh.section import level_set, plane_section

SPHERE = trimesh.creation.icosphere(4)
TORUS = trimesh.creation.torus(3.0, 1.0, major_sections=48, minor_sections=24)


def _chained(curve, faces):
    """Whether each two neighbouring points share a face."""
    onward = curve.points[1:] + (curve.points[:1] if curve.closed else ())
    return all(share_face(faces, p, q) for p, q in zip(curve.points, onward, strict=False))


@pytest.mark.parametrize("height", [0.0, 0.3, -0.7])
def test_a_section_of_a_sphere_is_a_circle(height):
    """Its length tends to that of the circle with the square of the edge length."""
    errors = []
    for level in (2, 3, 4):
        m = trimesh.creation.icosphere(level)
        (ring,) = plane_section(m.vertices, m.faces, [0, 0, height], [0.1, 0.2, 1.0])
        d = abs(height) / np.linalg.norm([0.1, 0.2, 1.0])
        errors.append(abs(ring.length(m.vertices, m.faces) / (2 * np.pi * np.sqrt(1 - d * d)) - 1))
    assert errors[2] < errors[0] / 8.0
    assert errors[2] < 2e-3


def test_a_section_is_what_trimesh_cuts():
    """The curves are as long in all as the section that trimesh makes, and lie in the plane."""
    rng = np.random.default_rng(2)
    for _ in range(10):
        origin, normal = rng.normal(size=3) * 0.7, rng.normal(size=3)
        curves = plane_section(TORUS.vertices, TORUS.faces, origin, normal)
        theirs = TORUS.section(plane_normal=normal, plane_origin=origin)
        total = sum(c.length(TORUS.vertices, TORUS.faces) for c in curves)
        assert total == pytest.approx(0.0 if theirs is None else theirs.length, rel=1e-6)
        for c in curves:
            assert c.closed
            assert _chained(c, TORUS.faces)
            gap = (c.positions(TORUS.vertices, TORUS.faces) - origin) @ normal
            assert np.abs(gap).max() < 1e-3 * np.linalg.norm(normal)


def test_a_section_through_vertices_runs_through_them_once():
    """The equator of an octahedron is its four vertices, in order."""
    m = trimesh.creation.icosahedron()
    octa = trimesh.Trimesh(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]],
        [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]],
    )
    (ring,) = plane_section(octa.vertices, octa.faces, np.zeros(3), [0, 0, 1])
    assert len(ring.points) == 4
    assert ring.length(octa.vertices, octa.faces) == pytest.approx(4 * np.sqrt(2))
    assert plane_section(m.vertices, m.faces, m.vertices[0] * 1.0, m.vertices[0]) == []


def test_positive_values_lie_on_the_left():
    """Seen from outside, the way up lies on the left of a section with an upward normal."""
    (ring,) = plane_section(SPHERE.vertices, SPHERE.faces, np.zeros(3), [0, 0.1, 1])
    p = ring.positions(SPHERE.vertices, SPHERE.faces)
    assert (np.cross(p, np.roll(p, -1, axis=0) - p)[:, 2] > 0).all()


def test_a_mask_leaves_an_open_curve():
    """On the half of a sphere that a mask leaves, a section is half a circle."""
    mask = SPHERE.triangles_center[:, 0] > 0
    (arc,) = plane_section(SPHERE.vertices, SPHERE.faces, np.zeros(3), [0, 0.1, 1], face_mask=mask)
    assert not arc.closed
    assert arc.length(SPHERE.vertices, SPHERE.faces) == pytest.approx(np.pi, rel=0.05)
    assert _chained(arc, SPHERE.faces)


def test_a_level_set_splits_by_sign_into_one_manifold_each():
    """Random values, zeros among them, give only closed curves on a closed mesh."""
    rng = np.random.default_rng(3)
    m = trimesh.creation.icosphere(2)
    for _ in range(5):
        values = rng.integers(-2, 3, size=len(m.vertices)).astype(float)
        curves = level_set(m.vertices, m.faces, values)
        assert curves
        assert all(c.closed and _chained(c, m.faces) for c in curves)


def test_bad_values_are_refused():
    """Values of the wrong number or not finite, and a normal without length, are told."""
    with pytest.raises(ValueError, match="one finite value"):
        level_set(SPHERE.vertices, SPHERE.faces, np.zeros(3))
    with pytest.raises(ValueError, match="one finite value"):
        level_set(SPHERE.vertices, SPHERE.faces, np.full(len(SPHERE.vertices), np.nan))
    with pytest.raises(ValueError, match="no length"):
        plane_section(SPHERE.vertices, SPHERE.faces, np.zeros(3), np.zeros(3))
