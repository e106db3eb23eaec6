"""Marks and strokes of the pile drawn on the real page, with the suit looked at for real.

Skipped where there is no Chromium.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from padlib.suit.demo import DEMO_SUIT
from padlib.workshop.work import work_apart

sys.path.insert(0, str(Path(__file__).parent))

from chromium import BROWSER, launched, opened, until  # noqa: E402 (found beside this one)

sync_api = pytest.importorskip("playwright.sync_api")

pytestmark = BROWSER
LOOP = ([-90, -300, 1060], [0, -300, 1150], [90, -300, 1060], [0, -300, 980])
STROKE = ([20, -300, 1230], [70, -300, 1235], [120, -300, 1240])
LAID = "workshop.live.stage === 'flats' && workshop.live.revision === workshop.now.revision"


@pytest.fixture(scope="module")
def page(tmp_path_factory, served):
    """The page of the demo suit without darts, laid; what it complains about fails the tests."""
    path = tmp_path_factory.mktemp("suit") / "giant.toml"
    path.write_text(DEMO_SUIT.read_text().replace("limit = 0.05", "most = 0\nlimit = 0.05"))
    complaints = []
    with served(path, work_apart) as server, sync_api.sync_playwright() as driver:
        browser = launched(driver)
        page = opened(browser, server.address, complaints)
        until(page, LAID, 600)
        page.evaluate("workshop.figure.turn = 0; workshop.figure.tilt = 0; workshop.figure.paint()")
        yield page
        browser.close()
    assert complaints == []


def draw(page, mode, places):
    """Click at places near the figure in a mode of drawing, and end."""
    page.click(f"[data-mode={mode}]")
    for count, place in enumerate(places, 1):
        at = page.evaluate(
            "(p) => workshop.figure.onCanvas(workshop.figure.nearestOnShape(p).place)", place
        )
        box = page.locator("#figure").bounding_box()
        page.mouse.click(box["x"] + at["x"], box["y"] + at["y"])
        until(page, f"workshop.pen.points.length === {count}")
    page.click("#pen-done")


def shade(page, place):
    """Red, green and blue of the picture where a place on the figure's front is, as shares of their sum."""
    at = page.evaluate(
        "(p) => workshop.figure.onCanvas(workshop.figure.nearestOnShape(p).place)", place
    )
    rgb = page.evaluate(
        "({x, y}) => { const f = workshop.figure, gl = f.renderer.getContext(), r = f.renderer.getPixelRatio(), "
        "high = gl.drawingBufferHeight, out = new Uint8Array(4); f.paint(); "
        "gl.readPixels(Math.round(x * r), high - Math.round(y * r), 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out); "
        "return [...out].slice(0, 3); }",
        at,
    )
    return np.array(rgb) / max(sum(rgb), 1)


def test_a_mark_and_a_stroke_are_drawn_moved_changed_and_taken_out(page):
    """A loop in a new colour is seen on body and flats, kept in coordinates of the body, undone and done again,
    made a line, moved and taken out; a stroke turns its panel's pile."""
    inside, beside = [35, -300, 1070], [60, -300, 1260]
    before = shade(page, inside), shade(page, beside)
    text = page.evaluate("workshop.now.text")
    page.click("[data-mode=mark]")
    page.fill("#pen-colour", "#c02010")
    draw(page, "mark", LOOP)
    until(page, "workshop.now.marks.length === 1")
    until(page, LAID, 600)
    told = tomllib.loads(page.evaluate("workshop.now.text"))
    mark, cloth = told["mark"][0], told["cloth"]["colour-1"]
    after = shade(page, inside), shade(page, beside)

    assert [set(p) for p in mark["through"]] == [{"limb", "along", "around"}] * 4
    assert (cloth["colour"], cloth["use"], mark["cloth"]) == ("#c02010", "parts", "colour-1")
    red = np.array([0xC0, 0x20, 0x10]) / (0xC0 + 0x20 + 0x10)
    assert np.abs(after[0] - red).max() < 0.05 < np.abs(before[0] - red).max()
    assert np.abs(after[1] - before[1]).max() < 0.02
    holes = page.evaluate("workshop.own().filter(o => o.table === 'mark').flatMap(o => o.points)")
    clicked = page.evaluate(
        "(a) => a.map(p => workshop.figure.nearestOnShape(p).place)", list(LOOP)
    )
    assert np.abs(np.array(holes) - np.array(clicked)).max() < 1.0  # mm; a click is a pixel wide
    page.click("[data-panel=front-left]")
    until(page, "document.querySelectorAll('#sheet path.mark[data-mark]').length > 0")

    page.keyboard.press("Control+z")
    until(page, "workshop.now.marks.length === 0")
    assert page.evaluate("workshop.now.text") == text
    page.keyboard.press("Control+y")
    until(page, "workshop.now.marks.length === 1")
    page.select_option("[data-mark-cloth='0']", "line")
    until(page, "workshop.now.marks[0].style === 'line'")
    until(page, LAID, 600)
    assert np.abs(shade(page, inside) - before[0]).max() < 0.02

    page.click("[data-find='mark-0']")
    page.evaluate("workshop.figure.turn = 0; workshop.figure.paint()")
    at = page.evaluate(
        "workshop.figure.onCanvas(workshop.own().find(o => o.table === 'mark').points[2])"
    )
    box = page.locator("#figure").bounding_box()
    page.mouse.move(box["x"] + at["x"], box["y"] + at["y"])
    page.mouse.down()
    page.mouse.move(box["x"] + at["x"] - 8, box["y"] + at["y"], steps=2)
    until(page, "workshop.pen.drags.length > 0")
    page.mouse.up()
    until(page, f"!workshop.now.text.includes('around = {mark['through'][2]['around']}')")
    moved = tomllib.loads(page.evaluate("workshop.now.text"))["mark"][0]["through"]
    assert [a == b for a, b in zip(moved, mark["through"], strict=True)] == [
        True,
        True,
        False,
        True,
    ]

    draw(page, "pile", STROKE)
    until(page, "workshop.now.strokes.length === 1")
    until(page, LAID, 600)
    pile = page.evaluate("workshop.live.scene.panels.find(p => p.name === 'front-left').pile")
    assert pile[0] > 0.3  # outward, as the stroke; without it straight down
    page.click("#strokes .drop")
    until(page, "workshop.now.strokes.length === 0")
    page.click("#marks .drop")
    until(page, "workshop.now.marks.length === 0")
    kept = tomllib.loads(page.evaluate("workshop.now.text"))
    del kept["cloth"]["colour-1"]
    assert kept == tomllib.loads(text)
