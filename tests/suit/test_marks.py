"""Marks of a suit, from the suit file to pieces, on the built-in body."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh

from padlib.errors import SuitError
from padlib.output.blocks import Table
from padlib.output.guide_content import marks_blocks as guide_marks
from padlib.pattern.parts import Ask, Worn, make_part
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import parse_suit, read_suit
from padlib.suit.marks import carved, mark_report, mark_seams
from padlib.suit.order import works
from padlib.suit.order_check import faults
from padlib.suit.sewing import seam_report
from padlib.suit.steps import flatten_panels, make_panels, suit_body, suit_pieces, suit_shell

CREAM = '[cloth.cream]\nuse = "parts"\ncolour = "#e8dcb8"\n'
BELLY = """
[[mark]]
name = "belly"
shape = "oval"
cloth = "cream"
at = {near = "waist_front", move = [0, 0, 20]}
width = 240
height = 300
"""
STRIPES = """
[[mark]]
name = "stripe"
shape = "band"
cloth = "cream"
limb = "arm"
place = 0.55
width = 45
count = 2
gap = 40
"""
SPOT = """
[[mark]]
name = "spot"
shape = "oval"
cloth = "cream"
at = {near = "hip_left", move = [0, 0, -180]}
side = "left"
width = 110
"""
PATCH = """
[[mark]]
name = "patch"
style = "line"
through = [{near = "cervicale", move = [60, 0, -80]}, {near = "cervicale", move = [110, 0, -130]},
           {near = "cervicale", move = [110, 0, -230]}, {near = "cervicale", move = [50, 0, -180]}]
"""


def suit_of(*marks: str):
    """The demo suit with marks."""
    return parse_suit(DEMO_SUIT.read_text() + CREAM + "".join(marks), name="marks.toml")


def area(vertices, faces) -> float:
    """Area, by trimesh."""
    return float(trimesh.Trimesh(vertices, faces, process=False).area)


@pytest.fixture(scope="module")
def worn():
    """The demo suit's body and shell."""
    suit = read_suit(DEMO_SUIT)
    body = suit_body(suit)
    return body, suit_shell(suit, body)


@pytest.fixture(scope="module")
def made(worn):
    """The demo suit with four marks: suit, panels, flats without darts, and the flats as the marks part them."""
    suit = suit_of(BELLY, STRIPES, SPOT, PATCH)
    panels = make_panels(suit, *worn)
    flats = flatten_panels(panels.panels, panels.pile, limit=0.05, most=0)
    parted = carved(suit, panels.marks, panels.panels, panels.tints, flats)
    return suit, panels, flats, parted


def test_parts_add_up_to_their_panels(made):
    """On the shell and on paper, within 1e-9."""
    _, _, flats, parted = made
    for of in (lambda f: f.panel.surface.vertices, lambda f: np.pad(f.positions, ((0, 0), (0, 1)))):
        whole: dict[str, float] = {}
        for flat in parted.flats:
            name = parted.whole.get(flat.panel.name, flat.panel.name)
            whole[name] = whole.get(name, 0.0) + area(of(flat), flat.panel.surface.faces)
        for flat in flats:
            own = area(of(flat), flat.panel.surface.faces)
            assert whole[flat.panel.name] == pytest.approx(own, rel=1e-9)


def test_both_sides_of_a_mark_agree_and_marks_meet_at_seams(made):
    """A mark's outline is one curve on both its pieces; what lies beside it along a seam is equally long on both
    partners within 0.2 mm, so that the mark does not jump where the seam is sewn."""
    _, _, _, parted = made
    names = {f"stripe-{k}-{side}" for k in (1, 2) for side in ("left", "right")} | {
        "belly",
        "spot-left",
    }
    seams = mark_seams(parted)
    told = seam_report([*parted.flats, *(hole for _, hole in parted.holes)])

    assert {s["name"] for s in seams} == names
    assert max(s["difference_mm"] for s in seams) < 1e-6
    crossed = [s for s in told if s["name"] in ("sleeve-front-left", "sleeve-back-left")]
    assert len(crossed) == 10  # five stretches of each seam: three of the sleeve, two of stripes
    assert max(s["difference_mm"] for s in crossed) < 0.2
    along = np.cumsum([[s["flat_mm"][0], s["flat_mm"][1]] for s in crossed[:5]], axis=0)
    assert np.abs(along[:, 0] - along[:, 1]).max() < 0.2


