"""Parts that no flattening gives, against closed form: a tube of radius 150 mm, sleeves of radius 70."""

from __future__ import annotations

import io
from dataclasses import replace
from types import MappingProxyType

import ezdxf
import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.findings import Grade
from padlib.output.dxf import dxf_bytes
from padlib.output.sheet import pattern_sheet
from padlib.output.svg import svg_text
from padlib.pattern import make_pieces
from padlib.pattern.closure import CHAINS, Joined, choose_zip, closure_part, joined_part
from padlib.pattern.parts import KINDS, Ask, Worn, make_part
from padlib.pattern.parts.gusset import lens, spread_mm
from padlib.pattern.parts.part import beside, opening_of, round_line, stitched
from padlib.pattern.slit import slit_part
from padlib.suit.order import Work
from padlib.suit.order_check import faults

ROUND = 2 * np.pi * 150.0  # of the tube; its flats are rolled off exactly


def ask(kind, **values):
    """A part asked for; side, seam, panels and at are taken out of the numbers."""
    own = {k: values.pop(k) for k in ("side", "seam", "panels", "at") if k in values}
    return Ask(kind, f"a {kind}", "net", MappingProxyType(values), **own)


@pytest.fixture(scope="module")
def tube(by_hand):
    """What parts of a tube are measured from."""
    return Worn(tuple(by_hand.tube()))


@pytest.fixture(scope="module")
def sleeve(by_hand):
    """The same of one sleeve, armhole 70 mm in radius, wrist 40 mm."""
    return Worn(tuple(by_hand.sleeves()[:1]))


def size(line):
    """Width and height of an outline."""
    return np.ptp(line, axis=0)


def test_neck_strip_is_the_neck_less_the_zip_with_its_folds(tube):
    """38 mm wide, the neck's length; with a zip 6 mm less and 15 mm turned in at each end."""
    (plain,) = make_part(ask("neck-strip"), tube).blanks
    assert size(plain.cut_line) == pytest.approx([ROUND + 20, 38.0])
    zipped = Worn(tube.flats, closure_mm=400.0)
    (blank,) = make_part(ask("neck-strip"), zipped).blanks
    assert size(blank.sew_line)[0] == pytest.approx(ROUND - 12)
    assert size(blank.cut_line)[0] == pytest.approx(ROUND - 12 + 30)
    assert [line.points[0, 1] for line in blank.inner] == [28.0, 14.0]  # folded over twice


def test_narrow_neck_strip_is_told(tube):
    """Folded twice, 25 mm leave 7.5, which hide no allowance of 10."""
    made = make_part(ask("neck-strip", width=25.0), tube)
    assert [(f.number, f.grade) for f in made.findings] == [(720, Grade.WARNING)]
    assert "7.5 mm wide" in made.findings[0].words


def test_facing_is_a_band_along_the_neck(tube):
    """On a tube each facing is a rectangle of half the round by the width."""
    made = make_part(ask("neck-facing", width=60.0), tube)
    assert [b.name for b in made.blanks] == ["a neck-facing front", "a neck-facing back"]
    for blank in made.blanks:
        assert shapely.Polygon(blank.sew_line).area == pytest.approx(ROUND / 2 * 60.0, rel=1e-6)
        assert size(blank.cut_line) == pytest.approx([ROUND / 2 + 20, 80.0], abs=0.02)


def test_strip_on_an_opening_takes_its_hem_away(tube, by_hand):
    """The neck is sewn to its strip with 10 mm instead of hemmed with 30; the words name the piece."""
    made = make_part(ask("neck-strip"), tube)
    plain = make_pieces(by_hand.tube(), cloth="fur", opening_mm=30.0)
    joined = make_pieces(by_hand.tube(), cloth="fur", opening_mm=30.0, parts=[made])
    assert size(plain[0].cut_line)[1] == pytest.approx(660.0)
    assert size(joined[0].cut_line)[1] == pytest.approx(640.0)
    assert any("3 a neck-strip" in label.text for label in joined[0].edge_labels)
    assert [(p.number, p.kind) for p in joined] == [(1, "panel"), (2, "panel"), (3, "part")]
    assert joined[2].area_cm2 == pytest.approx((ROUND + 20) * 38 / 100)


