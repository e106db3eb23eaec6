"""Volumes of pads against elementary geometry and against trimesh."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from padlib.body.body import Body
from padlib.mesh.areas import enclosed
from padlib.mesh.surface import Surface
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.profile import band, cap, eased
from padlib.padding.shell import build_shell
from padlib.padding.volume import pad_sizes, swept

BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}


def mesh_volume(surface):
    """Volume by trimesh, which is none of our code."""
    return trimesh.Trimesh(surface.vertices, surface.faces, process=False).volume


def with_kind(monkeypatch, thickness):
    """Make a pad kind 'given' out of a function of the body."""
    kind = SimpleNamespace(thickness=lambda body, parameters, side, who: thickness(body))
    monkeypatch.setitem(shapes.KINDS, "given", kind)
    return [Pad("given", "given", "left")]


@pytest.mark.parametrize(("depth", "radius"), [(20.0, 90.0), (45.0, 120.0)])
def test_a_dome_on_a_plane_has_the_volume_of_a_spherical_cap(monkeypatch, slab, depth, radius):
    """pi d (3 r^2 + d^2) / 6 within 1 %, by trimesh and by our own formula."""

    def dome(body):
        points = body.surface.vertices
        height = eased(cap(np.hypot(points[:, 0], points[:, 1]), depth, radius), 0.0)
        return np.where(points[:, 2] > -1.0, height, 0.0)

    pads = with_kind(monkeypatch, dome)
    shell = build_shell(slab, pads, **BARE)
    expected = np.pi * depth * (3 * radius**2 + depth**2) / 6
    assert mesh_volume(shell.surface) - mesh_volume(slab.surface) == pytest.approx(
        expected, rel=0.01
    )
    assert pad_sizes(slab, shell, pads)[0].volume_l * 1e6 == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("depth", [10.0, 25.0, 60.0])
def test_a_band_on_a_cylinder_has_the_volume_of_an_annulus(monkeypatch, rod, depth):
    """The annulus pi ((R + t)^2 - R^2) L plus its two rims of 45 degrees, within 0.5 %."""
    radius, half = 90.0, 100.0

    def belt(body):
        points = body.surface.vertices
        height = eased(band(points[:, 2], depth, half), 0.0)
        return np.where(np.hypot(points[:, 0], points[:, 1]) > radius - 1, height, 0.0)

    pads = with_kind(monkeypatch, belt)
    shell = build_shell(rod, pads, **BARE)
    rims = 2 * np.pi * (radius * depth**2 + depth**3 / 3)
    expected = np.pi * ((radius + depth) ** 2 - radius**2) * 2 * half + rims
    added = mesh_volume(shell.surface) - mesh_volume(rod.surface)
    assert added == pytest.approx(expected, rel=0.005)
    assert pad_sizes(rod, shell, pads)[0].volume_l * 1e6 == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("build", ["plain", "heavy"])
def test_shell_less_body_is_the_volume_of_the_pads(human, build):
    """Without cloth and ease, trimesh's volumes of shell and body differ by our pad volumes (0.5 %)."""
    body = human(build)
    pads = [Pad("thigh", "thigh"), Pad("seat", "seat")]
    shell = build_shell(body, pads, **BARE)
    added = mesh_volume(shell.surface) - mesh_volume(body.surface)
    ours = sum(size.volume_l for size in pad_sizes(body, shell, pads)) * 1e6
    assert ours == pytest.approx(added, rel=0.005)


def test_swept_volumes_sum_to_the_difference_of_the_volumes():
    """For any move of a closed surface's vertices the swept volumes sum to the change in volume."""
    ball = trimesh.creation.icosphere(3, radius=50)
    end = ball.vertices * 1.3 + np.random.default_rng(3).normal(0, 2, ball.vertices.shape)
    change = trimesh.Trimesh(end, ball.faces, process=False).volume - ball.volume
    assert swept(ball.vertices, end, ball.faces).sum() == pytest.approx(change, rel=1e-12)
    assert enclosed(end, ball.faces) - enclosed(ball.vertices, ball.faces) == pytest.approx(change)


def test_ease_grows_a_convex_body_as_steiner_says():
    """A capsule under cloth and ease t grows by A t + M t^2 + 4 pi t^3 / 3, M the mean curvature's
    integral 4 pi r + pi h (J. Steiner 1840), to 1 %."""
    from_trimesh = trimesh.creation.capsule(height=300, radius=60, count=[64, 64])
    body = Body(Surface(from_trimesh.vertices, from_trimesh.faces), source="capsule")
    t = 12.0
    shell = build_shell(body, [], cloth_thickness=2.0, ease=10.0, bridge=0.0)
    area = 2 * np.pi * 60 * 300 + 4 * np.pi * 60**2
    mean = 4 * np.pi * 60 + np.pi * 300
    grown = area * t + mean * t**2 + 4 * np.pi * t**3 / 3
    assert mesh_volume(shell.surface) - from_trimesh.volume == pytest.approx(grown, rel=0.01)
