"""From blanks to pieces: numbers, labels and pile arrow for the parts that no flattening gives."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry import Polygon

from padlib.findings import Finding, Grade
from padlib.pattern.label import edge_label, notch_room, place_block
from padlib.pattern.lettering import clean
from padlib.pattern.parts.part import Blank, Copy, Made
from padlib.pattern.piece import Inner, Piece

LETTERED = re.compile("([A-Z]+)[0-9]*(/[A-Z]+)*")  # notches of seams, and where two meet
NUMBERED = re.compile("\u2192 [0-9]+ ")  # pieces that an edge is sewn to
SAME = 0.01  # of its area by which a piece may differ from its mirror image and be the same to cut


def part_numbers(parts: Sequence[Made], first: int) -> dict[str, int]:
    """Number of each blank by its name, counted on from `first`."""
    names = [blank.name for made in parts for blank in made.blanks]
    return {name: first + k for k, name in enumerate(names)}


def part_pieces(
    parts: Sequence[Made], panels: Sequence[Piece], allowance_mm: float, lined: Sequence[Piece] = ()
) -> tuple[Piece, ...]:
    """Pieces of all parts: blanks first, then copies of panels, numbered on from the panels' pieces.

    lined: pieces of whole panels, which are copied in the place of panels that marks part.
    """
    numbers = part_numbers(parts, len(panels) + 1)
    out = [
        _piece(numbers[blank.name], blank, allowance_mm) for made in parts for blank in made.blanks
    ]
    by_panel = {name: piece for piece in (*panels, *lined) for name in piece.panels}
    copies = [copy for made in parts for copy in made.copies]
    first = len(panels) + len(out) + 1
    out += [_copy(first + k, copy, by_panel[copy.panel]) for k, copy in enumerate(copies)]
    return tuple(out)


def drawn_on(parts: Sequence[Made]) -> Mapping[str, tuple[Inner, ...]]:
    """Lines that parts draw on panels, by the panel's name."""
    out: dict[str, tuple[Inner, ...]] = {}
    for made in parts:
        for panel, line in made.drawn:
            out[panel] = (*out.get(panel, ()), line)
    return out


def _piece(number: int, blank: Blank, allowance_mm: float) -> Piece:
    """The piece of a blank."""
    inside = Polygon(blank.sew_line)
    written = [notch_room(n) for n in blank.notches]
    folds = [shapely.LineString(line.points).buffer(1.5) for line in blank.inner]
    taken = [*written, *folds]
    labels, findings = [], []
    for words, run in blank.edges:
        text = clean(words)
        either = (text, text.split(",")[0])
        label, box, fits = edge_label(either, run, inside, taken)
        if not fits:
            label, box, _ = edge_label(either, run, inside, written)
        labels.append(label)
        taken.append(box)
        written.append(box)
    # a narrow piece takes its words over fold lines, the smallest over its edge, but never words over words
    full, brief = _words(number, blank, allowance_mm), _brief(number, blank)
    short = (
        f"{number}  {clean(blank.name)}",
        _cut(blank.count, blank.mirrored, _face(blank)),
        clean(blank.cloth),
    )
    whole = Polygon(blank.cut_line)
    for block, area, busy in (
        (full, inside, taken),
        (brief, inside, taken),
        (brief, inside, written),
        (short, inside, written),
        (full, whole, written),
        (brief, whole, written),
        (short, whole, written),
        (brief, inside, written),
    ):
        placed = place_block(block, area, busy)
        if placed.fits:
            break
    if not placed.fits:
        words = "the piece is too small for its label; its words reach beyond the sew line"
        findings.append(Finding(702, words, blank.name, Grade.NOTE))
    outline = Polygon(blank.cut_line)
    return Piece(
        number,
        clean(blank.name),
        blank.side,
        blank.cloth,
        blank.count,
        blank.mirrored,
        blank.cut_line,
        blank.sew_line,
        tuple((clean(words), run) for words, run in blank.edges),
        blank.notches,
        (),
        tuple(labels),
        block,
        placed.pile,
        outline.area / 100.0,
        outline.length,
        label_at=placed.at,
        label_mm=placed.height_mm,
        allowance_mm=allowance_mm,
        findings=tuple(findings),
        inner=blank.inner,
        kind="part",
    )


def _cut(count: int, mirrored: bool, face: str = "") -> str:
    """How often a piece is cut, and how it lies on the back of the cloth where that matters, in words."""
    half = count // 2
    if mirrored:
        return f"cut {count}: {half} face up, {count - half} face down"
    return f"cut {count}, face {face}" if face else f"cut {count}"


def _face(blank: Blank) -> str:
    """How a blank lies on the back of the cloth: down, or "" where it is its own mirror image."""
    shape = Polygon(blank.cut_line)
    x0, _, x1, _ = shape.bounds
    image = Polygon(blank.cut_line * [-1.0, 1.0] + [x0 + x1, 0.0])
    return "" if shape.symmetric_difference(image).area < SAME * shape.area else "down"


def _words(number: int, blank: Blank, allowance_mm: float) -> tuple[str, ...]:
    """The block of words of a blank."""
    lines = [f"{number}  {clean(blank.name)}", _cut(blank.count, blank.mirrored, _face(blank))]
    lines += [
        clean(blank.cloth),
        *map(clean, blank.notes),
        f"allowance {allowance_mm:g} mm included",
    ]
    return tuple(line for line in lines if line)


def _brief(number: int, blank: Blank) -> tuple[str, ...]:
    """The block of words of a narrow blank, on two lines."""
    rest = ", ".join(line for line in (clean(blank.cloth), *map(clean, blank.notes)) if line)
    cut = _cut(blank.count, blank.mirrored, _face(blank))
    return (f"{number}  {clean(blank.name)}: {cut}", rest)


def own_letters(piece: Piece) -> Piece:
    """A piece to be copied whose letters are not those of the suit's pieces: they get an L, numbers are left out."""
    notches = tuple(
        replace(n, pair=_own(n.pair)) if LETTERED.fullmatch(n.pair) else n for n in piece.notches
    )
    labels = tuple(
        replace(e, text=NUMBERED.sub("\u2192 ", re.sub("^[A-Z/]+:", lambda m: _own(m[0]), e.text)))
        for e in piece.edge_labels
    )
    return replace(piece, notches=notches, edge_labels=labels)


def _own(letters: str) -> str:
    return re.sub("([A-Z]+)", r"L\1", letters)


def _copy(number: int, copy: Copy, piece: Piece) -> Piece:
    """A panel's piece once more, from another cloth."""
    name = f"{clean(copy.name)} {piece.name}"
    labels = (
        f"{number}  {name}",
        _cut(piece.count, piece.mirrored, "up"),
        clean(copy.cloth),
        f"like {piece.name}: sew the linings to each other",
        f"allowance {piece.allowance_mm:g} mm included",
    )
    inside = Polygon(piece.sew_line).buffer(0)
    taken = [notch_room(n) for n in piece.notches]
    taken += [shapely.Point(label.at).buffer(12.0) for label in piece.edge_labels]
    taken += [shapely.LineString(dart).buffer(2.0) for dart in piece.darts]
    placed = place_block(labels, inside, taken)
    return replace(
        piece,
        number=number,
        name=name,
        cloth=copy.cloth,
        labels=labels,
        label_at=placed.at,
        label_mm=placed.height_mm,
        pile=placed.pile,
        panels=(),
        findings=(),
        inner=(),
        kind="part",
        face="up",
    )
