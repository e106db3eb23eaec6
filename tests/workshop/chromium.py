"""Chromium on the workshop's page, for the tests and the benchmark that drive it."""

from __future__ import annotations

import shutil
import time

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--no-sandbox",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
)


def opened(driver, address, complaints):
    """A browser and the page at an address, 1280 x 720; what the page complains about is appended."""
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.goto(address)
    page.wait_for_url("**/")
    page.wait_for_selector("#pads .pad")
    return browser, page


def until(page, words, seconds=20.0):
    """Poll until an expression is true in the page; a strict policy bars the driver's own waiting."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if page.evaluate(words):
            return
        page.wait_for_timeout(20)
    told = page.inner_text("#told"), page.inner_text("#badge")
    raise AssertionError(f"never true in the page: {words}; it said {told}")