def test_wrist_strip_goes_round_the_wrist(sleeve):
    """Length of the opening on paper, height as asked, hem and allowance beyond."""
    (blank,) = make_part(ask("wrist-strip", length=60.0, hem=20.0), sleeve).blanks
    around = opening_of(sleeve, "wrist")
    assert around == pytest.approx(2 * np.pi * 40, rel=1e-3)
    assert size(blank.sew_line) == pytest.approx([around, 60.0])
    assert size(blank.cut_line) == pytest.approx([around + 20, 60 + 20 + 10])


def test_underarm_gusset_by_closed_form(sleeve):
    """Arm from 30 to 120 degrees, joint 70 mm from the underarm: 2 * 70 * (sin 60 - sin 15) mm."""
    made = make_part(ask("underarm-gusset"), sleeve)
    across = 140 * (np.sin(np.radians(60)) - np.sin(np.radians(15)))
    assert made.numbers["diameter_mm"] == pytest.approx(across, rel=1e-3)
    (blank,) = made.blanks
    assert shapely.LinearRing(blank.sew_line).length == pytest.approx(
        np.pi * made.numbers["diameter_mm"], rel=1e-12
    )
    assert made.findings == ()


def test_gusset_edge_is_never_longer_than_the_armhole(sleeve):
    """At 180 degrees from 5 the disk is capped at the armhole's round, and that is told."""
    stiff = Worn(sleeve.flats, arm_deg=5.0, joints={"arm_": np.array([300.0, 0.0, 1700.0])})
    made = make_part(ask("underarm-gusset", **{"raise": 180.0}), stiff)
    assert made.numbers["edge_mm"] == pytest.approx(made.numbers["armhole_mm"])
    assert [f.number for f in made.findings] == [721]


def test_gusset_half_and_half(by_hand):
    """Its marks part the armhole at a quarter of the disk's edge on both sides of the underarm."""
    flats = by_hand.sleeves()[:1]
    worn = Worn(tuple(flats))
    made = make_part(ask("underarm-gusset"), worn)
    loop = stitched([np.asarray(flats[0].panel.surface.vertices[flats[0].panel.edges[2].run])])
    low = loop[int(np.argmin(loop[:, 2]))]
    reach = made.numbers["edge_mm"] / 4
    for mark, place in zip(made.marks, beside(loop, low, reach), strict=True):
        assert mark.place == pytest.approx(place)
    (piece, disk) = make_pieces(flats, cloth="fur", parts=[made])
    at = [n.at for n in piece.notches if n.pair == "gusset"]
    armhole = shapely.LineString(next(line for seam, line in piece.edges if seam == "armhole"))
    s = sorted(armhole.project(shapely.Point(p)) for p in at)
    gap = (s[0] - s[1]) % armhole.length
    assert min(gap, armhole.length - gap) == pytest.approx(2 * reach, rel=2e-3)
    assert sum(n.pair == "gusset" for n in disk.notches) == 2


@pytest.mark.parametrize(("long", "wide"), [(200.0, 100.0), (180.0, 60.0), (120.0, 100.0)])
def test_lens_is_two_arcs(long, wide):
    """Width, length and arc of half a lens are those of a circle's segment."""
    arc, length = lens(long, wide)
    radius = (long**2 / 4 + wide**2 / 4) / wide
    assert np.ptp(arc[:, 0]) == pytest.approx(long)
    assert -arc[:, 1].min() == pytest.approx(wide / 2)
    assert length == pytest.approx(2 * radius * np.arcsin(long / (2 * radius)))
    assert np.hypot(*np.diff(arc, axis=0).T).sum() == pytest.approx(length, rel=1e-3)


def test_spread_is_the_chord():
    """Two places at 100 mm from a joint are 100 sqrt(2) apart at 90 degrees."""
    assert spread_mm(100.0, 0.0, 90.0) == pytest.approx(100 * np.sqrt(2))
    assert spread_mm(100.0, 60.0, 60.0) == 0.0


def test_guard_and_cover_follow_the_closure(tube):
    """The guard is 20 mm longer at each end and twice its width; the cover as long as the zip."""
    worn = Worn(tube.flats, closure_mm=500.0)
    (guard,) = make_part(ask("zip-guard", width=40.0), worn).blanks
    (cover,) = make_part(ask("zip-cover", width=35.0), worn).blanks
    assert size(guard.sew_line) == pytest.approx([80.0, 540.0])
    assert size(cover.sew_line) == pytest.approx([35.0, 500.0])
    with pytest.raises(InputError, match="this suit has none; set closure"):
        make_part(ask("zip-guard"), tube)


