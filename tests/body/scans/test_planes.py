"""Planes that the user gives: trimming, the middle plane, and bodies made even."""

from __future__ import annotations

import re

import igl
import numpy as np
import pytest

from padlib.body.frame import find_frame
from padlib.body.planes import made_even, read_plane
from padlib.body.scan import body_from_surface
from padlib.errors import InputError
from padlib.mesh import repair
from padlib.mesh.surface import Surface


def test_planes_are_read():
    """Axes and normals come back as a unit normal and an offset; what lies beyond is where normal . p > offset."""
    for text, normal, offset in (
        ("x > 600", (1, 0, 0), 600.0),
        ("z<80", (0, 0, -1), -80.0),
        ("0, 3, 4 > 10", (0, 0.6, 0.8), 2.0),
    ):
        got = read_plane(text)
        assert np.allclose(got[0], normal)
        assert got[1] == pytest.approx(offset)


@pytest.mark.parametrize(
    "text", ["w > 3", "x >", "1,2 > 3", "x = 3", "0,0,0 > 1", "z > 1e", "", "x > nan"]
)
def test_what_is_no_plane_is_one_sentence(text):
    """Words that are no plane are named, with one that is."""
    with pytest.raises(InputError, match="is no plane; write one such as"):
        read_plane(text)


def test_trimmed_hair_and_feet_are_gone(adult):
    """Planes at 1600 and 60 mm leave a closed body as tall as what lies between, and both cuts are told."""
    scan = body_from_surface(Surface(*adult), trim=("z > 1600", "z < 60"), edge_length=20.0)
    assert repair.is_closed_manifold(scan.body.surface.faces)
    assert np.ptp(scan.body.surface.vertices[:, 2]) == pytest.approx(1540.0, abs=25.0)
    assert [f.number for f in scan.repairs].count(205) == 2
    with pytest.raises(InputError, match="leaves nothing"):
        body_from_surface(Surface(*adult), trim=("z > -5",))


def test_an_uneven_body_is_made_even(adult):
    """One side pushed out by 6 mm at the hip: both end 3 mm out, exactly mirrored, and it is told."""
    vertices, faces = adult
    bump = np.exp(-(((vertices[:, 2] - 900.0) / 80.0) ** 2)) * (vertices[:, 0] > 60.0)
    moved = vertices + 6.0 * bump[:, None] * [1.0, 0.0, 0.0]
    even, told = made_even(Surface(moved, faces))
    assert repair.is_closed_manifold(even.faces)
    flipped = even.vertices * [-1.0, 1.0, 1.0]
    order = np.lexsort(even.vertices.T), np.lexsort(flipped.T)
    assert np.array_equal(even.vertices[order[0]], flipped[order[1]])
    both = np.exp(-(((vertices[:, 2] - 900.0) / 80.0) ** 2)) * (np.abs(vertices[:, 0]) > 60.0)
    mean = vertices + 3.0 * (both * np.sign(vertices[:, 0]))[:, None] * [1.0, 0.0, 0.0]
    off = np.sqrt(igl.point_mesh_squared_distance(even.vertices, mean, faces)[0])
    assert np.quantile(off, 0.99) < 0.5
    assert off.max() < 2.0
    most = float(re.search(r"([\d.]+) mm at most", str(told[0]))[1])
    assert 5.5 <= most <= 6.0


def test_a_given_middle_plane_is_obeyed(adult):
    """The plane of symmetry given in the file's frame becomes x = 0, whatever the shape says."""
    vertices, faces = adult
    a = np.radians(20.0)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    file = vertices @ turn.T + [50.0, 20.0, 0.0]
    normal = turn[:, 0]
    plane = f"{normal[0]:.6f},{normal[1]:.6f},0 = {normal @ [50.0, 20.0, 0.0] + 7.0:.4f}"
    frame = find_frame(Surface(file, faces), middle=plane)
    apart = frame.carry(file) - vertices
    assert np.allclose(apart[:, 0], -7.0, atol=0.05)
    with pytest.raises(InputError, match="lies across"):
        find_frame(Surface(file, faces), middle="z = 800")
