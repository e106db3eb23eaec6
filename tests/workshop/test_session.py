"""The session: text, undo without end, builds and their stopping, with no transport in front."""

from __future__ import annotations

import json
import threading
import time
import tomllib
from pathlib import Path

import pytest

from padlib.errors import InputError, SuitError
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import parse_suit
from padlib.workshop import work
from padlib.workshop.edit import add_entry, drop_entry, set_value
from padlib.workshop.session import Session
from padlib.workshop.work import SEAMS, SUGGESTED, Order, Stopped, work_apart

TEXT = DEMO_SUIT.read_text()


@pytest.fixture
def session(tmp_path):
    """A session on the demo suit, whose copies go to an empty folder."""
    out = Session(None, folder=tmp_path, run=lambda order: None)
    yield out
    out.close()


def test_undo_has_no_end(session):
    """Three hundred changes are undone one by one to the first text and redone to the last."""
    texts = [session.text]
    for k in range(300):
        session.change(f"{TEXT}# {k}\n")
        texts.append(session.text)
    for wanted in reversed(texts[:-1]):
        session.undo()
        assert session.text == wanted
    session.undo()
    for wanted in texts[1:]:
        session.redo()
        assert session.text == wanted


def test_one_stroke_is_one_step(session):
    """Every position of one pull on a slider is undone at once, the next pull apart."""
    for value in (61, 62, 63):
        session.set(("pad", 0, "depth"), value, stroke="a")
    session.set(("pad", 0, "depth"), 90, stroke="b")
    session.undo()

    assert session.suit.pads[0].parameters["depth"] == 63
    session.undo()
    assert session.text == TEXT


def test_a_new_change_ends_redo(session):
    """After undo and another change there is nothing to redo."""
    session.set(("pad", 0, "depth"), 61)
    session.undo()
    session.set(("pad", 0, "depth"), 62)
    session.redo()

    assert session.suit.pads[0].parameters["depth"] == 62


def test_the_demo_is_kept_as_a_copy_from_the_first_change_on(tmp_path):
    """Nothing is written until a change; then a new file, and never over one that is there."""
    (tmp_path / DEMO_SUIT.name).write_text("mine")
    session = Session(None, folder=tmp_path)
    before = sorted(p.name for p in tmp_path.iterdir())
    session.set(("pad", 0, "depth"), 61)
    path = session.path
    session.close()

    assert before == [DEMO_SUIT.name]
    assert "depth = 61" in path.read_text()
    assert path == tmp_path / f"{DEMO_SUIT.stem}-2.toml"
    assert (tmp_path / DEMO_SUIT.name).read_text() == "mine"
    assert DEMO_SUIT.read_text() == TEXT


def test_a_file_that_is_no_text_is_refused(tmp_path):
    """Bytes that are no text, and a file that is not there, are told in one sentence."""
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe\x00")
    for name in ("a.toml", "b.toml"):
        with pytest.raises(SuitError):
            Session(tmp_path / name)


def test_a_suit_with_a_mistake_opens_all_the_same(tmp_path):
    """A suit file that cannot be read as TOML is shown with its mistake marked, to be mended."""
    path = tmp_path / "a.toml"
    path.write_text("name = 'a'\nwidth = = 3\n")
    session = Session(path)
    problem = session.problem
    with pytest.raises(InputError, match="mend"):
        session.build()
    session.close()

    assert problem.line == 2


@pytest.mark.parametrize("file", ["/etc/hostname", "../x.ply", "a/../../x.ply"])
def test_no_scan_outside_of_the_folder_is_opened(session, file):
    """A scan that the page names must lie in the suit's folder."""
    session.set(("body", "file"), file)
    with pytest.raises(InputError, match="copy it into"):
        session.build()


def test_the_scan_that_the_file_named_is_opened(tmp_path):
    """A scan elsewhere is the maker's own choice when the file on disk said so at the start."""
    path = tmp_path / "a.toml"
    path.write_text('[body]\nfile = "/elsewhere/me.ply"\n')
    seen = []
    session = Session(path, run=lambda order: seen.append(order.folder))
    session.build()
    session.wait(10)
    session.close()

    assert seen == [tmp_path]


