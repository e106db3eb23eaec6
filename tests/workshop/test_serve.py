"""The workshop over plain HTTP: who is let in, what is refused, and what the page's requests do."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import socket
from urllib.parse import quote, urlsplit

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from padlib.errors import InputError, PadlibError
from padlib.workshop.frames import message, parts
from padlib.workshop.serve import GUIDE_POLICY, MOST_MESSAGE, PAGES, WEB, Workshop
from padlib.workshop.session import Session
from padlib.workshop.upload import MOST_SCAN, plain_name


def small_run(order):
    """A build that takes no time: a report, a page of pattern, a lay, a scene, and what is not handed out."""
    order.tell("pretending", 0.5)
    (order.out / "maps").mkdir(parents=True)
    report = {"suit": "giant", "panels": [], "text": order.text}
    (order.out / "report.json").write_text(json.dumps(report))
    for name in ("pattern-a4.pdf", "lay-moss.svg", "maps/front.png", "scene.bin", "guide.html"):
        (order.out / name).write_bytes(name.encode())
    (order.out / "secret.txt").write_text("not listed")


class Caller:
    """A browser of few words: one request a call, with or without the cookie."""

    def __init__(self, server):
        self.server = server
        self.host = f"127.0.0.1:{server.port}"
        self.cookie = ""

    def ask(self, method, path, body=None, **headers):
        """Status, headers and body of the answer; a header of None is left out."""
        told = {"Host": self.host, "Cookie": self.cookie, "Origin": f"http://{self.host}"}
        if method == "GET":
            told.pop("Origin")
        if body is not None:
            told["Content-Type"] = "application/json"
        told |= {k.replace("_", "-"): v for k, v in headers.items()}
        line = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=10)
        with contextlib.closing(line):
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            data = b"" if body is None else json.dumps(body).encode()
            if method == "POST":
                told.setdefault("Content-Length", str(len(data)))
            for name, value in told.items():
                if value is not None:
                    line.putheader(name, value)
            line.endheaders(data if method == "POST" else None)
            answer = line.getresponse()
            return answer.status, answer.headers, answer.read()

    def socket(self, **headers):
        """An open socket with the cookie and our own origin, or as the headers say."""
        told = {"Cookie": self.cookie, "Origin": f"http://{self.host}"} | headers
        return connect(
            f"ws://{self.host}/socket",
            additional_headers={k: v for k, v in told.items() if v is not None},
            proxy=None,
            open_timeout=10,
        )

    def do(self, ask, given=None):
        """What a question over the socket is answered with: kind of refusal or "", and value or error."""
        with self.socket() as wire:
            wire.send(message({**(given or {}), "id": 1, "ask": ask}))
            text, _ = parts(wire.recv(timeout=10))
        if "error" in text:
            return text["kind"], text["error"]
        return "", text["value"]

    def get(self, ask):
        """The value of a question that must be answered."""
        refused, value = self.do(ask)
        assert refused == "", value
        return value

    def enter(self):
        """Change the address's token for the cookie; the headers of the answer."""
        parts = urlsplit(self.server.address)
        _, headers, _ = self.ask("GET", f"/?{parts.query}")
        self.cookie = headers["Set-Cookie"].partition(";")[0]
        return headers


@pytest.fixture
def stranger(suit_file, served):
    """A caller who has not shown the token."""
    with served(suit_file, small_run) as server:
        yield Caller(server)


@pytest.fixture
def maker(stranger):
    """A caller who came in by the address."""
    stranger.enter()
    return stranger


@pytest.mark.parametrize("path", ["/", "/page.js", "/page.css", "/nothing", "/result/x", "/socket"])
def test_without_the_cookie_nothing_is_shown(stranger, path):
    """Every page is refused to a caller who never showed the token."""
    assert stranger.ask("GET", path)[0] == 403


def test_a_wrong_token_gets_no_cookie(stranger):
    """Another token is refused and sets nothing."""
    status, headers, _ = stranger.ask("GET", "/?token=" + "a" * 43)

    assert (status, headers["Set-Cookie"]) == (403, None)


