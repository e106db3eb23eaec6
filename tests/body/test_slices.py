"""Exact plane sections: areas, girths and loops against closed forms and trimesh."""

import numpy as np
import pytest
import trimesh
from scipy.special import ellipe

from padlib.body.slices import (
    chain,
    clipped,
    crest,
    edges,
    girth,
    hull,
    oblique,
    plane_axes,
    slices,
)


def ellipsoid(a, b, c, level=6):
    ball = trimesh.creation.icosphere(subdivisions=level)
    return np.array(ball.vertices) * [a, b, c], np.array(ball.faces)


def ellipse_girth(a, b):
    """Perimeter of an ellipse by the complete elliptic integral of the second kind."""
    a, b = max(a, b), min(a, b)
    return 4 * a * ellipe(1 - (b / a) ** 2)


@pytest.mark.parametrize("z", [-310.0, 0.0, 200.0])
def test_girth_of_an_ellipsoid_is_that_of_its_ellipse(z):
    """A level girth of an ellipsoid of trunk size is the elliptic integral within 0.5 mm."""
    vertices, faces = ellipsoid(170.0, 110.0, 400.0)
    cut = slices(vertices, faces, [z])
    scale = np.sqrt(1 - (z / 400.0) ** 2)
    expected = ellipse_girth(170 * scale, 110 * scale)
    assert girth(hull(cut.points(0), cut.normals[0])) == pytest.approx(expected, abs=0.5)
    assert cut.area[0] == pytest.approx(np.pi * 170 * 110 * scale**2, rel=1e-3)


def test_oblique_section_of_an_ellipsoid():
    """A slanting central section of a spheroid is the ellipse of its closed form within 0.5 mm."""
    vertices, faces = ellipsoid(60.0, 60.0, 300.0)
    turn = np.radians(25.0)
    normal = np.array([np.sin(turn), 0.0, np.cos(turn)])
    long = 1 / np.sqrt((np.cos(turn) / 60) ** 2 + (np.sin(turn) / 300) ** 2)
    cut = oblique(vertices, faces, np.zeros((1, 3)), normal[None])
    got = girth(hull(cut.points(0), normal))
    assert got == pytest.approx(ellipse_girth(long, 60.0), abs=0.5)


def test_sections_equal_those_of_trimesh():
    """Length and number of loops of many sections equal trimesh's, plane by plane."""
    mesh = trimesh.creation.torus(major_radius=200.0, minor_radius=70.0)
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 0.3, 0])
    mesh.apply_transform(turn)
    z = np.linspace(-150.0, 150.0, 13)
    cut = slices(mesh.vertices, mesh.faces, z)
    for k, level in enumerate(z):
        other = mesh.section(plane_origin=[0, 0, level], plane_normal=[0, 0, 1])
        loops = np.flatnonzero(cut.loop_level == k)
        length = np.linalg.norm(cut.end - cut.start, axis=1)[cut.level == k].sum()
        assert length == pytest.approx(other.length, rel=1e-9)
        assert len(loops) == len(other.entities)


def test_a_hollow_has_negative_area():
    """A shell in a shell turned inside out is flesh outside and hollow inside."""
    outer, inner = trimesh.creation.icosphere(3, 100.0), trimesh.creation.icosphere(3, 40.0)
    inner.invert()
    both = trimesh.util.concatenate([outer, inner])
    cut = slices(both.vertices, both.faces, [3.0])
    assert sorted(np.sign(cut.area)) == [-1.0, 1.0]
    assert len(cut.at(0)) == 1


def test_planes_through_vertices_give_closed_loops():
    """Planes exactly through vertices still give closed loops of the right girth."""
    box = trimesh.creation.box([200.0, 100.0, 300.0]).subdivide()
    cut = slices(box.vertices, box.faces, [-150.0, 0.0, 75.0])
    assert cut.whole.all()
    assert girth(hull(cut.points(cut.at(1)[0]), cut.normals[1])) == pytest.approx(600.0)


def test_slices_and_oblique_agree():
    """The two ways to cut give the same areas and centroids for the same planes."""
    vertices, faces = ellipsoid(100.0, 80.0, 200.0, level=3)
    z = np.array([-120.0, -7.0, 33.0])
    level = slices(vertices, faces, z)
    free = oblique(
        vertices, faces, np.column_stack([z * 0, z * 0, z]), np.tile([0, 0, 1.0], (3, 1))
    )
    np.testing.assert_allclose(free.area, level.area, rtol=1e-12)
    np.testing.assert_allclose(free.centre, level.centre, atol=1e-9)


