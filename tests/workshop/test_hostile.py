"""Messages that no page of ours sends, and kills at any moment: the server lives, the file opens.

A small fixed part runs always; the whole by `pytest -m slow tests/workshop/test_hostile.py -s`.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import socket
import time

import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from padlib.suit.file import parse_suit
from padlib.workshop.frames import message, parts
from padlib.workshop.session import Session

ASKS = (
    "text",
    "value",
    "look",
    "way",
    "pad",
    "seam",
    "mark",
    "pile",
    "remark",
    "move",
    "drop",
    "dart",
    "hold",
    "drag",
    "steer",
    "pin",
    "file",
)
ODD = (
    *(None, True, -1, 2**70, 1e308, float("nan"), "", "\0", "../../etc/passwd", "x" * 70_000),
    *([], [[]], {}, {"a": {}}, [1] * 500, [["pad", 0]], "__class__", [[0, 1, 0, 0]] * 300),
    *([[10**9, 1, 0, 0]], [[0, float("inf"), 0, 0]], ["pad", 0, "depth"], {"near": 1}),
)
KEYS = (
    *("id", "ask", "text", "stroke", "revision", "path", "value", "known", "wait", "shape"),
    *("points", "closed", "name", "side", "seam", "point", "table", "number", "panel", "state"),
    *("style", "cloth", "colour", "round", "line", "numbers", "key", "on"),
)


def bad_message(chance):
    """Bytes for the socket: noise, broken frames, or a known question with odd contents."""
    kind = chance.randrange(4)
    if kind == 0:
        return chance.randbytes(chance.randrange(200))
    if kind == 1:
        return chance.randrange(2**32).to_bytes(4, "little") + chance.randbytes(40)
    given = {k: chance.choice(ODD) for k in chance.sample(KEYS, chance.randrange(1, 9))}
    given |= {"id": chance.choice((1, 1, 1, *ODD)), "ask": chance.choice((*ASKS, *ASKS, *ODD))}
    if "wait" in given and given["ask"] == "look":
        given["wait"] = 0
    data = message(given)
    if kind == 2:
        at = chance.randrange(len(data))
        data = data[:at] + chance.randbytes(1) + data[at + 1 :]
    return data


def bad_request(chance, port, cookie):
    """Bytes for the port: nonsense, foreign hosts and origins, odd paths and lengths."""
    line = chance.choice(
        (
            *("GET / HTTP/1.1", "GET /?token=x HTTP/1.1", "POST /scan?name=a.ply HTTP/1.1"),
            *("GET /result/../../etc/passwd HTTP/1.1", "GET /%00 HTTP/1.1", "BREW / HTTP/1.1"),
            *("GET /socket HTTP/1.1", "POST /undo HTTP/1.1", "GET " + "/a" * 40_000 + " HTTP/1.1"),
            *("GET http://padlib.example/ HTTP/1.1", "\0\0\0", "OPTIONS * HTTP/1.1"),
        )
    )
    heads = [
        f"Host: {chance.choice((f'127.0.0.1:{port}', 'padlib.example', '', '[::1]'))}",
        f"Origin: {chance.choice(('http://padlib.example', 'null', 'file://', ''))}",
        f"Cookie: {chance.choice(('', 'a=b', cookie[:-2], 'x' * 9000))}",
    ]
    if chance.random() < 0.4:
        heads.append(
            chance.choice(("Content-Length: -5", "Content-Length: 99999999999", "A" * 70_000))
        )
    if chance.random() < 0.3:
        heads += ["Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13"]
    chance.shuffle(heads)
    return "\r\n".join([line, *heads, "", ""]).encode("latin-1")


def attack(server, count, seed):
    """Send so many bad messages; how many were refused with a sentence, or by shutting the line."""
    chance = random.Random(seed)
    host = f"127.0.0.1:{server.port}"
    cookie = f"padlib_{server.port}={server.door.cookie}"
    heads = {"Cookie": cookie, "Origin": f"http://{host}"}
    refused, wire = 0, None
    for _ in range(count):
        if chance.random() < 0.5:
            with socket.create_connection(("127.0.0.1", server.port), timeout=10) as line:
                got = b""
                with contextlib.suppress(OSError):  # the server may shut the line first
                    line.sendall(bad_request(chance, server.port, cookie))
                    line.shutdown(socket.SHUT_WR)
                    while part := line.recv(65536):
                        got += part
            refused += not got or got.split(b" ", 2)[1][:1] in (b"4", b"5")
            continue
        if wire is None:
            wire = connect(f"ws://{host}/socket", additional_headers=heads, proxy=None)
        try:
            wire.send(bad_message(chance))
            text, _ = parts(wire.recv(timeout=20))
            harmless = text.get("value", 0) is None  # no news, no such file
            refused += "error" in text or harmless
        except ConnectionClosed:
            refused, wire = refused + 1, None
    if wire is not None:
        wire.close()
    return refused


def check_hostile(server, suit_file, count):
    """All are refused, the text is as it was, and the next honest question is answered."""
    before = suit_file.read_text()
    assert attack(server, count, seed=6) == count
    heads = {
        "Cookie": f"padlib_{server.port}={server.door.cookie}",
        "Origin": f"http://127.0.0.1:{server.port}",
    }
    url = f"ws://127.0.0.1:{server.port}/socket"
    with connect(url, additional_headers=heads, proxy=None) as wire:
        wire.send(message({"id": 1, "ask": "state"}))
        text, _ = parts(wire.recv(timeout=10))

    assert text["value"]["text"] == before
    assert suit_file.read_text() == before


def test_bad_messages_are_refused(suit_file, served, tube_run, tube_live):
    """100 malformed or hostile messages, the server alive, nothing changed."""
    with served(suit_file, tube_run, tube_live) as server:
        check_hostile(server, suit_file, 100)


@pytest.mark.slow
def test_a_thousand_bad_messages_are_refused(suit_file, served, tube_run, tube_live):
    """1,000 of them."""
    with served(suit_file, tube_run, tube_live) as server:
        check_hostile(server, suit_file, 1000)


def edit(suit_file, pipe):
    """Strokes without end, each told when it is done."""
    session = Session(suit_file)
    for k in range(1, 100_000):
        session.set(("pad", 0, "depth"), 20 + k % 200 + k / 1e6)
        os.write(pipe, f"{k}\n".encode())


def killed(suit_file, seconds):
    """Edit in a process that is killed after its first stroke and so many seconds more.

    Returns the last stroke that was told to be done, and the one in the file.
    """
    out, into = os.pipe()
    child = os.fork()  # everything is imported already: a new interpreter would take seconds
    if child == 0:
        try:
            os.close(out)
            edit(suit_file, into)
        finally:
            os._exit(1)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        first = pipe.readline()
        time.sleep(seconds)  # the random moment itself
        os.kill(child, signal.SIGKILL)
        told = [int(n) for n in (first + pipe.read()).split(b"\n")[:-1]]
    _, status = os.waitpid(child, 0)
    assert os.WTERMSIG(status) == signal.SIGKILL
    session = Session(suit_file)
    session.close()
    depth = session.suit.pads[0].parameters["depth"]
    return told[-1], round((depth - int(depth)) * 1e6)


def check_kills(suit_file, count):
    """After every kill the file opens as a suit, and holds the last stroke told or the next one."""
    chance = random.Random(6)
    text = suit_file.read_text()
    for _ in range(count):
        suit_file.write_text(text)
        told, kept = killed(suit_file, chance.uniform(0.0, 0.25))

        assert kept in (told, told + 1)
        assert parse_suit(suit_file.read_text(), folder=suit_file.parent).pads
        rest = [p.name for p in suit_file.parent.iterdir() if not p.name.endswith(".part")]
        assert rest == ["giant.toml"]


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX")
def test_a_kill_loses_at_most_the_last_stroke(suit_file):
    """Ten kills at random moments while editing."""
    check_kills(suit_file, 10)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX")
def test_five_hundred_kills_lose_at_most_the_last_stroke(suit_file):
    """500 of them."""
    check_kills(suit_file, 500)
