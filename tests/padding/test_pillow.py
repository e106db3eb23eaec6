"""Pillows: top and base that close, their volume, filling and zip."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from igl.copyleft import cgal

from padlib.errors import InputError
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.profile import cap, eased
from padlib.padding.shell import build_shell
from padlib.padding.volume import pad_sizes

DEFAULT = (Pad("thigh", "thigh"), Pad("seat", "seat"))


def closed(pillow):
    """Top and base as one trimesh, welded where they meet."""
    count = len(pillow.top.vertices)
    mesh = trimesh.Trimesh(
        np.vstack([pillow.top.vertices, pillow.base.vertices]),
        np.vstack([pillow.top.faces, pillow.base.faces + count]),
        process=False,
    )
    mesh.merge_vertices()
    return mesh


@pytest.fixture(scope="module", params=["plain", "child_heavy"])
def made(request, human):
    """A body, its shell and its pillows."""
    body = human(request.param)
    shell = build_shell(body, DEFAULT)
    return body, shell, make_pillows(body, shell, DEFAULT)


def test_there_is_a_pillow_for_each_pad_and_side(made):
    """Two pads on both sides are four pillows, in the order of the pads, left first."""
    assert [(p.name, p.side) for p in made[2]] == [
        ("thigh", "left"), ("thigh", "right"), ("seat", "left"), ("seat", "right"),
    ]  # fmt: skip


def test_top_and_base_close_to_the_volume(made):
    """Welded along their border they are a closed surface of the volume told (trimesh), uncrossed (CGAL)."""
    for pillow in made[2]:
        mesh = closed(pillow)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.euler_number == 2
        assert mesh.volume / 1e6 == pytest.approx(pillow.volume_l, rel=1e-9)
        crossed = cgal.remesh_self_intersections(
            np.ascontiguousarray(mesh.vertices, dtype=np.float64),
            np.ascontiguousarray(mesh.faces, dtype=np.int64),
            detect_only=True,
        )[2]
        assert len(crossed) == 0


def test_the_borders_are_one_line(made):
    """Border vertices of top and base are the same places, each once, and all of the border."""
    for pillow in made[2]:
        top = pillow.top.vertices[pillow.boundary_top]
        np.testing.assert_array_equal(top, pillow.base.vertices[pillow.boundary_base])
        assert len(set(pillow.boundary_top.tolist())) == len(top)
        border = trimesh.Trimesh(pillow.base.vertices, pillow.base.faces, process=False)
        assert len(border.outline().entities) == 1


def test_the_base_lies_on_the_body(made):
    """Every vertex of a base is on the skin."""
    body, _, pillows = made
    skin = trimesh.Trimesh(body.surface.vertices, body.surface.faces, process=False)
    for pillow in pillows:
        _, distance, _ = trimesh.proximity.closest_point_naive(skin, pillow.base.vertices[:40])
        assert distance.max() < 1e-6


def test_pillows_hold_what_the_pads_add(made):
    """All pillows together hold the pads' volume but for the thin rim: 8 % less at most."""
    body, shell, pillows = made
    pads = sum(size.volume_l for size in pad_sizes(body, shell, DEFAULT))
    held = sum(pillow.volume_l for pillow in pillows)
    assert 0.92 * pads < held < 1.02 * pads


def test_filling_follows_the_trade_densities(made):
    """Soft, medium and firm are 12, 14 and 16 g per litre: within 11-13, 14 and 15-17 kg/m3."""
    for pillow in made[2]:
        density = {word: grams / pillow.volume_l for word, grams in pillow.filling_g.items()}
        assert density == pytest.approx({"soft": 12.0, "medium": 14.0, "firm": 16.0})


def test_the_zip_fits_the_middle_of_the_base(made):
    """The zip is in whole centimetres and leaves 50 mm shut at each end of the middle line."""
    for pillow in made[2]:
        length = pillow.middle.length(pillow.base.vertices, pillow.base.faces)
        assert pillow.zip_mm % 10 == 0
        assert length - 110 < pillow.zip_mm <= length - 100


def test_a_zip_can_be_asked_for(human):
    """A zip that fits is taken as asked; one that does not is told with the room there is."""
    body = human("plain")
    pads = [Pad("cushion", "seat", "left")]
    shell = build_shell(body, pads)
    assert make_pillows(body, shell, pads, zip_mm=123.0)[0].zip_mm == 123.0
    with pytest.raises(InputError, match=r"pad 'cushion' \(left\): a zip of 900 mm was asked for"):
        make_pillows(body, shell, pads, zip_mm=900.0)


def test_a_pad_thinner_than_its_edge_makes_no_pillow(human):
    """A pad that is nowhere thicker than the edge is told by name."""
    body = human("plain")
    pads = [Pad("flat", "seat", "left", {"depth": 6})]
    shell = build_shell(body, pads)
    with pytest.raises(InputError, match=r"pad 'flat' \(left\) is nowhere thicker than 20 mm"):
        make_pillows(body, shell, pads, edge=20.0)


def test_a_dome_of_a_pillow_has_the_cap_volume(monkeypatch, slab):
    """On a plane a dome's pillow holds the spherical cap's volume, less 1.9 % for rim and smoothing."""
    depth, radius = 45.0, 120.0

    def dome(body, parameters, side, who):
        points = body.surface.vertices
        height = eased(cap(np.hypot(points[:, 0], points[:, 1]), depth, radius), 0.0)
        return np.where(points[:, 2] > -1.0, height, 0.0)

    monkeypatch.setitem(shapes.KINDS, "given", SimpleNamespace(thickness=dome))
    pads = [Pad("dome", "given", "left")]
    shell = build_shell(slab, pads, cloth_thickness=0, ease=0, bridge=0)
    pillow = make_pillows(slab, shell, pads)[0]
    expected = np.pi * depth * (3 * radius**2 + depth**2) / 6
    assert pillow.volume_l * 1e6 == pytest.approx(0.981 * expected, rel=0.005)
    rim = pillow.base.vertices[pillow.boundary_base]
    # on a grid of 10 mm the outline of a dome without blend is true to half a cell
    np.testing.assert_allclose(np.hypot(rim[:, 0], rim[:, 1]), radius, atol=5.0)
