"""The real page in Chromium: shape a pad, undo, build, choose a panel, save, reload.

Skipped where there is no Chromium.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

from padlib.output.png import SIGNED

sys.path.insert(0, str(Path(__file__).parent))

from chromium import BROWSER, launched, opened, until  # noqa: E402 (found beside this one)

sync_api = pytest.importorskip("playwright.sync_api")

pytestmark = BROWSER


@pytest.fixture(scope="module")
def browser():
    """One browser for all tests here."""
    with sync_api.sync_playwright() as driver:
        browser = launched(driver)
        yield browser
        browser.close()


@pytest.fixture
def page(browser, suit_file, served, tube_run, tube_live):
    """The open page at 1280 x 720; anything that it complains about fails the test."""
    complaints = []
    with served(suit_file, tube_run, tube_live) as server:
        page = opened(browser, server.address, complaints)
        until(page, "workshop.live.stage === 'flats'")
        yield page
        page.close()
    assert complaints == []


@pytest.fixture
def tablet(browser, suit_file, served, tube_run, tube_live, request):
    """The open page on a tablet that is touched, of the size asked for."""
    width, height = request.param
    points = [[-100, -111.8, 1150], [0, -150, 1150], [100, -111.8, 1150]]
    line = {"table": "seam", "number": 0, "name": "across", "points": points}
    tube_live.own = [line | {"closed": False, "round": False}]
    with served(suit_file, tube_run, tube_live) as server:
        page = opened(browser, server.address, [], width=width, height=height, touch=True)
        until(page, "workshop.live.stage === 'flats'")
        yield page
        page.close()


def text(page):
    """What stands in the editor."""
    return page.input_value("#text")


def build(page):
    """Build by key, and wait for the figure."""
    page.keyboard.press("Control+Enter")
    until(page, "workshop.built !== null")


def test_the_address_keeps_no_token(page):
    """After entry the token is gone from the address, and the cookie is closed to scripts."""
    assert page.url.endswith("/")
    assert page.evaluate("document.cookie") == ""


def test_a_slider_moved_by_keys_changes_the_text(page):
    """Five presses are five millimetres, none lost however fast; five undos bring the text back."""
    before = text(page)
    page.focus("#pad-0-depth")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    until(page, "document.getElementById('text').value.includes('depth = 65 ')")
    until(page, "document.getElementById('pad-0-depth').value === '65'")
    for _ in range(5):
        page.keyboard.press("Control+z")
    until(page, "!workshop.now.can_undo")

    assert text(page) == before


def test_a_mistake_is_marked_and_stops_the_build(page):
    """A misspelt key is named, its line is marked at its own height, and Build is shut."""
    page.fill("#text", text(page).replace("depth = 60", "depht = 60"))
    until(page, "workshop.now.problem !== null")
    page.evaluate("document.getElementById('text').scrollTop = 0")
    until(
        page,
        "(() => { const top = (id) => document.getElementById(id).getBoundingClientRect().top; "
        "return Math.abs(top('mark') - top('text') - 6 - 20 * (workshop.now.problem.line - 1)) < 2; })()",
    )

    assert "depth" in page.inner_text("#problem")
    assert page.is_disabled("#build")


def test_a_panel_chosen_on_the_figure_is_chosen_in_the_list(page):
    """A click on the middle of the figure chooses the panel there, and its flat is shown."""
    build(page)
    page.evaluate("workshop.figure.turn = 0; workshop.figure.draw()")
    box = page.locator("#figure").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    until(page, "workshop.lists.chosen === 'front'")
    until(page, "document.querySelectorAll('#sheet path.edge').length > 1")

    assert page.get_attribute("[data-panel=front]", "aria-pressed") == "true"
    assert page.get_attribute("[data-panel=back]", "aria-pressed") == "false"


def test_a_panel_chosen_in_the_list_is_turned_to(page):
    """Choosing the back in the list turns the figure so that the back is under the middle."""
    build(page)
    page.click("[data-panel=back]")
    until(page, "workshop.lists.chosen === 'back'")
    found = page.evaluate(
        "workshop.figure.under(workshop.figure.canvas.clientWidth / 2, workshop.figure.canvas.clientHeight / 2)"
    )

    assert found == "back"


def test_the_figure_is_turned_by_keys_and_wheel(page):
    """Arrows turn, plus comes nearer, the wheel too, Home shows it whole again."""
    build(page)
    page.focus("#figure")
    turn, away = page.evaluate("[workshop.figure.turn, workshop.figure.away]")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("+")
    turned, nearer = page.evaluate("[workshop.figure.turn, workshop.figure.away]")
    page.hover("#figure")
    page.mouse.wheel(0, -100)
    until(page, f"workshop.figure.away < {nearer}")
    page.keyboard.press("Home")

    assert (turned != turn, nearer < away) == (True, True)
    assert page.evaluate("[workshop.figure.turn, workshop.figure.away]") == [turn, away]


def test_everything_is_reached_by_tab_with_a_visible_focus(page):
    """Tab goes through every control that can be used, and each shows a ring."""
    build(page)
    wanted = page.evaluate(
        "[...document.querySelectorAll('button,input,select,textarea,a,summary,canvas[tabindex]')]"
        ".filter(e => !e.disabled && e.tabIndex >= 0 && e.checkVisibility() && "
        "!(e.type === 'radio' && !e.checked)).length"
    )
    page.evaluate("document.activeElement.blur()")
    bare = []
    for _ in range(wanted + 10):
        page.keyboard.press("Tab")
        tag, ring = page.evaluate(
            "(() => { const e = document.activeElement; if (e === document.body) return ['', '']; "
            "e.dataset.seen = 'yes'; const box = e.id === 'text' ? e.parentElement : e; "
            "return [e.id || e.textContent, getComputedStyle(box).outlineStyle]; })()"
        )
        if tag and ring == "none":
            bare.append(tag)
    seen = page.evaluate("document.querySelectorAll('[data-seen]').length")

    assert bare == []
    assert seen >= wanted


def test_what_was_changed_is_there_after_a_reload(page, suit_file):
    """A pad is shaped and the pattern made; after a reload text, undo and result are all there, and so is redo."""
    page.focus("#pad-1-depth")
    page.keyboard.press("ArrowRight")
    until(page, "workshop.now.text.includes('depth = 56')")
    until(page, "workshop.now.saved")
    build(page)
    page.reload()
    page.wait_for_selector("#pads .pad")
    until(page, "workshop.built !== null && workshop.live.scene !== null")

    assert "depth = 56" in suit_file.read_text()
    assert text(page) == suit_file.read_text()
    assert page.evaluate(
        "[workshop.now.saved, workshop.now.can_undo, workshop.built.report.suit]"
    ) == [True, True, "tube"]
    page.keyboard.press("Control+z")
    until(page, "workshop.now.text.includes('depth = 55')")
    page.reload()
    page.wait_for_selector("#pads .pad")
    page.keyboard.press("Control+y")
    until(page, "workshop.now.text.includes('depth = 56')")
    assert "depth = 56" in suit_file.read_text()


def test_the_pattern_is_downloaded(page):
    """The A4 pattern comes as a file named after the suit, byte for byte."""
    build(page)
    page.click("#tab-take")
    with page.expect_download() as waiting:
        page.click("#page-take a[href*='pattern-a4']")
    name = waiting.value.suggested_filename
    with open(waiting.value.path(), "rb") as file:
        data = file.read()

    assert (name, data) == ("tube-pattern-a4.pdf", b"%PDF-1.4 tube")


def test_nothing_runs_over_the_edge_at_1280_by_720(page):
    """The page has no scroll bars of its own at 1280 x 720, built or not."""
    build(page)
    over = page.evaluate(
        "[document.documentElement.scrollWidth - innerWidth, "
        "document.documentElement.scrollHeight - innerHeight]"
    )

    assert max(over) <= 0


@pytest.mark.parametrize("tablet", [(1024, 768), (768, 1024)], indirect=True)
def test_a_tablet_shows_the_figure_whole_and_takes_touches(tablet):
    """Nothing runs over the side, the figure is seen at once, a finger chooses a panel and buttons fit a finger. At a
    tap the panel's flat takes the place of pads and seams beside the same figure; at another they are back."""
    over = tablet.evaluate("document.documentElement.scrollWidth - innerWidth")
    box = tablet.locator("#figure").bounding_box()
    tablet.evaluate("workshop.figure.turn = 0; workshop.figure.paint()")
    tablet.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    until(tablet, "workshop.lists.chosen === 'front'")
    small = tablet.evaluate(
        "[...document.querySelectorAll('button, select, input, summary')].filter(e => e.checkVisibility())"
        ".map(e => [e.id || e.textContent, (e.closest('label.pick') || e).getBoundingClientRect()])"
        ".filter(([_, r]) => r.height < 44 || r.width < 44).map(([words]) => words)"
    )
    sheets = []
    for _ in range(3):
        sheets.append((tablet.locator("#sheet").bounding_box(), tablet.is_visible("#bench")))
        tablet.tap("#roomy")
    still = tablet.locator("#figure").bounding_box()
    usual, large = (sheet["width"] * sheet["height"] for sheet, _ in sheets[:2])

    assert over <= 0
    assert large > 1.8 * usual
    assert [beside for _, beside in sheets] == [True, False, True]
    assert sheets[2] == sheets[0]
    assert still == box
    assert box["y"] + box["height"] <= tablet.viewport_size["height"]
    assert min(box["width"], box["height"]) > 300
    assert small == []