def test_the_cookie_is_strict_and_closed_to_scripts(stranger):
    """The token is exchanged for an HttpOnly, SameSite=Strict cookie whose value is not the token."""
    cookie = stranger.enter()["Set-Cookie"]

    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert stranger.server.door.token not in cookie


def test_a_cookie_of_another_value_is_refused(maker):
    """One changed character in the cookie shuts the door."""
    maker.cookie = maker.cookie[:-1] + ("A" if maker.cookie[-1] != "A" else "B")

    assert maker.ask("GET", "/")[0] == 403


@pytest.mark.parametrize("host", ["padlib.example", "127.0.0.1", "127.0.0.1:1", "", None])
def test_a_foreign_host_is_refused_even_with_the_cookie(maker, host):
    """A name that was pointed at this machine from outside (DNS rebinding) gets nothing."""
    wanted = 400 if host is None else 421  # without a Host it is no request of HTTP/1.1

    assert maker.ask("GET", "/", Host=host)[0] == wanted


@pytest.mark.parametrize("origin", ["http://padlib.example", "null", "https://127.0.0.1", None])
def test_a_foreign_origin_changes_nothing(maker, origin):
    """A change is taken from the page's own origin only, and needs one."""
    status, _, _ = maker.ask("POST", "/scan?name=a.ply", {}, Origin=origin)
    with pytest.raises(InvalidStatus) as refused, maker.socket(Origin=origin):
        pass

    assert (status, refused.value.response.status_code) == (403, 403)


def test_the_socket_is_shut_to_strangers(stranger):
    """Without the cookie, or with a foreign host, no socket is opened."""
    with pytest.raises(InvalidStatus) as refused, stranger.socket():
        pass
    stranger.enter()
    told = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec_WebSocket_Version": "13"}
    told |= {"Sec_WebSocket_Key": "MDEyMzQ1Njc4OWFiY2RlZg==", "Origin": f"http://{stranger.host}"}
    foreign, _, _ = stranger.ask("GET", "/socket", Host="padlib.example", **told)
    own, _, _ = stranger.ask("GET", "/socket", **told)

    assert (refused.value.response.status_code, foreign, own) == (403, 403, 101)


def test_a_foreign_origin_sees_nothing(maker):
    """A request for something to show that names another origin is refused too."""
    assert maker.ask("GET", "/", Origin="http://padlib.example")[0] == 403


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_carries_a_strict_policy(maker, path):
    """No script but our own files runs, nothing is loaded from outside, no frame shows the page."""
    status, headers, _ = maker.ask("GET", path)
    policy = headers["Content-Security-Policy"]

    assert status == 200
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"


def test_the_page_loads_nothing_from_outside_and_holds_no_inline_script():
    """No address of another machine, no inline script, handler or style in the page's sources."""
    web = WEB
    page = (web / "index.html").read_text()
    namespace = 'xmlns="http:' + '//www.w3.org/2000/svg"'  # a name, not an address that is fetched
    every = "".join(p.read_text() for p in web.iterdir()).replace(namespace, "")
    # names of the languages that the scripts draw in, which nothing fetches
    names = {"http:" + f"//www.w3.org/{n}" for n in ("1999/xhtml", "2000/svg")}
    addresses = set(re.findall(r"""[a-z]+://[^"'` ,;)<>]+""", every))

    assert addresses <= names
    assert page.count("<script") == page.count('<script src="/')
    assert " style=" not in page
    assert "onclick=" not in page
    front = "".join(p.read_text() for p in (web.parent / "front").glob("*.js"))
    assert "innerHTML" not in front
    assert "eval(" not in front


def test_too_long_a_scan_is_refused_unread(maker):
    """A length over the cap is refused before a byte of the body is read."""
    status, _, _ = maker.ask("POST", "/scan?name=a.ply", Content_Length=str(MOST_SCAN + 1))

    assert status == 413


