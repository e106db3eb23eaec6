"""What a suit is made of: weights from areas, costs from lays, all added up by hand."""

from __future__ import annotations

import html
from dataclasses import replace
from types import MappingProxyType

import pytest

from padlib.findings import Grade
from padlib.suit.bill import suit_bill
from padlib.suit.file import parse_suit


@pytest.fixture(scope="module")
def bill(demo_built):
    """The bill of the demo."""
    return demo_built.bill


def test_weights_are_areas_times_masses(demo_built, bill):
    """Cloth: area of every copy times g/m2; filling: the pads' medium; total their sum."""
    masses = {"moss": 600.0, "cotton": 140.0, "knit": 220.0}
    cloth = sum(p.count * p.area_cm2 * 1e-4 * masses[p.cloth] for p in demo_built.pieces)
    filling = sum(p.filling_g["medium"] for p in demo_built.pillows)
    assert bill.weights_g["cloth"] == pytest.approx(cloth)
    assert bill.weights_g["filling"] == pytest.approx(filling)
    assert bill.weights_g["total"] == pytest.approx(cloth + filling + bill.weights_g["notions"])


def test_cloth_to_buy_is_the_lay_and_a_spare_tenth(demo_built, bill):
    """Rounded up to tenths of a metre, never less than 0.1 m more than the lay."""
    bought = {i.words.split(":")[0]: i.quantity for i in bill.items if i.kind == "cloth"}
    for lay in demo_built.lays:
        over = bought[lay.cloth] - lay.length_mm / 1000
        assert 0.1 - 1e-9 <= over < 0.2 + 1e-9


def test_seam_metres_are_those_of_the_report(demo_built, bill):
    """All sewn seams of suit and pads, and the darts."""
    metres = sum(s["length_mm"] for s in demo_built.seams if s["kind"] == "sewn") / 1000
    metres += sum(d.length_mm for f in demo_built.flats for d in f.darts) / 1000
    assert bill.sewing["seam_m"] == pytest.approx(metres, abs=0.01)


def test_cost_and_weight_follow_the_suit_file(demo_built):
    """Dear, heavy cloth: the price of its metres; over 9 kg a caution is given."""
    text = '[cloth.moss]\nmass = 3000\nprice = 40\n[sewing]\nstitch = "516"\n'
    suit = parse_suit(text)
    lays = tuple(replace(x, price=40.0 if x.cloth == "moss" else 0.0) for x in demo_built.lays)
    b = demo_built
    got = suit_bill(suit, b.flats, b.pieces, lays, b.pillows, (), b.seams, stature_mm=1780.0)
    moss = next(i for i in got.items if i.words.startswith("moss"))
    assert moss.cost == pytest.approx(40 * moss.quantity)
    assert got.cost() == pytest.approx(moss.cost)
    assert got.sewing["thread_m"] > 3 * b.bill.sewing["thread_m"]
    heavy = [f for f in got.findings if f.number == 921]
    assert got.weights_g["total"] < 9000 or heavy[0].grade == Grade.CAUTION


def test_unusual_length_is_explained(demo_built, demo_folder, bill):
    """Outside 3 to 4 m of cloth 1.5 m wide the findings say what takes it out of that range."""
    lay = next(x for x in demo_built.lays if x.cloth == "moss")
    told = [f for f in bill.findings if f.number == 922]
    assert bool(told) == (not 3000 <= lay.length_mm <= 4000)
    area = sum(p.count * p.area_cm2 for p in demo_built.pieces if p.cloth == "moss") / 1e4
    for f in told:
        assert f"{area:.2f} m2" in f.words
        assert f.words in html.unescape((demo_folder / "guide.html").read_text())


def test_colours_are_checked():
    """A colour is #rrggbb or nothing."""
    assert parse_suit('[cloth.a]\ncolour = "#556B2f"').cloths[0].colour == "#556B2f"
    with pytest.raises(Exception, match=r"line 2: 'colour' is 'green'; write it as #rrggbb"):
        parse_suit('[cloth.a]\ncolour = "green"')


def test_words_of_the_work_are_plain(demo_built, demo_report):
    """Nobody who sews needs to know a file's keys: no step holds an underscore, a bracket or a path."""
    for work in demo_report["order"]:
        assert not set("_[]{}=/\\") & set(work["words"])
        assert work["words"][0].isupper() or work["words"].split(":")[0].islower()
        assert work["words"].endswith(".")
    assert MappingProxyType(demo_report["weights_g"])["total"] == pytest.approx(
        demo_built.bill.weights_g["total"], abs=0.1
    )