class Fingers:
    """Fingers on a page, each at a place in CSS pixels."""

    def __init__(self, page):
        self._line = page.context.new_cdp_session(page)

    def lie(self, kind, *places):
        """kind: touchStart, touchMove or touchEnd; places of all that lie on the page then."""
        points = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(places)]
        self._line.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


TABLETS = [(1024, 768), (820, 1180)]


@pytest.mark.parametrize("tablet", TABLETS, indirect=True)
def test_fingers_turn_pinch_tap_and_slide(tablet):
    """One finger turns the figure, two bring it nearer and choose nothing, one that rolls a little as it taps chooses a
    panel; a pad's slider follows a finger while the figure stays in sight and the page stays where it is."""
    fingers, page = Fingers(tablet), tablet
    look = "[workshop.figure.turn, workshop.figure.away]"
    page.evaluate("workshop.figure.turn = 0; workshop.figure.tilt = 0; workshop.figure.paint()")
    box = page.locator("#figure").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    turn, away = page.evaluate(look)
    fingers.lie("touchStart", (x, y))
    fingers.lie("touchMove", (x + 72, y))
    fingers.lie("touchEnd")
    assert page.evaluate(look) == [turn - 30, away]

    fingers.lie("touchStart", (x - 40, y))
    fingers.lie("touchStart", (x - 40, y), (x + 40, y))
    for step in (0, 20, 40):
        fingers.lie("touchMove", (x - 40 - step, y), (x + 40 + step, y))
    fingers.lie("touchEnd")
    turned, nearer = page.evaluate(look)
    assert turned == turn - 30
    assert nearer == pytest.approx(away / 2, rel=0.05)
    assert page.evaluate("workshop.lists.chosen") is None

    fingers.lie("touchStart", (x, y))
    fingers.lie("touchMove", (x + 5, y + 6))
    fingers.lie("touchEnd")
    until(page, "workshop.lists.chosen !== null")
    page.locator("#pad-1-depth").scroll_into_view_if_needed()
    slider, top = page.locator("#pad-1-depth").bounding_box(), page.evaluate("scrollY")
    y = slider["y"] + slider["height"] / 2
    fingers.lie("touchStart", (slider["x"] + 0.4 * slider["width"], y))
    fingers.lie("touchMove", (slider["x"] + 0.7 * slider["width"], y))
    fingers.lie("touchEnd")
    until(page, "workshop.now.can_undo && workshop.live.revision === workshop.now.revision")
    seen = page.locator("#figure").bounding_box()
    assert page.evaluate("scrollY") == top
    assert seen["y"] >= 0
    assert seen["y"] + seen["height"] <= slider["y"] or seen["x"] + seen["width"] <= slider["x"]