def test_vent_has_the_area_of_its_ellipse(tube):
    """The mesh and the hole in the panel are one ellipse; the hole keeps 10 mm inwards."""
    made = make_part(ask("vent", at=(0.0, 150.0, 1200.0), width=100.0, height=140.0), tube)
    (blank,) = made.blanks
    assert shapely.Polygon(blank.sew_line).area == pytest.approx(np.pi * 50 * 70, rel=1e-3)
    drawn = {line.purpose: line.points for name, line in made.drawn if name == "back"}
    assert np.ptp(drawn["place"], axis=0) == pytest.approx([100.0, 140.0], rel=1e-6)
    gap = shapely.LinearRing(drawn["place"]).distance(shapely.LinearRing(drawn["cutout"]))
    assert gap == pytest.approx(10.0, abs=0.02)


def test_vent_over_a_seam_is_refused(tube):
    """The tube's side seam is at x = 150."""
    with pytest.raises(InputError, match="comes nearer than 15 mm to a seam"):
        make_part(ask("vent", at=(150.0, 0.0, 1200.0)), tube)
    with pytest.raises(InputError, match="lies on no panel"):
        make_part(ask("vent", at=(500.0, 0.0, 1200.0)), tube)


def test_a_pocket_with_a_place_is_drawn_there(tube):
    """Its finished outline lies upright about the place, on the panel that it names; off a panel it is refused."""
    at = (0.0, -150.0, 1150.0)
    made = make_part(ask("pocket", at=at, width=120.0, height=160.0), tube)
    ((name, line),) = made.drawn
    flat = next(f for f in tube.flats if f.panel.name == "front")
    place = flat.positions[np.linalg.norm(flat.panel.surface.vertices - at, axis=1).argmin()]
    assert (name, line.purpose) == ("front", "place")
    assert size(line.points) == pytest.approx([120.0, 160.0])
    assert line.points.mean(axis=0) == pytest.approx(place, abs=12.0)  # the nearest vertex
    assert made.steps[0].sites[0].panels == ("front",)
    assert "along the line drawn on front" in made.steps[0].words
    with pytest.raises(InputError, match="comes nearer than 15 mm to a seam"):
        make_part(ask("pocket", at=(150.0, 0.0, 1150.0)), tube)


def slitted(flats, mm):
    """The tube with its left side left open from the lower edge for about a length, as a slit at an ankle."""
    out = []
    for flat in flats:
        edges, panel = [], flat.panel
        for edge in panel.edges:
            run, v = edge.run, panel.surface.vertices
            low = v[run, 2] <= v[:, 2].min() + mm
            if edge.seam != "left side":
                edges.append(edge)
                continue
            k = int(np.flatnonzero(np.diff(low.astype(int)))[0]) + (not low[0])
            halves = [run[: k + 1], run[k:]]
            for half in halves:
                shut = v[half, 2].mean() > v[:, 2].min() + mm
                name, kind = ("left side", "sewn") if shut else ("closure-ankle-left", "closure")
                edges.append(replace(edge, run=half, seam=name, kind=kind))
        out.append(replace(flat, panel=replace(panel, edges=tuple(edges))))
    other = {"front": "back", "back": "front"}
    keys = {
        (f.panel.name, e.seam): (f.panel.name, k) for f in out for k, e in enumerate(f.panel.edges)
    }
    return [
        replace(
            f,
            panel=replace(
                f.panel,
                edges=tuple(
                    replace(e, partner=keys[other[f.panel.name], e.seam]) if e.partner else e
                    for e in f.panel.edges
                ),
            ),
        )
        for f in out
    ]


def test_a_slit_comes_before_the_seam_above_it_and_marks_its_zip(tube):
    """A zip of 100 mm in a slit of 120: marked 100 mm above the edge; set in late, the order is wrong."""
    flats = slitted(tube.flats, 130.0)
    made = slit_part(Worn(tuple(flats)), "ankle", "left", shortest_mm=0.0, cloth="fur")
    length, zip_mm = made.numbers["seam_mm"], made.numbers["zip_mm"]
    low = min(f.panel.surface.vertices[:, 2].min() for f in flats)
    assert 100.0 < length <= 130.0
    assert zip_mm < length - 1.0
    (mark,) = made.marks
    assert mark.place[2] - low == pytest.approx(zip_mm, abs=0.1)
    (step,) = made.steps
    seam = Work("join", "side", ("left side",))
    zip_ = Work(step.stage, step.words, sites=step.sites)
    panels = [f.panel for f in flats]
    assert not any("sewn already" in f for f in faults(panels, [zip_, seam]))
    assert any("sewn already" in f for f in faults(panels, [seam, zip_]))


