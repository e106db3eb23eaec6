"""The workshop's page while a seam point is dragged, in Chromium with software rendering.

Run with `pytest -m benchmark tests/benchmarks/bench_workshop.py -s` on an idle machine; the table goes to
tests/benchmarks/results/workshop.md. The figure has 100,000 triangles or more (the demo's shell, each
triangle parted in four). The reference in the same run is the time of one whole new picture of that
figure by three.js without any question asked.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import trimesh

from padlib.mesh.point import nearest
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import read_suit
from padlib.suit.steps import make_panels, suit_body, suit_shell
from padlib.workshop import bundle
from padlib.workshop.frames import Blocks, parts
from padlib.workshop.live import Live
from padlib.workshop.scene import forecast_shown, shown_bytes
from padlib.workshop.serve import Workshop
from padlib.workshop.session import Session

sys.path.insert(0, str(Path(__file__).parents[1] / "workshop"))

from chromium import CHROMIUM, opened, until  # noqa: E402 (found beside the tests)

RESULTS = Path(__file__).with_name("results")
SEAM = (
    '\n[[seam]]\nname = "bust"\nthrough = [[155, 30, 1164], [107, -107, 1130], [-30, -127, 1100]]\n'
)
MOVES = 40
PATIENCE = 120.0  # s

pytestmark = pytest.mark.benchmark


class Fine(Live):
    """Looks at the demo suit whose shape is parted finely; made once, told at once."""

    def __init__(self, folder):
        super().__init__()
        suit = read_suit(folder / "giant.toml")
        body = suit_body(suit)
        shell = suit_shell(suit, body)
        panels = make_panels(suit, body, shell)
        surface = shell.surface
        vertices, faces = trimesh.remesh.subdivide(surface.vertices, surface.faces)
        blocks = Blocks()
        self._stages = [
            parts(
                blocks.message(
                    {
                        "stage": "shape",
                        "revision": 0,
                        "vertices": blocks.keep(vertices.astype("<f8")),
                        "faces": blocks.keep(faces.astype("<u4")),
                        "under": blocks.keep(vertices.astype("<f8")),
                        "landmarks": {k: body.at(k).tolist() for k in body.landmarks},
                    }
                )
            )
        ]
        head, block = parts(shown_bytes(forecast_shown(panels.panels), scale=0.1, limit=0.05))
        through = [list(p) for p in suit.drawn[0].through]
        own = [{"number": 0, "name": "bust", "closed": False, "points": through}]
        told = {"stage": "panels", "revision": 0, "scene": head, "own": own}
        self._stages.append((told, block))
        self.count = len(faces)

    def order(self, text, name, folder, revision):
        """Tell what was made."""
        for told, block in self._stages:
            self._take(dict(told), block)


def test_a_dragged_seam_point(tmp_path):
    """Time from a move of the pointer to the forecast drawn, and what of it the server takes."""
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    bundle.make()
    (tmp_path / "giant.toml").write_text(DEMO_SUIT.read_text() + SEAM)
    session = Session(tmp_path / "giant.toml")
    session.live = live = Fine(tmp_path)
    with Workshop(session) as server, sync_api.sync_playwright() as driver:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        browser, page = opened(driver, server.address, [])
        until(page, "workshop.live.stage === 'panels'", PATIENCE)
        page.evaluate("workshop.figure.turn = 30; workshop.figure.paint()")
        page.click("[data-mode=move]")
        page.wait_for_timeout(200)
        at = page.evaluate("workshop.figure.onCanvas(workshop.own()[0].points[1])")
        box = page.locator("#figure").bounding_box()
        x, y = box["x"] + at["x"], box["y"] + at["y"]
        page.mouse.move(x, y)
        page.mouse.down()
        for k in range(MOVES):
            count = page.evaluate("workshop.pen.drags.length")
            page.mouse.move(x, y + 1 + k % 20)
            until(page, f"workshop.pen.drags.length > {count}", PATIENCE)
        drags = np.array(page.evaluate("workshop.pen.drags"))[2:]
        plain = np.array(
            page.evaluate(
                "Array.from({length: 20}, () => { const s = performance.now(); "
                "workshop.figure.paint(); workshop.figure.renderer.getContext().finish(); "
                "return performance.now() - s; })"
            )
        )
        shape = live.shape
        held, points, server_ms = shape.held("bust"), [], []
        for k in range(12):
            through = shape.own[0].points + [[0, 0, 0], [0, 0, -3.0 * k], [0, 0, 0]]
            points = nearest(shape.vertices, shape.faces, through)
            start = time.process_time()
            held.moved(shape.way(points, closed=False))
            server_ms.append(1000 * (time.process_time() - start))
        browser.close()
        server.shutdown()
        thread.join()
    session.close()
    median, p95 = np.median(drags), np.percentile(drags, 95)
    text = (
        "# Dragging a seam point on the workshop's page\n\n"
        f"{live.count} triangles, {len(drags)} moves, headless Chromium, software rendering, 1280 x 720.\n\n"
        "| what | ms |\n|---|---|\n"
        f"| move to forecast drawn, median | {median:.0f} |\n"
        f"| move to forecast drawn, 95th percentile | {p95:.0f} |\n"
        f"| of it way and forecast on the server, processor time, median | {np.median(server_ms[1:]):.0f} |\n"
        f"| reference: one picture of the figure, median | {np.median(plain):.0f} |\n"
        f"| ratio of the first to the reference | {median / np.median(plain):.1f} |\n"
    )
    (RESULTS / "workshop.md").write_text(text)
    sys.stdout.write(text)

    assert live.count >= 100_000
