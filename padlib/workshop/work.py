"""A build in a process of its own, so that the page stays quick and a build can be stopped at once.

One JSON object a line comes back: {"words", "share"} as the work goes on, and at the end {"done": true} or {"error":
sentence}. Where the system can branch a process, a build begins as a branch of the one that looks at the suit, which
knows padlib and the body already; else the suit's text goes to a fresh process's stdin.
"""

from __future__ import annotations

import gc
import json
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import IO, Any

from threadpoolctl import threadpool_limits

import padlib
from padlib.body.body import Body
from padlib.errors import PadlibError
from padlib.output.png import map_scale
from padlib.output.whole import write_whole
from padlib.padding.dressed import Dressed
from padlib.progress import Tell, quiet
from padlib.suit.built import Clock, run
from padlib.suit.file import Suit, parse_suit
from padlib.suit.preview import Preview, standing
from padlib.suit.steps import suit_body, suit_shell
from padlib.suit.suggestion import suggest
from padlib.suit.suggestion_told import values
from padlib.suit.write import write_built
from padlib.workshop.scene import scene_bytes
from padlib.workshop.sewn import SEWN, sewn_bytes

SCENE = "scene.bin"
BUILD, SEAMS = "build", "seams"
SUGGESTED = "suggested.json"
GLANCE_S = 0.2  # how long a stop may go unseen
BRANCH_S = 3.0  # how long a branch is waited for: what looks may be deep in a step
# elsewhere a branch may not call libraries that its origin called
BRANCHES = sys.platform == "linux"
STOPPED = "The build was stopped; the earlier result is still here."

Told = queue.Queue[dict[str, Any] | None]


class Stopped(PadlibError):
    """Raised when the maker stopped a build."""


@dataclass(frozen=True)
class Order:
    """One piece of long work that was asked for: the suit's text, its file's name and folder, where results go.

    tell: told of progress; stopped: set when the maker wants no more of it; task: `BUILD` or `SEAMS`, where seams had
    best lie.
    """

    text: str
    name: str
    folder: Path
    out: Path
    tell: Tell = quiet
    stopped: threading.Event = field(default_factory=threading.Event)
    task: str = "build"


def work(order: Order, last: Preview | None = None) -> None:
    """Build a suit here and now, and write its results and its scene; or seek its seams. Raises PadlibError.

    last: a look, whose body is taken where it is this suit's.
    """
    suit = parse_suit(order.text, name=order.name, folder=order.folder)
    body, dressed = standing(suit, last)
    # small matrices: threads of the linear algebra library cost more than they give
    with threadpool_limits(1):
        if order.task == SEAMS:
            _seek(order, suit, body, dressed)
        else:
            _build(order, suit, body, dressed)


def _seek(order: Order, suit: Suit, body: Body | None, dressed: Dressed | None) -> None:
    body = suit_body(suit) if body is None else body
    shell = suit_shell(suit, body, dressed)
    found = suggest(suit, body, shell, workers=_workers(), tell=order.tell)
    order.out.mkdir(parents=True, exist_ok=True)
    write_whole(order.out / SUGGESTED, json.dumps(values(found)).encode())


def _build(order: Order, suit: Suit, body: Body | None, dressed: Dressed | None) -> None:
    clock, workers = Clock(), _workers()
    own = {"workers": workers, "tell": order.tell, "clock": clock}
    built = run(suit, body=body, dressed=dressed, **own)
    # the page draws panels and maps itself
    write_built(built, order.out, panels=False, **own)
    limit = suit.darts["limit"]
    scale = map_scale((*built.flats, *built.pillow_flats), limit)
    data = scene_bytes(built.flats, built.pillow_flats, scale=scale, limit=limit)
    write_whole(order.out / SCENE, data)
    if built.proof is not None:
        write_whole(order.out / SEWN, sewn_bytes(built.proof))


def _workers() -> int:
    return min(4, os.cpu_count() or 1)


def work_apart(order: Order) -> None:
    """Build a suit in a process of its own. Raises PadlibError; Stopped when the maker stopped it."""
    command = [sys.executable, "-P", "-m", __name__, order.name, str(order.folder), str(order.out)]
    command.append(order.task)
    process = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=surroundings(),
        start_new_session=True,
    )
    told: Told = queue.Queue()
    listener = threading.Thread(target=_listen, args=(process.stdout, told), daemon=True)
    listener.start()
    try:
        _feed(process, order.text)
        _follow(told, order)
    finally:
        end(process)
        listener.join()


def work_branched(order: Order, ask: Callable[[Mapping[str, Any]], bool]) -> None:
    """Build a suit in a branch of the process that looks at it, or apart where that cannot be had.

    ask: puts {"branch": order, "to": where it answers} to that process; False where there is none. Raises PadlibError;
    Stopped when the maker stopped it.
    """
    pipe = _branched(order, ask) if BRANCHES else None
    if pipe is None:
        work_apart(order)
        return
    told: Told = queue.Queue()
    listener = threading.Thread(target=_listen, args=(pipe, told), daemon=True)
    listener.start()
    number = 0
    try:
        number = int((told.get() or {}).get("process", 0))
        _follow(told, order)
    finally:
        if number:
            _end_group(number)
        listener.join()


