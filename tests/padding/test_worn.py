"""Worn parts: placed by landmarks, mirrored, the shell outside them, openings at their rims."""

import re
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh

from padlib.errors import InputError, SuitError
from padlib.padding import shapes
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.shapes.worn import worn_parts
from padlib.padding.shell import build_shell
from padlib.padding.worn import rim_rise, rises
from padlib.suit.file import parse_suit
from padlib.suit.worn import opening_rises


def cup(radius, above, below, rings=24, around=40):
    """A tube about z, open at its upper end `above` mm over the origin, closed `below` mm under it."""
    levels = np.linspace(above, -below, rings)
    turn = np.arange(around) * 2 * np.pi / around
    wall = [np.c_[radius * np.cos(turn), radius * np.sin(turn), np.full(around, z)] for z in levels]
    points = np.vstack([*wall, [[0, 0, -below]]])
    faces = []
    a, b = np.arange(around), (np.arange(around) + 1) % around
    for r in range(rings - 1):
        top, low = r * around, (r + 1) * around
        faces += [np.c_[top + a, low + a, low + b], np.c_[top + a, low + b, top + b]]
    last = (rings - 1) * around
    faces.append(np.c_[last + a, np.full(around, len(points) - 1), last + b])
    return trimesh.Trimesh(points, np.concatenate(faces), process=False)


@pytest.fixture(scope="module")
def paw(tmp_path_factory):
    """A paw: a cup of 55 mm radius whose cuff reaches 80 mm up the forearm."""
    path = tmp_path_factory.mktemp("worn") / "paw.ply"
    cup(55.0, 80.0, 170.0).export(path)
    return Pad("paws", "worn", "both", {"file": str(path), "part": "hand"})


def test_a_hand_goes_to_the_wrist_along_the_forearm(human, paw):
    """Its origin lies on the wrist, its axis runs from elbow to wrist, and the right one is the image."""
    body = human("plain")
    left, right = worn_parts(body, paw, "probe")
    for worn in (left, right):
        wrist, elbow = (body.at(f"{n}_{worn.side}") for n in ("wrist", "elbow"))
        along = (wrist - elbow) / np.linalg.norm(wrist - elbow)
        middle = worn.rim.mean(axis=0) + 80.0 * along
        assert np.linalg.norm(middle - wrist) < 45  # the mark lies on the skin, the middle within
        away = worn.surface.vertices - middle
        off = away - (away @ along)[:, None] * along
        wall = np.arange(len(away) - 1)
        np.testing.assert_allclose(np.linalg.norm(off[wall], axis=1), 55.0, atol=1e-6)
        assert (away @ along).min() == pytest.approx(-80.0)
        assert (away @ along).max() == pytest.approx(170.0)
        assert rim_rise(body, worn) == pytest.approx(80.0, abs=1e-6)
    mesh = trimesh.Trimesh(right.surface.vertices, right.surface.faces, process=False)
    assert mesh.is_winding_consistent


def test_the_shell_lies_outside_the_cuff_where_the_suit_covers_it(human, paw):
    """Every place of the cuff between rim and wrist is inside the shell, by libigl; the hand stays bare."""
    body = human("plain")
    shell = build_shell(body, [paw])
    for worn in worn_parts(body, paw, "probe"):
        wrist, elbow = (body.at(f"{n}_{worn.side}") for n in ("wrist", "elbow"))
        along = (wrist - elbow) / np.linalg.norm(wrist - elbow)
        s = (worn.surface.vertices - wrist) @ along
        cuff = worn.surface.vertices[(s < -5) & (s > -75)]
        distance = igl.signed_distance(
            np.ascontiguousarray(cuff),
            np.ascontiguousarray(shell.surface.vertices),
            np.ascontiguousarray(shell.surface.faces),
        )[0]
        assert (distance < 1.0).mean() > 0.97  # triangles of 16 mm cut the corner at the rim
        assert np.median(distance) < -2.0  # the cloth's own thickness
    tip = np.linalg.norm(body.surface.vertices - body.at("hand_tip_left"), axis=1) < 60
    np.testing.assert_array_equal(shell.surface.vertices[tip], body.surface.vertices[tip])


def test_no_cushion_is_made_of_a_worn_part(human, paw):
    """Of a paw and a seat pad on both sides, two cushions."""
    body = human("plain")
    pads = [paw, Pad("seat", "seat")]
    made = make_pillows(body, build_shell(body, pads), pads)
    assert [(p.name, p.side) for p in made] == [("seat", "left"), ("seat", "right")]


def test_openings_take_the_rims(human, paw, tmp_path):
    """A sleeve ends 30 mm beyond its paw's rim, a leg where its foot's rim asks, and a head lifts the neck."""
    body = human("plain")
    cup(70.0, 140.0, 0.0).export(tmp_path / "foot.ply")
    cup(120.0, 20.0, -200.0).export(tmp_path / "head.ply")
    foot = Pad("feet", "worn", "both", {"file": str(tmp_path / "foot.ply"), "part": "foot"})
    head = Pad("head", "worn", "both", {"file": str(tmp_path / "head.ply"), "part": "head"})
    parts = {p.name: worn_parts(body, p, p.name) for p in (paw, foot, head)}
    found = rises(body, parts, {"paws": 30.0, "feet": 25.0, "head": 10.0})
    assert found["wrist_rise"] == pytest.approx(50.0)
    ankle = max(body.at(f"ankle_{s}")[2] for s in ("left", "right"))
    assert found["ankle_rise"] == pytest.approx(140.0 - ankle - 25.0, abs=2.0)
    assert found["neck_rise"] == pytest.approx(30.0, abs=1e-6)


def test_a_suit_with_paws_has_its_wrist_openings_there(human, paw):
    """The suit file's own rises hold where nothing is worn; a rise is told, and kept within the plan's limits."""
    body = human("plain")
    folder = Path(paw.parameters["file"]).parent
    text = "[[pad]]\nname = 'paws'\nkind = 'worn'\npart = 'hand'\nfile = 'paw.ply'\noverlap = 20\n"
    suit = parse_suit(text, folder=folder)
    heights, told = opening_rises(suit, body)
    assert heights["wrist_rise"] == pytest.approx(60.0)
    assert heights["ankle_rise"] == 15.0
    assert [f.number for f in told] == [930]


WRONG = [
    ("part = 'hand'", "needs a 'file'"),
    (
        "file = 'paw.ply'\npart = 'wing'",
        "'part' is 'wing' but must be one of hand, foot, head, tail",
    ),
    (
        "file = 'paw.ply'\npart = 'hand'\nplace = 'air'",
        "'place' is 'air' but must be one of landmark, body",
    ),
    (
        "file = 'paw.ply'\npart = 'hand'\noverlap = 900",
        "'overlap' is 900 but must be a number from 0 to 150 mm",
    ),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_a_suit_file_says_what_is_wrong_with_a_worn_part(text, words):
    """One sentence with the line."""
    with pytest.raises(SuitError, match=r"line \d+: .*" + re.escape(words)):
        parse_suit(f"[[pad]]\nname = 'paws'\nkind = 'worn'\n{text}\n")


def test_a_head_has_no_side(human, tmp_path):
    """One side of a head is told."""
    cup(120.0, 20.0, -200.0).export(tmp_path / "head.ply")
    pad = Pad("head", "worn", "left", {"file": str(tmp_path / "head.ply"), "part": "head"})
    with pytest.raises(InputError, match="a head has no side"):
        shapes.layers(human("plain"), pad)
