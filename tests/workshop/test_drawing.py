"""Marks and strokes of the pile drawn on the real page, seams of the plan dragged, with the suit looked at for real.

Skipped where there is no Chromium.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from padlib.suit.demo import DEMO_SUIT

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
    with served(path, None) as server, sync_api.sync_playwright() as driver:
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
    # the line's length is told without moving the figure under the pointer
    until(page, "document.getElementById('pen-count').textContent.includes(' mm')")
    assert page.locator("#figure").bounding_box() == box
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


LINE = """(name) => { const at = workshop.live.scene.seams.get(name).pairs;
  return Array.from({length: at.length / 3}, (_, k) => at.slice(3 * k, 3 * k + 3)); }"""


PICTURES = """() => { const r = workshop.figure.renderer, gl = r.getContext();
  window.render = r.render.bind(r); window.pictures = [];
  r.render = (...all) => { window.render(...all);
    const out = new Uint8Array(4 * gl.drawingBufferWidth * gl.drawingBufferHeight);
    gl.readPixels(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight, gl.RGBA, gl.UNSIGNED_BYTE, out);
    window.pictures.push(out); }; }"""
DIFFER = "([a, b]) => window.pictures[a].filter((v, i) => v !== window.pictures[b][i]).length"


def away(page, name, place):
    """How far a place is from a seam of the newest scene, mm."""
    at = np.array(page.evaluate(LINE, name)).reshape(-1, 2, 3)
    way = at[:, 1] - at[:, 0]
    share = ((place - at[:, 0]) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-9)
    near = at[:, 0] + np.clip(share, 0.0, 1.0)[:, None] * way
    return float(np.linalg.norm(near - place, axis=1).min())


def test_a_seam_of_the_plan_is_dragged_by_its_line_and_moved_by_keys(page):
    """Let go beside where it was, the leg's front seam runs there once the suit is cut again, its mirror image on the
    other leg too, by numbers in the suit file; undo puts it back; keys in the list move the side seam by as many mm;
    Escape leaves a seam where it was; what suggestions are to leave alone is kept and cleared."""
    text = page.evaluate("workshop.now.text")
    seams = tomllib.loads(text)["seams"]
    page.evaluate("Object.assign(workshop.figure, {turn: 15, tilt: 3}).paint()")
    page.click("#tab-seams")
    page.click("[data-mode=move]")
    line = np.array(page.evaluate(LINE, "leg-front-left"))
    held = line[np.argmin(np.abs(line[:, 2] - 600.0))]
    at = page.evaluate("(p) => workshop.figure.onCanvas(p)", held.tolist())
    box = page.locator("#figure").bounding_box()
    x, y = box["x"] + at["x"], box["y"] + at["y"]
    to = page.evaluate("([x, y]) => workshop.figure.onShape(x, y).place", [at["x"] + 5, at["y"]])
    page.mouse.move(x, y)
    until(page, "workshop.pen.pointed === 'leg-front-left'")
    page.mouse.down()
    page.mouse.move(x + 5, y, steps=2)
    until(page, "workshop.pen.hold && workshop.pen.hold.moved && !workshop.pen.hold.busy")
    assert page.get_attribute("#badge", "data-stage") == "forecast"
    assert "leg seams farther out" in page.inner_text("#spot")
    drawn = page.evaluate(
        "workshop.figure.marks.children.find(o => o.name === 'pen').geometry.attributes.instanceStart.count"
    )
    assert drawn > 100  # both legs' four seams
    # the leg in hand is painted at once, the other one when the pointer rests
    until(page, "workshop.figure.later === null")
    page.evaluate(PICTURES)
    page.mouse.move(x + 8, y)
    until(page, "window.pictures.length > 1 && workshop.figure.later === null")
    page.evaluate("workshop.figure.paint()")
    last = page.evaluate("window.pictures.length") - 1
    assert page.evaluate(DIFFER, [0, last]) > 1000
    # but for a pixel or two, where a triangle is seen from its edge
    assert page.evaluate(DIFFER, [last - 1, last]) <= 8
    page.evaluate("void (workshop.figure.renderer.render = window.render)")
    count = page.evaluate("workshop.pen.drags.length")
    page.mouse.move(x + 5, y)
    until(page, f"workshop.pen.drags.length > {count} && !workshop.pen.hold.busy")
    page.mouse.up()
    until(page, "workshop.now.text.includes('leg_turn')")
    until(page, LAID, 600)
    told = tomllib.loads(page.evaluate("workshop.now.text"))["seams"]
    to = np.array(to)

    assert set(told) - set(seams) == {"leg_shift", "leg_turn"}
    assert away(page, "leg-front-left", held) > 6.0
    assert away(page, "leg-front-left", to) < 1.5
    assert away(page, "leg-front-right", to * [-1.0, 1.0, 1.0]) < 1.5
    page.keyboard.press("Control+z")
    until(page, "!workshop.now.text.includes('leg_turn')")
    until(page, LAID, 600)
    assert page.evaluate("workshop.now.text") == text
    assert away(page, "leg-front-left", held) < 0.1

    before = np.array(page.evaluate(LINE, "side-right"))
    page.focus("[data-seam-row=side-right]")
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowRight", "ArrowLeft"):
        page.keyboard.press(key)
    until(page, "workshop.now.text.includes('side_shift = 6')")
    until(page, LAID, 600)
    low = before[np.argmin(np.abs(before[:, 2] - 1130.0))]
    assert page.evaluate("document.activeElement.dataset.seamRow") == "side-right"
    # on the shell the seam's surface is crossed at a slant, so it moves by a little more
    assert 5.5 < away(page, "side-right", low) < 9.0
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Escape")
    until(page, "workshop.pen.hold === null && !workshop.figure.bare")

    page.click("[data-seam-row=side-right]")
    page.check("[data-pin=side]")
    until(page, "workshop.now.kept.pinned.includes('side')")
    assert tomllib.loads(page.evaluate("workshop.now.text"))["seams"]["pinned"] == ["side"]
    until(
        page, "document.querySelector('[data-seam-row=side-right]').textContent.includes('stays')"
    )
    page.uncheck("[data-pin=side]")
    until(page, "workshop.now.kept.pinned.length === 0")
    page.click("#tab-panels")
    page.click("[data-panel=front-left]")
    page.check("[data-whole=front]")
    until(page, "workshop.now.kept.whole.includes('front')")
    kept = tomllib.loads(page.evaluate("workshop.now.text"))["seams"]
    assert (kept["whole"], kept["side_shift"]) == (["front"], 6)
    while page.evaluate("workshop.now.can_undo && workshop.now.text") not in (False, text):
        page.click("#undo")
        page.wait_for_timeout(200)
    until(page, LAID, 600)
    assert page.evaluate("workshop.now.text") == text
