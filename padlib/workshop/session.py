"""One maker's session: the suit's text with undo and redo, builds and their results.

It knows no transport: the page, a notebook or a test can sit in front of it.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
import threading
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from padlib.errors import InputError, OutputError, PadlibError, SuitError
from padlib.flatten.cloth import PRESETS
from padlib.output.cautions import CAUTIONS
from padlib.output.whole import write_whole
from padlib.padding.shapes import KINDS
from padlib.suit.demo import DEMO_SUIT
from padlib.suit.file import MOST_BYTES, Suit, parse_suit, read_suit
from padlib.suit.schema import CLOTH, TABLES
from padlib.workshop.edit import Value, add_entry, add_table, drop_entry, set_value, with_seams
from padlib.workshop.live import Live
from padlib.workshop.sewn import SEWN
from padlib.workshop.work import (
    BUILD,
    SCENE,
    SEAMS,
    STOPPED,
    SUGGESTED,
    Order,
    Stopped,
    work_branched,
)

SCANS = (".ply", ".obj", ".stl", ".glb", ".gltf", ".off", ".3mf")
MOST_SCANS = 200
SETTINGS = ("shell", "seams", "darts", "pieces", "lay", "pillows")
DOWNLOADS = MappingProxyType(
    {
        "guide.html": "Sewing guide, with every piece and seam",
        "guide.pdf": "Sewing guide to print",
        "guide.csv": "All tables of the guide, for a spreadsheet",
        "pieces.png": "All pieces in one picture",
        "suit.png": "The suit from four sides in one picture",
        "proof.png": "Where the sewn cloth lies off the outline, in colours",
        "suit.glb": "The suit to turn round in a 3D viewer (GLB)",
        "pattern-a4.pdf": "Pattern on A4 pages, true scale",
        "pattern-letter.pdf": "Pattern on US Letter pages, true scale",
        "pattern-roll.pdf": "Pattern on one long sheet, for a roll printer",
        "pattern.svg": "Pattern as a drawing (SVG)",
        "pattern-a3.pdf": "Pattern on A3 pages, true scale",
        "pattern-tabloid.pdf": "Pattern on Tabloid pages, true scale",
        "pattern-a0.pdf": "Pattern on A0 pages, true scale",
        "pattern-projector.pdf": "Pattern to be thrown onto cloth, thick lines",
        "pattern-plotter.hpgl": "Pattern for a pen plotter (HPGL/2)",
        "pattern.dxf": "Pattern for a cutting machine (DXF)",
        "report.json": "All figures, for programs (JSON)",
    }
)
_LINE = re.compile(r"\bline (\d+)\b")


@dataclass(frozen=True)
class Problem:
    """What is wrong with the text: one sentence, and the line it is about where that is known."""

    words: str
    line: int | None


@dataclass(frozen=True)
class Result:
    """A finished build: its number, the text it was built from, its report and its files by name."""

    number: int
    text: str
    report: Mapping[str, Any]
    files: Mapping[str, Path]


@dataclass(frozen=True)
class Building:
    """How long work stands: idle, running, done, failed or stopped; words, share of the whole, and which it is."""

    state: str = "idle"
    words: str = ""
    share: float = 0.0
    task: str = BUILD


class Changed(InputError):
    """Raised when a change was made to a text that is no longer the newest."""


class Session:
    """A suit file being worked on. Safe to call from several threads.

    suit: path of a suit file, or None for the demo suit, which is then saved as a copy in `folder`
    (the current folder) when the maker saves. run: builds an Order; raises PadlibError; None: in a
    process of its own.
    """

    def __init__(
        self,
        suit: str | Path | None = None,
        *,
        folder: Path | None = None,
        run: Callable[[Order], None] | None = None,
    ) -> None:
        """Open the suit file. Raises SuitError where it cannot be read at all."""
        source = DEMO_SUIT if suit is None else Path(suit)
        self.text, self._on_disk = _read(source)
        self.name = source.name
        self.path = None if suit is None else source.absolute()
        self.folder = (folder or Path.cwd()) if suit is None else source.absolute().parent
        self._trusted_scan = _body_file(self.text)
        self._saved_text: str | None = None if suit is None else self.text
        self._undo: list[str] = []
        self._redo: list[str] = []
        self._stroke = ""
        self.revision = 0
        self._run = run
        self._lock = threading.RLock()
        self._home = tempfile.TemporaryDirectory(prefix="padlib-workshop-")
        self.looking = False
        self.live = Live()
        self.unkept = ""  # why the newest text is not in the file, where it is not
        self._order: Order | None = None
        self._worker: threading.Thread | None = None
        self._number = 0
        self.building = Building()
        self.result: Result | None = None
        self._check()

    # The text -------------------------------------------------------------------------------------

    def change(self, text: str, *, stroke: str = "", revision: int | None = None) -> None:
        """Take a new text. Changes of one non-empty stroke are one step of undo.

        Raises Changed where `revision` is not the newest, InputError where the text is too long.
        """
        with self._lock:
            if revision is not None and revision != self.revision:
                raise Changed("The suit was changed in another window; this window shows it now.")
            if len(text.encode()) > MOST_BYTES:
                raise InputError(
                    f"That is too long for a suit file; the most is {MOST_BYTES} bytes."
                )
            text = text.replace("\r\n", "\n").replace("\r", "\n")
            if text == self.text:
                return
            if not stroke or stroke != self._stroke:
                self._undo.append(self.text)
            self._redo.clear()
            self._stroke = stroke
            self._take(text)

    def set(self, path: tuple[str | int, ...], value: Value | None, *, stroke: str = "") -> None:
        """Change one value in the text; None takes it out, so that padlib chooses."""
        with self._lock:
            self.change(set_value(self.text, path, value), stroke=stroke)

    def undo(self) -> None:
        """Go back one step; nothing happens at the beginning."""
        with self._lock:
            if self._undo:
                self._redo.append(self.text)
                self._stroke = ""
                self._take(self._undo.pop())

    def redo(self) -> None:
        """Go forward one step again; nothing happens at the end."""
        with self._lock:
            if self._redo:
                self._undo.append(self.text)
                self._stroke = ""
                self._take(self._redo.pop())

    def add(
        self,
        table: str,
        values: Mapping[str, Value],
        *,
        cloth: tuple[str, Mapping[str, Value]] | None = None,
    ) -> None:
        """Add one [[table]] with its values to the text, and the cloth that it needs, in one step of undo."""
        with self._lock:
            text = add_entry(self.text, table, values)
            if cloth is not None:
                text = add_table(text, ("cloth", cloth[0]), cloth[1])
            self.change(text)

    def drop(self, table: str, number: int) -> None:
        """Take one entry of [[table]] out of the text."""
        with self._lock:
            self.change(drop_entry(self.text, table, number))

    def _take(self, text: str) -> None:
        self.text = text
        self.revision += 1
        self._check()
        try:
            self.save()
        except OutputError as e:
            self.unkept = str(e)
        if self.looking:
            self.look()

    def look(self) -> None:
        """Ask for a look at the text as it stands, and at every change from now on."""
        with self._lock:
            self.looking = True
            if self.suit is None:
                return
            try:
                self._refuse_far_scan(self.suit.body["file"])
            except InputError:
                return  # a build tells it
            self.live.order(self.text, self.name, self.folder, self.revision)

    def _check(self) -> None:
        self.suit: Suit | None = None
        self.problem: Problem | None = None
        try:
            self.suit = parse_suit(self.text, name=self.name, folder=self.folder)
        except SuitError as e:
            found = _LINE.search(str(e))
            self.problem = Problem(str(e), int(found[1]) if found else None)

    # The file -------------------------------------------------------------------------------------

    def save(self, *, over: bool = False) -> Path:
        """Write the suit file whole, under its own name; the demo as a new file in the folder.

        Raises OutputError where it cannot be written, and where the file was changed on disk since
        it was read, unless `over`.
        """
        with self._lock:
            path = self.path or _free(self.folder / self.name)
            if self.path is not None and not over and _bytes(path) not in (self._on_disk, None):
                raise OutputError(
                    f"{path.name} was changed by another program since it was opened here; save over it, "
                    "or close the workshop and open it again."
                )
            data = self.text.encode()
            write_whole(path, data)
            renamed = path.name != self.name
            self.path, self.name = path, path.name
            self._on_disk, self._saved_text, self.unkept = data, self.text, ""
            if renamed:
                self._check()  # messages name the file
            return path

    def scans(self) -> list[str]:
        """Names of the scans and meshes beside the suit file."""
        try:
            found = sorted(p.name for p in self.folder.iterdir() if p.suffix.lower() in SCANS)
        except OSError:
            return []
        return [n for n in found if not n.startswith(".")][:MOST_SCANS]

    # Building -------------------------------------------------------------------------------------

    def build(self, task: str = BUILD) -> None:
        """Begin a build of the text as it stands, or seek where its seams had best lie (`SEAMS`).

        Raises InputError where that cannot be.
        """
        with self._lock:
            if self.building.state == "running":
                raise InputError("Other long work is running; wait for it or stop it first.")
            if self.suit is None or self.problem is not None:
                raise InputError("The suit file has a mistake; mend the marked line first.")
            self._refuse_far_scan(self.suit.body["file"])
            self._number += 1
            out = Path(self._home.name) / f"build-{self._number}"
            order = Order(self.text, self.name, self.folder, out, self._told, task=task)
            self._order = order
            self.building = Building("running", "starting", 0.0, task)
            self._worker = threading.Thread(
                target=self._work, args=(order, self._number), daemon=True
            )
            self._worker.start()

    def stop(self) -> None:
        """Stop the build that is running; nothing happens when none is."""
        with self._lock:
            if self._order is not None and self.building.state == "running":
                self._order.stopped.set()

    def wait(self, seconds: float | None = None) -> None:
        """Wait until no build is running, at most so many seconds."""
        worker = self._worker
        if worker is not None:
            worker.join(seconds)

    def close(self) -> None:
        """Stop what runs and drop the results."""
        self.stop()
        self.live.close()
        self.wait(10.0)
        self._home.cleanup()

    def _refuse_far_scan(self, file: str) -> None:
        """InputError for a scan that the page names outside of the suit's folder.

        What the file on disk named when it was opened is the maker's own choice and is let through.
        """
        if not file or file == self._trusted_scan:
            return
        home = self.folder.resolve()
        if not (home / file).resolve().is_relative_to(home):
            raise InputError(
                f"The scan '{file}' lies outside of the suit's folder; copy it into {home} first."
            )

    def _told(self, words: str, share: float) -> None:
        with self._lock:
            if self._order is not None and self._order.stopped.is_set():
                raise Stopped(STOPPED)
            self.building = replace(self.building, words=words, share=min(max(share, 0.0), 1.0))

    def _work(self, order: Order, number: int) -> None:
        state, words = "failed", "That failed in a way that padlib did not foresee."
        result: Result | None = None
        try:
            if self._run is None:
                work_branched(order, self.live.ask)
            else:
                self._run(order)
            if order.task == SEAMS:
                words = self._suggested(order)
            else:
                result, words = _collect(order, number), "The suit is built."
            state = "done"
        except Stopped as e:
            state, words = "stopped", str(e)
        except (PadlibError, OSError, ValueError) as e:
            words = str(e)
        finally:
            with self._lock:
                if result is not None:
                    old, self.result = self.result, result
                    if old is not None:
                        shutil.rmtree(self._folder(old.number), ignore_errors=True)
                else:
                    shutil.rmtree(order.out, ignore_errors=True)
                share = 1.0 if state == "done" else 0.0
                self.building = Building(state, words, share, order.task)

    def _suggested(self, order: Order) -> str:
        """Take the seams that were found into the text, in one step of undo; what they buy, in words."""
        told = json.loads((order.out / SUGGESTED).read_text(encoding="utf-8"))
        usual, sought = (told[key]["dart_mm"] for key in ("usual", "suggested"))
        late = (
            f" The {told['seconds']:.0f} s for it were out, so darts are partly guessed."
            if told.get("out_of_time")
            else ""
        )
        if not told["moves"] and not told["seams"]:
            return f"Neither moving a seam nor drawing a new one pays: the darts stay at {usual:.0f} mm.{late}"
        with self._lock:
            if self.text != order.text:
                return (
                    "Seams were found, but the suit was changed meanwhile; ask for them once more."
                )
            self.change(with_seams(order.text, told["moves"], told["seams"]))
        return (
            f"{len(told['moves'])} moves of the plan's seams and {len(told['seams'])} new seams are in the suit: "
            f"darts {sought:.0f} mm in all instead of {usual:.0f}. Undo takes them out.{late}"
        )

    def _folder(self, number: int) -> Path:
        return Path(self._home.name) / f"build-{number}"

    def file(self, name: str) -> bytes | None:
        """The bytes of one file of the newest result, by a name that the session itself listed."""
        with self._lock:
            if self.result is None or name not in self.result.files:
                return None
            return _bytes(self.result.files[name])

    # What a view shows ----------------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """Everything about the suit that a view shows, as plain values."""
        with self._lock:
            return {
                "name": self.name,
                "path": None if self.path is None else str(self.path),
                "folder": str(self.folder),
                "text": self.text,
                "revision": self.revision,
                "saved": self._saved_text == self.text,
                "unkept": self.unkept,
                "seams": self._seams(),
                "marks": self._marks(),
                "strokes": self._strokes(),
                "cloths": self._cloths(),
                "pinned": self._pinned(),
                "kept": self._kept(),
                "can_undo": bool(self._undo),
                "can_redo": bool(self._redo),
                "problem": None if self.problem is None else vars(self.problem),
                "pads": self._pads(),
                "settings": self._settings(),
                "scan": "" if self.suit is None else self.suit.body["file"],
                "scans": self.scans(),
                "cautions": [list(c) for c in CAUTIONS],
            } | self.progress()

    def progress(self) -> dict[str, Any]:
        """How the build stands, and which result there is."""
        with self._lock:
            return {
                "building": vars(self.building),
                "result": None if self.result is None else self.result.number,
                "stale": self.result is not None and self.result.text != self.text,
            }

    def shown(self) -> dict[str, Any] | None:
        """The newest result as a view shows it, or None."""
        with self._lock:
            if self.result is None:
                return None
            files = self.result.files
            lays = {n: f"Lay of the cloth '{n[4:-4]}' (SVG)" for n in files if n.startswith("lay-")}
            words = dict(DOWNLOADS) | lays
            return {
                "number": self.result.number,
                "report": dict(self.result.report),
                "downloads": [[n, w] for n, w in words.items() if n in files],
                "sewn": SEWN in files,
            }

    def _pads(self) -> list[dict[str, Any]]:
        if self.suit is None:
            return []
        return [
            {
                "name": pad.name,
                "kind": pad.kind,
                "side": pad.side,
                "parameters": [
                    {
                        "name": p.name,
                        "unit": p.unit,
                        "help": p.help,
                        "low": p.low,
                        "high": p.high,
                        "value": pad.parameters.get(p.name),
                    }
                    for p in KINDS[pad.kind].TABLE
                ],
            }
            for pad in self.suit.pads
        ]

    def _seams(self) -> list[dict[str, Any]]:
        if self.suit is None:
            return []
        return [
            {"name": s.name, "closed": s.closed, "kind": s.kind, "points": len(s.through)}
            for s in self.suit.drawn
        ]

    def _marks(self) -> list[dict[str, Any]]:
        if self.suit is None:
            return []
        return [
            {key: getattr(mark, key) for key in ("name", "shape", "cloth", "style", "side")}
            | {"points": len(mark.through or mark.at)}
            for mark in self.suit.marks
        ]

    def _strokes(self) -> list[dict[str, Any]]:
        if self.suit is None:
            return []
        return [
            {"name": s.name, "side": s.side, "reach": s.reach, "points": len(s.through)}
            for s in self.suit.strokes
        ]

    def _kept(self) -> dict[str, list[str]]:
        """What suggestions leave alone: seams of the plan that stay, panels that no new seam parts."""
        keys = ("pinned", "whole")
        return {} if self.suit is None else {key: list(self.suit.seams[key]) for key in keys}

    def _pinned(self) -> list[dict[str, Any]]:
        """The darts that the maker keeps, where their tips are places."""
        if self.suit is None:
            return []
        darts = [d for d in self.suit.dart if d.state == "pin" and not isinstance(d.end, str)]
        return [{"panel": d.panel, "to": list(d.end)} for d in darts]

    def _cloths(self) -> list[dict[str, Any]]:
        """Each cloth of the text with what may be chosen about it."""
        if self.suit is None:
            return []
        given = _table(self.text, "cloth")
        return [
            {
                "name": cloth,
                "keys": [
                    {
                        "name": name,
                        "help": key.help,
                        "kind": key.kind,
                        "low": key.least,
                        "high": key.most,
                        "choices": ["", *PRESETS] if name == "kind" else list(key.choices),
                        "value": given[cloth].get(name, key.default),
                    }
                    for name, key in CLOTH.items()
                    if name in ("kind", "width", "pile", "tilt", "price", "colour")
                ],
            }
            for cloth in given
        ]

    def _settings(self) -> list[dict[str, Any]]:
        if self.suit is None:
            return []
        return [
            {
                "table": table,
                "name": name,
                "help": key.help,
                "kind": key.kind,
                "low": key.least,
                "high": key.most,
                "choices": list(key.choices),
                "value": getattr(self.suit, table)[name],
            }
            for table in SETTINGS
            for name, key in TABLES[table].items()
            if key.kind in ("number", "whole", "yesno")
            or (key.kind == "text" and len(key.choices) > 1)
        ]


def _read(path: Path) -> tuple[str, bytes]:
    """Text and bytes of a suit file; SuitError as `read_suit` words it where it is no text."""
    data = _bytes(path)
    try:
        text = None if data is None or len(data) > MOST_BYTES else data.decode("utf-8")
    except UnicodeDecodeError:
        text = None
    if data is None or text is None:
        read_suit(path)  # raises the sentence
        raise SuitError(f"{path}: cannot be read; check the name and the folder.")
    return text.replace("\r\n", "\n").replace("\r", "\n"), data


def _body_file(text: str) -> str:
    """The scan that a text names, or "" where there is none or the text cannot be read."""
    try:
        body = tomllib.loads(text).get("body", {})
    except (tomllib.TOMLDecodeError, RecursionError):
        return ""
    file = body.get("file", "") if isinstance(body, dict) else ""
    return file if isinstance(file, str) else ""


def _table(text: str, name: str) -> dict[str, Any]:
    """A table of a readable text, or an empty one."""
    found = tomllib.loads(text).get(name, {})
    return found if isinstance(found, dict) else {}


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _free(path: Path) -> Path:
    """The path, or the first of its kind with a number that no file has yet."""
    tries = [path, *(path.with_stem(f"{path.stem}-{k}") for k in range(2, 1000))]
    for candidate in tries:
        if not candidate.exists():
            return candidate
    raise OutputError(f"{path.parent} is full of files called {path.stem}; clear some away.")


def _collect(order: Order, number: int) -> Result:
    """The files of a finished build by the names under which they may be asked for."""
    out = order.out
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    files = {n: out / n for n in (*DOWNLOADS, SCENE, SEWN)}
    files |= {p.name: p for p in sorted(out.glob("lay-*.svg"))}
    there = {n: p for n, p in files.items() if p.is_file()}
    return Result(number, order.text, MappingProxyType(report), MappingProxyType(there))
