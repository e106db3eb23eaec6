"""Flats after a small change: what is kept, what is laid again, and that it still fits together."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import replace
from multiprocessing import active_children
from multiprocessing.process import BaseProcess
from pathlib import Path

import numpy as np
import pytest

from padlib.errors import PadlibError
from padlib.flatten import newton
from padlib.flatten.carry import carried, followed
from padlib.flatten.flat import Flat
from padlib.flatten.injective import overlaps
from padlib.flatten.stretch import flipped
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.suit import again
from padlib.suit.demo import DEMO_BODY, demo_suit
from padlib.suit.file import AskedDart, AskedEase, parse_suit
from padlib.suit.matching import flat_summary
from padlib.suit.preview import Preview, _stamp, preview, standing
from padlib.suit.steps import over_limit


@pytest.fixture(scope="module")
def first() -> Preview:
    """The demo suit as it was first looked at: its flats as laid, which a look never corrects."""
    return preview(demo_suit())


@pytest.fixture(scope="module")
def look(first: Preview) -> Callable[..., Preview]:
    """A look at the demo suit with some keys of a table changed."""

    def again(table: str, **keys: object) -> Preview:
        changed = {**getattr(first.suit, table), **keys}
        return preview(replace(first.suit, **{table: changed}), first)

    return again


@pytest.fixture(scope="module")
def higher_neck(look: Callable[..., Preview]) -> Preview:
    """The neck opening 10 mm higher."""
    return look("seams", neck_rise=25.0)


def largest_difference(flats: tuple[Flat, ...]) -> float:
    """The largest difference in mm between an edge of a flat and its partner, vertex by vertex."""
    worst = 0.0
    by_name = {f.panel.name: f for f in flats}
    for flat in flats:
        for edge in flat.panel.edges:
            if edge.partner is None or edge.partner[0] == flat.panel.name:
                continue
            other = by_name[edge.partner[0]]
            run = other.panel.edges[edge.partner[1]].run[::-1]
            sides = [
                (f.panel.parents[r], f.panel.surface.vertices[r], f.positions[r])
                for f, r in ((flat, edge.run), (other, run))
            ]
            lengths = []
            for parents, space, plane in sides:
                keep = parents[1:] != parents[:-1]  # not across the mouth of a dart
                assert (np.linalg.norm(np.diff(space, axis=0), axis=1)[~keep] == 0).all()
                lengths.append(np.linalg.norm(np.diff(plane, axis=0), axis=1)[keep])
            worst = max(worst, float(np.abs(lengths[0] - lengths[1]).max()))
    return worst


def test_nothing_changed_nothing_laid(first: Preview, look: Callable[..., Preview]) -> None:
    """A look at an unchanged suit lays nothing and gives the same flats."""
    again = look("seams")

    assert again.laid == ()
    assert again.panels is first.panels
    for old, new in zip(first.flats, again.flats, strict=True):
        np.testing.assert_array_equal(old.positions, new.positions)


def test_a_moved_seam_lays_only_the_panels_it_touches(first: Preview, higher_neck: Preview) -> None:
    """A higher neck lays front and back again; all others keep their flats to the last bit."""
    assert higher_neck.laid == ("front-left", "back-left")
    assert higher_neck.shell is first.shell
    touched = {"front-left", "front-right", "back-left", "back-right"}
    for old, new in zip(first.flats, higher_neck.flats, strict=True):
        same = old.positions.shape == new.positions.shape and (old.positions == new.positions).all()
        assert same == (old.panel.name not in touched)


def test_flats_after_a_moved_seam_are_sound(first: Preview, higher_neck: Preview) -> None:
    """No flip, no overlap, every seam agrees, each panel has the darts that it had and the limit holds."""
    assert largest_difference(higher_neck.flats) < 0.01
    for old, new in zip(first.flats, higher_neck.flats, strict=True):
        surface = new.panel.surface
        assert not flipped(surface.vertices, surface.faces, new.positions).any()
        assert overlaps(surface.faces, new.positions) == 0
        assert len(new.darts) == len(old.darts)
        assert flat_summary(new)["p95"] <= first.suit.darts["limit"]
        for dart in new.darts:
            assert dart.leg_difference_mm < 0.01


def test_partners_are_one_polyline(higher_neck: Preview) -> None:
    """Kept and fresh panels share the new cut's numbers: partners are the same points in space."""
    space: dict[int, np.ndarray] = {}
    for flat in (f for f in higher_neck.flats if f.panel.mirror_of is None):
        for parent, at in zip(flat.panel.parents, flat.panel.surface.vertices, strict=True):
            if parent >= 0:
                np.testing.assert_array_equal(space.setdefault(int(parent), at), at)


