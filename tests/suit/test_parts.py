"""Parts, closures and zipped-on parts of a suit file, and the order of work that they go into."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from padlib.errors import SuitError
from padlib.mesh.surface import Surface
from padlib.pattern.closure import Joined, choose_zip, closure_part, joined_part
from padlib.pattern.parts import KINDS, Ask, Made, Worn, make_part
from padlib.seams.panels import Edge, Panel
from padlib.suit.file import parse_suit
from padlib.suit.order import Work, works
from padlib.suit.order_check import faults
from padlib.suit.parts import parts_report, suit_parts
from padlib.suit.steps import on_shell, suit_pieces

SUIT = """
[cloth.net]
use = "parts"
[closure]
pull = "left"
[[part]]
kind = "neck-strip"
[[part]]
kind = "underarm-gusset"
cloth = "net"
raise = 100
[[part]]
kind = "vent"
name = "back vent"
cloth = "net"
at = [90, 120, 1250]
[[joined]]
name = "foot"
seam = "ankle"
rim = 302
closes = "front"
"""


def _trunk(built):
    return next(w for w in built.ways if w.name == "trunk")


@pytest.fixture(scope="module")
def parts(demo_built):
    """Parts of a suit file, made from the demo's flats."""
    b = demo_built
    locate = partial(on_shell, body=b.body, shell=b.shell, place=b.panels.place)
    axes = b.panels.place.axes
    suit = parse_suit(SUIT)
    return suit_parts(
        suit, b.flats, axes, b.pillows, locate, shortest_mm={"trunk": _trunk(b).shortest_mm}
    )


def test_parts_of_a_suit_are_measured_from_its_seams(parts, demo_built):
    """The report's numbers are those of the suit: neck, armhole, closure, getting in."""
    told = {p["name"]: p for p in parts_report(parts)}
    flats = demo_built.flats

    def paper(seam):
        runs = [f.positions[e.run] for f in flats for e in f.panel.edges if e.seam == seam]
        return sum(np.hypot(*np.diff(r, axis=0).T).sum() for r in runs)

    assert list(told) == ["closure", "neck-strip", "underarm-gusset", "back vent", "foot"]
    assert told["neck-strip"]["numbers"]["neck_mm"] == pytest.approx(paper("neck"), abs=0.01)
    closure = told["closure"]["numbers"]
    assert closure["seam_mm"] == pytest.approx(paper("closure") / 2, abs=0.01)
    assert closure["shortest_mm"] == pytest.approx(_trunk(demo_built).shortest_mm, abs=0.01)
    assert closure["top_mm"] + closure["zip_mm"] + closure["rest_mm"] == pytest.approx(
        closure["seam_mm"], abs=0.02
    )
    gusset = told["underarm-gusset"]["numbers"]
    assert gusset["edge_mm"] <= gusset["armhole_mm"]
    assert told["foot"]["numbers"]["ankle-left_mm"] == pytest.approx(paper("ankle-left"), abs=0.01)


def test_pieces_of_parts_follow_those_of_panels(parts, demo_built):
    """Numbers run on; the neck has no hem; marks are on both panels at the armhole."""
    pieces = suit_pieces(parse_suit(SUIT), demo_built.flats, parts)
    panels = [p for p in pieces if p.kind == "panel"]
    assert [p.number for p in pieces] == list(range(1, len(pieces) + 1))
    assert [p.name for p in pieces[len(panels) :]] == ["neck-strip", "underarm-gusset", "back vent"]
    marked = {p.name for p in panels if any(n.pair == "gusset" for n in p.notches)}
    assert {"front", "back"} < marked
    assert any(name.startswith("sleeve") for name in marked)
    (front,) = [p for p in panels if p.name == "front"]
    assert sum(n.pair == "zip" for n in front.notches) >= 1
    assert {i.purpose for i in front.inner} == {"trim"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[part]]\nkind = "nek-strip"', "line 2: part kind 'nek-strip' is unknown; did you mean"),
        ('[[part]]\nkind = "vent"\nat = "navel"', "line 1: a vent needs 'cloth'; add it"),
        ('[[part]]\nkind = "pocket"\ncloth = "silk"', "line 3: there is no cloth 'silk'"),
        ('[[part]]\nkind = "pocket"\nwidth = 5', "line 3: part 'pocket': 'width' is 5 but must"),
        ('[[part]]\nkind = "pocket"\n[[part]]\nkind = "pocket"', "two parts are called 'pocket'"),
        ('[[joined]]\nname = "foot"\nseam = "ankle"', "line 1: this part has no 'rim'"),
        ('[[joined]]\nname = "a"\nseam = "ankle"\nrim = 300\nchain = 4', "sizes are 3, 5, 8, 10"),
        ('[closure]\npull = "front"', "line 2: 'pull' cannot be 'front'"),
    ],
)
def test_bad_parts_get_one_sentence(text, words):
    """Each names the line, what is wrong and what to do."""
    with pytest.raises(SuitError, match=words):
        parse_suit(text)


