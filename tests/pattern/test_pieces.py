"""Pieces made of flats whose plane form is known."""

import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.flatten.flat import Flat
from padlib.pattern import make_pieces
from padlib.pattern.label import lines_of, notch_room
from padlib.pattern.lettering import width_mm
from padlib.pattern.notch import Chain, letters, marks_of, parted
from padlib.seams.panels import Edge, Panel


def arc_of(line, at):
    """Arc length along a polyline of the point nearest to `at`, and its distance."""
    string = shapely.LineString(line)
    return string.project(shapely.Point(at)), string.distance(shapely.Point(at))


def runs(piece, seam):
    """The sew-line runs of a seam."""
    return [line for name, line in piece.edges if name == seam]


@pytest.fixture(scope="module")
def suit(by_hand):
    """Flats of a tube and a pair of sleeves."""
    return [*by_hand.tube(), *by_hand.sleeves()]


@pytest.fixture(scope="module")
def pieces(suit):
    """Their pieces."""
    return make_pieces(suit, cloth="fur")


def test_mirror_pair_is_printed_once(pieces):
    """Panels that mirror each other are one piece, cut twice; the others are each their own."""
    assert [(p.name, p.count, p.mirrored, p.side) for p in pieces] == [
        ("front", 1, False, "both"),
        ("back", 1, False, "both"),
        ("sleeve", 2, True, "both"),
    ]
    assert pieces[2].panels == ("sleeve left", "sleeve right")
    assert "cut 2: 1 face up, 1 face down" in pieces[2].labels


def test_area_and_perimeter_of_a_tube(pieces):
    """Half a tube of radius 150 and height 600 mm is a rectangle: its cut piece is known."""
    wide = 150 * np.pi + 20
    assert pieces[0].area_cm2 == pytest.approx(wide * 620 / 100, rel=1e-9)
    assert pieces[0].perimeter_mm == pytest.approx(2 * (wide + 620), rel=1e-9)


def test_cone_piece_keeps_its_allowance(pieces):
    """A sleeve's cut line is 10 mm from its sew line but at the corners."""
    piece = pieces[2]
    sew = shapely.LinearRing(piece.sew_line)
    points = shapely.points(
        shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(piece.cut_line), 2.0))
    )
    ends = shapely.multipoints([line[0] for _, line in piece.edges])
    off = shapely.distance(points, sew)[shapely.distance(points, ends) > 20.5]
    assert np.abs(off - 10).max() < 0.05


@pytest.mark.parametrize("spacing", [90.0, 150.0, 180.0, 250.0])
def test_notches_meet_on_both_sides(suit, spacing):
    """Walking a seam from its upper end, its notches come at the same lengths on both panels to 0.2 mm."""
    front, back, sleeve = make_pieces(suit, cloth="fur", notch_spacing_mm=spacing)
    for seam in ("left side", "right side"):
        sides = []
        for piece in (front, back):
            (line,) = runs(piece, seam)
            line = line if line[0, 1] > line[-1, 1] else line[::-1]
            hits = sorted(
                (arc_of(line, n.at)[0], n.pair, n.count)
                for n in piece.notches
                if arc_of(line, n.at)[1] < 1e-6
            )
            sides.append(hits)
        assert len(sides[0]) >= 1
        assert [h[1:] for h in sides[0]] == [h[1:] for h in sides[1]]
        assert np.abs(np.subtract([h[0] for h in sides[0]], [h[0] for h in sides[1]])).max() < 0.2
    under = runs(sleeve, "underarm")
    at = [
        sorted(
            (np.hypot(*(n.at - (line[0] if line[0, 1] > line[-1, 1] else line[-1]))), n.pair)
            for n in sleeve.notches
            if arc_of(line, n.at)[1] < 1e-6
        )
        for line in under
    ]
    assert [p for _, p in at[0]] == [p for _, p in at[1]]
    assert np.abs(np.subtract([s for s, _ in at[0]], [s for s, _ in at[1]])).max() < 0.2


def test_spacing_is_even_and_has_a_direction(suit):
    """Notches stand evenly, and a seam turned end for end does not fit them."""
    front = make_pieces(suit, cloth="fur", notch_spacing_mm=150.0)[0]
    heights = np.sort([n.at[1] for n in front.notches if abs(n.at[0]) < 1e-6])
    assert np.ptp(np.diff(heights)) < 1e-6
    assert np.abs(heights - (600.0 - heights[::-1])).min() > 10.0


def test_notches_keep_clear_of_corners(pieces):
    """No notch is within the allowance of a corner of its piece."""
    for piece in pieces:
        ends = np.array([line[0] for _, line in piece.edges])
        for notch in piece.notches:
            assert np.hypot(*(ends - notch.at).T).min() > 10.0


def test_notches_point_outward_to_the_cut_line(pieces):
    """The allowance beyond a notch ends on the cut line."""
    for piece in pieces:
        for n in piece.notches:
            assert np.hypot(*n.outward) == pytest.approx(1.0)
            tip = shapely.Point(n.at + n.outward * n.allowance_mm)
            assert shapely.LinearRing(piece.cut_line).distance(tip) < 0.05