def _branched(order: Order, ask: Callable[[Mapping[str, Any]], bool]) -> IO[bytes] | None:
    """What a branch tells, once it has come to a door that is opened for it; None where none came in time."""
    place = order.out.parent / f"{order.out.name}.door"
    given = {"text": order.text, "name": order.name, "task": order.task}
    given |= {"folder": str(order.folder), "out": str(order.out)}
    with socket.socket(socket.AF_UNIX) as door:
        try:
            door.bind(str(place))
            door.listen(1)
            door.settimeout(GLANCE_S)
            if not ask({"branch": given, "to": str(place)}):
                return None
            return _came(door, order.stopped)
        except OSError:
            return None  # such as a folder whose name is too long for a door
        finally:
            place.unlink(missing_ok=True)


def _came(door: socket.socket, stopped: threading.Event) -> IO[bytes] | None:
    end = time.monotonic() + BRANCH_S
    while time.monotonic() < end:
        if stopped.is_set():
            raise Stopped(STOPPED)
        with suppress(TimeoutError):
            came, _ = door.accept()
            with came:
                came.settimeout(None)
                return came.makefile("rb")
    return None


def branch(given: Mapping[str, str], to: str, last: Preview | None) -> int:
    """The branch: do the order of `_branched` and tell of it at its door; last: the newest look."""
    os.setsid()  # ended with all that helps it, and not with what it comes from
    with socket.socket(socket.AF_UNIX) as pipe:
        try:
            pipe.connect(to)
        except OSError:
            return 1  # nobody waits any more
        with pipe.makefile("w") as out:
            say = partial(_say, out)
            say({"process": os.getpid()})
            return _done(given, say, last)


def surroundings() -> dict[str, str]:
    """The environment, with this very padlib found first."""
    here = str(Path(padlib.__file__).parent.parent)
    paths = [here, *filter(None, [os.environ.get("PYTHONPATH")])]
    return os.environ | {"PYTHONPATH": os.pathsep.join(paths)}


def _feed(process: subprocess.Popen, text: str) -> None:
    pipe = process.stdin
    if pipe is None:
        return
    try:
        pipe.write(text.encode())
        pipe.close()
    except BrokenPipeError:
        return  # it died at once; following it says so


def _follow(told: Told, order: Order) -> None:
    """Pass on what the process tells until it is done."""
    while True:
        if order.stopped.is_set():
            raise Stopped(STOPPED)
        try:
            line = told.get(timeout=GLANCE_S)
        except queue.Empty:
            continue
        if line is None:
            raise PadlibError(
                "the build ended without a word, perhaps for want of memory; close other programs "
                "and build again."
            )
        if "error" in line:
            raise PadlibError(str(line["error"]))
        if line.get("done"):
            return
        order.tell(str(line.get("words", "")), float(line.get("share", 0.0)))


def _listen(pipe: IO[bytes], told: Told) -> None:
    with pipe:
        for line in pipe:
            try:
                value = json.loads(line)
            except ValueError:
                continue  # a library that printed something of its own
            if isinstance(value, dict):
                told.put(value)
    told.put(None)


def end(process: subprocess.Popen) -> None:
    """End the process and the helpers that it started."""
    if os.name != "posix" or not _end_group(process.pid):
        process.kill()
    process.wait()


def _end_group(number: int) -> bool:
    """End the process that leads a group, and all of that; False where it cannot be had."""
    try:
        os.killpg(number, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return False
    return True


def _say(out: IO[str], value: Mapping[str, Any]) -> None:
    out.write(json.dumps(value) + "\n")
    out.flush()


def _done(
    given: Mapping[str, str], say: Callable[[Mapping[str, Any]], None], last: Preview | None = None
) -> int:
    """Do what was ordered and say how it goes and how it ended; the process's exit code."""
    gc.freeze()  # what is there already is not looked through again and again
    order = Order(
        given["text"],
        given["name"],
        Path(given["folder"]),
        Path(given["out"]),
        lambda words, share: say({"words": words, "share": share}),
        task=given["task"],
    )
    try:
        work(order, last)
    except PadlibError as e:
        say({"error": str(e)})
        return 2
    say({"done": True})
    return 0


def main(arguments: Sequence[str]) -> int:
    """The process apart: name, folder, results folder and task as arguments, the text on stdin."""
    given = dict(zip(("name", "folder", "out", "task"), arguments, strict=True))
    given["text"] = sys.stdin.buffer.read().decode()
    return _done(given, partial(_say, sys.stdout))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
