"""The workshop's page while a seam point is dragged, in Chromium with software rendering, and the real map after it.

Run with `pytest -m benchmark tests/benchmarks/bench_workshop.py -s` on an idle machine; the table goes to workshop.md
in tests/benchmarks/results/. The figure is the demo suit with a seam of the maker's over its body: with triangles so
fine that there are about 100,000, with finer ones, and as it comes. Each figure stands beside a reference of its
own, taken in the same run: of a forecast on screen one new picture of that figure by three.js, read back, with no
question asked; of the forecast on the server the same equation on the whole figure solved by scipy (SuperLU); of the
real map ten steps of igl.slim on the panels that the seam touches.
"""

from __future__ import annotations

import os
import shutil
import sys
import threading
import time
from pathlib import Path

import igl
import numpy as np
import pytest
from scipy.sparse.linalg import spsolve
from threadpoolctl import threadpool_limits

from padlib.flatten.cotangent import laplacian
from padlib.flatten.forecast import defects
from padlib.flatten.rest import rest
from padlib.mesh.point import nearest
from padlib.suit.demo import DEMO_BODY, DEMO_SUIT
from padlib.suit.file import parse_suit
from padlib.suit.preview import preview
from padlib.suit.steps import make_panels, suit_body, suit_shell
from padlib.workshop import bundle
from padlib.workshop.frames import Blocks, parts
from padlib.workshop.live import Live
from padlib.workshop.look import body_told, plan_told
from padlib.workshop.scene import forecast_shown, scene_bytes, shown_bytes
from padlib.workshop.serve import Workshop
from padlib.workshop.session import Session

sys.path.insert(0, str(Path(__file__).parents[1] / "workshop"))

from chromium import CHROMIUM, launched, opened, until  # noqa: E402 (found beside the tests)

RESULTS = Path(__file__).with_name("results")
SEAM = (
    '\n[[seam]]\nname = "bust"\nthrough = [[155, 30, 1164], [107, -107, 1130], [-30, -127, 1100]]\n'
)
HEIGHTS = (
    "1140",
    "1136",
    "1144",
    "1133",
    "1150",
    "1137",
    "1141",
)  # of its middle point, one after the other
EDGES = (6.5, 5.0)  # mm: about 100,000 triangles, and finer
MOVES = 30

# a place of the leg's front seam at half of the leg's height, on the canvas
LEG = """(() => { const at = [...workshop.live.scene.seams.get('leg-front-left').pairs], z = 600;
  let best = 0;
  for (let k = 0; k < at.length; k += 3) if (Math.abs(at[k + 2] - z) < Math.abs(at[best + 2] - z)) best = k;
  return workshop.figure.onCanvas(at.slice(best, best + 3)); })()"""

pytestmark = pytest.mark.benchmark


def suit_text(folder, seam, edge):
    """The demo suit over a body of triangles of an edge (mm; 0: as it comes), with a seam of the maker's."""
    shutil.copy(DEMO_BODY, folder / "scan.ply")
    scan = f'file = "scan.ply"\ntriangle = {edge}  #'
    return DEMO_SUIT.read_text().replace('file = ""', scan) + seam


class Fine(Live):
    """A suit cut beforehand and told at once."""

    def __init__(self, suit, body, shell, panels):
        super().__init__()
        blocks, surface = Blocks(), shell.surface
        shape = {
            "stage": "shape",
            "revision": 0,
            "vertices": blocks.keep(surface.vertices.astype("<f8")),
            "faces": blocks.keep(surface.faces.astype("<u4")),
            "under": blocks.keep(surface.vertices.astype("<f8")),
            "pad": blocks.keep(shell.thickness.astype("<f8")),
            "body": body_told(body, blocks),
        }
        self._stages = [parts(blocks.message(shape))]
        head, block = parts(shown_bytes(forecast_shown(panels.panels), scale=0.1, limit=0.05))
        through = [list(p) for p in suit.drawn[0].through]
        own = [
            {
                "table": "seam",
                "number": 0,
                "name": "bust",
                "closed": False,
                "round": False,
                "points": through,
            }
        ]
        told = {"stage": "panels", "revision": 0, "scene": head, "own": own}
        told["plan"] = plan_told(suit, body, panels.place)
        self._stages.append((told, block))
        self.count = len(surface.faces)

    def order(self, text, name, folder, revision):
        """Tell what was made."""
        for told, block in self._stages:
            self._take(dict(told), block)


