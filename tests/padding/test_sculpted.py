"""Sculpted pads: caps laid on a plane, a padded double brought back, files that cannot be used."""

import numpy as np
import pytest
import trimesh

from padlib.errors import InputError, SuitError
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.shell import build_shell
from padlib.suit.file import parse_suit

BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}


def volume(surface):
    """Volume by trimesh."""
    return trimesh.Trimesh(surface.vertices, surface.faces, process=False).volume


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_a_ball_sunk_in_a_plane_leaves_a_spherical_cap(slab, tmp_path, unit):
    """Foam shaped as a ball of radius 200 mm whose cap stands 50 mm out: its volume within 1 %."""
    ball, depth = 200.0, 50.0
    mesh = trimesh.creation.icosphere(4, radius=ball)
    mesh.apply_translation((20, 10, depth - ball))
    mesh.vertices[:, 2] = np.maximum(mesh.vertices[:, 2], -60.0)  # not out of the slab's other side
    mesh.apply_scale(1.0 / {"mm": 1.0, "inch": 25.4}[unit])
    mesh.export(tmp_path / "foam.stl")
    own = {"file": str(tmp_path / "foam.stl"), "unit": unit, "least": 0.5}
    shell = build_shell(slab, [Pad("foam", "sculpted", "both", own)], **BARE)
    expected = np.pi * depth**2 * (3 * ball - depth) / 3
    assert volume(shell.surface) - volume(slab.surface) == pytest.approx(expected, rel=0.01)


def test_foam_that_stands_off_the_skin_counts_to_its_outside(slab, tmp_path):
    """A block 40 mm thick that hovers 6 mm over the skin is a pad of 46 mm; one 30 mm off is none."""
    for gap, expected in ((6.0, 46.0), (30.0, None)):
        block = trimesh.creation.box((160, 160, 40))
        block.apply_translation((0, 0, 20 + gap))
        block.export(tmp_path / "block.ply")
        pad = Pad("block", "sculpted", "both", {"file": str(tmp_path / "block.ply")})
        if expected is None:
            with pytest.raises(InputError, match="nowhere stands off the body"):
                shapes.layers(slab, pad)
        else:
            assert shapes.layers(slab, pad)[0][2].max() == pytest.approx(expected, abs=0.05)


@pytest.fixture(scope="module")
def double(human, tmp_path_factory):
    """A body, its padded double as a file, and the pads' thickness."""
    body = human("plain")
    pads = [
        Pad("thigh", "thigh", "both", {"depth": 50.0}),
        Pad("belly", "belly", "both", {"depth": 60.0}),
    ]
    shell = build_shell(body, pads, **BARE)
    mesh = trimesh.Trimesh(shell.surface.vertices, shell.surface.faces, process=False)
    folder = tmp_path_factory.mktemp("double")
    mesh.export(folder / "double.ply")
    turned = mesh.copy()
    turned.apply_transform(trimesh.transformations.rotation_matrix(0.06, [0, 0, 1]))
    turned.apply_translation((35, -20, 0))
    turned.export(folder / "scan.ply")
    return body, shell.thickness, folder


def test_the_padded_double_gives_the_pads_back(double):
    """Three pads, each named and on its side, together as thick as those it was made of (2 mm median)."""
    body, thickness, folder = double
    pad = Pad("foam", "sculpted", "both", {"file": str(folder / "double.ply")})
    parts = shapes.layers(body, pad)
    assert sorted((name, side) for name, side, _ in parts) == [
        ("foam", "left"), ("foam", "right"), ("foam-middle", "both"),
    ]  # fmt: skip
    found = np.max([layer for _, _, layer in parts], axis=0)
    apart = np.abs(found - thickness)[thickness > 5]
    assert np.median(apart) < 1.0
    assert (
        np.quantile(apart, 0.95) < 6.0
    )  # where normals fan out, the way differs from the pad's own


def test_a_scan_of_the_double_is_brought_onto_the_body(double):
    """Turned by 3.4 degrees and moved by 40 mm it gives the same pads within 3 mm (median)."""
    body, thickness, folder = double
    pad = Pad("foam", "sculpted", "both", {"file": str(folder / "scan.ply"), "place": "double"})
    found = np.max([layer for _, _, layer in shapes.layers(body, pad)], axis=0)
    assert np.median(np.abs(found - thickness)[thickness > 5]) < 3.0


def test_one_side_is_mirrored(double):
    """Only the left is used; its image is the right, and the belly in the middle is cut in two there."""
    body, _, folder = double
    own = {"file": str(folder / "double.ply"), "mirrored": "left"}
    parts = {
        (name, side): layer
        for name, side, layer in shapes.layers(body, Pad("foam", "sculpted", "both", own))
        if side != "both"
    }
    assert {("foam", "left"), ("foam", "right")} <= set(parts)
    left, right = parts["foam", "left"], parts["foam", "right"]
    assert left.max() == pytest.approx(right.max(), rel=0.05)
    assert (body.surface.vertices[right > 5, 0] < 30).all()


WRONG = [
    ("", "needs a 'file'"),
    ("file = '../foam.stl'", "put it beside the suit file"),
    ("file = '/etc/passwd'", "put it beside the suit file"),
    ("file = 'foam.stl'\nunit = 'ell'", "'unit' is 'ell' but must be one of mm, cm"),
    ("file = 'foam.stl'\nplace = 'double'\nturn = 90", "leave out move, turn and scale"),
    ("file = 'foam.stl'\nmove = [1, 2]", "'move' must be \\[x, y, z\\] in mm, not \\[1, 2\\]"),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_a_suit_file_says_what_is_wrong(text, words):
    """One sentence with the line."""
    with pytest.raises(SuitError, match=r"line \d+: .*" + words):
        parse_suit(f"[[pad]]\nname = 'foam'\nkind = 'sculpted'\n{text}\n")


def test_another_person_is_told(human, tmp_path):
    """A double that is nothing like the wearer is told with how far off it lies."""
    other = human("child_heavy", 26.0).surface
    trimesh.Trimesh(other.vertices * 0.9, other.faces, process=False).export(tmp_path / "other.ply")
    own = {"file": str(tmp_path / "other.ply"), "place": "double", "unit": "mm"}
    pad = Pad("foam", "sculpted", "both", own)
    with pytest.raises(InputError, match="pad 'foam': the sculpted double is"):
        shapes.layers(human("plain"), pad)
