"""What an edge is for: allowance, corners and notches, against rectangles worked out by hand."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest
import shapely

from padlib.errors import InputError, SuitError
from padlib.output.dxf import dxf_bytes
from padlib.pattern import make_pieces
from padlib.pattern.purpose import EdgeRule
from padlib.suit.file import parse_suit

WIDE = 150 * np.pi  # half a tube of radius 150, 600 mm high


def front(by_hand, *rules, **more):
    """The tube's front piece under some rules."""
    return make_pieces(by_hand.tube(), cloth="fur", opening_mm=30.0, rules=rules, **more)[0]


def area(piece):
    """Area within a cut line, by shapely, mm2."""
    return shapely.Polygon(piece.cut_line).area


def test_usual_purposes(by_hand):
    """Sewn sides 10 mm, hems above and below 30 mm."""
    assert area(front(by_hand)) == pytest.approx((WIDE + 20) * 660, rel=1e-6)


@pytest.mark.parametrize(
    ("rule", "wide", "high"),
    [
        (EdgeRule("neck", purpose="facing"), WIDE + 20, 640),
        (EdgeRule("neck", purpose="raw"), WIDE + 20, 630),
        (EdgeRule("neck", allowance_mm=45.0), WIDE + 20, 675),
        (EdgeRule("left side", panel="front", allowance_mm=20.0), WIDE + 30, 660),
        (EdgeRule("left side", purpose="fold"), WIDE + 10, 660),
        (EdgeRule("left side", panel="back", allowance_mm=20.0), WIDE + 20, 660),
    ],
)
def test_allowance_follows_from_the_purpose(by_hand, rule, wide, high):
    """One rule moves one side of a rectangle; a rule for the back leaves the front alone."""
    piece = front(by_hand, rule)
    assert np.ptp(piece.cut_line, axis=0) == pytest.approx([wide, high], abs=0.02)
    assert area(piece) == pytest.approx(wide * high, rel=2e-5)


def test_corners_by_treatment(by_hand):
    """A right angle between two seams: mitred 10 x 10, squared off at 10 mm from the corner."""
    seams = [EdgeRule(s, purpose="sewn") for s in ("neck", "lower edge")]
    mitred = front(by_hand, *seams)
    assert area(mitred) == pytest.approx((WIDE + 20) * 620, rel=1e-6)
    squared = front(by_hand, *seams, EdgeRule("neck", corner="squared"))
    # at 45 degrees a cut 10 mm from the corner takes off a right triangle of height 10 (sqrt 2 - 1)
    lost = 2 * (10 * (np.sqrt(2) - 1)) ** 2
    assert area(mitred) - area(squared) == pytest.approx(lost, abs=0.5)


def test_fold_is_cut_on_its_line(by_hand):
    """An edge on the fold has no allowance, its ends run straight on, and it says so."""
    piece = front(by_hand, EdgeRule("left side", purpose="fold"))
    run = next(line for seam, line in piece.edges if seam == "left side")
    assert shapely.LinearRing(piece.cut_line).distance(shapely.LineString(run)) < 1e-6
    assert any("fold, do not cut" in label.text for label in piece.edge_labels)


@pytest.mark.parametrize(
    ("style", "layer", "kind", "points"),
    [
        ("slit", "4", "LINE", 2),
        ("v", "4", "LWPOLYLINE", 3),
        ("t", "80", "LINE", 2),
        ("castle", "81", "LWPOLYLINE", 4),
        ("check", "82", "LWPOLYLINE", 3),
        ("u", "83", "LWPOLYLINE", 11),
    ],
)
def test_notch_styles_go_to_their_layers(by_hand, style, layer, kind, points):
    """Each kind of notch is on the layer that the interchange practice gives it, none within the seam."""
    rules = [EdgeRule(s, notch=style) for s in ("left side", "right side")]
    pieces = make_pieces(by_hand.tube(), cloth="fur", rules=rules)
    document = ezdxf.read(io.StringIO(dxf_bytes(pieces).decode("utf-8")))
    block = document.blocks.get("PIECE_1")
    found = [e for e in block if e.dxf.layer in ("4", "80", "81", "82", "83")]
    assert {e.dxf.layer for e in found} == {layer}
    assert {e.dxftype() for e in found} == {kind}
    sew = shapely.Polygon(pieces[0].sew_line)
    for e in found:
        xy = [e.dxf.start, e.dxf.end] if kind == "LINE" else e.get_points("xy")
        line = shapely.LineString([(p[0], p[1]) for p in xy])
        assert len(line.coords) == points
        assert line.distance(sew) >= 3.0  # half of 10 mm stays between the notch and the seam
    assert document.audit().errors == []


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (EdgeRule("hood"), "names seam 'hood', but there are left side, lower edge"),
        (EdgeRule("neck", panel="hood"), "names panel 'hood', but seam 'neck' is on back, front"),
        (EdgeRule("neck", purpose="glued"), "an edge cannot be 'glued'; take one of sewn"),
        (EdgeRule("neck", allowance_mm=-1.0), "is -1; it must lie between 0 and 100"),
    ],
)
def test_bad_rules_get_one_sentence(by_hand, rule, words):
    """What is not there is named."""
    with pytest.raises(InputError, match=words):
        front(by_hand, rule)


def test_edges_of_a_suit_file():
    """[[edge]] says what differs; a wrong word is told with its line."""
    suit = parse_suit('[[edge]]\nseam = "neck"\npurpose = "facing"\nallowance = 8\n')
    assert suit.edges == (EdgeRule("neck", "", "facing", 8.0),)
    with pytest.raises(SuitError, match="line 3: 'corner' cannot be 'round'"):
        parse_suit('[[edge]]\nseam = "neck"\ncorner = "round"')
    with pytest.raises(SuitError, match="line 1: this edge names no seam"):
        parse_suit('[[edge]]\npurpose = "hem"')