def test_too_long_a_message_is_refused(maker):
    """A message over the cap shuts the socket; the next one is served."""
    with maker.socket() as wire:
        with contextlib.suppress(ConnectionClosed):  # it may be shut before all is sent
            wire.send(b" " * (MOST_MESSAGE + 1))
        with pytest.raises(ConnectionClosed):
            wire.recv(timeout=10)

    assert maker.get("state")["can_undo"] is False


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Content_Length": "-1"}, 400),
        ({"Content_Length": "many"}, 400),
        ({"Content_Length": "9" * 40}, 400),
        ({"Content_Length": "9" * 15}, 413),
        ({"Transfer_Encoding": "chunked", "Content_Length": None}, 411),
    ],
)
def test_a_scan_of_the_wrong_form_is_refused(maker, headers, status):
    """Its length must be said, and be right."""
    assert maker.ask("POST", "/scan?name=a.ply", **headers)[0] == status
    assert maker.get("state")["can_undo"] is False


@pytest.mark.parametrize(
    ("ask", "given"),
    [
        ("text", {}),
        ("text", {"text": 3, "revision": 0}),
        ("text", {"text": "", "revision": True}),
        ("nothing", {}),
        ("__init__", {}),
        ("value", {"path": "pad", "value": 1}),
        ("value", {"path": [], "value": 1}),
        ("value", {"path": ["pad", True, "depth"], "value": 1}),
        ("value", {"path": ["pad", 0, "depth"], "value": [1]}),
        ("value", {"path": ["pad", 0, "depth"], "value": 1, "stroke": 1}),
        ("look", {"known": -1}),
        ("look", {"known": 0, "wait": 1e9}),
        ("drop", {"table": "body", "number": 0}),
        ("dart", {"panel": 3, "number": 0}),
    ],
)
def test_a_question_of_the_wrong_content_changes_nothing(maker, ask, given):
    """What is not what the page sends is refused in one sentence, and the text stays."""
    before = maker.get("state")["text"]
    refused, told = maker.do(ask, given)

    assert refused == "malformed"
    assert told.endswith(".")
    assert maker.get("state")["text"] == before


@pytest.mark.parametrize(
    "data", [b"", b"\0", b"\xff" * 4, b"\4\0\0\0[1] ", b"\4\0\0\0\xff\xff\xff\xff", b"{}" * 9]
)
def test_a_message_that_is_none_is_answered_with_a_sentence(maker, data):
    """Bytes that are no message get an error, and the socket stays open."""
    with maker.socket() as wire:
        wire.send(data)
        refused, _ = parts(wire.recv(timeout=10))
        wire.send(message({"id": 7, "ask": "progress"}))
        answered, _ = parts(wire.recv(timeout=10))

    assert refused["kind"] == "malformed"
    assert answered["id"] == 7


def test_a_scan_is_taken_in_under_a_plain_name(maker, suit_file):
    """A mesh handed over lies beside the suit file, whatever its name said, and over no other file."""
    (suit_file.parent / "me.off").write_text("mine")
    mesh = b"OFF\n4 4 0\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n3 0 2 1\n3 0 1 3\n3 1 2 3\n3 0 3 2\n"
    status, _, data = _scan(maker, "..%2F..%2Fme.off", mesh)

    assert (status, json.loads(data)["name"]) == (200, "me-2.off")
    assert (suit_file.parent / "me-2.off").read_bytes() == mesh
    assert (suit_file.parent / "me.off").read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "wanted"),
    [("me.off", "me.off"), ("../../a\0b.OFF", "a-b.off"), ("C:\\x\\..ply.ply", "ply.ply")],
)
def test_a_name_is_nothing_but_a_name(name, wanted):
    """Folders, marks and hidden beginnings fall away from what the browser calls a scan."""
    assert plain_name(name) == wanted


@pytest.mark.parametrize(("name", "data"), [("a.off", b"no mesh"), ("a.sh", b"x"), ("", b"x")])
def test_what_is_no_scan_is_refused(maker, suit_file, name, data):
    """A file that cannot be read as a mesh leaves nothing behind but a sentence."""
    status, _, told = _scan(maker, name, data)

    assert status == 422
    assert "Traceback" not in json.loads(told)["error"]
    assert sorted(p.name for p in suit_file.parent.iterdir()) == ["giant.toml"]


def _scan(maker, name, data):
    """Hand over a scan."""
    line = http.client.HTTPConnection("127.0.0.1", maker.server.port, timeout=60)
    told = {"Cookie": maker.cookie, "Origin": f"http://{maker.host}"}
    with contextlib.closing(line):
        line.request("POST", f"/scan?name={name}", body=data, headers=told)
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read()


