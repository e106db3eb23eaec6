"""Cloths of a suit: each panel is laid for its own, and the report, the guide and the warnings say so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from padlib.errors import FlatteningError, SuitError
from padlib.flatten.cloth import COMMON, PRESETS, STRIP_TEST, Cloth, cloth_use
from padlib.flatten.disk import boundary_loop
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import areas
from padlib.flatten.turn import mean_pile
from padlib.mesh.surface import Surface
from padlib.output.guide import guide_html
from padlib.output.png import legend_marks
from padlib.output.strip_test import strip_test_html, strip_test_text
from padlib.seams.panels import Edge, Panel
from padlib.suit import darting, steps
from padlib.suit.built import Built
from padlib.suit.file import parse_suit
from padlib.suit.matching import share_used
from padlib.suit.report import cloth_report, panel_report
from padlib.suit.steps import cloths_borne, flatten_panels, flattening, over_limit, panel_cloths
from padlib.suit.whole_report import make_report

DOWN = np.array([0.0, 0.0, -1.0])
FUR = PRESETS["long-pile-fur"]


def dome(degrees: float, name: str = "dome-left", count: int = 10, kind: str = "opening") -> Panel:
    """A round panel cut from a ball of 100 mm, its rim one edge of a kind, without partner; the pile hangs down."""
    ring = np.radians(degrees) * np.arange(1, count + 1) / count
    angle = 2 * np.pi * np.arange(6 * count) / (6 * count)
    rings = [
        np.column_stack([np.sin(t) * np.cos(angle), 0 * angle, np.sin(t) * np.sin(angle)])
        for t in ring
    ]
    for t, points in zip(ring, rings, strict=True):
        points[:, 1] = -np.cos(t)
    vertices = 100 * np.vstack([[0, -1, 0], *rings])
    size, faces = len(angle), []
    for k in range(count):
        a = 1 + k * size + np.arange(size)
        b = 1 + k * size + (np.arange(size) + 1) % size
        low = (np.zeros_like(a), None) if k == 0 else (a - size, b - size)
        faces.append(np.column_stack([low[0], a, b]))
        if low[1] is not None:
            faces.append(np.column_stack([low[0], b, low[1]]))
    mesh = np.vstack(faces)
    loop = boundary_loop(mesh)
    edge = Edge("rim", kind, np.append(loop, loop[0]))
    return Panel(name, "left", Surface(vertices, mesh), np.arange(len(vertices)), (edge,))


def laid(panel: Panel, cloth: Cloth | None) -> Flat:
    """The panel as a suit lays it, without darts."""
    cloths = {} if cloth is None else {panel.name: cloth}
    return flatten_panels([panel], {panel.name: DOWN}, limit=0.05, most=0, cloths=cloths)[0]


@pytest.mark.parametrize("cloth", [None, FUR], ids=["plain", "fur"])
def test_darts_leave_a_part_of_the_limit(cloth: Cloth | None) -> None:
    """Darts that may leave 0.6 of a dome's limit leave about that, and are longer than those that may leave all."""
    panel = dome(52, kind="sewn")
    asked = {"limit": 0.05, "most": 6, "cloths": {} if cloth is None else {panel.name: cloth}}

    whole, part = (
        flatten_panels([panel], {panel.name: DOWN}, use=use, **asked)[0]
        for use in ({}, {panel.name: 0.6})
    )

    assert 0.85 < share_used(whole, 0.05) <= 1.0
    assert share_used(part, 0.05) < 0.75
    lengths = [sum(dart.length_mm for dart in flat.darts) for flat in (whole, part)]
    assert lengths[1] > lengths[0]


def test_a_reserve_that_darts_cannot_leave_costs_no_limit() -> None:
    """One dart holds a dome's limit and cannot leave nine tenths of it: it goes as far as it can, the limit holds."""
    panel = dome(52, kind="sewn")

    whole, wished = (
        flatten_panels([panel], {panel.name: DOWN}, limit=0.05, most=1, use=use)[0]
        for use in ({}, {panel.name: 0.1})
    )

    assert len(wished.darts) == 1
    assert share_used(wished, 0.05) < share_used(whole, 0.05) <= 1.0


