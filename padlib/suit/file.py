"""The suit file: one readable TOML file that says the whole suit."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from padlib.errors import InputError, SuitError
from padlib.flatten import cloth as fabric
from padlib.padding.pad import Pad
from padlib.padding.shapes import KINDS, checked
from padlib.padding.shapes.parameter import settled
from padlib.padding.spot import Spot
from padlib.pattern.closure import CHAINS, Joined
from padlib.pattern.parts import KINDS as PART_KINDS
from padlib.pattern.purpose import EdgeRule
from padlib.suit.extras import pad_value
from padlib.suit.lines import key_lines, line_of
from padlib.suit.mark_file import AskedMark, Stroke, read_marks, read_strokes
from padlib.suit.reading import (
    Reader,
    file_name,
    nearest,
    need_array,
    need_table,
    new_name,
    numbers,
    points,
    settings,
)
from padlib.suit.schema import (
    BORNE,
    CLOTH,
    DART,
    EASE,
    EDGE,
    JOINED,
    PAD,
    PART,
    SEAM,
    TABLES,
    TOP,
)

MOST_BYTES = 2_000_000


@dataclass(frozen=True)
class Cloth:
    """One cloth: name, words, cuttable width mm, panels cut from it, mass g/m2, what it bears (None:
    the same in all directions, with the limit of [darts]); use: panels, or only parts that name it;
    price of a metre; pile: one-way, two-way or none; tilt: of pieces on it, degrees; avoid: spoiled
    places (x, y, width, height), mm; colour: #rrggbb or "" for a tone of its own."""

    name: str
    words: str
    width: float
    pieces: tuple[str, ...]
    mass: float
    bears: fabric.Cloth | None = None
    use: str = "panels"
    price: float = 0.0
    pile: str = "one-way"
    tilt: float = 0.0
    avoid: tuple[tuple[float, float, float, float], ...] = ()
    colour: str = ""


@dataclass(frozen=True)
class DrawnSeam:
    """A seam drawn by the maker: through landmarks or other places on the body."""

    name: str
    through: tuple[Spot, ...]
    closed: bool
    kind: str
    line: int | None = None
    round: bool = False


@dataclass(frozen=True)
class AskedEase:
    """Ease asked for on a seam: panel longer by percent, all along or between two places."""

    seam: str
    panel: str
    percent: float
    between: tuple[str | tuple[float, float, float], ...] = ()
    line: int | None = None


@dataclass(frozen=True)
class AskedDart:
    """A dart that is pinned, from start to end on a panel, or a place or seam that darts keep off.

    state: pin or forbid; start, end: landmark names or points on the shell; radius: mm.
    """

    state: str
    panel: str
    start: str | tuple[float, float, float]
    end: str | tuple[float, float, float]
    seam: str
    radius: float
    line: int | None = None


@dataclass(frozen=True)
class AskedPart:
    """A part that no flattening gives: its kind, cloth ("": of the panels), numbers, and where it goes."""

    name: str
    kind: str
    cloth: str
    side: str
    seam: str
    panels: tuple[str, ...]
    at: str | tuple[float, float, float]
    values: Mapping[str, float]
    line: int | None = None


@dataclass(frozen=True)
class Suit:
    """What a suit file says, checked. Tables that are plain settings are mappings of their keys."""

    name: str
    words: str
    body: Mapping[str, Any]
    measurements: Mapping[str, float]
    landmarks: Mapping[str, tuple[float, float, float]]
    shell: Mapping[str, Any]
    pads: tuple[Pad, ...]
    seams: Mapping[str, Any]
    closure: Mapping[str, Any]
    drawn: tuple[DrawnSeam, ...]
    darts: Mapping[str, Any]
    cloths: tuple[Cloth, ...]
    pieces: Mapping[str, Any]
    sewing: Mapping[str, Any]
    lay: Mapping[str, Any]
    paper: Mapping[str, Any]
    proof: Mapping[str, Any]
    pillows: Mapping[str, Any]
    folder: Path = field(default=Path("."), compare=False)
    ease: tuple[AskedEase, ...] = ()
    dart: tuple[AskedDart, ...] = ()
    parts: tuple[AskedPart, ...] = ()
    joined: tuple[Joined, ...] = ()
    edges: tuple[EdgeRule, ...] = ()
    marks: tuple[AskedMark, ...] = ()
    strokes: tuple[Stroke, ...] = ()