def test_order_of_the_demo_is_right(demo_built):
    """The demo's own order has no fault; the same order backwards has."""
    order = works(demo_built.flats, demo_built.pieces, closure="front", pillows=False)
    panels = [f.panel for f in demo_built.flats]
    assert faults(panels, order) == []
    assert any("comes after later work" in words for words in faults(panels, order[::-1]))
    late = [*(w for w in order if w.stage != "flat"), *(w for w in order if w.stage == "flat")]
    assert any("closes a tube before the flat work" in words for words in faults(panels, late))
    assert "seam hip-left is never sewn" in faults(panels, [w for w in order if w.stage != "hips"])


def test_darts_are_no_seams_of_the_maker(demo_built):
    """Edges of darts are sewn in the step of the darts and named in no other."""
    order = works(demo_built.flats, demo_built.pieces, closure="front", pillows=False)
    assert any(e.kind == "dart" for f in demo_built.flats for e in f.panel.edges)
    assert not any(s.startswith("dart") for w in order for s in w.seams if s != "dart")


def test_shut_in_pieces_are_found():
    """Two disks sewn to each other all round leave no opening to turn them through."""
    flat = Surface(np.eye(3), np.array([[0, 1, 2]]))
    run = np.array([0, 1])
    two = [
        Panel(n, "both", flat, np.arange(3), tuple(Edge(f"s{k}", "sewn", run, (o, k)) for k in (0, 1)))
        for n, o in (("a", "b"), ("b", "a"))
    ]  # fmt: skip
    two[1] = Panel("b", "both", flat, np.arange(3), (two[1].edges[0], two[1].edges[1]))
    told = faults(two, [Work("join", "", ("s0",)), Work("join", "", ("s1",))])
    assert told == ["seam s1 shuts its pieces in, with no opening left"]


def parted(
    panels: list[Panel], chance: random.Random, name: str
) -> tuple[list[Panel], dict[tuple[str, int], tuple[str, int]], dict[str, str]]:
    """Panels with one of them parted by a seam from one of its corners to another.

    Besides: where its edges have gone, and into which half what lay within it.
    """
    at = chance.choice([i for i, p in enumerate(panels) if len(p.edges) > 3])
    panel = panels[at]
    own = [(k, e) for k, e in enumerate(panel.edges) if e.kind != "dart"]
    a, b = sorted(chance.sample(range(len(own)), 2))
    if b - a in (1, len(own) - 1) and chance.random() < 0.5:
        b = a + 2 if a + 2 < len(own) else b
    lots = [own[a:b], own[b:] + own[:a]]
    names = [f"{panel.name}-{name}a", f"{panel.name}-{name}b"]
    moved = {}
    for lot, new in zip(lots, names, strict=True):
        moved |= {(panel.name, k): (new, i) for i, (k, _) in enumerate(lot)}
    run = panel.edges[0].run
    halves = []
    for lot, new, other in zip(lots, names, names[::-1], strict=True):
        edges = [e for _, e in lot]
        there = len(lots[1]) if new == names[0] else len(lots[0])
        edges.append(Edge(name, "sewn", run, (other, there)))
        halves.append(Panel(new, panel.side, panel.surface, panel.parents, tuple(edges)))
    out = [*panels[:at], *halves, *panels[at + 1 :]]
    out = [
        Panel(
            p.name,
            p.side,
            p.surface,
            p.parents,
            tuple(Edge(e.seam, e.kind, e.run, moved.get(e.partner, e.partner)) for e in p.edges),
        )
        for p in out
    ]
    return out, moved, {panel.name: chance.choice(names)}


