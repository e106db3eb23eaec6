"""What a page may ask of a session, by name, whatever carries the message there.

A question is {"id", "ask", ...}; its answer carries the same id and either "value" or "error", one
sentence, with "kind": malformed (not what a page sends), changed (made to an older text), refused.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.errors import InputError, PadlibError
from padlib.mesh.surface import Point
from padlib.suit.extras import written
from padlib.suit.file import Suit
from padlib.suit.schema import SEAMS
from padlib.workshop.edit import Value, set_value, with_seams
from padlib.workshop.frames import Blocks, message, parts
from padlib.workshop.grip import Grip, gripped
from padlib.workshop.live import News
from padlib.workshop.session import Changed, Session
from padlib.workshop.shape import MOST_POINTS, Held, OwnLine, Shape
from padlib.workshop.work import SEAMS as SEEK

Given = Mapping[str, Any]
DRAWN = {"pad": "pads", "seam": "drawn", "mark": "marks", "pile": "strokes"}  # of a Suit
ACROSS = 0.25  # of its reach to one side by which a loop reaches to the other to be one on both
DEPTH = 30.0  # mm of a newly drawn pad; its slider is there at once
NEW_RIM = 30.0


class Malformed(PadlibError):
    """Raised for a question that no page of ours sends."""


@dataclass(frozen=True)
class Block:
    """A value with bytes behind it."""

    value: Any
    data: bytes


class Desk:
    """Answers the questions of one page. Safe to call from several threads."""

    def __init__(self, session: Session) -> None:
        """Serve a session."""
        self.session = session
        self._held: tuple[int, str, Held] | None = None
        self._grip: tuple[int, Grip] | None = None
        self._guard = threading.Lock()
        self._acts: dict[str, Callable[[Given], Any]] = {
            "state": lambda _: session.state(),
            "progress": lambda _: session.progress(),
            "result": lambda _: session.shown(),
            "text": self._text,
            "value": self._value,
            "undo": self._then(lambda _: session.undo()),
            "redo": self._then(lambda _: session.redo()),
            "save": self._then(lambda given: session.save(over=given.get("over") is True)),
            "build": self._then(lambda _: session.build()),
            "suggest": self._then(lambda _: session.build(SEEK)),
            "stop": self._then(lambda _: session.stop()),
            "file": self._file,
            "look": self._look,
            "way": self._way,
            "pad": self._pad,
            "seam": self._seam,
            "mark": self._mark,
            "remark": self._remark,
            "pile": self._stroke,
            "move": self._move,
            "drop": self._drop,
            "dart": self._dart,
            "hold": self._hold,
            "drag": self._drag,
            "steer": self._steer,
            "pin": self._pin,
        }

    def answer(self, data: bytes) -> bytes:
        """The answer to a message; whatever it holds, an answer comes back."""
        number: int | None = None
        try:
            text, _ = parts(data)
            number = _whole(text, "id", 0, 2**53)
            act = self._acts.get(text.get("ask", "") if isinstance(text.get("ask"), str) else "")
            if act is None:
                raise Malformed("There is no such thing to do in the workshop.")
            value = act(text)
        except Changed as e:
            return message({"id": number, "error": str(e), "kind": "changed"})
        except Malformed as e:
            return message({"id": number, "error": str(e), "kind": "malformed"})
        except (PadlibError, ValueError) as e:
            kind = "malformed" if number is None else "refused"
            return message({"id": number, "error": str(e), "kind": kind})
        if isinstance(value, News):
            told = value.text | {"number": value.number}
            return message({"id": number, "value": told}, value.block)
        if isinstance(value, Block):
            return message({"id": number, "value": value.value}, value.data)
        if isinstance(value, tuple):
            told, blocks = value
            return blocks.message({"id": number, "value": told})
        return message({"id": number, "value": value})

    def _then(self, act: Callable[[Given], object]) -> Callable[[Given], dict[str, Any]]:
        def both(given: Given) -> dict[str, Any]:
            act(given)
            return self.session.state()

        return both

    # The text -------------------------------------------------------------------------------------

    def _text(self, given: Given) -> dict[str, Any]:
        stroke = _word(given, "stroke", "")
        revision = _whole(given, "revision", 0, 2**53)
        self.session.change(_word(given, "text"), stroke=stroke, revision=revision)
        return self.session.state()

    def _value(self, given: Given) -> dict[str, Any]:
        path, value, stroke = given.get("path"), given.get("value"), _word(given, "stroke", "")
        named = isinstance(path, list) and 2 <= len(path) <= 4
        if not named or not all(type(p) in (str, int) for p in path) or type(path[-1]) is not str:
            raise Malformed("A value needs the path of its key.")
        if not (value is None or isinstance(value, str | int | float)):
            raise Malformed("A value is a number, a word or a yes or no.")
        self.session.set(tuple(path), value, stroke=stroke)
        return self.session.state()

    def _file(self, given: Given) -> Block:
        """One file of the newest pattern, by a name that the session listed."""
        name = _word(given, "name")
        data = self.session.file(name)
        return Block({"name": name} if data is not None else None, data or b"")

    # Looks ----------------------------------------------------------------------------------------

    def _look(self, given: Given) -> News | None:
        """The next news after those known; the first question starts the looking."""
        known = _whole(given, "known", 0, 2**53)
        wait = given.get("wait", 10.0)
        if isinstance(wait, bool) or not isinstance(wait, int | float) or not 0 <= wait <= 20:
            raise Malformed("A look waits for 0 to 20 seconds.")
        if known == 0 and not self.session.looking:
            self.session.look()
        return self.session.live.after(known, float(wait))

    def _shape(self, given: Given) -> Shape:
        shape, news = self.session.live.shape, self.session.live.news.get("shape")
        if shape is None or news is None:
            raise InputError("The figure is not there yet; wait until it is drawn.")
        if _whole(given, "shape", 0, 2**53) != news.number:
            raise InputError("The figure has just changed; do that once more.")
        return shape

    # Drawing --------------------------------------------------------------------------------------

    def _way(self, given: Given) -> tuple[dict[str, Any], Blocks]:
        shape, points = self._shape(given), _points(given)
        closed = given.get("closed") is True and len(points) > 2
        line = shape.way(shape.points(points), closed=closed, smooth=given.get("round") is True)
        blocks = Blocks()
        length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
        return {"line": blocks.keep(line.astype("<f4")), "length_mm": round(length, 1)}, blocks

    def _drawn(self, given: Given, least: int, words: str) -> tuple[Shape, list[Point]]:
        """The shape and the points drawn on it; words: what is said where they are fewer than the least."""
        shape, points = self._shape(given), _points(given)
        if len(points) < least:
            raise InputError(f"{words}; click once more.")
        return shape, shape.points(points)

    def _pad(self, given: Given) -> dict[str, Any]:
        """A new pad inside a drawn loop."""
        shape, drawn = self._drawn(given, 3, "An outline needs at least three places")
        places = shape.on_body(drawn)
        size = float(np.linalg.norm(np.ptp(places, axis=0)))
        values = {
            "name": self._free("pad", _word(given, "name", "drawn") or "drawn"),
            "kind": "drawn",
            "side": _side(given, places),
            "outline": shape.spots(drawn),
            "depth": round(min(DEPTH, 0.25 * size), 1),
            "rim": NEW_RIM,
        }
        self.session.add("pad", values)
        return self.session.state()

    def _seam(self, given: Given) -> dict[str, Any]:
        """A new seam of the maker's through drawn points."""
        closed = given.get("closed") is True
        least = 3 if closed else 2
        shape, drawn = self._drawn(given, least, "A seam needs two places, a closed one three")
        if not closed:
            ends = shape.to_seam(drawn[0], drawn[1]), shape.to_seam(drawn[-1], drawn[-2])
            drawn = [ends[0], *drawn[1:-1], ends[1]]
        values = {
            "name": self._free("seam", _word(given, "name", "drawn") or "drawn"),
            "through": shape.spots(drawn),
        }
        self.session.add("seam", values | ({"closed": True} if closed else {}))
        return self.session.state()

    def _mark(self, given: Given) -> dict[str, Any]:
        """A new mark inside a drawn loop: another cloth set in, one there is or a new one, or a drawn line."""
        shape, drawn = self._drawn(given, 3, "A mark needs at least three places")
        style = _one(given, "style", ("inset", "line"))
        cloth, colour = _word(given, "cloth", ""), _word(given, "colour", "")
        new: dict[str, Value] | None = None
        if style == "inset" and not cloth:
            if not re.fullmatch("#[0-9a-fA-F]{6}", colour):
                raise Malformed("A colour is written as #rrggbb.")
            cloth = self._free("cloth", "colour")
            new = {"use": "parts", "colour": colour}
        values: dict[str, Value] = {
            "name": self._free("mark", _word(given, "name", "mark") or "mark"),
            "style": style,
            "side": _side(given, shape.on_body(drawn)),
            "through": shape.spots(drawn),
        }
        if style == "inset":
            values["cloth"] = cloth
        self.session.add("mark", values, cloth=None if new is None else (cloth, new))
        return self.session.state()

    def _remark(self, given: Given) -> dict[str, Any]:
        """Another cloth for a mark; without a cloth's name it is a drawn line."""
        marks, number = self._suit().marks, _whole(given, "number", 0, 10_000)
        if number >= len(marks):
            raise InputError("That mark is not in the suit file any more.")
        cloth = _word(given, "cloth", "")
        changes = {"style": "inset", "cloth": cloth} if cloth else {"style": "line"}
        text = self.session.text
        for key, value in changes.items():
            text = set_value(text, ("mark", number, key), value)
        self.session.change(text)
        return self.session.state()

    def _stroke(self, given: Given) -> dict[str, Any]:
        """A new stroke that the pile follows, in the direction in which it was drawn."""
        shape, drawn = self._drawn(given, 2, "A stroke needs at least two places")
        values: dict[str, Value] = {
            "name": self._free("pile", _word(given, "name", "stroke") or "stroke"),
            "side": _side(given, shape.on_body(drawn)),
            "through": shape.spots(drawn),
        }
        self.session.add("pile", values)
        return self.session.state()

    def _suit(self) -> Suit:
        suit = self.session.suit
        if suit is None:
            raise InputError("The suit file has a mistake; mend the marked line first.")
        return suit

    def _free(self, table: str, name: str) -> str:
        """A name that no other entry of the table has."""
        suit = self._suit()
        entries = suit.cloths if table == "cloth" else getattr(suit, DRAWN[table])
        taken = {e.name for e in entries}
        numbers = (f"{name}-{k}" for k in range(1, 10_000))
        return next(n for n in numbers if n not in taken)

    def _move(self, given: Given) -> dict[str, Any]:
        """A point of an own seam, mark or stroke put elsewhere; the other points stay as they are written."""
        shape, points = self._shape(given), _points(given)
        table = _one(given, "table", ("seam", "mark", "pile"))
        entries, number = getattr(self._suit(), DRAWN[table]), _whole(given, "number", 0, 10_000)
        if number >= len(entries):
            raise InputError("That line is not in the suit file any more.")
        own = entries[number]
        key = "through" if own.through else "at"
        spots = [written(p) for p in getattr(own, key)]
        at = _whole(given, "point", 0, MOST_POINTS)
        if at >= len(spots):
            raise InputError("That point is not on the line any more.")
        spots[at] = shape.spots(shape.points(points[:1]))[0]
        self.session.set((table, number, key), spots)
        return self.session.state()

    def _drop(self, given: Given) -> dict[str, Any]:
        table = _one(given, "table", ("pad", "seam", "mark", "pile", "dart"))
        self.session.drop(table, _whole(given, "number", 0, 10_000))
        return self.session.state()

    def _dart(self, given: Given) -> dict[str, Any]:
        """A dart of the newest flats kept as it is, or forbidden where it is."""
        news = self.session.live.news.get("flats")
        panel, number = _word(given, "panel"), _whole(given, "number", 0, 100)
        found = [] if news is None else news.text["scene"]["panels"]
        darts = next((p["held"] for p in found if p["name"] == panel), [])
        if number >= len(darts):
            raise InputError("That dart is not there any more; look at the panel again.")
        dart = darts[number]
        if _one(given, "state", ("pin", "forbid")) == "pin":
            self.session.add("dart", {"panel": panel, "from": dart["mouth"], "to": dart["tip"]})
        else:
            values = {"state": "forbid", "panel": panel, "from": dart["mouth"], "radius": 40}
            self.session.add("dart", values)
        return self.session.state()

    # Dragging -------------------------------------------------------------------------------------

    def _hold(self, given: Given) -> tuple[dict[str, Any], Blocks]:
        """Take a seam in hand, one of the maker's by its number or one of the plan's by its name: the forecast of the
        whole figure as it is."""
        shape, blocks = self._shape(given), Blocks()
        if "line" not in given:
            return {
                "stretch": blocks.keep(self._in_hand(shape, given).stretch().astype("<f4"))
            }, blocks
        at = shape.points(_points(given)[:1]) if "points" in given else None
        grip = gripped(shape, _word(given, "line"), None if at is None else shape.places(at)[0])
        with self._guard:
            self._grip = _whole(given, "shape", 0, 2**53), grip
        return {"stretch": blocks.keep(grip.held.stretch().astype("<f4"))}, blocks

    def _drag(self, given: Given) -> tuple[dict[str, Any], Blocks]:
        """The seam's line and the forecast about it with one point elsewhere; nothing is kept."""
        shape, told = self._shape(given), {}
        if "line" in given:
            grip = self._gripped(shape, given)
            told["numbers"], told["ends"] = self._asked(grip, given)
            lines, held = grip.lines(told["numbers"]), grip.held
        else:
            own = _own_seam(shape, given["seam"])
            held, points = self._in_hand(shape, given), shape.points(_points(given))
            assert own is not None  # it is in hand
            lines = [shape.way(points, closed=own.closed, smooth=own.round)]
        vertices, stretch = held.moved(*lines)
        blocks = Blocks()
        pairs = [np.repeat(line, 2, axis=0)[1:-1] for line in lines if len(line) > 1]
        told |= {
            "pairs": blocks.keep(np.concatenate([np.zeros((0, 3)), *pairs]).astype("<f4")),
            "vertices": blocks.keep(vertices.astype("<u4")),
            "stretch": blocks.keep(stretch.astype("<f4")),
        }
        return told, blocks

    def _steer(self, given: Given) -> dict[str, Any]:
        """The numbers of the plan with which its seam runs where it was let go, kept in the suit file."""
        numbers, _ = self._asked(self._gripped(self._shape(given), given), given)
        if not numbers:
            raise InputError("The seam stays where it is just there; take it farther along.")
        self._suit()
        self.session.change(with_seams(self.session.text, numbers, ()))
        return self.session.state()

    def _asked(self, grip: Grip, given: Given) -> tuple[dict[str, float], bool]:
        """The numbers asked for, or those that bring the seam through the first point; whether they go no farther."""
        asked = given.get("numbers")
        if asked is None:
            to = grip.shape.places(grip.shape.points(_points(given)[:1]))[0]
            numbers = grip.numbers(to)
            return numbers, grip.ends(to, numbers)
        fair = isinstance(asked, dict) and 0 < len(asked) < 3
        if not fair or not all(type(v) in (int, float) and abs(v) < 1e4 for v in asked.values()):
            raise Malformed("Numbers of the plan are given by their names.")
        numbers = grip.within(asked)
        return numbers, any(abs(numbers[k] - asked[k]) > 0.1 for k in numbers)

    def _gripped(self, shape: Shape, given: Given) -> Grip:
        """The plan's seam in hand, taken in its middle where it was not taken yet."""
        number, seam = _whole(given, "shape", 0, 2**53), _word(given, "line")
        with self._guard:
            known = self._grip
        same = known is not None and known[0] == number and known[1].seam == seam
        if same and known[1].shape is shape:
            return known[1]
        grip = gripped(shape, seam, key=known[1].key if same else "")  # seams were cut meanwhile
        with self._guard:
            self._grip = number, grip
        return grip

    def _pin(self, given: Given) -> dict[str, Any]:
        """A seam of the plan that suggestions leave where it is, or may move again; a panel that they part no more."""
        key = _one(given, "key", ("pinned", "whole"))
        name, now = _one(given, "name", SEAMS[key].choices), list(self._suit().seams[key])
        kept = given.get("on") is True
        if kept != (name in now):
            names = [n for n in SEAMS[key].choices if (kept if n == name else n in now)]
            self.session.set(("seams", key), names or None)
        return self.session.state()

    def _in_hand(self, shape: Shape, given: Given) -> Held:
        number, key = _whole(given, "seam", 0, 10_000), _whole(given, "shape", 0, 2**53)
        own = _own_seam(shape, number)
        if own is None:
            raise InputError("That seam is not cut yet; wait until the panels are drawn.")
        with self._guard:
            if (
                self._held is None
                or self._held[:2] != (key, own.name)
                or self._held[2].shape is not shape
            ):
                self._held = (key, own.name, shape.held(own.name))
            return self._held[2]