@pytest.mark.parametrize("tablet", TABLETS[:1], indirect=True)
def test_a_second_finger_lets_go_of_a_seam(tablet):
    """A finger that lies on a seam's point moves it only when it strays; when a second one comes, what the first held
    is back where it was, and a tap on a point changes nothing. What it shows meanwhile is said to be a forecast,
    whatever colours are asked for."""
    fingers, page = Fingers(tablet), tablet
    text = page.evaluate("workshop.now.text")
    page.evaluate("workshop.figure.turn = 0; workshop.figure.tilt = 0; workshop.figure.paint()")
    page.tap("[data-mode=move]")
    box = page.locator("#figure").bounding_box()
    at = page.evaluate("workshop.figure.onCanvas(workshop.own()[0].points[1])")
    x, y = box["x"] + at["x"], box["y"] + at["y"]
    fingers.lie("touchStart", (x, y))
    fingers.lie("touchMove", (x + 4, y + 5))
    fingers.lie("touchEnd")
    until(page, "workshop.pen.hold === null")
    fingers.lie("touchStart", (x + 8, y))
    until(page, "workshop.pen.hold && workshop.pen.hold.before")
    page.evaluate("workshop.colour('stretch')")
    told = page.get_attribute("#badge", "data-stage")
    fingers.lie("touchMove", (x + 8, y + 30))
    until(page, "workshop.pen.hold.moved")
    fingers.lie("touchStart", (x + 8, y + 30), (x + 90, y))
    until(page, "workshop.pen.hold === null")
    fingers.lie("touchEnd")

    assert told == "forecast"
    assert page.get_attribute("#badge", "data-stage") == "flats"
    assert page.evaluate("workshop.now.text") == text