def test_a_strip_over_a_slit_stays_open(tube):
    """Sewn to an opening that a slit ends in, a strip is no tube: it may not shut the slit that lets a heel through."""
    flats = []
    for flat in slitted(tube.flats, 130.0):
        low = flat.panel.surface.vertices[:, 2].min()
        edges = tuple(
            replace(e, seam="ankle-left")
            if e.kind == "opening"
            and np.ptp(flat.panel.surface.vertices[e.run, 2]) < 1
            and flat.panel.surface.vertices[e.run, 2].mean() < low + 1
            else e
            for e in flat.panel.edges
        )
        flats.append(replace(flat, panel=replace(flat.panel, edges=edges)))
    made = make_part(ask("ankle-strip", side="left"), Worn(tuple(flats)))
    (step,) = made.steps
    assert "leave each strip open" in step.words
    assert "tube" not in step.words
    panels = [f.panel for f in flats]
    sides = [Work("join", "", (s,)) for s in ("left side", "right side")]
    hem = Work("hem", step.words, sites=step.sites)
    assert not any("strip" in f for f in faults(panels, [*sides, hem]))


@pytest.mark.parametrize("at", [(0.0, 150.0, 1200.0), (150.0, 0.0, 1200.0)])
def test_tail_opening_is_as_round_as_the_tail(tube, at):
    """On a tube, in a panel or across a seam, its opening is the root's girth; the base has two layers."""
    made = make_part(ask("tail-opening", at=at, girth=314.0, pile=19.0), tube)
    assert made.numbers["opening_mm"] == pytest.approx(314.0, rel=2e-3)
    (base,) = made.blanks
    assert base.count == 2
    assert shapely.LinearRing(base.sew_line).length == pytest.approx(314.0)
    assert made.findings == ()
    assert {line.purpose for _, line in made.drawn} == {"place", "cutout", "trim"}
    assert made.notions[0].length_mm == 314.0


def test_lining_is_the_panel_once_more(tube, by_hand):
    """A lining has its panel's cut line, its own cloth and number."""
    made = make_part(ask("lining", panels=("front",)), tube)
    pieces = make_pieces(by_hand.tube(), cloth="fur", parts=[made])
    assert pieces[2].cut_line is pieces[0].cut_line
    assert (pieces[2].cloth, pieces[2].number, pieces[2].panels) == ("net", 3, ())
    with pytest.raises(InputError, match="a panel 'hood' that is not there"):
        make_part(ask("lining", panels=("hood",)), tube)


def test_cord_at_the_neck_is_a_caution(tube):
    """EN 14682: no cords at head or neck of children's clothes."""
    made = make_part(ask("drawstring", seam="neck"), tube)
    assert [(f.number, f.grade) for f in made.findings] == [(725, Grade.CAUTION)]
    assert made.notions[0].length_mm == pytest.approx(ROUND + 300)


def test_ties_by_the_rim_of_each_cushion(tube):
    """Rims of 1,400 and 700 mm at every 350 mm: 4 and 4 places, two ties each."""
    worn = Worn(tube.flats, pads={"seat": 1400.0, "hip": 700.0})
    assert make_part(ask("pillow-tie"), worn).blanks[0].count == 16


def test_every_kind_says_its_needs_and_limits():
    """Defaults lie within limits; what a kind needs is asked for in a sentence."""
    for name, kind in KINDS.items():
        for p in kind.table:
            assert p.low <= kind.defaults[p.name] <= p.high, (name, p.name)
    with pytest.raises(InputError, match="is a vent, which needs 'at'; add it"):
        make_part(ask("vent"), Worn(()))
    with pytest.raises(InputError, match="did you mean 'pocket'"):
        make_part(ask("poket"), Worn(()))
    with pytest.raises(InputError, match="'width' is 5 but must be a number from 50 to 400 mm"):
        make_part(ask("pocket", width=5), Worn(()))


