"""The laws of every shell, checked by others' code: trimesh, libigl, CGAL."""

import igl
import numpy as np
import trimesh
from igl.copyleft import cgal

from padlib.padding.cover import cover


def crossing_pairs(vertices, faces, where):
    """Pairs of triangles that cross, by exact arithmetic (CGAL), with a vertex in the mask `where`."""
    pairs = cgal.remesh_self_intersections(
        np.ascontiguousarray(vertices), np.ascontiguousarray(faces), detect_only=True
    )[2]
    return pairs[where[faces].any(axis=1)[pairs].any(axis=1)] if len(pairs) else pairs


def outside(points, surface):
    """How far (n,) mm points lie outside a closed surface, negative inside (libigl)."""
    return igl.signed_distance(
        np.ascontiguousarray(points),
        np.ascontiguousarray(surface.vertices),
        np.ascontiguousarray(surface.faces),
    )[0]


def check(body, shell):
    """The laws of every shell: closed, as free of crossings as the body, the body inside it."""
    surface = shell.surface
    np.testing.assert_array_equal(surface.faces, body.surface.faces)
    mesh = trimesh.Trimesh(surface.vertices, surface.faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    bare = trimesh.Trimesh(body.surface.vertices, surface.faces, process=False)
    assert mesh.euler_number == bare.euler_number
    where = cover(body) > 0
    before = crossing_pairs(body.surface.vertices, surface.faces, where)
    after = crossing_pairs(surface.vertices, surface.faces, where)
    own = {tuple(pair) for pair in np.sort(before, axis=1).tolist()}
    assert {tuple(pair) for pair in np.sort(after, axis=1).tolist()} <= own
    away = outside(body.surface.vertices, surface)
    worn = cover(body) >= 0.99
    assert away[worn].max() < 0.15
    # Beyond the openings the cloth runs out over hand, foot and neck; on this coarse mesh one vertex of
    # a hand shows through by 0.8 mm there, where there is no suit.
    assert away.max() < 1.0
