"""Even triangles: long edges are halved, the surface stays, each vertex knows its point on the body."""

import numpy as np
import pytest
import trimesh

from padlib.mesh.point import nearest
from padlib.mesh.surface import Surface
from padlib.padding.even import LONG, even_shell
from padlib.padding.mirror import mirror_partners
from padlib.padding.pad import Pad
from padlib.padding.shell import Shell, build_shell


def edges(surface):
    """Lengths of all sides of all triangles (m, 3)."""
    corner = surface.vertices[surface.faces]
    return np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)


@pytest.fixture(scope="module")
def stretched(human):
    """A body with deep thigh pads and a tail root, its shell, and the even shell."""
    body = human("plain")
    pads = [
        Pad("thigh", "thigh", "both", {"depth": 150}),
        Pad("tail", "tail", "both", {"depth": 140}),
    ]
    shell = build_shell(body, pads)
    return body, shell, even_shell(shell)


def test_no_edge_stays_long(stretched):
    """Of edges over 1.7 medians none is left, where there were hundreds."""
    _, shell, even = stretched
    limit = LONG * np.median(edges(shell.surface))
    assert (edges(shell.surface) > limit).sum() > 200
    assert edges(even.surface).max() <= limit


def test_the_surface_is_the_same(stretched):
    """Volume and area to rounding, closed and of the same genus (trimesh); old vertices are where they were."""
    _, shell, even = stretched
    before, after = (
        trimesh.Trimesh(s.surface.vertices, s.surface.faces, process=False) for s in (shell, even)
    )
    assert after.is_watertight
    assert after.is_winding_consistent
    assert after.euler_number == before.euler_number
    assert after.volume == pytest.approx(before.volume, rel=1e-12)
    assert after.area == pytest.approx(before.area, rel=1e-12)
    count = len(shell.surface.vertices)
    np.testing.assert_array_equal(even.surface.vertices[:count], shell.surface.vertices)
    np.testing.assert_array_equal(even.thickness[:count], shell.thickness)


def test_each_vertex_knows_its_point_on_the_body(stretched):
    """The same face and weights on the body and on the first shell give the body's and the shell's place."""
    body, shell, even = stretched
    weight, face = even.on_body_barycentric, even.on_body_face
    np.testing.assert_allclose(weight.sum(axis=1), 1.0)
    on_shell = np.einsum("nk,nkd->nd", weight, shell.surface.vertices[shell.surface.faces[face]])
    np.testing.assert_allclose(on_shell, even.surface.vertices, atol=1e-9)
    on_body = np.einsum("nk,nkd->nd", weight, body.surface.vertices[body.surface.faces[face]])
    some = np.linspace(0, len(on_body) - 1, 300).astype(int)
    found = nearest(body.surface.vertices, body.surface.faces, on_body[some])
    back = np.array([p.on(body.surface.vertices, body.surface.faces) for p in found])
    np.testing.assert_allclose(back, on_body[some], atol=1e-6)


def test_triangles_are_more_even(stretched):
    """The longest sides of padded triangles, at their worst hundredth over their median, shrink by a tenth
    and more (by how much more turns on how the body was triangulated)."""
    _, shell, even = stretched
    worst = []
    for s in (shell, even):
        sides = edges(s.surface)[(s.thickness > 2)[s.surface.faces].any(axis=1)]
        worst.append(np.percentile(sides.max(axis=1), 99) / np.percentile(sides.max(axis=1), 50))
    assert worst[1] < 0.9 * worst[0]


def ball(stretch):
    """A ball of 80 mm stretched at its upper half, as a shell over itself; symmetric in x = 0."""
    mesh = trimesh.creation.icosphere(3, radius=80)
    points = np.array(mesh.vertices)
    points[:, 2] = np.where(points[:, 2] > 0, stretch * points[:, 2], points[:, 2])
    face = np.zeros(len(points), dtype=np.int64)
    corner = np.zeros(len(points), dtype=np.int64)
    for k in range(3):
        face[mesh.faces[:, k]], corner[mesh.faces[:, k]] = np.arange(len(mesh.faces)), k
    surface = Surface(points, mesh.faces)
    return Shell(surface, face, np.eye(3)[corner], np.zeros(len(points)))


def test_a_symmetric_shell_stays_symmetric():
    """With its mirror images told, every vertex of the even shell has one again, and every triangle."""
    shell = ball(6.0)
    partner = mirror_partners(shell.surface.vertices, shell.surface.faces)
    assert partner is not None
    even = even_shell(shell, partner)
    assert len(even.surface.faces) > len(shell.surface.faces) + 100
    assert mirror_partners(even.surface.vertices, even.surface.faces) is not None


def test_the_same_shell_comes_back_where_nothing_is_long():
    """Even triangles: the shell itself."""
    shell = ball(1.0)
    assert even_shell(shell) is shell
