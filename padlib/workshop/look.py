"""Looks at a suit while it is edited, in a process of its own that keeps the last one.

Orders come on stdin, one JSON object a line: {"text", "name", "folder", "revision"}; only the newest
counts. Messages (`padlib.workshop.frames`), each after its length in eight bytes, go to stdout: the shape
as soon as it is there, the cut panels with a forecast of their stretch, then the flats. An order {"branch", "to"} is
for a build, which begins as a branch of this process (`padlib.workshop.work`).
"""

from __future__ import annotations

import gc
import json
import os
import queue
import sys
import threading
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from padlib.body.body import Body
from padlib.body.doubt import TOLD, with_doubts
from padlib.body.measure import measure
from padlib.body.parts import unsided
from padlib.errors import PadlibError
from padlib.output.png import map_scale
from padlib.padding.shell import Shell
from padlib.seams.place import Place, body_positions
from padlib.suit.file import Suit, parse_suit
from padlib.suit.preview import Preview, preview
from padlib.suit.steps import Panels, all_on_shell, suit_options
from padlib.suit.worn import RISES
from padlib.suit.write import rgb
from padlib.workshop.frames import Blocks, message, parts
from padlib.workshop.scene import (
    MARK_TONES,
    Coloured,
    MarkShown,
    forecast_shown,
    scene_bytes,
    shown_bytes,
)
from padlib.workshop.work import branch


class Overtaken(PadlibError):
    """Raised when a newer order came in."""


class Looker:
    """Takes orders until stdin ends. The last whole look is where the next one starts."""

    def __init__(self, into: IO[bytes], out: IO[bytes]) -> None:
        """Listen to `into`, speak to `out`."""
        self._orders: queue.Queue[Mapping[str, Any] | None] = queue.Queue()
        self._into, self._out = into, out
        self._wanted: Mapping[str, Any] | None = None
        self._branches: list[int] = []
        self._last: Preview | None = None
        self._shell: Shell | None = None
        self._body: Body | None = None
        self._measured: Body | None = None
        self._own: list[dict[str, Any]] = []
        self._revision = 0
        self._words = ""
        threading.Thread(target=self._listen, args=(into,), daemon=True).start()

    def _listen(self, into: IO[bytes]) -> None:
        for line in into:
            self._orders.put(json.loads(line))
        self._orders.put(None)

    def run(self) -> None:
        """Answer orders one after the other."""
        while (order := self._next()) is not None:
            self._revision = int(order["revision"])
            try:
                self._look(order)
            except Overtaken:
                continue
            except PadlibError as e:
                self._say({"stage": "failed", "words": str(e)})
            self._wanted = None

    def _next(self) -> Mapping[str, Any] | None:
        """The newest look that is wanted, after branches for what else was ordered; None at the end."""
        while self._wanted is None or not self._orders.empty():
            order = self._orders.get()
            if order is None:
                return None
            if "branch" in order:
                self._branch(order)
            else:
                self._wanted = order
        return self._wanted

    def _branch(self, order: Mapping[str, Any]) -> None:
        """Begin a build in a process that knows what this one does."""
        self._branches = [n for n in self._branches if os.waitpid(n, os.WNOHANG) == (0, 0)]
        number = os.fork()
        if number:
            self._branches.append(number)
            return
        status = 1
        try:
            for own in (self._into, self._out):  # or nobody would be told of this process's end
                os.close(own.fileno())
            status = branch(order["branch"], order["to"], self._last)
        finally:
            os._exit(status)  # nothing of what this process was about to do

    def _check(self) -> None:
        if not self._orders.empty():
            raise Overtaken("There is a newer order.")

    def _say(self, text: Mapping[str, Any], rest: bytes = b"") -> None:
        self._send(message({"revision": self._revision, **text}, rest))

    def _tell(self, words: str, share: float) -> None:
        self._check()
        if words != self._words:
            self._words = words
            self._say({"stage": "busy", "words": words, "share": round(share, 3)})

    def _look(self, order: Mapping[str, Any]) -> None:
        suit = parse_suit(order["text"], name=order["name"], folder=Path(order["folder"]))
        self._words = ""
        self._say({"stage": "busy", "words": "shaping", "share": 0.0})

        def seen(body: Body, shell: Shell, panels: Panels | None) -> None:
            self._check()
            if panels is None:
                self._shape(body, shell)
            else:
                self._cut(suit, body, shell, panels)

        workers = min(4, os.cpu_count() or 1)
        look = preview(suit, self._last, workers=workers, tell=self._tell, seen=seen)
        self._last = look
        limit = suit.darts["limit"]
        panels, scale = look.panels, map_scale(look.flats, limit)
        data = scene_bytes(
            look.flats, (), scale=scale, limit=limit, coloured=coloured(suit, panels)
        )
        head, block = parts(data)
        warnings = [f"{f.where} {f.words}" for f in (*look.panels.findings, *look.findings)]
        told = {"scene": head, "laid": list(look.laid), "warnings": warnings}
        self._say({"stage": "flats", "own": self._own, **told}, block)
        self._tapes(look.body, suit)

    def _tapes(self, body: Body, suit: Suit) -> None:
        """The body's measurements, each with its tape line as pairs of points, and how far it may be off."""
        if body is self._measured:
            return
        self._check()
        told, blocks = with_doubts(body, measure(body), suit.measurements), Blocks()
        self._measured = body
        lines: dict[str, list[NDArray]] = {}
        for name, line in told.tape_lines.items():
            lines.setdefault(unsided(name), []).append(np.repeat(line, 2, axis=0)[1:-1])
        text = {
            "stage": "tapes",
            "revision": self._revision,
            "source": body.source,
            "values": {k: round(v, 1) for k, v in told.values.items()},
            "unsure": {k: round(v, 1) for k, v in told.unsure.items() if v >= TOLD},
            "lines": {k: blocks.keep(np.concatenate(v).astype("<f4")) for k, v in lines.items()},
        }
        self._send(blocks.message(text))

    def _send(self, data: bytes) -> None:
        self._out.write(len(data).to_bytes(8, "little") + data)
        self._out.flush()

    def _shape(self, body: Body, shell: Shell) -> None:
        """The shell in the round, what of the body lies under it, and a new body itself."""
        if shell is self._shell:
            return
        self._shell = shell
        blocks = Blocks()
        surface = shell.surface
        text = {
            "stage": "shape",
            "revision": self._revision,
            "vertices": blocks.keep(surface.vertices.astype("<f8")),
            "faces": blocks.keep(surface.faces.astype("<u4")),
            "under": blocks.keep(body_positions(body, shell).astype("<f8")),
            "pad": blocks.keep(shell.thickness.astype("<f8")),
        }
        if body is not self._body:
            self._body = body
            text["body"] = body_told(body, blocks)
        self._send(blocks.message(text))

    def _cut(self, suit: Suit, body: Body, shell: Shell, panels: Panels) -> None:
        """The cut panels with their forecast, and where the maker's own seams run."""
        limit = suit.darts["limit"]
        told = forecast_shown(panels.panels)
        data = shown_bytes(told, scale=2 * limit, limit=limit, coloured=coloured(suit, panels))
        head, block = parts(data)
        lines = [("seam", k, s.name, s.closed, s.through) for k, s in enumerate(suit.drawn)]
        lines += [
            ("mark", k, m.name, m.shape == "loop", m.through or m.at)
            for k, m in enumerate(suit.marks)
        ]
        lines += [("pile", k, s.name, False, s.through) for k, s in enumerate(suit.strokes)]
        self._own = own = []
        smooth = {k for k, s in enumerate(suit.drawn) if s.round}
        for table, number, name, closed, through in lines:
            at = all_on_shell(through, "", body, shell, panels.place).round(2).tolist()
            entry = {"table": table, "number": number, "name": name}
            even = table != "seam" or number in smooth
            own.append(entry | {"closed": closed, "round": even, "points": at})
        plan = plan_told(suit, body, panels.place)
        self._say({"stage": "panels", "scene": head, "own": own, "plan": plan}, block)