def test_a_mark_on_one_side_is_on_one_side(made):
    """The other leg has neither hole nor piece, although both legs are one mesh and its image."""
    _, panels, flats, parted = made
    spots = [t for t in mark_report(panels.marks, flats, parted) if t["name"] == "spot-left"]

    assert list(spots[0]["area_cm2"]) == ["leg-outer-left"]
    assert spots[0]["area_cm2"]["leg-outer-left"] == pytest.approx(np.pi * 5.5**2, rel=0.02)
    assert [name for name, _ in parted.holes] == ["leg-outer-left"]
    assert {f.panel.mirror_of for f in parted.flats if f.panel.name.startswith("leg-outer")} == {
        None
    }
    images = {f.panel.name: f.panel.mirror_of for f in parted.flats}
    assert images["belly-front-right"] == "belly-front-left"


def test_pieces_of_a_mark(made):
    """Cloth, counts, the hole with its allowance inside, notches of one name on both, the line of a line."""
    suit, _, flats, parted = made
    pieces = {p.name: p for p in suit_pieces(suit, flats, carved=parted)}
    spot, leg = pieces["spot-leg-outer-left"], pieces["leg-outer-left"]
    told = {m["name"]: m["set_in"] for m in mark_report(made[1].marks, flats, parted)}
    assert told["spot-left"] == ["leg-outer-left"]
    assert told["belly"] == ["front-left", "front-right"]
    assert (told["patch-left"], told["patch-right"]) == ([], [])

    assert {p.cloth for n, p in pieces.items() if "stripe" in n or n == "belly front"} == {"cream"}
    assert (spot.cloth, spot.count, leg.cloth, leg.count) == ("cream", 1, "moss", 1)
    assert pieces["belly front"].count == 2
    assert pieces["belly front"].mirrored
    hole = shapely.Polygon(next(i.points for i in leg.inner if i.purpose == "sew"))
    cut = [line.points for line in leg.inner if line.purpose == "cutout"]
    assert shapely.Polygon(spot.sew_line).area == pytest.approx(hole.area, rel=1e-9)
    assert 100 * spot.area_cm2 == pytest.approx(hole.buffer(10.0).area, rel=0.005)
    assert shapely.Polygon(cut[0]).area == pytest.approx(hole.buffer(-10.0).area, rel=0.005)
    assert leg.area_cm2 == pytest.approx(
        (shapely.Polygon(leg.cut_line).area - shapely.Polygon(cut[0]).area) / 100
    )
    shared = {n.pair for n in spot.notches} & {n.pair for n in leg.notches}
    assert len(shared) >= 1
    for notch in (n for n in leg.notches if n.pair in shared):
        assert hole.exterior.distance(shapely.Point(notch.at)) < 0.01
        assert hole.contains(shapely.Point(notch.at + 2.0 * notch.outward))
        assert notch.allowance_mm == pytest.approx(10.0, abs=1.0)
    assert [i.words for i in pieces["back"].inner] == ["patch: another colour inside"]


def test_linings_of_a_suit_with_marks_have_letters_of_their_own(made):
    """A lining is the whole panel, so its seams are not lettered as the parted pieces are: L before each letter."""
    suit, _, flats, parted = made
    lining = make_part(
        Ask("lining", "lining", "cream", panels=("front", "back", "leg-outer")), Worn(flats)
    )
    pieces = suit_pieces(suit, flats, (lining,), carved=parted)
    own = {p.name: p for p in pieces if p.name.startswith("lining")}
    assert len(own) >= 3
    others = {n.pair for p in pieces if p.name not in own for n in p.notches}
    for piece in own.values():
        lettered = {n.pair for n in piece.notches if not n.pair.startswith("dart")}
        assert lettered
        assert all(pair.startswith("L") for pair in lettered)
        assert not lettered & others
        assert not any(re.search(r"\u2192 \d", label.text) for label in piece.edge_labels)
    side = [{n.pair for n in own[k].notches} for k in sorted(own) if "front" in k or "back" in k]
    assert side[0] & side[1]