def test_the_other_side_is_the_mirror_image(higher_neck: Preview) -> None:
    """The right side's flats are those of the left, turned over."""
    by_name = {f.panel.name: f for f in higher_neck.flats}
    for name in higher_neck.laid:
        left, right = by_name[name], by_name[name.replace("-left", "-right")]
        mirrored = left.positions * [-1.0, 1.0]
        np.testing.assert_allclose(
            right.positions, mirrored - [mirrored[:, 0].min(), 0.0], atol=1e-9
        )


def test_a_changed_pad_leaves_the_sleeves(first: Preview) -> None:
    """A deeper thigh pad makes a new shell; the sleeves, far from it, keep their flats."""
    pads = tuple(
        replace(p, parameters={**p.parameters, "depth": p.parameters["depth"] + 5.0})
        if p.kind == "thigh"
        else p
        for p in first.suit.pads
    )

    again = preview(replace(first.suit, pads=pads), first)

    assert again.body is first.body
    assert again.shell is not first.shell
    assert "leg-outer-left" in again.laid
    assert not any(name.startswith("sleeve") for name in again.laid)
    assert largest_difference(again.flats) < 0.01


def test_darts_stay_where_they_were(first: Preview, higher_neck: Preview) -> None:
    """A carried dart's apex is within 2 mm of where it was in space, its mouth within a triangle."""
    old = {f.panel.name: f for f in first.flats}
    darts = 0
    for name in higher_neck.laid:
        new = next(f for f in higher_neck.flats if f.panel.name == name)
        for was, now in zip(old[name].darts, new.darts, strict=True):
            ends = [
                f.panel.surface.vertices[[d.apex, d.left[0]]]
                for f, d in ((old[name], was), (new, now))
            ]
            off = np.linalg.norm(ends[0] - ends[1], axis=1)
            assert off[0] < 2.0
            assert off[1] < 12.0
            darts += 1
    assert darts > 0


def test_a_dart_whose_edge_is_gone_is_left_out(first: Preview) -> None:
    """Where no sewn edge is near a dart's mouth any more, the panel is laid without it."""
    flat = next(f for f in first.flats if f.darts)
    panel = next(p for p in first.panels.panels if p.name == flat.panel.name)
    unsewn = replace(panel, edges=tuple(replace(e, kind="opening") for e in panel.edges))

    assert carried(panel, flat).darts
    assert carried(unsewn, flat).darts == ()


def test_a_new_panel_is_laid_without_darts(first: Preview) -> None:
    """A panel that was not there before is laid as it is."""
    panel = first.panels.panels[0]

    flat = carried(panel, None)

    assert flat.darts == ()
    assert flat.panel is panel
    assert not flipped(panel.surface.vertices, panel.surface.faces, flat.positions).any()


def test_a_flat_that_is_led_on_is_the_last_one_where_the_panel_stayed(
    first: Preview, higher_neck: Preview
) -> None:
    """On its own panel a flat comes back to the last digits, with darts that were carried once within 0.01 mm; of a
    panel that is half a metre away, and of one whose darts' edge is gone, none."""
    laid = [(f, higher_neck) for f in higher_neck.flats if f.panel.name in higher_neck.laid]
    laid += [(f, first) for f in first.flats if f.panel.mirror_of is None and not f.darts]
    for flat, look_ in laid:
        panel = next(p for p in look_.panels.panels if p.name == flat.panel.name)
        led = followed(panel, flat)

        assert led is not None
        assert len(led.darts) == len(flat.darts)
        assert np.array_equal(led.panel.surface.faces, flat.panel.surface.faces)
        assert np.abs(led.positions - flat.positions).max() < (0.01 if flat.darts else 1e-6)
    assert any(flat.darts for flat, _ in laid)
    flat = next(f for f in first.flats if f.darts)
    panel = next(p for p in first.panels.panels if p.name == flat.panel.name)
    there = replace(panel, surface=Surface(panel.surface.vertices + 500.0, panel.surface.faces))
    unsewn = replace(panel, edges=tuple(replace(e, kind="opening") for e in panel.edges))
    assert followed(there, flat) is None
    assert followed(unsewn, flat) is None