def test_round_line_keeps_the_circle_s_length():
    """The polygon of a disk has the circle's own perimeter, so that it fits its seam."""
    for radius in (15.0, 50.0, 200.0):
        ring = shapely.LinearRing(round_line(radius))
        assert ring.length == pytest.approx(2 * np.pi * radius, rel=1e-12)


@pytest.mark.parametrize(
    ("seam", "need", "mass", "length", "standard", "size"),
    [
        (640.0, 500.0, 600.0, 600.0, True, 8),
        (640.0, 610.0, 600.0, 625.0, False, 8),  # no standard length from 610 to 625
        (1040.0, 0.0, 900.0, 1000.0, True, 10),
        (330.0, 0.0, 200.0, 300.0, True, 5),
    ],
)
def test_zip_lengths(seam, need, mass, length, standard, size):
    """The longest standard zip in the seam less 15 mm at the throat, its chain by the cloth's mass."""
    got = choose_zip(seam, shortest_mm=need, mass=mass)
    assert (got.length_mm, got.standard, got.size) == (length, standard, size)
    assert got.top_mm + got.length_mm + got.rest_mm() == pytest.approx(seam)
    assert got.trim_mm == pytest.approx(CHAINS[size][0] / 2 + 8)


def test_closure_marks_and_trim(by_hand):
    """Notches at both ends of the zip, 15 and 415 mm from the top; the trimmed band on the panel."""
    flats = closed_tube(by_hand)
    worn = Worn(tuple(flats))
    chosen = choose_zip(600.0, shortest_mm=100.0, mass=600.0)
    made = closure_part(worn, chosen, shortest_mm=100.0, pull="right", cloth="moss")
    assert [mark.place[2] for mark in made.marks] == pytest.approx([900 + 585, 900 + 35])
    pieces = make_pieces(flats, cloth="fur", parts=[made])
    for piece in pieces:
        at = sorted(n.at[1] for n in piece.notches if n.pair == "zip")
        assert at == pytest.approx([35.0, 585.0], abs=0.01)
        (line,) = [i.points for i in piece.inner if i.purpose == "trim"]
        run = next(r for seam, r in piece.edges if seam == "closure")
        off = shapely.distance(shapely.points(line), shapely.LineString(run))
        assert off == pytest.approx(chosen.trim_mm, abs=1e-6)
        assert np.ptp(line[:, 1]) == pytest.approx(15 + chosen.length_mm + 8)  # not below the zip
        inside = shapely.Polygon(piece.sew_line)
        assert inside.buffer(1e-6).contains(shapely.LineString(line))
    short = closure_part(worn, chosen, shortest_mm=700.0, pull="right", cloth="moss")
    assert [(f.number, f.grade) for f in short.findings] == [(730, Grade.CAUTION)]


def closed_tube(by_hand):
    """A tube whose left side is a closure."""
    out = []
    for flat in by_hand.tube():
        edges = [
            type(e)("closure", "closure", e.run, e.partner) if e.seam == "left side" else e
            for e in flat.panel.edges
        ]
        panel = type(flat.panel)(
            flat.panel.name, flat.panel.side, flat.panel.surface, flat.panel.parents, tuple(edges)
        )
        out.append(
            type(flat)(panel, flat.positions, flat.stretch, flat.stretch_before, flat.area_before)
        )
    return out


def test_both_halves_of_a_foot_s_zip_match(sleeve):
    """A rim that differs from its opening by more than 5 mm is told; the zip is as long as the rim."""
    fits = joined_part(sleeve, Joined("paw", "wrist", 252.0, closes="front"))
    assert fits.findings == ()
    assert fits.notions[0].length_mm == 252.0
    (mark,) = fits.marks  # a part that opens in front meets the suit's zip at the back
    assert mark.place[1] == pytest.approx(40.0, abs=0.5)
    off = joined_part(sleeve, Joined("paw", "wrist", 300.0))
    assert [f.number for f in off.findings] == [731]
    assert "widen the suit by 49 mm" in off.findings[0].words


