"""The workshop as a widget: the same questions and answers over a notebook's line."""

from __future__ import annotations

import base64
import queue
import sys
import time
from pathlib import Path

import pytest

from padlib.workshop.frames import message, parts

sys.path.insert(0, str(Path(__file__).parent))

from chromium import CHROMIUM, PATIENCE, launched, until  # noqa: E402 (found beside this one)

MOUNT = """async (code) => {
  const module = (await import(URL.createObjectURL(new Blob([code], { type: "text/javascript" })))).default;
  const told = [];
  const model = {
    on: (_, act) => told.push(act),
    send: (_, __, [buffer]) => window.asked(btoa(Array.from(new Uint8Array(buffer), (c) => String.fromCharCode(c)).join("")))
      .then((answer) => { for (const act of told) act({}, [new DataView(Uint8Array.from(atob(answer), (c) => c.charCodeAt(0)).buffer)]); }),
  };
  const el = document.createElement("div");
  document.body.append(el);
  window.end = module.render({ model, el });
}"""  # noqa: E501

pytest.importorskip("anywidget")


def test_a_widget_answers_as_the_page_does(suit_file):
    """A change asked for over the widget's line is answered with the state, and kept in the file."""
    from padlib.workshop.widget import workshop

    widget = workshop(suit_file)
    sent = []
    widget.send = lambda content, buffers=None: sent.extend(buffers)
    question = {"id": 5, "ask": "value", "path": ["pad", 0, "depth"], "value": 71}
    widget._handle_custom_msg({}, [memoryview(message(question))])
    end = time.monotonic() + 10
    while not sent and time.monotonic() < end:
        time.sleep(0.01)
    answer, _ = parts(sent[0])
    widget.close()

    assert answer["id"] == 5
    assert answer["value"]["saved"] is True
    assert "depth = 71" in suit_file.read_text()


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
def test_the_widget_works_in_a_browser(suit_file, tube_live):
    """The widget's own script in Chromium, over a line as a notebook's: the figure comes, a key on a slider is kept, no
    key pressed in it is the notebook's, and in a narrow column nothing is cut off."""
    sync_api = pytest.importorskip("playwright.sync_api")
    from padlib.workshop.widget import SCRIPT, workshop

    widget = workshop(suit_file)
    widget.session.live = tube_live
    answers = queue.Queue()
    widget.send = lambda content, buffers=None: answers.put(bytes(buffers[0]))

    def asked(question):
        """One question of the page, and an answer that has come."""
        widget._handle_custom_msg({}, [memoryview(base64.b64decode(question))])
        return base64.b64encode(answers.get(timeout=PATIENCE)).decode()

    inside = "document.querySelector('.padlib-workshop').shadowRoot"
    with sync_api.sync_playwright() as driver:
        browser = launched(driver)
        page = browser.new_page(viewport={"width": 1280, "height": 760})
        complaints = []
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.expose_function("asked", asked)
        page.evaluate(MOUNT, SCRIPT.read_text(encoding="utf-8"))
        until(page, f"{inside}.getElementById('badge').dataset.stage === 'flats'")
        page.evaluate(
            "for (const capture of [true, false]) document.addEventListener('keydown', (e) => "
            "(window.keys ||= []).push(capture ? e.target.hasAttribute('data-lm-suppress-shortcuts') : 'leaked'), "
            "capture)"
        )
        page.locator("#pad-0-depth").focus()
        page.keyboard.press("ArrowRight")
        until(page, f"{inside}.getElementById('text').value.includes('depth = 61')")
        panels = page.locator("[data-panel]").count()
        page.locator("[data-panel=front]").click()
        edges = page.locator("#sheet path.edge").count()
        keys = page.evaluate("window.keys")
        page.set_viewport_size({"width": 850, "height": 760})
        until(page, "document.querySelector('.padlib-workshop').classList.contains('narrow')")
        over = page.evaluate(
            f"[...{inside}.querySelectorAll('button, select, canvas')].filter(e => e.checkVisibility())"
            ".map(e => e.getBoundingClientRect().right).filter(x => x > document.body.clientWidth + 8).length"
        )
        browser.close()
    widget.close()

    assert complaints == []
    assert panels == 2
    assert edges > 1
    assert keys == [True]  # marked as none of the notebook's, and not passed on
    assert over == 0
    assert "depth = 61" in suit_file.read_text()
