"""Chromium on the workshop's page, for the tests and the benchmark that drive it."""

from __future__ import annotations

import shutil
import time

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--no-sandbox",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
)
BROWSER = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]
PATIENCE = 120.0  # s until something that must happen counts as missed; the machine may be busy


def launched(driver):
    """A browser without a window."""
    return driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)


def opened(browser, address, complaints, *, width=1280, height=720, touch=False):
    """The page at an address; what it complains about is appended."""
    page = browser.new_page(viewport={"width": width, "height": height}, has_touch=touch)
    page.set_default_timeout(1000 * PATIENCE)
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.goto(address)
    page.wait_for_url("**/")
    page.wait_for_selector("#pads .pad")
    return page


def until(page, words, seconds=PATIENCE):
    """Poll until an expression is true in the page; a strict policy bars the driver's own waiting."""
    began, pause = time.monotonic(), 20.0
    while (waited := time.monotonic() - began) < seconds:
        if page.evaluate(words):
            return
        page.wait_for_timeout(pause)
        # asking costs processor time too, which the story counts: a hundredth of the wait is near enough
        pause = min(1.1 * pause, max(200.0, 10.0 * waited))
    told = page.locator("#told").inner_text(), page.locator("#badge").inner_text()
    raise AssertionError(f"never true in the page: {words}; it said {told}")