def test_front_and_back_marks():
    """Two marks where only the back is named; one for the front and for what joins both."""
    assert marks_of(["centre back", "back left"]) == 2
    assert marks_of(["side", "front", "back"]) == 1
    assert marks_of(["underarm", "sleeve"]) == 1


def test_folded_dart(by_hand):
    """A narrow dart stays in the piece: notches at both mouths, the cut line passes below them."""
    (piece,) = make_pieces([by_hand.dart_disk()], cloth="fur")
    mouths = piece.darts[0][[0, -1]]
    near = [n for n in piece.notches if np.hypot(*(mouths - n.at).T).min() < 1e-6]
    assert len(near) == 2
    assert len({n.pair for n in near}) == 1
    cut = shapely.Polygon(piece.cut_line)
    assert cut.contains(shapely.LineString(piece.darts[0]))
    assert cut.contains(shapely.Point(mouths.mean(axis=0)))


def test_wide_dart_is_cut_out(by_hand):
    """A wide dart is cut out with allowance along both legs, and notches that meet half-way down."""
    (piece,) = make_pieces([by_hand.dart_disk(intake_deg=40.0, share=0.9)], cloth="fur")
    first, apex, last = piece.darts[0]
    cut = shapely.Polygon(piece.cut_line)
    assert not cut.contains(shapely.Point(0.5 * (first + last)))
    for leg in (first, last):
        middle = 0.5 * (leg + apex)
        assert cut.exterior.distance(shapely.Point(middle)) == pytest.approx(10.0, abs=1e-6)
    pair = [n for n in piece.notches if n.pair.startswith("dart")]
    assert len(pair) == 2
    reach = [np.hypot(*(n.at - apex)) for n in pair]
    assert reach[0] == pytest.approx(reach[1], abs=0.2)


def test_words_lie_inside(by_hand, suit):
    """Block of words, arrow, edge labels and notch names of all pieces lie inside the sew line."""
    for piece in make_pieces([*suit, by_hand.dart_disk()], cloth="long brown fur"):
        inside = shapely.Polygon(piece.sew_line)
        assert piece.findings == ()
        assert inside.contains(shapely.LineString(piece.pile))
        assert piece.pile[0, 1] > piece.pile[1, 1]
        for words, at, height in lines_of(piece.labels, piece.label_at, piece.label_mm):
            assert inside.contains(
                shapely.box(*at, at[0] + width_mm(words, height), at[1] + height)
            )
        for label in piece.edge_labels:
            assert -90 < label.angle_deg <= 90
            turn = np.radians(label.angle_deg)
            half = (
                0.5 * width_mm(label.text, label.height_mm) * np.array([np.cos(turn), np.sin(turn)])
            )
            assert inside.contains(shapely.LineString([label.at - half, label.at + half]))
        for notch in piece.notches:
            assert inside.contains(notch_room(notch).centroid)


def test_edges_say_what_they_are_sewn_to(pieces):
    """Every sewn edge names its seam and the piece on the other side; openings name their hem."""
    texts = [label.text for label in pieces[0].edge_labels]
    assert any(t.endswith("left side \u2192 2 back") for t in texts)
    assert "neck: hem 10 mm" in texts
    assert any("itself" in label.text for label in pieces[2].edge_labels)


def test_edge_allowances(suit):
    """Openings and named seams take their own allowance."""
    front = make_pieces(
        suit, cloth="fur", opening_mm=30.0, allowances={"left side": 15.0, "right side": 15.0}
    )[0]
    assert np.ptp(front.cut_line, axis=0) == pytest.approx([150 * np.pi + 30, 660.0])
    assert front.area_cm2 == pytest.approx((150 * np.pi + 30) * 660 / 100, rel=1e-6)


def test_small_piece_is_reported(by_hand):
    """A piece too small for its words says so instead of hiding it."""
    (piece,) = make_pieces(
        [by_hand.dart_disk(name="a tiny disk for the very end of the nose", radius=12.0)],
        cloth="fur",
    )
    assert 702 in [f.number for f in piece.findings]


def test_seam_without_second_side_is_reported(suit):
    """A seam whose other panel is not there is a warning, and keeps its notches."""
    (piece,) = make_pieces(suit[:1], cloth="fur")
    assert 705 in [f.number for f in piece.findings]
    assert piece.notches


def test_same_pieces_every_time(suit, pieces):
    """The same flats give the same pieces, to the last bit."""
    again = make_pieces(suit, cloth="fur")
    for one, other in zip(pieces, again, strict=True):
        assert np.array_equal(one.cut_line, other.cut_line)
        assert [n.pair for n in one.notches] == [n.pair for n in other.notches]
        assert np.array_equal(one.label_at, other.label_at)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"allowance_mm": 0.0}, "allowance_mm is 0.0"),
        ({"allowance_mm": float("nan")}, "allowance_mm is nan"),
        ({"opening_mm": 500.0}, "opening_mm is 500.0"),
        ({"notch_spacing_mm": 5.0}, "notch_spacing_mm is 5.0"),
        ({"allowances": {"left sid": 12.0}}, "no panel has such a seam"),
        ({"cloth": {"front": "fur"}}, "no cloth is named for panel 'back'"),
    ],
)
def test_values_that_cannot_be(suit, options, words):
    """Values out of range are refused by name."""
    with pytest.raises(InputError, match=words):
        make_pieces(suit, **({"cloth": "fur"} | options))