def body_told(body: Body, blocks: Blocks) -> dict[str, Any]:
    """The wearer's body as `padlib.workshop.shape` reads it."""
    surface = body.surface
    return {
        "vertices": blocks.keep(surface.vertices.astype("<f8")),
        "faces": blocks.keep(surface.faces.astype("<u4")),
        "landmarks": {k: [p.face, *p.barycentric] for k, p in body.landmarks.items()},
    }


def plan_told(suit: Suit, body: Body, place: Place) -> dict[str, Any]:
    """The seam plan as `Shape.with_plan` reads it: landmarks and axes on the shell, its numbers, and which of them
    worn parts say."""
    options = suit_options(suit, body)[0]
    worn = [key for key in RISES if suit.seams[key] != getattr(options, key)]
    return {
        "at": {name: at.tolist() for name, at in place.at.items()},
        "axes": {name: line.tolist() for name, line in place.axes.items()},
        "stature": place.stature,
        "options": asdict(options),
        "worn": worn,
    }


def coloured(suit: Suit, panels: Panels) -> Coloured:
    """The marks of a suit on its cut panels, as the page draws them."""
    cloths = [c.name for c in suit.cloths]
    tone = {c.name: rgb(c.colour) if c.colour else None for c in suit.cloths}
    marks = []
    for mark, asked in zip(panels.marks.marks, panels.marks.asked, strict=True):
        inset = asked.style == "inset"
        at = cloths.index(asked.cloth) if asked.cloth else 0
        shade = tone.get(asked.cloth) or MARK_TONES[at % len(MARK_TONES)]
        marks.append(MarkShown(mark.name, asked.cloth, inset, shade))
    before = {p.name: p for p in panels.panels}
    return Coloured(tuple(marks), panels.tints, before, panels.pile)


def main() -> int:
    """The process apart: orders on stdin, messages on stdout."""
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # a library that prints must not garble it
    # helpers close their stdin when they begin, and would wait for the thread that reads it
    into = os.fdopen(os.dup(sys.stdin.fileno()), "rb")
    sys.stdin.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115
    gc.freeze()  # what was imported is not looked through again and again
    with threadpool_limits(1):
        Looker(into, out).run()
    return 0


if __name__ == "__main__":
    sys.exit(main())
