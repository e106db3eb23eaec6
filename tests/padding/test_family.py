"""Every kind of pad on its own: its volume against trimesh, its cushion closed, its shell free of crossings."""

import importlib.util
from pathlib import Path

import pytest
import trimesh

from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.shell import build_shell
from padlib.padding.volume import pad_sizes

BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}
FAMILY = [kind for kind, module in shapes.KINDS.items() if not hasattr(module, "layers")]
EDGE = 26.0  # mm: coarse, so that ten kinds are quick

SPEC = importlib.util.spec_from_file_location("laws", Path(__file__).parent / "laws.py")
laws = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(laws)


def volume(surface):
    """Volume by trimesh."""
    return trimesh.Trimesh(surface.vertices, surface.faces, process=False).volume


@pytest.mark.parametrize("kind", FAMILY)
def test_the_volume_told_is_what_the_shell_adds(human, kind):
    """Shell less body by trimesh, within 0.5 %, and the laws of every shell."""
    body = human("plain", EDGE)
    pads = [Pad(kind, kind)]
    shell = build_shell(body, pads, **BARE)
    told = sum(size.volume_l for size in pad_sizes(body, shell, pads)) * 1e6
    assert told == pytest.approx(volume(shell.surface) - volume(body.surface), rel=0.005)
    laws.check(body, shell)


@pytest.mark.parametrize("kind", FAMILY)
def test_its_cushion_closes(human, kind):
    """Top and base share their rim and enclose the litres that are told; the zip fits."""
    body = human("plain", EDGE)
    pads = [Pad(kind, kind)]
    for pillow in make_pillows(body, build_shell(body, pads), pads):
        count = len(pillow.top.vertices)
        mesh = trimesh.Trimesh(
            [*pillow.top.vertices, *pillow.base.vertices],
            [*pillow.top.faces, *(pillow.base.faces + count)],
            process=False,
        )
        mesh.merge_vertices()
        assert mesh.is_watertight
        assert mesh.volume / 1e6 == pytest.approx(pillow.volume_l, rel=1e-9)
        room = pillow.middle.length(pillow.base.vertices, pillow.base.faces) - 100.0
        assert pillow.zip_mm <= max(room, 0.0)