def test_a_reserve_that_cannot_be_matched_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the panels overlap themselves once matched, as a child's did, they are laid as without a reserve."""
    panel = dome(45, kind="sewn")
    asked = {"limit": 0.05, "most": 6}
    plain = flatten_panels([panel], {panel.name: DOWN}, **asked)[0]
    matched, first = steps.match_flats, []

    def overlaps(flats: list[Flat], **more: object) -> list[Flat]:
        if not first:
            first.append(flats)
            raise FlatteningError("panel 0 would overlap itself when its seams are matched")
        return matched(flats, **more)

    monkeypatch.setattr(steps, "match_flats", overlaps)
    wished = flatten_panels([panel], {panel.name: DOWN}, use={panel.name: 0.6}, **asked)[0]

    assert len(first[0][0].positions) != len(plain.positions)  # its darts were others
    assert np.array_equal(wished.positions, plain.positions)


def test_only_the_panel_that_overlaps_gives_its_reserve_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two panels one is told to overlap itself: only that one's darts are sought again, for the whole limit."""
    panels = [dome(20, kind="sewn"), replace(dome(20, kind="sewn"), name="other")]
    pile, flats = {p.name: DOWN for p in panels}, {p.name: laid(p, None) for p in panels}
    sought, matched = [], []

    def dart(task: darting.Task, **more: object) -> Flat:
        sought.append((task.panel.name, task.use))
        return flats[task.panel.name]

    def overlaps(flats: list[Flat], **more: object) -> list[Flat]:
        matched.append([f.panel.name for f in flats])
        if len(matched) == 1:
            why = FlatteningError("panel 1 would overlap itself")
            why.panels = (1,)
            raise why
        return list(flats)

    monkeypatch.setattr(darting, "_dart", dart)
    monkeypatch.setattr(steps, "match_flats", overlaps)
    flatten_panels(panels, pile, limit=0.05, most=6, use=dict.fromkeys(pile, 0.6))

    assert sought == [(panels[0].name, 0.6), ("other", 0.6), ("other", 1.0)]
    assert matched == [[panels[0].name, "other"]] * 2


def test_only_panels_that_are_corrected_leave_a_part_of_the_limit() -> None:
    """A suit that is sewn back and corrected reserves a fifth for its panels, none for cushions; others nothing."""
    text = 'name = "a"\n[darts]\nreserve = 0.25\n'
    corrected, sewn = (parse_suit(text + f"[proof]\nrounds = {n}\n") for n in (8, 0))

    assert flattening(corrected, {"a"}, {"b"})["use"] == {"a": 0.75}
    assert flattening(sewn, {"a"}, {"b"})["use"] == {"a": 1.0}
    assert flattening(parse_suit('name = "a"\n'), {"a"})["use"] == {"a": 0.8}


@pytest.mark.parametrize("cloth", PRESETS.values(), ids=PRESETS)
def test_panel_is_laid_for_its_cloth(cloth: Cloth) -> None:
    """A panel's use of its cloth is less than that of the plain flat; its pile hangs down the page."""
    panel = dome(50)
    mesh = panel.surface.vertices, panel.surface.faces

    own, plain = laid(panel, cloth), laid(panel, None)

    assert own.cloth == cloth
    assert share_used(own, 0.05) < 0.95 * share_used(replace(plain, cloth=cloth), 0.05)
    x, y = mean_pile(*mesh, own.positions, DOWN)
    assert np.arctan2(x, -y) == pytest.approx(0, abs=1e-9)


def test_report_says_what_is_asked_of_the_cloth() -> None:
    """cloth_use of a panel is the area-weighted use and strain that padlib computes, and says where."""
    flat = laid(dome(50), FUR)
    surface = flat.panel.surface
    use = cloth_use(FUR, surface.vertices, surface.faces, flat.positions)
    area = areas(surface.vertices, surface.faces)

    told = panel_report(flat)["cloth_use"]

    assert told["cloth"] == "long-pile-fur"
    assert told["mean"] == pytest.approx(area @ use.use / area.sum(), abs=1e-5)
    assert told["max"] == pytest.approx(use.use.max(), abs=1e-5)
    assert told["p95"] == pytest.approx(share_used(flat, 0.05), abs=1e-5)
    below = area[np.abs(use.along) <= told["along_p95"] + 1e-5].sum() / area.sum()
    assert 0.95 <= below < 0.97  # triangles of a few thousandths of the area each
    corner = surface.vertices[surface.faces[use.use.argmax()]]
    np.testing.assert_allclose(told["worst_at_mm"], corner.mean(axis=0), atol=0.05)