def test_stop_ends_a_build_and_keeps_nothing_of_it(tmp_path):
    """A stopped build says so, leaves no result, and another can begin."""
    begun = threading.Event()

    def endless(order):
        order.out.mkdir()
        while True:
            begun.set()
            order.tell("on and on", 0.5)
            time.sleep(0.01)

    session = Session(None, folder=tmp_path, run=endless)
    session.build()
    assert begun.wait(10)
    with pytest.raises(InputError, match="running"):
        session.build()
    session.stop()
    session.wait(10)
    progress = session.progress()
    session.close()

    assert (progress["building"]["state"], progress["result"]) == ("stopped", None)


def test_the_process_apart_tells_errors_in_one_sentence(tmp_path):
    """A scan that is not there comes back from the other process as padlib's own sentence."""
    text = '[body]\nfile = "gone.ply"\n'
    with pytest.raises(Exception, match="gone.ply") as told:
        work_apart(Order(text, "a.toml", tmp_path, tmp_path / "out"))

    assert "Traceback" not in str(told.value)
    assert not (tmp_path / "out").exists()


def test_the_process_apart_stops_when_told(tmp_path):
    """A stop is seen within a second, even before the other process said a word."""
    stopped = threading.Event()
    stopped.set()
    start = time.monotonic()
    with pytest.raises(Stopped):
        work_apart(Order(TEXT, "a.toml", tmp_path, tmp_path / "out", stopped=stopped))

    assert time.monotonic() - start < 1.0


@pytest.fixture
def branching(tmp_path, monkeypatch):
    """A session whose looks are up, and whose builds can only be branches of these."""
    if not work.BRANCHES:
        pytest.skip("no branches on this system")

    def apart(order):
        raise AssertionError("not a branch")

    monkeypatch.setattr(work, "work_apart", apart)
    monkeypatch.setattr(work, "BRANCH_S", 60.0)
    path = tmp_path / "giant.toml"
    path.write_text(TEXT)
    out = Session(path)
    out.live.begin()
    yield out
    out.close()


def test_a_branch_tells_errors_in_one_sentence(branching):
    """A scan that is not there comes back from a branch as padlib's own sentence, and looks go on."""
    branching.change('[body]\nfile = "gone.ply"\n')
    branching.build()
    branching.wait(60)

    assert branching.building.state == "failed"
    assert "gone.ply" in branching.building.words
    assert "Traceback" not in branching.building.words
    assert branching.live.ask({"branch": {}, "to": ""})  # what looks is there, whatever it is asked


def test_a_branch_that_is_stopped_is_gone_with_all_that_helps_it(branching):
    """A build in a branch tells how far it is; stopped, it and its helpers are ended, and another can begin."""
    looks = branching.live._process.pid
    branching.build()
    end = time.monotonic() + 60
    while branching.building.words in ("", "starting") and time.monotonic() < end:
        time.sleep(0.05)
    begun = children(looks)
    branching.stop()
    branching.wait(10)
    end = time.monotonic() + 5
    while any(map(alive, begun)) and time.monotonic() < end:
        time.sleep(0.01)

    assert len(begun) == 1
    assert branching.building.state == "stopped"
    assert not any(map(alive, begun))
    branching.build()
    branching.stop()
    branching.wait(10)
    assert branching.building.state == "stopped"


def test_a_build_is_made_apart_where_nothing_looks(tmp_path, monkeypatch):
    """Without a process to branch from the build begins in one of its own, at once."""
    seen = []
    monkeypatch.setattr(work, "work_apart", seen.append)
    order = Order(TEXT, "a.toml", tmp_path, tmp_path / "out")
    work.work_branched(order, lambda _: False)

    assert seen == [order]
    assert not list(tmp_path.iterdir())


def children(number):
    """The numbers of the processes that a process has begun and that are alive."""
    found = Path(f"/proc/{number}/task/{number}/children").read_text().split()
    return [int(n) for n in found if alive(int(n))]