def _own_seam(shape: Shape, number: int) -> OwnLine | None:
    """The maker's own seam of a number, where it is cut."""
    return next((s for s in shape.own if (s.table, s.number) == ("seam", number)), None)


def _side(given: Given, places: NDArray[np.float64]) -> str:
    """The side of what is drawn: both where it reaches over the middle or is to be there on both sides."""
    right, left = -places[:, 0].min(), places[:, 0].max()
    if min(left, right) > ACROSS * max(left, right):
        return "both"
    if _one(given, "side", ("both", "this")) == "both":
        return "both"
    return "left" if places[:, 0].mean() > 0 else "right"


def _points(given: Given) -> Sequence[Sequence[float]]:
    """Points as [face, a, b, c]."""
    points = given.get("points")
    if not isinstance(points, list) or not 0 < len(points) <= MOST_POINTS:
        raise Malformed(f"A line has 1 to {MOST_POINTS} points.")
    for p in points:
        if not isinstance(p, list) or len(p) != 4 or type(p[0]) is not int:
            raise Malformed("A point is a triangle and three weights.")
        if not all(isinstance(w, int | float) and not isinstance(w, bool) for w in p):
            raise Malformed("A point is a triangle and three weights.")
        if not all(-10 < w < 10 for w in p[1:]):
            raise Malformed("A point is a triangle and three weights.")
    return points


def _word(given: Given, key: str, default: str | None = None) -> str:
    value = given.get(key, default)
    if not isinstance(value, str):
        raise Malformed(f"'{key}' must be a text.")
    return value


def _one(given: Given, key: str, choices: Sequence[str]) -> str:
    value = _word(given, key, choices[0])
    if value not in choices:
        raise Malformed(f"'{key}' must be one of {', '.join(choices)}.")
    return value


def _whole(given: Given, key: str, least: int, most: int) -> int:
    value = given.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise Malformed(f"'{key}' must be a whole number.")
    return value
