"""The newest look at the suit: what the process in `look.py` told last, kept for those who ask."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from padlib.workshop.frames import parts
from padlib.workshop.shape import Shape
from padlib.workshop.work import end, surroundings

MOST_WAIT = 20.0  # s that an asker is kept waiting for news


@dataclass(frozen=True)
class News:
    """One thing told: its number, the stage it is about, what was said and the arrays behind it."""

    number: int
    text: dict[str, Any]
    block: bytes


class Live:
    """Orders looks and keeps the newest news of each stage. Safe to call from several threads."""

    def __init__(self) -> None:
        """Nothing runs until the first order."""
        self._new = threading.Condition()
        self._process: subprocess.Popen | None = None
        self._number = 0
        self._closed = False
        self.news: dict[str, News] = {}
        self.shape: Shape | None = None

    def begin(self) -> None:
        """Start the process before the first order: it is up by then."""
        with self._new:
            if self._process is None and not self._closed:
                self._start()

    def order(self, text: str, name: str, folder: Path, revision: int) -> None:
        """Ask for a look at a text; an earlier one that is not done is given up."""
        with self._new:
            if self._closed:
                return
            if self._process is None or self._process.poll() is not None:
                self._start()
            self._write({"text": text, "name": name, "folder": str(folder), "revision": revision})

    def ask(self, line: Mapping[str, Any]) -> bool:
        """Ask the process for something else; False where none runs."""
        with self._new:
            running = self._process is not None and self._process.poll() is None
            return running and self._write(line)

    def _write(self, line: Mapping[str, Any]) -> bool:
        pipe = self._process.stdin if self._process else None
        if pipe is None:
            return False
        try:
            pipe.write(json.dumps(line).encode() + b"\n")
            pipe.flush()
        except OSError:
            self._process = None
            return False
        return True

    def _start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "padlib.workshop.look"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=surroundings(),
            start_new_session=True,
        )
        threading.Thread(target=self._listen, args=(self._process,), daemon=True).start()

    def _listen(self, process: subprocess.Popen) -> None:
        pipe = process.stdout
        if pipe is None:
            return
        with pipe:
            while len(size := pipe.read(8)) == 8:
                data = pipe.read(int.from_bytes(size, "little"))
                self._take(*parts(data))
        process.wait()
        with self._new:
            if self._closed or self._process is not process:
                return
            self._process = None
        words = "the look at the suit ended without a word, perhaps for want of memory; change it, or build."
        self._take({"stage": "failed", "words": words, "revision": -1}, b"")

    def _take(self, text: dict[str, Any], block: bytes) -> None:
        shape = Shape.read(text, block, self.shape) if text["stage"] == "shape" else None
        with self._new:
            self._number += 1
            if shape is not None:
                self.shape = shape
                text, block = shape.told(self._number)
            if text["stage"] in ("panels", "flats") and self.shape is not None:
                self.shape = self.shape.with_seams(text["scene"], block, text["own"])
                plan = text.pop("plan", None)
                if plan is not None:
                    self.shape = self.shape.with_plan(plan)
            if text["stage"] == "flats":
                for stage in ("busy", "failed", "panels"):  # what it took over from
                    self.news.pop(stage, None)
            self.news[text["stage"]] = News(self._number, text, block)
            self._new.notify_all()

    def after(self, known: int, seconds: float = MOST_WAIT) -> News | None:
        """The oldest of the newest news of each stage that came after `known`; waits for it a while."""
        end = time.monotonic() + min(seconds, MOST_WAIT)
        with self._new:
            while True:
                later = [n for n in self.news.values() if n.number > known]
                if later:
                    return min(later, key=lambda n: n.number)
                left = end - time.monotonic()
                if self._closed or left <= 0:
                    return None
                self._new.wait(left)

    def close(self) -> None:
        """End the process."""
        with self._new:
            self._closed = True
            process, self._process = self._process, None
            self._new.notify_all()
        if process is not None:
            end(process)
            if process.stdin is not None:
                with contextlib.suppress(OSError):
                    process.stdin.close()