def test_pointing_at_the_flat_shows_the_place_on_the_figure_and_back(page):
    """Two places on a flat lie as far apart on the figure, as on a tube they must; pointed at on the figure, each is
    shown on the flat where it was."""
    page.evaluate("workshop.figure.turn = 0; workshop.figure.tilt = 0; workshop.figure.paint()")
    page.click("[data-panel=front]")
    until(page, "workshop.lists.flat.panel !== null")
    box = page.locator("#sheet svg").bounding_box()
    wide = page.evaluate("workshop.lists.flat.frame.wide") / box["width"]  # mm a pixel
    seen = []
    for share in (0.42, 0.58):
        page.mouse.move(box["x"] + 0.47 * box["width"], box["y"] + share * box["height"])
        until(
            page, f"workshop.lists.spot && workshop.lists.spot !== {seen[-1] if seen else 'null'}"
        )
        page.wait_for_timeout(50)
        seen.append(page.evaluate("workshop.lists.spot"))
    away = sum((a - b) ** 2 for a, b in zip(*seen, strict=True)) ** 0.5
    assert away == pytest.approx(0.16 * box["height"] * wide, rel=0.03)
    assert [abs((p[0] ** 2 + p[1] ** 2) ** 0.5 - 150) < 1.5 for p in seen] == [True, True]

    at = page.evaluate("workshop.figure.onCanvas(workshop.lists.spot)")
    figure = page.locator("#figure").bounding_box()
    page.mouse.move(figure["x"] + at["x"], figure["y"] + at["y"])
    until(page, "document.querySelector('#sheet .dot').getAttribute('visibility') === 'visible'")
    dot = page.evaluate(
        "(() => { const r = document.querySelector('#sheet .dot').getBoundingClientRect(); "
        "return [r.x + r.width / 2, r.y + r.height / 2]; })()"
    )
    assert dot[0] == pytest.approx(box["x"] + 0.47 * box["width"], abs=4)
    assert dot[1] == pytest.approx(box["y"] + 0.58 * box["height"], abs=4)


def test_suggested_seams_come_into_the_suit_in_one_step(page, suit_file):
    """What a search for seams found stands in text, file and sliders, is told with what it saves, and one undo takes
    all of it out again."""
    before = text(page)
    page.click("#suggest")
    until(page, "workshop.now.seams.length === 1")
    until(
        page, "document.getElementById('told').textContent.includes('184 mm in all instead of 969')"
    )
    after = tomllib.loads(suit_file.read_text())

    assert after["seams"]["leg_turn"] == 6
    assert after["seam"][0]["name"] == "valley"
    assert page.input_value("#set-seams-leg_turn") == "6"
    page.keyboard.press("Control+z")
    until(page, "workshop.now.seams.length === 0")
    assert text(page) == before


PIXELS = """() => { const gl = workshop.figure.renderer.getContext(), wide = gl.drawingBufferWidth,
  high = gl.drawingBufferHeight, out = new Uint8Array(4 * wide * high);
  gl.readPixels(0, 0, wide, high, gl.RGBA, gl.UNSIGNED_BYTE, out); (window.pictures ||= []).push(out); }"""
DIFFER = "(k) => window.pictures[k].filter((v, i) => v !== window.pictures.at(-1)[i]).length"


