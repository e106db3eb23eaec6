"""Remeshing keeps the surface and its topology, and makes even triangles."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

from padlib.errors import MeshError
from padlib.mesh.patch import locally
from padlib.mesh.remesh import remesh


def as_trimesh(v, f):
    """The mesh as an outside library sees it."""
    return trimesh.Trimesh(v, f, process=False)


def least_angle(mesh):
    """The smallest angle of the mesh in degrees."""
    return np.degrees(mesh.face_angles.min())


@pytest.mark.parametrize("length", [4.0, 9.0, 30.0])
def test_a_sphere_stays_a_sphere(length):
    """From much finer to much coarser than the input, a sphere keeps topology, place and evenness."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    mesh = as_trimesh(*remesh(ball.vertices, ball.faces, length))
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == 2
    assert mesh.volume > 0
    assert least_angle(mesh) > 25
    assert mesh.edges_unique_length.mean() == pytest.approx(
        length, rel=0.08
    )  # halved edges may lie
    # anywhere in the band from 4/5 to 4/3 of the length that Botsch and Kobbelt (2004) allow
    # the input's own facets lie up to 0.1 mm inside the sphere (sagitta of its 7 mm edges)
    assert np.abs(np.linalg.norm(mesh.vertices, axis=1) - 100).max() < 0.15


def test_a_torus_keeps_its_hole():
    """A surface of genus one comes back with Euler number zero."""
    ring = trimesh.creation.torus(
        major_radius=100, minor_radius=30, major_sections=40, minor_sections=9
    )
    mesh = as_trimesh(*remesh(ring.vertices, ring.faces, 8.0))
    assert mesh.is_watertight
    assert mesh.euler_number == 0
    assert mesh.volume == pytest.approx(ring.volume, rel=0.01)
    assert least_angle(mesh) > 20


def test_a_square_keeps_its_outline_and_area():
    """Corners of a boundary stay, so a flat square keeps its area to rounding."""
    v = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0], [0, 100, 0.0]])
    f = np.array([[0, 1, 2], [0, 2, 3]])
    mesh = as_trimesh(*remesh(v, f, 7.0))
    assert mesh.area == pytest.approx(1e4, rel=1e-9)
    assert mesh.euler_number == 1
    assert (mesh.face_normals[:, 2] > 0).all()
    assert least_angle(mesh) > 20


def test_a_thin_lens_keeps_its_two_sheets():
    """Sheets closer than the edge length are not drawn onto each other: a lens keeps its volume."""
    lens = trimesh.creation.icosphere(subdivisions=4, radius=1.0)
    lens.apply_scale((100.0, 80.0, 3.0))
    mesh = as_trimesh(*remesh(lens.vertices, lens.faces, 8.0))
    assert mesh.is_watertight
    assert mesh.euler_number == 2
    # 8 mm chords cut about 1 mm off a rim that carries little of the volume
    assert mesh.volume == pytest.approx(4 / 3 * np.pi * 100 * 80 * 3, rel=0.04)


@pytest.mark.parametrize(("half", "deep"), [(6.0, 8.0), (8.0, 6.0), (10.0, 10.0)])
def test_the_bottom_of_a_fold_is_kept(half, deep):
    """Triangles of 12 mm lie in the bottom of a groove of that width to `least`; without it they bridge it."""
    line = np.linspace(-60.0, 60.0, 61)
    x, y = (axis.ravel() for axis in np.meshgrid(line, line, indexing="ij"))
    v = np.column_stack([x, y, -deep * np.maximum(0.0, 1.0 - np.abs(x) / half)])
    k = np.arange(61 * 61).reshape(61, 61)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    f = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    bottom = v[(x == 0.0) & (np.abs(y) < 50.0)]
    off = [
        np.sqrt(igl.point_mesh_squared_distance(bottom, *remesh(v, f, 12.0, least=least))[0]).max()
        for least in (np.inf, 0.5)
    ]
    assert off[0] > 2.0
    assert off[1] < 0.5