def spent(work, times):
    """Median processor time of a piece of work, ms."""
    out = []
    for _ in range(times):
        start = time.process_time()
        work()
        out.append(1000 * (time.process_time() - start))
    return float(np.median(out))


def whole_by_scipy(shape, held):
    """The forecast's equation on the whole figure, its places on seams held at 0, by scipy's SuperLU."""
    matrix = laplacian(rest(shape.vertices, shape.faces), shape.faces).tocsr()
    free = np.ones(len(shape.vertices), bool)
    free[held.fixed] = free[held.now] = False
    inner = matrix[free][:, free].tocsc()
    return spent(lambda: spsolve(inner, -defects(shape.vertices, shape.faces)[free]), 3)


def slim_ten(flats):
    """Ten steps of igl.slim on panels from their flats, processor time in ms."""
    start = time.process_time()
    for flat in flats:
        surface = flat.panel.surface
        data = igl.slim_precompute(
            np.asfortranarray(surface.vertices),
            np.asfortranarray(surface.faces.astype(np.int32)),
            np.asfortranarray(flat.positions),
            igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
            np.zeros(0, dtype=np.int32),
            np.zeros((0, 2), order="F"),
            0.0,
        )
        igl.slim_solve(data, 10)
    return 1000 * (time.process_time() - start)


def measured_page(address, count):
    """Times of moves from the pointer to the picture read back, and of plain pictures, ms."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as driver:
        browser = launched(driver)
        page = opened(browser, address, [])
        until(page, "workshop.live.stage === 'panels'")
        page.evaluate("workshop.figure.turn = 30; workshop.figure.paint()")
        page.evaluate(
            "(() => { const r = workshop.figure.renderer, gl = r.getContext(), render = r.render.bind(r), "
            "one = new Uint8Array(4); r.render = (...all) => { render(...all); "
            "gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, one); }; })()"
        )
        page.click("[data-mode=move]")
        until(page, "workshop.pen.handles().length === 3")
        at = page.evaluate("workshop.figure.onCanvas(workshop.own()[0].points[1])")
        box = page.locator("#figure").bounding_box()
        x, y = box["x"] + at["x"], box["y"] + at["y"]
        page.mouse.move(x, y)
        page.mouse.down()
        for k in range(count):
            done = page.evaluate("workshop.pen.drags.length")
            page.mouse.move(x, y + 1 + k % 20)
            until(page, f"workshop.pen.drags.length > {done}")
        drags = np.array(page.evaluate("workshop.pen.drags"))[2:]
        page.keyboard.press("Escape")
        page.mouse.up()
        page.evaluate(
            "workshop.pen.hold = null; workshop.pen.drags = []; workshop.figure.showBare(false)"
        )
        page.click("#tab-seams")
        page.evaluate(
            "workshop.pen.enter('move'); workshop.figure.turn = 10; workshop.figure.paint()"
        )
        at = page.evaluate(LEG)
        x, y = box["x"] + at["x"], page.locator("#figure").bounding_box()["y"] + at["y"]
        page.mouse.move(x, y)
        page.mouse.down()
        for k in range(count):
            page.mouse.move(x + 1 + k % 10, y)
            until(page, f"workshop.pen.drags.length > {k}")
        lines = np.array(page.evaluate("workshop.pen.drags"))[2:]
        plain = page.evaluate(
            "Array.from({length: 12}, () => { const s = performance.now(); workshop.figure.paint(); "
            "return performance.now() - s; })"
        )
        browser.close()
    return drags, lines, np.array(plain[2:])


@pytest.fixture(scope="module")
def told():
    """Rows (triangles, what, ms, reference, ms), written as one table at the end and on the terminal."""
    rows = []
    yield rows
    load = " and ".join(f"{x:.1f}" for x in os.getloadavg()[:2])
    lines = "".join(
        f"| {n} | {a} | {b:.0f} | {c} | {d:.0f} | {b / d:.2f} |\n" for n, a, b, c, d in rows
    )
    text = (
        "# Dragging a seam point on the workshop's page\n\n"
        "`pytest -m benchmark tests/benchmarks/bench_workshop.py -s`. "
        f"Headless Chromium, software rendering, 1280 x 720, {MOVES} moves.\nPictures are read back before the clock "
        f"stops. {os.cpu_count()} processors, load {load} (1 and 5 minutes) at the end.\n\n"
        f"| triangles | what | ms | reference | ms | ratio |\n|---|---|---|---|---|---|\n{lines}"
    )
    (RESULTS / "workshop.md").write_text(text)
    sys.stdout.write(text)


def edged_suit(folder, seam, edge):
    """The demo suit over a body of triangles of an edge."""
    return parse_suit(suit_text(folder, seam, edge), name="giant.toml", folder=folder)


@pytest.mark.parametrize("edge", EDGES)
def test_a_dragged_seam_point(tmp_path, told, edge):
    """Time from a move of the pointer to the forecast drawn, and the server's part of it."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    bundle.make()
    suit = edged_suit(tmp_path, SEAM, edge)
    body = suit_body(suit)
    shell = suit_shell(suit, body)
    (tmp_path / "giant.toml").write_text(suit_text(tmp_path, SEAM, edge))
    session = Session(tmp_path / "giant.toml")
    session.live = live = Fine(suit, body, shell, make_panels(suit, body, shell))
    with Workshop(session) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            drags, lines, plain = measured_page(server.address, MOVES)
        finally:
            server.shutdown()
            thread.join()
    shape = live.shape
    held = shape.held("bust")
    through = [shape.own[0].points + [[0, 0, 0], [0, 0, -3.0 * k], [0, 0, 0]] for k in range(12)]
    places = iter([nearest(shape.vertices, shape.faces, at) for at in through])

    def forecast_moved():
        held.moved(shape.way(next(places), closed=False))

    server_ms, scipy_ms = spent(forecast_moved, 12), whole_by_scipy(shape, held)
    session.close()
    picture, scipy = "one picture by three.js", "whole figure by scipy's SuperLU"
    count = live.count
    told += [
        (count, "move to forecast on screen, median", np.median(drags), picture, np.median(plain)),
        (count, "the same, 95th percentile", np.percentile(drags, 95), picture, np.median(plain)),
        (count, "of it on the server, processor time", server_ms, scipy, scipy_ms),
        (
            count,
            "the leg seams of the plan by a line, median",
            np.median(lines),
            picture,
            np.median(plain),
        ),
    ]

    assert count >= 100_000