def test_plain_panel_is_told_as_ever() -> None:
    """A panel whose cloth says nothing is laid as without cloths, and its report has no new key."""
    panel = dome(40)

    flat = laid(panel, None)

    same = flatten_panels([panel], {panel.name: DOWN}, limit=0.05, most=0)[0]
    np.testing.assert_array_equal(flat.positions, same.positions)
    assert "cloth_use" not in panel_report(flat)


def test_warning_names_panel_cloth_and_place() -> None:
    """A dome too deep for its cloth is warned of, with the worst place and what is asked there."""
    flat = laid(dome(75), FUR)

    found = over_limit([flat], 0.05)

    assert [f.number for f in found] == [910]
    assert found[0].where == "panel 'dome-left'"
    assert (
        "of what 'long-pile-fur' bears at its 95th percentile; the worst place is near x"
        in found[0].words
    )
    assert "degrees of shear; add a seam there" in found[0].words
    assert not over_limit([laid(dome(30), FUR)], 0.05)


def test_panels_get_the_cloth_that_names_them() -> None:
    """Panels named by a cloth get its kind, the others that of the rest; pads' cloths have none."""
    suit = parse_suit(
        "[cloth.moss]\nkind = 'short-pile'\n[cloth.bark]\nkind = 'fleece'\npieces = ['back']"
    )
    names = ["front-left", "back-left", "pillow-seat-left-top"]

    assert dict(panel_cloths(suit, names)) == {
        "front-left": "moss",
        "back-left": "bark",
        "pillow-seat-left-top": "cotton",
    }
    borne = cloths_borne(suit, names)
    assert set(borne) == {"front-left", "back-left"}
    assert borne["back-left"].stretch_across == PRESETS["fleece"].stretch_across
    with pytest.raises(SuitError, match="cloth 'bark' names a panel 'back' that is not there"):
        panel_cloths(suit, ["front-left"])


def test_guide_and_report_of_a_suit_with_a_kind(demo_built: Built, demo_folder: Path) -> None:
    """The report lists what the cloths bear and from where; the guide has the use of each panel."""
    bears = replace(FUR, name="moss")
    suit = replace(demo_built.suit, cloths=(replace(demo_built.suit.cloths[0], bears=bears),))
    flats = tuple(replace(f, cloth=bears) for f in demo_built.flats)

    report = make_report(replace(demo_built, suit=suit, flats=flats), {})

    assert report["cloths"][0]["source"] == COMMON
    assert report["cloths"][0]["bias"] == pytest.approx(FUR.bias, abs=1e-5)
    options = {"title": "t", "words": "w", "allowance_mm": 10.0}
    page = guide_html(report, [], [], **options)
    use = report["panels"][0]["cloth_use"]["p95"]
    assert f"<td>moss</td><td class=n>{100 * use:.0f}</td>" in page
    plain = (demo_folder / "guide.html").read_text(encoding="utf-8")
    assert "What is asked of the cloth" in page
    assert "What is asked of the cloth" not in plain
    assert "Measure your cloth" in plain


def test_legend_is_marked_at_the_limits_of_the_cloth() -> None:
    """A map's legend is marked at the limits along and across of the flat's own cloth, else at the suit's."""
    flat = laid(dome(30), FUR)

    marks = legend_marks(flat, 0.05)

    assert {at for at, line in marks if line == "--"} == {FUR.stretch_along, -FUR.slack_along}
    assert {at for at, line in marks if line == ":"} == {FUR.stretch_across, -FUR.slack_across}
    assert legend_marks(replace(flat, cloth=None), 0.05) == ((-0.05, "--"), (0.05, "--"))


def test_strip_test_is_told_in_full() -> None:
    """Terminal and guide tell every step and every kind, and that none of it has a source."""
    text, page = strip_test_text(), strip_test_html()

    flowing = " ".join(text.split())
    for step in STRIP_TEST:
        assert step in flowing
        assert step in page
    for name, cloth in PRESETS.items():
        assert name in text
        assert name in page
        assert f"stretch {100 * cloth.stretch_along:g} % along the pile" in text
    assert COMMON in text
    assert COMMON in page
    assert max(map(len, text.splitlines())) <= 96


def test_example_of_the_strip_test_can_be_read() -> None:
    """The suit file's lines in the strip test are read as they stand."""
    lines = strip_test_text().split("[cloth.moss]")[1]

    bears = parse_suit("[cloth.moss]" + lines).cloths[0].bears

    assert bears is not None
    assert cloth_report([bears])[0]["stretch_across"] == 0.09
