"""A build in a process of its own, so that the page stays quick and a build can be stopped at once.

The suit's text comes on stdin; one JSON object a line goes to stdout: {"words", "share"} as the work
goes on, and at the end {"done": true} or {"error": sentence}.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from threadpoolctl import threadpool_limits

import padlib
from padlib.errors import PadlibError
from padlib.output.png import map_scale
from padlib.output.whole import write_whole
from padlib.progress import Tell, quiet
from padlib.suit.built import Clock, run
from padlib.suit.file import Suit, parse_suit
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


def work(order: Order) -> None:
    """Build a suit here and now, and write its results and its scene; or seek its seams. Raises PadlibError."""
    suit = parse_suit(order.text, name=order.name, folder=order.folder)
    # small matrices: threads of the linear algebra library cost more than they give
    with threadpool_limits(1):
        if order.task == SEAMS:
            _seek(order, suit)
        else:
            _build(order, suit)


def _seek(order: Order, suit: Suit) -> None:
    body = suit_body(suit)
    found = suggest(suit, body, suit_shell(suit, body), workers=_workers(), tell=order.tell)
    order.out.mkdir(parents=True, exist_ok=True)
    write_whole(order.out / SUGGESTED, json.dumps(values(found)).encode())


def _build(order: Order, suit: Suit) -> None:
    clock, workers = Clock(), _workers()
    built = run(suit, workers=workers, tell=order.tell, clock=clock)
    # the page draws panels and maps itself
    write_built(built, order.out, workers=workers, clock=clock, tell=order.tell, panels=False)
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
    told: queue.Queue[dict[str, Any] | None] = queue.Queue()
    listener = threading.Thread(target=_listen, args=(process.stdout, told), daemon=True)
    listener.start()
    try:
        _feed(process, order.text)
        _follow(told, order)
    finally:
        end(process)
        listener.join()


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


def _follow(told: queue.Queue[dict[str, Any] | None], order: Order) -> None:
    """Pass on what the process tells until it is done."""
    while True:
        if order.stopped.is_set():
            raise Stopped("The build was stopped; the earlier result is still here.")
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


def _listen(pipe: IO[bytes], told: queue.Queue) -> None:
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
    if os.name == "posix":
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            process.kill()
    else:
        process.kill()
    process.wait()


def _say(value: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(value) + "\n")
    sys.stdout.flush()


def main(arguments: Sequence[str]) -> int:
    """The process apart: name, folder, results folder and task as arguments, the text on stdin."""
    name, folder, out, task = arguments
    text = sys.stdin.buffer.read().decode()
    order = Order(
        text,
        name,
        Path(folder),
        Path(out),
        lambda words, share: _say({"words": words, "share": share}),
        task=task,
    )
    try:
        work(order)
    except PadlibError as e:
        _say({"error": str(e)})
        return 2
    _say({"done": True})
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