def test_darts_whose_seam_moves_keep_to_their_sides(
    look: Callable[..., Preview], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Darts of a leg's outer panel are led on where the seam that they begin at is turned, and with it they: what lies
    on one side of a dart is not laid by what lies across it, which would tear there (strain 0.9 and more)."""
    led = {}
    monkeypatch.setattr(
        again, "followed", lambda panel, last: led.setdefault(panel.name, followed(panel, last))
    )

    turned = look("seams", leg_turn=2.0)

    flat = led["leg-outer-left"]
    assert "leg-outer-left" in turned.laid
    assert len(flat.darts) == 2
    assert not flipped(flat.panel.surface.vertices, flat.panel.surface.faces, flat.positions).any()
    assert np.abs(flat.stretch).max() < 0.2


def test_where_matching_begins_does_not_tell_on_where_it_ends(
    higher_neck: Preview, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Flats that began where the panels lay are those that began from panels laid anew: places within 0.2 mm, each
    panel turned onto the other, and mean stretch within a thousandth of itself; in half of the steps for all panels."""
    suit = replace(higher_neck.suit, seams={**higher_neck.suit.seams, "neck_rise": 32.0})
    led = []
    monkeypatch.setattr(
        again, "followed", lambda panel, last: led.append(followed(panel, last)) or led[-1]
    )
    sizes, step = [], newton.step
    monkeypatch.setattr(
        newton, "step", lambda p, flat, w: sizes.append(len(flat)) or step(p, flat, w)
    )
    warm = preview(suit, higher_neck)
    few = sizes.count(max(sizes))
    monkeypatch.setattr(again, "followed", lambda panel, last: None)
    sizes.clear()
    cold = preview(suit, higher_neck)

    assert few <= 0.5 * len(sizes)

    assert warm.laid == cold.laid != ()
    assert len(led) == len(warm.laid)
    assert all(flat is not None for flat in led)
    for one, other in zip(warm.flats, cold.flats, strict=True):
        assert len(one.darts) == len(other.darts)
        here, there = (f.positions - f.positions.mean(axis=0) for f in (one, other))
        left, _, right = np.linalg.svd(here.T @ there)
        assert np.linalg.norm(here @ left @ right - there, axis=1).max() < 0.2
        assert flat_summary(one)["mean"] == pytest.approx(flat_summary(other)["mean"], rel=1e-3)


def test_another_cloth_lays_the_panels_cut_from_it(first: Preview) -> None:
    """A panel whose cloth became another is laid again for it, with its darts, and its seams agree."""
    text = "[cloth.moss]\n[cloth.bark]\nkind = 'fleece'\npieces = ['sleeve-under']"
    suit = replace(first.suit, cloths=parse_suit(text).cloths)

    told = preview(suit, first)

    assert told.laid == ("sleeve-under-left",)
    by_name = {f.panel.name: f for f in told.flats}
    under, image = by_name["sleeve-under-left"], by_name["sleeve-under-right"]
    assert under.cloth == image.cloth == suit.cloths[1].bears
    assert image.pile == pytest.approx((-under.pile[0], *under.pile[1:]))
    assert by_name["sleeve-upper-left"].cloth is None
    assert largest_difference(told.flats) < 0.2
    assert preview(suit, told).laid == ()


def test_ease_on_a_pads_rim_is_no_matter_of_the_suit(first: Preview) -> None:
    """The look at a suit makes no pads: an ease on the rim of one changes and breaks nothing."""
    rim = AskedEase("thigh-rim-1", "pillow-thigh-left-top", 3.0)

    told = preview(replace(first.suit, ease=(rim,)), first)

    assert told.laid == ()


def test_a_dart_that_is_kept_lays_nothing(first: Preview) -> None:
    """Keeping a dart where it is, told to a tenth of a mm, changes no flat and seeks no dart."""
    flat = next(f for f in first.flats if f.darts and f.panel.mirror_of is None)
    again = preview(replace(first.suit, dart=(_pinned(flat),)), first)

    assert again.laid == ()
    for one, other in zip(first.flats, again.flats, strict=True):
        assert np.array_equal(one.positions, other.positions)


def test_a_dart_that_is_asked_for_elsewhere_lays_only_its_panel(first: Preview) -> None:
    """A dart that is to end 15 mm short of its tip has only that panel's darts sought anew: it is there, and both sides
    of seams agree."""
    flats = [f for f in first.flats if f.darts and f.panel.mirror_of is None]
    flat = min(flats, key=lambda f: len(f.panel.surface.faces))
    asked = _pinned(flat, short=15.0)
    again = preview(replace(first.suit, dart=(asked,)), first)
    new = next(f for f in again.flats if f.panel.name == flat.panel.name)
    tips = [new.panel.surface.vertices[d.apex] for d in new.darts]

    assert again.laid == (flat.panel.name,)
    assert min(np.linalg.norm(np.array(tips) - asked.end, axis=1)) < 12.0
    assert largest_difference(again.flats) < 0.1


def _pinned(flat: Flat, short: float = 0.0) -> AskedDart:
    """A flat's first dart as the page asks for it, ending so many mm before its tip."""
    dart, at = flat.darts[0], flat.panel.surface.vertices
    mouth, tip = at[dart.left[0]], at[dart.apex]
    tip = tip + short * (mouth - tip) / np.linalg.norm(mouth - tip)
    ends = (tuple(place.round(1).tolist()) for place in (mouth, tip))
    return AskedDart("pin", flat.panel.name, *ends, "", 0.0)


def test_a_search_for_darts_that_is_overtaken_ends_its_workers(first: Preview) -> None:
    """Told while the first panels are searched, before any is laid; what is raised then ends the workers at once."""
    workers: list[BaseProcess] = []

    def tell(words: str, share: float) -> None:
        workers.extend(active_children())
        raise PadlibError(f"{words} {share}")

    with pytest.raises(PadlibError, match=r"seeking darts 0"):
        preview(first.suit, workers=2, tell=tell)

    assert len(workers) == 2
    assert {w.exitcode for w in workers} == {-signal.SIGKILL}


def test_what_is_over_the_limit_says_whether_its_darts_were_sought(first: Preview) -> None:
    """At a limit that no panel holds, a panel laid for a look with the darts that it had says that they were not sought
    for it; one that was not laid gives the usual advice."""
    neck = replace(first.suit, seams={**first.suit.seams, "neck_rise": 25.0})
    look = preview(neck, first)
    tight = over_limit(look.flats, 0.001, look.laid)
    told = {f.where.split("'")[1]: "not sought anew" in f.words for f in tight}

    assert set(look.laid) == {name for name, kept in told.items() if kept}
    assert len(told) > len(look.laid) > 0


def test_a_build_takes_the_body_of_a_look_only_while_it_is_the_same(tmp_path: Path) -> None:
    """The body, and the body dressed, as long as the scan, how it is read and the cloth are what they were; after the
    scan was written anew neither, though its name and length are the same."""
    scan = tmp_path / "scan.ply"
    scan.write_bytes(DEMO_BODY.read_bytes())
    suit = parse_suit('[body]\nfile = "scan.ply"\n', name="a.toml", folder=tmp_path)
    body = read_mesh(scan)
    look = Preview(suit, body, None, None, (), (), (), "dressed", _stamp(suit))
    eased = replace(suit, shell=suit.shell | {"ease": 20.0})
    other = replace(suit, body=suit.body | {"unit": "mm"})

    assert standing(suit, look) == (body, "dressed")
    assert standing(replace(suit, pads=()), look) == (body, "dressed")
    assert standing(eased, look) == (body, None)
    assert standing(other, look) == standing(suit, None) == (None, None)
    os.utime(scan, ns=(1, scan.stat().st_mtime_ns + 1))
    assert standing(suit, look) == (None, None)