def test_edges_that_do_not_close(suit):
    """A panel whose edges do not follow one another is refused by name."""
    flat = suit[0]
    panel = Panel("front", "both", flat.panel.surface, flat.panel.parents, flat.panel.edges[:2])
    broken = Flat(panel, flat.positions, flat.stretch, flat.stretch_before, flat.area_before)
    with pytest.raises(InputError, match="does not lead on"):
        make_pieces([broken], cloth="fur")


def test_names_twice(suit):
    """Two panels of one name are refused."""
    with pytest.raises(InputError, match="names must differ"):
        make_pieces([suit[0], suit[0]], cloth="fur")


def test_seam_letters():
    """Seams are lettered A to Z without I and O, then AA."""
    names = [letters(k) for k in range(60)]
    assert len(set(names)) == 60
    assert names[0] == "A"
    assert names[24] == "AA"
    assert not any(c in "IO" for name in names for c in name)


def test_junction_without_corner_is_notched(by_hand):
    """Where a straight edge passes from one seam to the next, both panels have a notch of one name."""
    flats = by_hand.tube()
    panels = [f.panel for f in flats]
    split = []
    for flat, panel in zip(flats, panels, strict=True):
        edges = []
        for edge in panel.edges:
            if edge.seam == "left side":
                k = len(edge.run) // 2
                top_first = flat.positions[edge.run[0], 1] > flat.positions[edge.run[-1], 1]
                names = [("zip", "closure"), ("left side", "sewn")]
                for (seam, kind), run in zip(
                    names if top_first else names[::-1],
                    (edge.run[: k + 1], edge.run[k:]),
                    strict=True,
                ):
                    edges.append(Edge(seam, kind, run, edge.partner))
            else:
                edges.append(edge)
        made = Panel(panel.name, panel.side, panel.surface, panel.parents, tuple(edges))
        split.append(
            Flat(made, flat.positions, flat.stretch, flat.stretch_before, flat.area_before)
        )
    front, back = make_pieces(split, cloth="fur")
    joints = [[n for n in p.notches if "/" in n.pair] for p in (front, back)]
    assert [len(j) for j in joints] == [1, 1]
    assert joints[0][0].pair == joints[1][0].pair
    assert joints[0][0].at[1] == pytest.approx(300.0)
    assert joints[1][0].at[1] == pytest.approx(300.0)


def test_dart_within_an_edge(by_hand):
    """A dart whose two mouths stand inside one edge's run gives the same piece as one between edges."""
    flat = by_hand.dart_disk()
    panel = flat.panel
    run = panel.edges[0].run
    left, right = flat.darts[0].left, flat.darts[0].right
    half = len(run) // 2
    # the loop starts opposite the dart, and the dart is one edge: down one leg and up the other
    inner = np.concatenate([run[half:], run[: half + 1]])
    legs = np.concatenate([left, right[::-1][1:]])
    edges = (Edge("seat round", "sewn", inner, None), Edge("dart", "dart", legs, None))
    made = Panel(panel.name, panel.side, panel.surface, panel.parents, edges)
    parts = (flat.positions, flat.stretch, flat.stretch_before, flat.area_before)
    (usual,) = make_pieces([flat], cloth="fur")
    for darts in (flat.darts, ()):
        (piece,) = make_pieces([Flat(made, *parts, darts)], cloth="fur")
        same = shapely.Polygon(piece.cut_line).symmetric_difference(shapely.Polygon(usual.cut_line))
        assert same.area < 1e-6
        assert piece.darts[0] == pytest.approx(usual.darts[0])
        assert len(piece.edges) == 2
        mouths = piece.darts[0][[0, -1]]
        near = [n for n in piece.notches if np.hypot(*(mouths - n.at).T).min() < 1e-6]
        assert [n.pair for n in near] == [near[0].pair] * 2


def test_a_seam_whose_other_side_comes_in_two_is_parted_there():
    """One panel's edge of 100 mm, the other's in 40 and 60 mm: three chains become two pairs of equal length."""

    def chain(panel, twin, a, b):
        z = np.linspace(a, b, int(abs(b - a) / 10) + 1)
        places = np.column_stack([np.zeros_like(z), np.zeros_like(z), z])
        return Chain(panel, twin, "back", "sewn", np.arange(len(z)), places)

    whole = chain("inner", "outer", 100.0, 0.0)
    upper, lower = chain("outer", "inner", 100.0, 60.0), chain("outer", "inner", 60.0, 0.0)
    every = [whole, upper, lower]
    assert [c.lengths()[-1] for c in parted(whole, every)] == pytest.approx([40.0, 60.0])
    assert [c.lengths()[-1] for c in parted(lower, every)] == pytest.approx([60.0])
    alike = chain("outer", "inner", 100.0, 0.0)
    assert parted(whole, [whole, alike]) == [whole]