def alive(number):
    """Whether a process is there and no more than a name on a list."""
    try:
        return Path(f"/proc/{number}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("pad", 0, "depth"), 71.5),
        (("pad", 1, "wrap"), 100),
        (("pad", 0, "side"), "left"),
        (("shell", "ease"), 0),
        (("seams", "closure"), "back"),
        (("proof", "sew"), False),
        (("body", "file"), 'a "b" \\ c.ply'),
        (("cloth", "moss", "width"), 1400),
    ],
)
def test_one_value_is_changed_and_all_else_stays(path, value):
    """Every line but the one changed or added is kept, comments too; the suit reads the new value."""
    new = set_value(TEXT, path, value)
    old_lines, lines = TEXT.splitlines(), new.splitlines()
    kept = [line for line in lines if line in old_lines]

    assert len(old_lines) - len(kept) <= 1
    assert len(lines) - len(old_lines) in (0, 1, 3)
    suit = parse_suit(new)
    name = path[-1]
    if path[0] == "pad":
        pad = suit.pads[path[1]]
        got = pad.side if name == "side" else pad.parameters[name]
    elif path[0] == "cloth":
        got = suit.cloths[0].width
    else:
        got = getattr(suit, path[0])[name]
    assert got == value


def test_taking_a_value_out_undoes_putting_it_in():
    """A parameter that was added and then left to padlib leaves the text as it was."""
    path = ("pad", 0, "wrap")

    assert set_value(set_value(TEXT, path, 100), path, None) == TEXT


@pytest.mark.parametrize(
    "text",
    [
        'pad = [{kind = "thigh", depth = 60}]\n',
        '[[pad]]\nkind = "thigh"\ndepth = """\n60"""\n',
        "[[pad]\n",
    ],
)
def test_a_form_that_cannot_be_changed_safely_is_refused(text):
    """Inline tables, values over many lines and broken text are left to the maker."""
    with pytest.raises(SuitError):
        set_value(text, ("pad", 0, "depth"), 70)


def test_entries_are_added_and_taken_out_again():
    """A pad, a seam and a dart added one after the other are read; taken out, the text is as before."""
    outline = [{"near": "hip_left", "move": [0.0, -60.0, 60.5]}, "gluteal_left", [1, 2.5, 3]]
    with_pad = add_entry(
        TEXT, "pad", {"name": "a", "kind": "drawn", "outline": outline, "depth": 9}
    )
    with_seam = add_entry(with_pad, "seam", {"name": "s", "through": ["waist_front", [1, 2, 3]]})
    moved = set_value(with_seam, ("seam", 0, "through"), [[4, 5, 6], "waist_back"])
    suit = parse_suit(moved)

    assert suit.pads[2].parameters["outline"][0].move == (0.0, -60.0, 60.5)
    assert suit.drawn[0].through == ((4.0, 5.0, 6.0), "waist_back")
    assert tomllib.loads(drop_entry(drop_entry(moved, "seam", 0), "pad", 2)) == tomllib.loads(TEXT)


@pytest.mark.parametrize("number", [2, 9])
def test_what_is_not_there_is_not_taken_out(number):
    """An entry beyond the last is refused, and so is a table that is none of many."""
    with pytest.raises(SuitError, match="no \\[\\[pad"):
        drop_entry(TEXT, "pad", number)


def test_seams_found_for_an_older_text_are_not_put_into_a_newer_one(tmp_path):
    """The suit is changed while seams are sought: it stays as it was changed, and the maker is told."""
    sessions = []

    def run(order):
        assert order.task == SEAMS
        order.out.mkdir(parents=True)
        told = {"moves": {"leg_turn": 6}, "seams": []}
        told |= {"usual": {"dart_mm": 969}, "suggested": {"dart_mm": 184}}
        (order.out / SUGGESTED).write_text(json.dumps(told))
        sessions[0].set(("pad", 0, "depth"), 61)

    session = Session(None, folder=tmp_path, run=run)
    sessions.append(session)
    session.build(SEAMS)
    session.wait()
    session.close()

    assert session.suit.pads[0].parameters["depth"] == 61
    assert session.suit.seams["leg_turn"] == 0
    assert "changed meanwhile" in session.building.words