def test_the_order_of_work_sets_marks_in_first(made):
    """Sewn up in thought, no seam is missing or closes a tube too early, with the parts as they are cut."""
    suit, _, flats, parted = made
    seams = sorted({s["name"] for s in mark_seams(parted)})
    cut = [f for f in parted.flats if not f.panel.name.startswith("spot")]  # a hole is no edge
    pieces = suit_pieces(suit, flats, carved=parted)
    order = works(cut, pieces, closure="front", pillows=False, marks=seams)
    panels = [f.panel for f in cut]

    assert faults(panels, order) == []
    assert faults(panels, [w for w in order if "belly" not in w.seams]) != []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (BELLY.replace('cloth = "cream"\n', ""), "no cloth is named for it"),
        (BELLY.replace('"cream"', '"crem"'), "did you mean 'cream'?"),
        (BELLY.replace("at = ", "# "), "needs 'at' with one place"),
        (
            PATCH.replace("through", "# through").replace("           {near", "#"),
            "needs 'through' with 3 places",
        ),
        (STRIPES.replace('"arm"', '"tail"'), "'limb' cannot be 'tail'"),
    ],
)
def test_what_cannot_be_read_is_told_in_a_sentence(text, words):
    """With file and line."""
    with pytest.raises(SuitError, match=r"^marks.toml, line \d+: ") as error:
        suit_of(text)
    assert words in str(error.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (BELLY + 'side = "left"\n', "lies across the middle"),
        (BELLY.replace("waist_front", "waist_fron"), "placed by the landmark 'waist_fron'"),
        (STRIPES.replace("0.55", "0.0"), "does not go round 'arm_left'"),
        (
            PATCH.replace("110, 0, -230", "60, 0, -100").replace("50, 0, -180", "130, 0, -60"),
            "crosses",
        ),
    ],
)
def test_what_cannot_be_drawn_is_told_in_a_sentence(worn, text, words):
    """Naming the mark."""
    with pytest.raises(SuitError, match="mark '") as error:
        make_panels(suit_of(text), *worn)
    assert words in str(error.value)


def test_a_mark_too_small_to_set_in_becomes_a_line(worn, made):
    """With a finding that says so; a mark on the head lies on no panel."""
    _, _, flats, _ = made
    small = SPOT.replace("width = 110", "width = 22")
    star = (
        SPOT.replace("hip_left", "crown")
        .replace("spot", "star")
        .replace("0, 0, -180", "60, 0, -40")
    )
    suit = suit_of(small, star)
    own = make_panels(suit, *worn)
    assert [f.number for f in own.findings] == [940]
    leg = next(f for f in flats if f.panel.name == "leg-outer-left")
    panel = next(p for p in own.panels if p.name == "leg-outer-left")
    none = np.zeros((len(panel.surface.faces), 2))
    flat = replace(leg, panel=panel, positions=panel.surface.vertices[:, 1:], stretch=none)
    parted = carved(suit, own.marks, own.panels, own.tints, [flat])

    assert [f.number for f in parted.findings] == [941]
    told = next(m for m in mark_report(own.marks, [flat], parted) if m["name"] == "spot-left")
    assert (told["style"], told["set_in"], told["pieces"]) == ("inset", [], [])
    assert list(told["area_cm2"]) == ["leg-outer-left"]
    (table,) = [b for b in guide_marks({"marks": [told]}) if isinstance(b, Table)]
    assert table.rows[0][2] == "a line on the piece, too small to set in"
    assert [line.purpose for _, line in parted.lines] == ["colour"]
    assert parted.flats == (flat,)


def test_strokes_turn_the_pile_of_their_panels_only(worn):
    """A stroke across the back turns the backs' pile outwards, the others keep theirs; one on the left side only
    makes the sides differ."""
    stroke = '\n[[pile]]\nthrough = ["cervicale", {near = "cervicale", move = [160, 0, -120]}]\nreach = 400\n'
    plain = make_panels(suit_of(), *worn).pile
    both = make_panels(suit_of(stroke), *worn)
    left = make_panels(suit_of(stroke + 'side = "left"\n'), *worn)

    assert both.pile["back-left"][0] > 0.2
    assert both.pile["back-right"] == pytest.approx(both.pile["back-left"] * [-1, 1, 1], abs=1e-6)
    assert both.pile["leg-inner-left"] == pytest.approx(plain["leg-inner-left"])
    assert left.pile["back-right"] == pytest.approx([0.0, 0.0, -1.0])
    assert {p.mirror_of for p in left.panels} == {None}
