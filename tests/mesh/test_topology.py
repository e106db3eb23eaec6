"""How triangles hang together, against closed forms and trimesh."""

import numpy as np
import trimesh

from padlib.mesh.topology import (
    boundary_loops,
    corner_fans,
    edges,
    euler,
    face_components,
    is_disk,
    is_edge_manifold,
    is_vertex_manifold,
    neighbours,
    vertex_components,
)

SPHERE = trimesh.creation.icosphere(2)
TORUS = trimesh.creation.torus(3.0, 1.0, major_sections=16, minor_sections=8)
CAP = SPHERE.faces[SPHERE.triangles_center[:, 2] > 0.3]
BELT = SPHERE.faces[np.abs(SPHERE.triangles_center[:, 2]) < 0.5]


def test_euler_characteristics_are_those_of_the_surfaces():
    """Sphere 2, torus 0, disk 1, belt 0."""
    assert [euler(f) for f in (SPHERE.faces, TORUS.faces, CAP, BELT)] == [2, 0, 1, 0]


def test_edges_are_those_of_trimesh():
    """The same unique edges as trimesh finds, each side of each face told to its edge."""
    found = edges(SPHERE.faces)
    assert np.array_equal(found.ends, np.unique(np.sort(SPHERE.edges, axis=1), axis=0))
    for k in range(3):
        corner = np.sort(np.delete(SPHERE.faces, k, axis=1), axis=1)
        assert np.array_equal(found.ends[found.of_face[:, k]], corner)


def test_neighbours_are_those_of_trimesh():
    """Each pair of faces that trimesh calls adjacent, and no other, are neighbours both ways."""
    across = neighbours(TORUS.faces)
    face, side = np.nonzero(across >= 0)
    mine = {tuple(sorted(p)) for p in zip(face, across[face, side], strict=True)}
    assert mine == {tuple(sorted(p)) for p in TORUS.face_adjacency.tolist()}


def test_boundary_loops_have_the_surface_on_the_left():
    """A cap has one loop, counter-clockwise seen from its pole; a belt has two."""
    (loop,) = boundary_loops(CAP)
    rim = SPHERE.vertices[loop][:, :2]
    after = np.roll(rim, -1, axis=0)
    assert (rim[:, 0] * after[:, 1] - rim[:, 1] * after[:, 0]).sum() > 0.0
    assert len(boundary_loops(BELT)) == 2


def test_only_a_disk_is_a_disk():
    """A cap is a disk; a belt, a sphere, two caps and two triangles joined in a vertex are not."""
    two = np.vstack((CAP, SPHERE.faces[SPHERE.triangles_center[:, 2] < -0.3]))
    bow = np.array([[0, 1, 2], [2, 3, 4]])
    wanted = [True, False, False, False, False]
    assert [is_disk(f) for f in (CAP, BELT, SPHERE.faces, two, bow)] == wanted


def test_components_are_counted_through_edges_and_not_through_vertices():
    """Two triangles that share a vertex are two face components and one vertex component."""
    bow = np.array([[0, 1, 2], [2, 3, 4]])
    assert face_components(bow).tolist() == [0, 1]
    assert vertex_components(6, bow).tolist() == [0, 0, 0, 0, 0, 1]
    assert not is_vertex_manifold(bow)
    assert len(np.unique(corner_fans(bow))) == 6


def test_flipped_and_crowded_faces_are_no_manifold():
    """A face turned over and a third face on an edge are both noticed."""
    flipped = np.array([[0, 1, 2], [1, 2, 3]])
    crowded = np.array([[0, 1, 2], [2, 1, 3], [1, 2, 4]])
    assert is_edge_manifold(np.array([[0, 1, 2], [2, 1, 3]]))
    assert not is_edge_manifold(flipped)
    assert not is_edge_manifold(crowded)