class Only:
    """A flat of which only the panel is asked."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel


def moved_part(made: Made, keys: dict, names: dict) -> Made:
    """A part whose sites are on panels that were parted since."""

    def there(site):
        edges = tuple(keys.get(k, k) for k in site.edges)
        across = tuple(keys.get(k, k) for k in site.across)
        inside = tuple(names.get(n, n) for n in site.panels)
        return replace(site, edges=edges, across=across, panels=inside)

    steps = tuple(replace(s, sites=tuple(there(t) for t in s.sites)) for s in made.steps)
    return replace(made, steps=steps)


@pytest.fixture(scope="module")
def every_part(demo_built):
    """Parts of all kinds on the demo's own flats, the tail at three places: within a panel and over seams."""
    flats = demo_built.flats
    worn = Worn(flats, 10.0, 400.0, pads={"seat left": 600.0})
    back = next(f.panel for f in flats if f.panel.name == "back-left")
    rim_of = {v for e in back.edges for v in e.run.tolist()}
    points = back.surface.vertices
    far = np.array([min(np.linalg.norm(points[list(rim_of)] - p, axis=1)) for p in points])
    middle = tuple(points[int(np.argmax(far))])
    seam = {e.seam: points[e.run] for e in back.edges}
    at = {
        "tail": middle,
        "tail on the centre back": tuple(seam["centre-back"][len(seam["centre-back"]) // 2]),
        "tail on the hip seam": tuple(seam["hip-left"][len(seam["hip-left"]) // 2]),
    }
    asks = [Ask("tail-opening", n, "net", {"girth": 160.0}, at=p) for n, p in at.items()]
    asks += [Ask("vent", "vent", "net", {"width": 40.0, "height": 40.0}, at=middle)]
    asks += [Ask("drawstring", f"cord {s}", "net", seam=s) for s in ("wrist", "hip")]
    asks += [Ask("lining", "lining", "net", panels=("back",))]
    asks += [
        Ask(kind, kind, "net")
        for kind in KINDS
        if kind not in ("tail-opening", "vent", "drawstring", "lining")
    ]
    zip_ = choose_zip(420.0)
    foot = Joined("foot", "ankle", 300.0, closes="back")
    made = [make_part(ask, worn) for ask in asks]
    made += [closure_part(worn, zip_, shortest_mm=300.0, pull="left", cloth="net")]
    return [*made, joined_part(worn, foot)]


def test_order_holds_for_two_hundred_suits(demo_built, every_part):
    """Panels parted at random by up to four seams of the maker's, with parts of all kinds: no order has a fault."""
    chance = random.Random(7)
    for _ in range(200):
        panels = [f.panel for f in demo_built.flats]
        parts = [m for m in every_part if chance.random() < 0.5]
        for k in range(chance.randint(0, 4)):
            panels, keys, names = parted(panels, chance, f"own-{k}")
            parts = [moved_part(m, keys, names) for m in parts]
        last = chance.choice(["", "front", "back"])
        flats = [Only(p) for p in panels]
        order = works(
            flats, (), closure="front", pillows=chance.random() < 0.5, parts=parts, last_leg=last
        )
        assert faults(panels, order) == []
        told = {w.words for w in order}
        assert all(s.words in told for m in parts for s in m.steps)


def test_parts_out_of_place_are_found(demo_built, every_part):
    """A part sewn on too early or too late is told, whichever way its site forbids it."""
    panels = [f.panel for f in demo_built.flats]
    order = works(demo_built.flats, (), closure="front", pillows=False, parts=every_part)
    assert faults(panels, order) == []

    def moved(name: str, to: str, after: int) -> list[str]:
        work = next(w for w in order if w.words.startswith(name))
        rest = [w for w in order if w is not work]
        at = next(k for k, w in enumerate(rest) if to in w.seams) + after
        return faults(panels, [*rest[:at], replace(work, stage=rest[at - after].stage), *rest[at:]])

    shut, open_ = (
        "goes onto an edge that is sewn already",
        "runs across a seam that is not sewn yet",
    )
    for name, to, after, words in (
        ("underarm-gusset", "armhole-left", 1, shut),
        ("crotch-gusset", "seat-seam", 1, shut),
        ("wrist-strip", "sleeve-back-left", 0, open_),
        ("neck-strip", "shoulder-left", 0, open_),
        ("tail on the centre back", "centre-back", 0, open_),
        ("tail on the hip seam", "hip-left", 0, open_),
        ("cord hip", "hip-left", 0, "lies over a seam that is not sewn yet"),
        ("vent", "hip-left", 1, "lies flat no longer"),
    ):
        assert any(words in told for told in moved(name, to, after)), name