def looked(suit, last):
    """A look as the page has it: the cut panels with their forecast, then the flats, both as they are sent."""

    def seen(body, shell, panels):
        if panels is not None:
            shown_bytes(forecast_shown(panels.panels), scale=0.1, limit=0.05)

    look = preview(suit, last, seen=seen)
    scene_bytes(look.flats, (), scale=0.1, limit=0.05)
    return look


def turns(suits, look):
    """Looks at suits one after the other: the last one, and (clock, processor time) of each, ms."""
    took = []
    for suit in suits:
        start = time.perf_counter(), time.process_time()
        with threadpool_limits(1):  # as the process that looks has it
            look = looked(suit, look)
        took.append(
            (1000 * (time.perf_counter() - start[0]), 1000 * (time.process_time() - start[1]))
        )
    return look, np.array(took)


@pytest.mark.parametrize("edge", [0.0, EDGES[0]])
def test_the_real_map_after_a_dragged_point(tmp_path, told, edge):
    """The real map of the panels that a moved seam touches, once all were laid with their darts: what it takes to cut
    and lay them, and to make ready what the page is sent, by the clock and in processor time."""
    first = preview(edged_suit(tmp_path, SEAM, edge))
    even = preview(edged_suit(tmp_path, "", edge))
    count, slim = len(first.shell.surface.faces), "ten steps of igl.slim on them"
    moved = [edged_suit(tmp_path, SEAM.replace("1130", height), edge) for height in HEIGHTS]
    leg = "[seams]\nleg_turn = {}"
    beside, plain = (
        [
            parse_suit(text.replace("[seams]", leg.format(by)), name="giant.toml", folder=tmp_path)
            for by in (2, 4, 3, 5, 3.5)
        ]
        for text in (
            suit_text(tmp_path, SEAM.replace("1130", HEIGHTS[-1]), edge),
            suit_text(tmp_path, "", edge),
        )
    )
    for what, suits, look in (
        ("a seam of one's own", moved, first),
        ("the leg seams of the plan", plain, even),
        ("the same beside a seam of one side", beside, first),
    ):
        look, took = turns(suits, look)
        slim_ms = slim_ten([f for f in look.flats if f.panel.name in look.laid])
        clock, spent_ms = np.median(took[1:], axis=0)
        name = f"real map of {len(look.laid)} panels by {what}"
        told += [
            (count, name, clock, slim, slim_ms),
            (count, "the same, processor time", spent_ms, slim, slim_ms),
            (count, "the first time, processor time", took[0, 1], slim, slim_ms),
        ]
        assert look.laid