def read_suit(path: str | Path) -> Suit:
    """The suit that a TOML file says. Raises SuitError in one sentence, with the line."""
    path = Path(path)
    if "\0" in str(path):
        raise SuitError("a suit file's name cannot hold a NUL; check the name.")
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise SuitError(
                f"{path.name}: {size} bytes is too long for a suit file; the most is {MOST_BYTES}."
            )
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError:
        raise SuitError(f"{path.name}: not a text file in UTF-8; save it as plain text.") from None
    except OSError as e:
        raise SuitError(
            f"{path}: cannot be read ({e.strerror}); check the name and the folder."
        ) from None
    return parse_suit(text, name=path.name, folder=path.parent)


def parse_suit(text: str, *, name: str = "suit file", folder: Path | None = None) -> Suit:
    """The suit that a TOML text says; name and folder are for messages and for files it names."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as e:
        raise SuitError(f"{name}: not a readable TOML text: {str(e).rstrip('.')}.") from None
    reader = Reader(name, key_lines(text))
    return _suit(data, reader, folder or Path("."))


def _suit(data: dict[str, Any], reader: Reader, folder: Path) -> Suit:
    arrays = {"pad", "seam", "cloth", "ease", "dart", "part", "joined", "edge", "mark", "pile"}
    known = set(TOP) | set(TABLES) | arrays
    for key in data:
        if key not in known:
            raise reader.wrong((key,), f"'{key}' is unknown; {nearest(key, known)}")
    top = settings(reader, (), {k: v for k, v in data.items() if k in TOP}, TOP)
    tables = {}
    for table, keys in TABLES.items():
        given = need_table(reader, (table,), data.get(table, {}))
        inner = ("measurements", "landmarks") if table == "body" else ()
        tables[table] = settings(
            reader, (table,), {k: v for k, v in given.items() if k not in inner}, keys, extra=inner
        )
    body = data.get("body", {})
    cloths = _cloths(reader, data.get("cloth", {}))
    return Suit(
        name=file_name(reader, top["name"]),
        words=top["words"],
        measurements=numbers(reader, ("body", "measurements"), body.get("measurements", {})),
        landmarks=points(reader, ("body", "landmarks"), body.get("landmarks", {})),
        pads=_pads(reader, data.get("pad", []), folder),
        drawn=_drawn(reader, data.get("seam", [])),
        cloths=cloths,
        ease=_eases(reader, data.get("ease", [])),
        dart=_asked_darts(reader, data.get("dart", [])),
        edges=_edges(reader, data.get("edge", [])),
        joined=_joined(reader, data.get("joined", [])),
        parts=_asked_parts(reader, data.get("part", []), [c.name for c in cloths]),
        marks=read_marks(reader, data.get("mark", []), [c.name for c in cloths]),
        strokes=read_strokes(reader, data.get("pile", [])),
        folder=folder,
        **tables,
    )


def _pads(reader: Reader, given: object, folder: Path) -> tuple[Pad, ...]:
    pads: list[Pad] = []
    for i, entry in enumerate(need_array(reader, "pad", given)):
        plain = settings(reader, ("pad", i), {k: v for k, v in entry.items() if k in PAD}, PAD)
        kind = plain["kind"]
        if kind not in KINDS:
            raise reader.wrong(
                ("pad", i, "kind"), f"pad kind '{kind}' is unknown; {nearest(kind, KINDS)}"
            )
        name = plain["name"] or kind
        extras = getattr(KINDS[kind], "EXTRAS", {})
        rest = {
            k: pad_value(reader, ("pad", i, k), v, folder) if k in extras else v
            for k, v in entry.items()
            if k not in PAD
        }
        pad = Pad(name, kind, plain["side"], MappingProxyType(rest))
        try:
            checked(pad)
        except InputError as e:
            at = next((k for k in (*rest, "side") if f"'{k}'" in str(e)), "kind")
            at = "side" if " side " in str(e) else at
            raise reader.wrong(("pad", i, at), str(e)) from None
        new_name(reader, ("pad", i), "pad", name, [p.name for p in pads])
        pads.append(pad)
    return tuple(pads)


def _drawn(reader: Reader, given: object) -> tuple[DrawnSeam, ...]:
    seams: list[DrawnSeam] = []
    for i, entry in enumerate(need_array(reader, "seam", given)):
        plain = settings(reader, ("seam", i), entry, SEAM)
        name = plain["name"] or f"seam-{i + 1}"
        new_name(reader, ("seam", i), "seam", name, [s.name for s in seams])
        if len(plain["through"]) < (3 if plain["closed"] else 2):
            raise reader.wrong(
                ("seam", i, "through"),
                f"seam '{name}' needs at least {3 if plain['closed'] else 2} points.",
            )
        line = line_of(dict(reader.lines), ("seam", i))
        told = {key: plain[key] for key in ("through", "closed", "kind", "round")}
        seams.append(DrawnSeam(name, line=line, **told))
    return tuple(seams)


def _eases(reader: Reader, given: object) -> tuple[AskedEase, ...]:
    eases = []
    for i, entry in enumerate(need_array(reader, "ease", given)):
        percent = entry.get("percent")
        if isinstance(percent, int | float) and percent < 0:
            words = (
                f"'percent' is {percent:g}, but ease is only ever put in, never taken out; name the "
                "panel on the other side of the seam instead."
            )
            raise reader.wrong(("ease", i, "percent"), words)
        plain = settings(reader, ("ease", i), entry, EASE)
        for key in ("seam", "panel"):
            if not plain[key]:
                raise reader.wrong(("ease", i), f'this ease names no {key}; add {key} = "...".')
        if len(plain["between"]) not in (0, 2):
            words = f"'between' needs two places, not {len(plain['between'])}."
            raise reader.wrong(("ease", i, "between"), words)
        eases.append(AskedEase(**plain, line=line_of(dict(reader.lines), ("ease", i))))
    return tuple(eases)


def _asked_darts(reader: Reader, given: object) -> tuple[AskedDart, ...]:
    darts = []
    for i, entry in enumerate(need_array(reader, "dart", given)):
        plain = dict(settings(reader, ("dart", i), entry, DART))
        pin = plain["state"] == "pin"
        for key in ("panel", "from", "to") if pin else ():
            if plain[key] == "":
                raise reader.wrong(("dart", i), f"this pinned dart has no '{key}'; add it.")
        if not pin and (plain["from"] == "") == (plain["seam"] == ""):
            words = (
                "darts are forbidden either at a place, 'from', or on a 'seam'; give one of them."
            )
            raise reader.wrong(("dart", i), words)
        ends = {"start": plain.pop("from"), "end": plain.pop("to")}
        darts.append(AskedDart(**plain, **ends, line=line_of(dict(reader.lines), ("dart", i))))
    return tuple(darts)


def _asked_parts(reader: Reader, given: object, cloths: list[str]) -> tuple[AskedPart, ...]:
    """The parts of a suit file, their numbers checked against the limits of their kinds."""
    parts: list[AskedPart] = []
    for i, entry in enumerate(need_array(reader, "part", given)):
        path = ("part", i)
        plain = dict(settings(reader, path, {k: v for k, v in entry.items() if k in PART}, PART))
        kind = plain["kind"]
        if kind not in PART_KINDS:
            hint = nearest(kind, PART_KINDS)
            raise reader.wrong((*path, "kind"), f"part kind '{kind}' is unknown; {hint}")
        plain["name"] = plain["name"] or kind
        new_name(reader, path, "part", plain["name"], [p.name for p in parts])
        if plain["cloth"] and plain["cloth"] not in cloths:
            hint = nearest(plain["cloth"], cloths)
            words = f"there is no cloth '{plain['cloth']}'; {hint} Or add [cloth.{plain['cloth']}]."
            raise reader.wrong((*path, "cloth"), words)
        for need in (n for n in PART_KINDS[kind].needs if not plain[n]):
            words = f"a {kind} needs '{need}'; add it."
            raise reader.wrong(path, words)
        values = {k: v for k, v in entry.items() if k not in PART}
        try:
            settled(
                f"part '{plain['name']}'",
                PART_KINDS[kind].table,
                values,
                PART_KINDS[kind].defaults,
            )
        except InputError as e:
            at = next((k for k in values if f"'{k}'" in str(e)), "kind")
            raise reader.wrong((*path, at), str(e)) from None
        line = line_of(dict(reader.lines), path)
        parts.append(AskedPart(**plain, values=MappingProxyType(values), line=line))
    return tuple(parts)


def _joined(reader: Reader, given: object) -> tuple[Joined, ...]:
    joined: list[Joined] = []
    for i, entry in enumerate(need_array(reader, "joined", given)):
        plain = settings(reader, ("joined", i), entry, JOINED)
        for key in ("name", "seam", "rim"):
            if not plain[key]:
                raise reader.wrong(("joined", i), f"this part has no '{key}'; add it.")
        if plain["chain"] not in CHAINS:
            words = f"'chain' is {plain['chain']}; sizes are {', '.join(map(str, CHAINS))}."
            raise reader.wrong(("joined", i, "chain"), words)
        new_name(reader, ("joined", i), "joined part", plain["name"], [j.name for j in joined])
        own = (plain["name"], plain["seam"], plain["rim"], plain["overlap"], plain["closes"])
        joined.append(Joined(*own, plain["chain"]))
    return tuple(joined)


def _edges(reader: Reader, given: object) -> tuple[EdgeRule, ...]:
    rules = []
    for i, entry in enumerate(need_array(reader, "edge", given)):
        plain = dict(settings(reader, ("edge", i), entry, EDGE))
        if not plain["seam"]:
            raise reader.wrong(("edge", i), 'this edge names no seam; add seam = "...".')
        rules.append(EdgeRule(allowance_mm=plain.pop("allowance"), **plain))
    return tuple(rules)


def _cloths(reader: Reader, given: object) -> tuple[Cloth, ...]:
    table = need_table(reader, ("cloth",), given)
    cloths = []
    for name, entry in table.items():
        plain = settings(reader, ("cloth", name), need_table(reader, ("cloth", name), entry), CLOTH)
        file_name(reader, name)
        if plain["colour"] and not re.fullmatch("#[0-9a-fA-F]{6}", plain["colour"]):
            words = f"'colour' is '{plain['colour']}'; write it as #rrggbb, for example #556b2f."
            raise reader.wrong(("cloth", name, "colour"), words)
        cloths.append(_cloth(name, plain, _bears(reader, name, plain)))
    rest = [c.name for c in cloths if not c.pieces and c.use == "panels"]
    if len(rest) > 1:
        raise reader.wrong(
            ("cloth", rest[1]),
            f"cloths '{rest[0]}' and '{rest[1]}' both take all other pieces; list the pieces of one of them.",
        )
    if not rest:
        cloths.insert(0, _cloth("fur", {k: v.default for k, v in CLOTH.items()}, None))
    return tuple(cloths)


def _cloth(name: str, plain: Mapping[str, Any], bears: fabric.Cloth | None) -> Cloth:
    own = (plain["words"], plain["width"], plain["pieces"], plain["mass"])
    more = {key: plain[key] for key in ("use", "price", "pile", "tilt", "avoid", "colour")}
    return Cloth(name, *own, bears, **more)


def _bears(reader: Reader, name: str, plain: Mapping[str, Any]) -> fabric.Cloth | None:
    """What a cloth bears: the numbers of its kind, with those that the file gives in their place."""
    kind = plain["kind"]
    own = {k: plain[k] for k in BORNE if plain[k] is not None}
    if not kind:
        for key in own:
            words = f"'{key}' of cloth '{name}' needs a kind to go with; add kind = \"KIND\", the nearest of"
            raise reader.wrong(("cloth", name, key), f"{words} {', '.join(fabric.PRESETS)}.")
        return None
    if kind not in fabric.PRESETS:
        hint = nearest(kind, fabric.PRESETS)
        raise reader.wrong(("cloth", name, "kind"), f"cloth kind '{kind}' is unknown; {hint}")
    if "stretch_bias" in own:
        own["shear_deg"] = fabric.shear_of_bias(own.pop("stretch_bias"))
    base = fabric.PRESETS[kind]
    source = f"{', '.join(own)}: the suit file; the rest: {base.source}" if own else base.source
    return replace(base, name=name, words=plain["words"] or base.words, source=source, **own)