def test_same_input_same_bytes():
    """Remeshing is deterministic."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=50.0)
    one, two = (remesh(ball.vertices, ball.faces, 6.0) for _ in range(2))
    assert one[0].tobytes() == two[0].tobytes()
    assert one[1].tobytes() == two[1].tobytes()


@pytest.mark.parametrize("length", [0.0, -3.0, np.nan, np.inf])
def test_a_length_that_is_none_is_refused(length):
    """The message names the value."""
    ball = trimesh.creation.icosphere(subdivisions=1)
    with pytest.raises(MeshError, match=f"positive edge length in mm, not {length}"):
        remesh(ball.vertices, ball.faces, length)


def test_a_surface_without_faces_is_refused():
    """An empty mesh is told."""
    with pytest.raises(MeshError, match="this one has none"):
        remesh(np.zeros((3, 3)), np.zeros((0, 3), dtype=int), 1.0)


def test_three_faces_at_an_edge_are_refused():
    """A fin is told, with the number of edges."""
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1.0]])
    with pytest.raises(MeshError, match="1 edges have more"):
        remesh(v, np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]]), 1.0)


def knobbed(knob=2.5, reach=6.0):
    """A ball of radius 100 with a narrow knob on each of twelve places, and those places (12, 3)."""
    ball = trimesh.creation.icosphere(subdivisions=6, radius=100.0)
    places = (
        trimesh.creation.icosahedron().vertices
        @ trimesh.transformations.rotation_matrix(0.4, [1.0, 2.0, 3.0])[:3, :3].T
    )
    places /= np.linalg.norm(places, axis=1)[:, None]
    away = 100.0 * np.arccos(np.clip(ball.vertices @ places.T / 100.0, -1.0, 1.0))
    high = knob * np.exp(-((away / reach) ** 2)).sum(axis=1)
    return ball.vertices * (1.0 + high / 100.0)[:, None], ball.faces, places * (100.0 + knob)


def test_knobs_narrower_than_the_triangles_keep_their_height():
    """Knobs of 2.5 mm that triangles of 12 mm cut by up to 1.7 mm: with `least` every one keeps its height."""
    v, f, tops = knobbed()
    plain = as_trimesh(*remesh(v, f, 12.0))
    mesh = as_trimesh(*remesh(v, f, 12.0, least=0.6))
    assert mesh.is_watertight
    assert mesh.euler_number == 2
    assert least_angle(mesh) > 10  # no thinner than on scans without summits
    reached = [
        (m.vertices @ (tops / np.linalg.norm(tops, axis=1)[:, None]).T).max(axis=0)
        for m in (plain, mesh)
    ]
    assert reached[0].min() < 101.5  # the closed form is 102.5 at every top
    assert reached[1].min() > 101.9
    assert abs(len(mesh.faces) / len(plain.faces) - 1.0) < 0.1


def test_a_ball_has_no_summits():
    """Where nothing stands out, `least` changes nothing, bit for bit."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    plain, same = (remesh(ball.vertices, ball.faces, 9.0, least=x) for x in (np.inf, 0.5))
    assert np.array_equal(plain[0], same[0])
    assert np.array_equal(plain[1], same[1])


def test_work_on_a_part_leaves_the_rest():
    """Only what lies within the rings of the marks changes; the rest keeps its places and triangles."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    v, f = np.array(ball.vertices), np.array(ball.faces)
    about = np.linalg.norm(v - v[0], axis=1) < 5.0
    free = np.zeros(len(v), dtype=bool)

    def inward(v, f, pinned):
        return np.where(pinned[:, None], v, 0.9 * v), f, pinned

    out, faces, _ = locally(v, f, free, about, 3, inward)
    mesh = as_trimesh(out, faces)
    assert mesh.is_watertight
    assert mesh.euler_number == 2
    moved = np.linalg.norm(out, axis=1) < 99.0
    assert 3 < moved.sum() < 60
    far = np.linalg.norm(
        mesh.vertices / np.linalg.norm(mesh.vertices, axis=1)[:, None] * 100 - v[0], axis=1
    )
    assert far[moved].max() < 30.0