@pytest.mark.parametrize(
    "path",
    [
        "/nothing",
        "/result/../../etc/passwd",
        "/result/%2e%2e%2fgiant.toml",
        "/result//etc/passwd",
        "/result/secret.txt",
        "/result/maps/front.png",
        "/result/%00",
        "/page.js/..",
        "/../session.py",
    ],
)
def test_no_path_of_the_browser_is_opened(maker, path):
    """Only names that the session listed are found, whatever lies in the folder."""
    maker.do("build", {})
    maker.server.session.wait(10)

    assert maker.ask("GET", path)[0] == 404


@pytest.mark.parametrize(
    "line", [b"\x00\xff\n\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"BREW / HTTP/1.1\r\n\r\n"]
)
def test_nonsense_on_the_line_leaves_the_server_alive(maker, line):
    """Bytes that are no request are refused and the next caller is served."""
    with socket.create_connection(("127.0.0.1", maker.server.port), timeout=5) as s:
        s.sendall(line)
        s.shutdown(socket.SHUT_WR)
        with contextlib.suppress(ConnectionResetError):
            while s.recv(65536):
                pass

    assert maker.get("state")["revision"] == 0


def test_other_methods_are_not_known(maker):
    """PUT, DELETE, OPTIONS and TRACE are answered with 501."""
    assert {maker.ask(m, "/")[0] for m in ("PUT", "DELETE", "OPTIONS", "TRACE")} == {501}


def test_the_state_is_the_file(maker, suit_file):
    """The page is told the suit file's own text, its place, and its pads with their limits."""
    state = maker.get("state")

    assert state["text"] == suit_file.read_text()
    assert (state["path"], state["saved"], state["problem"]) == (str(suit_file), True, None)
    depth = state["pads"][0]["parameters"][0]
    assert (depth["name"], depth["value"], depth["low"] < 60 < depth["high"]) == ("depth", 60, True)


def test_a_mistake_is_told_with_its_line(maker):
    """A misspelt key gives one sentence and the number of its line."""
    text = maker.get("state")["text"].replace("depth = 60", "depht = 60")
    _, state = maker.do("text", {"text": text, "revision": 0})
    line = 1 + [part.startswith("depht") for part in text.splitlines()].index(True)

    assert state["problem"]["line"] == line
    assert "'depth'" in state["problem"]["words"]


def test_a_stale_change_is_refused(maker):
    """A window that did not see the newest text cannot write over it."""
    maker.do("value", {"path": ["pad", 0, "depth"], "value": 70})
    refused, told = maker.do("text", {"text": "name = 'x'\n", "revision": 0})

    assert refused == "changed"
    assert "another window" in told
    assert "depth = 70" in maker.get("state")["text"]


def test_undo_and_redo_over_the_wire(maker):
    """Two changes, two undos and two redos end where they began, text for text."""
    first = maker.get("state")["text"]
    maker.do("value", {"path": ["pad", 0, "depth"], "value": 70})
    _, last = maker.do("value", {"path": ["pad", 1, "depth"], "value": 40})
    maker.do("undo", {})
    _, back = maker.do("undo", {})
    maker.do("redo", {})
    _, again = maker.do("redo", {})

    assert (back["text"], back["can_undo"], back["saved"]) == (first, False, True)
    assert (again["text"], again["can_redo"], again["saved"]) == (last["text"], False, True)


def test_every_change_is_kept_by_rename(maker, suit_file):
    """A change puts a new file in the old one's place: an open reader keeps the old text whole."""
    before = suit_file.stat().st_ino
    with suit_file.open() as reader:
        refused, state = maker.do("value", {"path": ["pad", 0, "depth"], "value": 70})
        assert "depth = 60" in reader.read()

    assert (refused, state["saved"]) == ("", True)
    assert suit_file.stat().st_ino != before
    assert suit_file.read_text() == state["text"]
    assert sorted(p.name for p in suit_file.parent.iterdir()) == ["giant.toml"]


def test_a_file_changed_by_others_is_not_written_over(maker, suit_file):
    """Keeping stops where another program wrote the file, until the maker says so."""
    suit_file.write_text("name = 'other'\n")
    _, state = maker.do("value", {"path": ["pad", 0, "depth"], "value": 70})
    refused, told = maker.do("save", {})
    kept = suit_file.read_text()
    allowed, after = maker.do("save", {"over": True})

    assert (refused, kept, allowed) == ("refused", "name = 'other'\n", "")
    assert "another program" in told
    assert (state["unkept"], after["unkept"]) == (told, "")
    assert "depth = 70" in suit_file.read_text()


def test_a_build_is_served_by_fixed_names(maker):
    """After a build its files come by name, with the right kind, and others as downloads."""
    _, started = maker.do("build", {})
    maker.server.session.wait(10)
    result = maker.get("result")
    status, headers, data = maker.ask("GET", "/result/pattern-a4.pdf?n=1")

    assert started["building"]["state"] in ("running", "done")
    assert maker.get("progress")["building"]["state"] == "done"
    assert result["report"]["text"] == maker.get("state")["text"]
    assert [n for n, _ in result["downloads"]] == [
        "guide.html",
        "pattern-a4.pdf",
        "report.json",
        "lay-moss.svg",
    ]
    assert (status, headers["Content-Type"], data) == (200, "application/pdf", b"pattern-a4.pdf")
    assert headers["Content-Disposition"] == "attachment"


def test_the_guide_is_shown_without_any_power(maker):
    """The guide carries the maker's words, so it is sandboxed and runs no script."""
    maker.do("build", {})
    maker.server.session.wait(10)
    _, headers, _ = maker.ask("GET", "/result/guide.html")

    assert headers["Content-Security-Policy"] == GUIDE_POLICY


def test_a_failed_build_keeps_the_earlier_result(suit_file, served):
    """A build that fails says why in one sentence; the result before it is still there."""

    def failing(order):
        if "depth = 61" in order.text:
            raise PadlibError("the thigh pad swallowed the knee; make it shorter.")
        small_run(order)

    with served(suit_file, failing) as server:
        caller = Caller(server)
        caller.enter()
        caller.do("build", {})
        caller.server.session.wait(10)
        caller.do("value", {"path": ["pad", 0, "depth"], "value": 61})
        caller.do("build", {})
        caller.server.session.wait(10)
        progress = caller.get("progress")
        shown = caller.get("result")

    assert progress["building"]["state"] == "failed"
    assert progress["building"]["words"] == "the thigh pad swallowed the knee; make it shorter."
    assert (progress["result"], progress["stale"], shown["number"]) == (1, True, 1)


def test_two_workshops_stand_side_by_side(suit_file, served):
    """The cookie of one run opens no other: names carry the port, values are their own."""
    with served(suit_file, small_run) as first, served(suit_file, small_run) as second:
        one, two = Caller(first), Caller(second)
        one.enter()
        two.enter()
        two.cookie, own = one.cookie, two.cookie
        crossed = two.ask("GET", "/")[0]
        two.cookie = f"{one.cookie}; {own}"
        both = two.ask("GET", "/")[0]

    assert (crossed, both) == (403, 200)


def test_it_listens_on_this_machine_only(maker):
    """The socket is bound to the loopback address."""
    assert maker.server.socket.getsockname()[0] == "127.0.0.1"


def test_a_taken_port_is_told(maker, suit_file):
    """A port in use is one sentence that says what to do."""
    session = Session(suit_file)
    with pytest.raises(InputError, match="choose another with --port"):
        Workshop(session, maker.server.port)
    session.close()


def test_names_with_blanks_and_marks_are_found(suit_file, served):
    """A lay of a cloth with an odd name comes by its quoted name."""

    def odd(order):
        small_run(order)
        (order.out / "lay-fur & foam.svg").write_bytes(b"svg")

    with served(suit_file, odd) as server:
        caller = Caller(server)
        caller.enter()
        caller.do("build", {})
        caller.server.session.wait(10)
        name = quote("lay-fur & foam.svg")

        assert caller.ask("GET", f"/result/{name}")[2] == b"svg"