def test_cut_outs_folds_and_places_keep_to_their_layers(tube, by_hand):
    """DXF: what is cut inside a piece is on layer 11, what is not cut on layer 8; ezdxf reads areas back."""
    vent = make_part(ask("vent", at=(0.0, 150.0, 1200.0), width=100.0, height=140.0), tube)
    pocket = make_part(ask("pocket"), tube)
    pieces = make_pieces(by_hand.tube(), cloth="fur", parts=[vent, pocket])
    document = ezdxf.read(io.StringIO(dxf_bytes(pieces).decode("utf-8")))
    assert document.audit().errors == []
    back = document.blocks.get("PIECE_2")
    (hole,) = [e for e in back if e.dxf.layer == "11"]
    wanted = shapely.Polygon(vent.blanks[0].sew_line).buffer(-10.0)
    got = shapely.Polygon([(x, y) for x, y in hole.get_points("xy")])
    assert got.area == pytest.approx(wanted.area, rel=1e-3)
    (fold,) = [e for e in document.blocks.get("PIECE_4") if e.dxf.layer == "8"]
    assert np.ptp(np.array(fold.get_points("xy"))[:, 0]) == pytest.approx(170.0)
    layers = {
        g.split('"')[1] for g in svg_text(pattern_sheet(pieces, title="t")).split("<g id=")[1:]
    }
    assert {"fold", "place", "cut", "sew"} <= layers


@pytest.mark.parametrize("lower", [180.0, 230.0, 2 * np.pi * 40.0, 330.0])
def test_tapered_strip_unrolls_a_cone(sleeve, lower):
    """Arcs as long as both rounds, rulings of the slant length, the sector's area; the hem folds up onto the strip."""
    made = make_part(ask("wrist-strip", length=80.0, hem=20.0, lower=lower), sleeve)
    (blank,) = made.blanks
    upper = opening_of(sleeve, "wrist")
    runs = {words: line for words, line in blank.edges}
    arc = lambda line: float(np.hypot(*np.diff(line, axis=0).T).sum())  # noqa: E731
    assert arc(runs["hem, fold here"]) == pytest.approx(lower, rel=1e-4)
    assert arc(runs["wrist"]) == pytest.approx(upper, rel=1e-4)
    assert arc(runs["to its other end"]) == pytest.approx(80.0)
    area = 0.5 * (upper + lower) * 80.0  # of a cone's side
    assert shapely.Polygon(blank.sew_line).area == pytest.approx(area, rel=1e-4)
    # folded up, the hem's raw edge meets cloth that is as wide as itself
    cut, k = blank.cut_line, (upper - lower) / 80.0
    raw = cut[1 : 1 + len(runs["hem, fold here"])]
    assert arc(raw) == pytest.approx(lower + k * 20.0, rel=1e-4)
    outline = shapely.Polygon(cut)
    assert outline.is_valid
    assert outline.contains(shapely.Polygon(blank.sew_line))
    sides = shapely.LineString(runs["to its other end"])
    assert outline.exterior.distance(sides.interpolate(0.5, normalized=True)) == pytest.approx(10.0)


def test_steep_strip_is_refused(sleeve):
    """A strip that would be a collar is refused in a sentence."""
    with pytest.raises(InputError, match="too steep for a strip"):
        make_part(ask("wrist-strip", length=20.0, lower=400.0), sleeve)


def test_hemmed_facing_has_its_hem_inside(tube):
    """The inner edge alone gets another allowance."""
    (blank, _) = make_part(ask("neck-facing", width=60.0, hem=6.0), tube).blanks
    assert size(blank.cut_line) == pytest.approx([ROUND / 2 + 20, 60.0 + 10.0 + 6.0], abs=0.02)
    assert "inner edge: hem 6 mm" in blank.notes


def test_tail_opening_beside_a_seam_runs_on_in_the_next_panel(tube):
    """24 mm beside the tube's seam: both panels get their part of the circle, together the tail's round."""
    turn = np.radians(9.2)
    at = (150.0 * np.cos(turn), -150.0 * np.sin(turn), 1200.0)
    made = make_part(ask("tail-opening", at=at, girth=314.0, pile=19.0), tube)
    assert made.findings == ()
    assert made.numbers["opening_mm"] == pytest.approx(314.0, rel=2e-3)
    parts = {n: line.points for n, line in made.drawn if line.purpose == "place"}
    assert sorted(parts) == ["back", "front"]
    radius, off = 50.0 - 0.03, 150.0 * turn
    short = 2 * radius * np.arccos(off / radius)  # the arc beyond a chord so far from the middle
    lengths = sorted(float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in parts.values())
    assert lengths[0] == pytest.approx(short, rel=5e-3)
