"""A whole sitting in Chromium with nothing stood in for: from a scan to the pattern, by clicks.

Run by its own command on an idle machine: pytest -m slow tests/workshop/test_story.py -s
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path

import pytest

from padlib.suit.demo import DEMO_BODY

sys.path.insert(0, str(Path(__file__).parent))

from chromium import BROWSER, launched, opened, until  # noqa: E402 (found beside this one)

sync_api = pytest.importorskip("playwright.sync_api")
pdfium = pytest.importorskip("pypdfium2")
PATIENCE = 900.0  # s; other work may share the machine
MOST = (
    180.0  # s by the clock from the scan to the pattern, on two processors with nothing beside it
)

pytestmark = [*BROWSER, pytest.mark.slow]


def laid(page):
    """Wait for the real map of the suit as it is now."""
    now = "workshop.live.stage === 'flats' && workshop.live.revision === workshop.now.revision"
    until(page, now, PATIENCE)


def click_at(page, place):
    """Click on the figure where a place in space is."""
    at = page.evaluate("(p) => workshop.figure.onCanvas(p)", place)
    box = page.locator("#figure").bounding_box()
    page.mouse.click(box["x"] + at["x"], box["y"] + at["y"])


def test_from_a_scan_to_the_pattern_in_one_sitting(suit_file, served):
    """Scan, slider, pad drawn and undone and done again, seam drawn and dragged, dart kept, pattern
    made; after a reload all is there, and the PDF opens. Under three minutes."""
    shutil.copy(DEMO_BODY, suit_file.parent / "scan.ply")
    began = time.monotonic()
    complaints = []
    with served(suit_file, None) as server, sync_api.sync_playwright() as driver:
        browser = launched(driver)
        page = opened(browser, server.address, complaints)
        page.select_option("#scan", "scan.ply")
        until(page, "workshop.now.scan === 'scan.ply'", PATIENCE)
        laid(page)

        # a pick right after the slider moved hits the shape as it is now
        pick = "workshop.figure.nearestOnShape([330, -60, 800]).place"
        before = page.evaluate(pick)
        page.focus("#pad-0-depth")
        for _ in range(10):
            page.keyboard.press("ArrowRight")
        until(page, "workshop.now.text.includes('depth = 70')", PATIENCE)
        laid(page)
        after = page.evaluate(pick)
        moved = sum((a - b) ** 2 for a, b in zip(before, after, strict=True)) ** 0.5
        assert 2.0 < moved < 30.0

        page.click("[data-mode=pad]")
        page.evaluate("workshop.figure.turn = 0; workshop.figure.tilt = 0; workshop.figure.paint()")
        for count, (x, z) in enumerate(((-90, 1060), (0, 1150), (90, 1060), (0, 980)), 1):
            click_at(page, page.evaluate(f"workshop.figure.nearestOnShape([{x}, -300, {z}]).place"))
            until(page, f"workshop.pen.points.length === {count}")
        first = page.evaluate("workshop.pen.points[0].place")
        click_at(page, first)
        until(page, "workshop.now.pads.length === 3")
        page.keyboard.press("Control+z")
        until(page, "workshop.now.pads.length === 2")
        page.keyboard.press("Control+y")
        until(page, "workshop.now.pads.length === 3")
        laid(page)

        page.click("[data-mode=seam]")
        page.evaluate("workshop.figure.turn = 30; workshop.figure.paint()")
        for count, place in enumerate(([160, 10, 1160], [110, -115, 1150], [0, -130, 1140]), 1):
            click_at(page, page.evaluate("(p) => workshop.figure.nearestOnShape(p).place", place))
            until(page, f"workshop.pen.points.length === {count}")
        page.click("#pen-done")
        until(page, "workshop.now.seams.length === 1")
        laid(page)
        page.click("[data-mode=move]")
        page.wait_for_timeout(200)
        at = page.evaluate("workshop.figure.onCanvas(workshop.own()[0].points[1])")
        box = page.locator("#figure").bounding_box()
        page.mouse.move(box["x"] + at["x"], box["y"] + at["y"])
        page.mouse.down()
        page.mouse.move(box["x"] + at["x"], box["y"] + at["y"] + 6, steps=3)
        until(page, "workshop.pen.drags.length > 0", 30)
        assert "Forecast" in page.inner_text("#badge")
        seam = page.evaluate("workshop.now.text.match(/through = .*/)[0]")
        page.mouse.up()
        until(page, f"workshop.now.text.match(/through = .*/)[0] !== {seam!r}")
        laid(page)
        assert "Real map" in page.inner_text("#badge")

        page.click("[data-mode=turn]")
        name = page.evaluate(
            "workshop.live.scene.panels.find(p => p.held.length && !p.mirror_of).name"
        )
        page.click(f"[data-panel='{name}']")
        page.click("[data-dart='0']")
        until(page, "workshop.now.pinned.length === 1")

        page.keyboard.press("Control+Enter")
        until(page, "workshop.now.building.state === 'running' || workshop.built !== null")
        until(page, "workshop.now.building.state !== 'running'", PATIENCE)
        assert page.evaluate("workshop.now.building.words") == "The suit is built."
        page.reload()
        page.wait_for_selector("#pads .pad")
        until(page, "workshop.built !== null && workshop.live.scene !== null", PATIENCE)
        there = page.evaluate(
            "[workshop.now.scan, workshop.now.pads.length, workshop.now.seams.length, "
            "workshop.now.pinned.length, workshop.now.can_undo]"
        )
        page.click("#tab-take")
        with page.expect_download() as waiting:
            page.click("#page-take a[href*='pattern-a4']")
        with pdfium.PdfDocument(waiting.value.path()) as pattern:
            pages, size = len(pattern), pattern[0].get_size()
        browser.close()
    clock, load = time.monotonic() - began, os.getloadavg()[1]
    sys.stdout.write(
        f"\nfrom scan to pattern: {clock:.0f} s by the clock (load {load:.1f}), {pages} pages\n"
    )

    assert complaints == []
    assert there == ["scan.ply", 3, 1, 1, True]
    assert pages > 20
    assert size == pytest.approx((595.3, 841.9), abs=0.2)  # A4, ISO 216, in points
    assert clock < MOST