def test_an_open_surface_is_told():
    """A section that runs over the edge of an open surface is marked as not whole."""
    ball = trimesh.creation.icosphere(3, 100.0)
    left = ball.faces[(ball.vertices[ball.faces][:, :, 0] < 50).all(axis=1)]
    cut = slices(ball.vertices, left, [0.0])
    assert not cut.whole.any()


def test_clipping_keeps_one_side_and_cuts_on_the_plane():
    """Half of a circle's segments has half its length, and nothing beyond the plane."""
    vertices, faces = ellipsoid(100.0, 100.0, 100.0, level=5)
    cut = slices(vertices, faces, [0.0])
    start, end = clipped(cut.start, cut.end, np.zeros(3), np.array([1.0, 0, 0]))
    assert max(start[:, 0].max(), end[:, 0].max()) <= 1e-9
    assert np.linalg.norm(end - start, axis=1).sum() == pytest.approx(np.pi * 100, rel=1e-3)


def test_edges_are_exact_and_missing_levels_are_nan():
    """The two sides of a circle at each height lie on the circle; outside it there is nothing."""
    vertices, faces = ellipsoid(100.0, 100.0, 100.0, level=6)
    cut = slices(vertices, faces, [0.0], (1, 0, 0))
    z = np.array([-120.0, -50.0, 0.0, 99.0])
    low, high = edges(cut.start, cut.end, z, along=2, across=1)
    assert np.isnan(low[0]).all()
    np.testing.assert_allclose(high[1:, 1], np.sqrt(1e4 - z[1:] ** 2), atol=0.3)
    np.testing.assert_allclose(low[1:, 1], -high[1:, 1], atol=0.3)


def test_chain_puts_a_loop_in_order():
    """The corners of a chained loop follow each other along its own segments."""
    vertices, faces = ellipsoid(100.0, 60.0, 100.0, level=3)
    cut = slices(vertices, faces, [11.0])
    corners = chain(*cut.segments(0))
    assert len(corners) == len(cut.start)
    length = np.linalg.norm(cut.end - cut.start, axis=1).sum()
    assert girth(corners) == pytest.approx(length, rel=1e-12)


@pytest.mark.parametrize("normal", [(0, 0, 1.0), (0, 1.0, 0), (0.6, 0, 0.8), (0.1, -0.99, 0.1)])
def test_plane_axes_are_right_handed(normal):
    """The two axes of a plane are unit, square and right-handed with its normal."""
    n = np.array(normal) / np.linalg.norm(normal)
    u, v = plane_axes(n)
    np.testing.assert_allclose(np.cross(u, v), n, atol=1e-12)
    assert np.linalg.norm(u) == pytest.approx(1.0)


def test_nothing_cut_is_nothing_found():
    """Planes beside the mesh give no loops and no ring."""
    vertices, faces = ellipsoid(10.0, 10.0, 10.0, level=2)
    cut = slices(vertices, faces, [50.0])
    assert len(cut.area) == 0
    assert len(cut.at(0)) == 0
    assert girth(hull(np.zeros((2, 3)), np.array([0, 0, 1.0]))) == 0.0


@pytest.mark.parametrize("seed", range(5))
def test_the_crest_of_a_flat_top_is_its_middle(seed):
    """A top 40 mm wide, flat to 0.01 mm, cut anyhow into segments: its middle to 1 mm, its height exactly."""
    rng = np.random.default_rng(seed)
    y = np.sort(np.concatenate([[-60.0, -20.0, 20.0, 60.0], rng.uniform(-60.0, 60.0, 30)])) + 7.0
    z = 100.0 - np.maximum(np.abs(y - 7.0) - 20.0, 0.0) + 0.01 * rng.normal(size=len(y))
    line = np.column_stack([np.zeros(len(y)), y, z])
    group = np.zeros(len(y) - 1, dtype=np.int64)
    place = crest(line[:-1], line[1:], group, np.array([0.0, 0.0, 1.0]), 2, flat=2.0)
    assert place[0, 1] == pytest.approx(7.0, abs=1.0)
    assert place[0, 2] == pytest.approx(z.max(), abs=1e-9)
    assert np.isnan(place[1]).all()  # nothing is there


def test_the_crest_of_a_ridge_is_the_ridge():
    """Two slopes of 45 degrees that meet: the crest lies on the ridge, however finely each is cut."""
    left, right = np.linspace(-50.0, 0.0, 4), np.linspace(0.0, 50.0, 40)
    y = np.concatenate([left, right[1:]])
    line = np.column_stack([np.zeros(len(y)), y, 80.0 - np.abs(y)])
    group = np.zeros(len(y) - 1, dtype=np.int64)
    place = crest(line[:-1], line[1:], group, np.array([0.0, 0.0, 1.0]), 1, flat=2.0)
    assert place[0] == pytest.approx([0.0, 0.0, 80.0], abs=1.5)