def test_a_picture_painted_in_part_is_the_whole_picture(
    browser, suit_file, served, tube_run, tube_live
):
    """After a seam's point was dragged to and fro, what stands on the screen, of which only parts were painted, is
    what painting all of it gives, pixel for pixel; and it is not what stood there before."""
    points = [[-100, -111.8, 1150], [0, -150, 1150], [100, -111.8, 1150]]
    tube_live.own = [
        {
            "table": "seam",
            "number": 0,
            "name": "across",
            "closed": False,
            "round": False,
            "points": points,
        }
    ]
    with served(suit_file, tube_run, tube_live) as server:
        page = opened(browser, server.address, [])
        until(page, "workshop.live.stage === 'flats'")
        page.evaluate(
            "Object.assign(workshop.figure, {turn: 0, tilt: 0, away: 3 * workshop.figure.away}).paint()"
        )
        page.click("[data-mode=move]")
        at = page.evaluate("(p) => workshop.figure.onCanvas(p)", points[1])
        box = page.locator("#figure").bounding_box()
        x, y = box["x"] + at["x"], box["y"] + at["y"]
        page.mouse.move(x, y)
        page.mouse.down()
        until(page, "document.getElementById('badge').dataset.stage === 'forecast'")
        page.evaluate(
            "(() => { const r = workshop.figure.renderer, render = r.render.bind(r); window.parts = []; "
            "r.render = (...all) => { window.parts.push(r.getScissorTest()); render(...all); }; })()"
        )
        for k, down in enumerate((20, -20, 12), 1):
            page.mouse.move(x + 3, y + down)
            until(page, f"workshop.pen.drags.length === {k}")
            page.wait_for_timeout(100)
            page.evaluate(PIXELS)
        painted = page.evaluate("window.parts")
        page.evaluate("workshop.figure.paint()")
        page.evaluate(PIXELS)
        last, first = page.evaluate(DIFFER, 2), page.evaluate(DIFFER, 0)
        page.close()

    assert painted[-1] is True  # the last picture was painted in part
    assert last == 0
    assert first > 200


COLOUR = """([x, y]) => { const f = workshop.figure, gl = f.renderer.getContext(), out = new Uint8Array(4); f.paint();
  gl.readPixels(Math.round(x), gl.drawingBufferHeight - Math.round(y), 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out);
  return [...out].slice(0, 3); }"""


def test_the_sewn_suit_is_shown_with_its_distance_from_the_outline(page):
    """After a build the sewn cloth stands on the figure: its colours are those of the distance that the proof told,
    not of any light, the legend is in mm, a place pointed at says its own, and a later change is told."""
    assert page.is_disabled("[name=colours][value=sewn]")
    build(page)
    page.check("[name=colours][value=sewn]")
    until(page, "workshop.figure.sews()")
    page.evaluate("Object.assign(workshop.figure, {turn: 0, tilt: 0}).paint()")
    legend, badge = page.inner_text("#legend"), page.inner_text("#badge")
    box = page.locator("#figure").bounding_box()
    told, wanted = [], []
    for x, z in ((0, 1000.0), (110, 1000.0), (-60, 1250.0), (40, 1450.0)):
        at = page.evaluate("(p) => workshop.figure.onCanvas(p)", [x, -((150**2 - x**2) ** 0.5), z])
        away = -5.0 + 15.0 * (z - 900.0) / 600.0
        told.append(page.evaluate(COLOUR, [at["x"], at["y"]]))
        wanted.append([255 * c for c in SIGNED(0.5 + away / 20.0)[:3]])
        page.mouse.move(box["x"] + at["x"], box["y"] + at["y"])
        until(page, "document.getElementById('spot').textContent.includes('outline')")
        page.wait_for_timeout(100)
        words = page.inner_text("#spot")
        assert ("inside" in words) == (away < 0)
        assert float(words.split(": ")[1].split()[0]) == pytest.approx(abs(away), abs=1.01)

    assert "-10 mm" in legend
    assert "on average 4 mm, 95 % within 9 mm" in legend
    assert "sewn back" in badge
    for got, want in zip(told, wanted, strict=True):
        assert got == pytest.approx(want, abs=8)
    page.focus("#pad-1-depth")
    page.keyboard.press("ArrowRight")
    until(page, "document.getElementById('badge').textContent.includes('changed the suit since')")
