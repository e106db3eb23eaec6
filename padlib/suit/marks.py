"""Marks of a suit: from what the suit file says to loops on the shell, and the field that the pile follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.errors import InputError, MeshError, SuitError
from padlib.flatten.flat import Flat
from padlib.mesh.areas import face_areas
from padlib.mesh.geodesic import Ground, geodesic, ground_of
from padlib.mesh.point import nearest
from padlib.mesh.smooth import smooth_path
from padlib.padding.shell import Shell
from padlib.padding.spot import Spot, on_body
from padlib.pattern.carve import carve
from padlib.pattern.carved import Carved, Colour, outline, tint_of
from padlib.seams.mark_shapes import band, oval
from padlib.seams.marks import Mark
from padlib.seams.panels import Panel
from padlib.seams.place import Place, carry_points
from padlib.suit.file import Suit
from padlib.suit.mark_file import AskedMark
from padlib.suit.sewing import seam_report
from padlib.suit.values import rounded

Array = NDArray[np.float64]

ACROSS = (
    0.25  # as of a drawn pad: a loop that reaches so far over the middle is one mark on both sides
)


@dataclass(frozen=True, eq=False)
class Worn:
    """The wearer's body, its shell as it is cut, and ways over it."""

    body: Body
    shell: Shell
    place: Place
    ground: Ground

    def spots(self, spots: Sequence[Spot], who: str, *, mirrored: bool = False) -> Array:
        """Where places of the body (k) lie on the shell (k, 3). Raises SuitError."""
        try:
            points = on_body(self.body, spots, who, mirrored=mirrored)
        except InputError as why:
            raise SuitError(f"{str(why).rstrip('.')}.") from None
        surface = self.body.surface
        at = {str(k): p.on(surface.vertices, surface.faces) for k, p in enumerate(points)}
        return np.array(list(carry_points(self.body, self.shell, at).values()))


@dataclass(frozen=True, eq=False)
class Marks:
    """Marks on the shell, and which of the suit file's each is."""

    marks: tuple[Mark, ...] = ()
    asked: tuple[AskedMark, ...] = ()


def suit_marks(suit: Suit, body: Body, shell: Shell, place: Place) -> Marks:
    """All marks of a suit as loops on its shell. Raises SuitError in one sentence."""
    if not suit.marks:
        return Marks()
    worn = Worn(body, shell, place, ground_of(place.surface))
    marks, asked = [], []
    for ask in suit.marks:
        own = _DRAW[ask.shape](ask, worn)
        marks += own
        asked += [ask] * len(own)
    return Marks(tuple(marks), tuple(asked))


def _who(ask: AskedMark) -> str:
    return f"{f'line {ask.line}: ' if ask.line else ''}mark '{ask.name}'"


def _sides(ask: AskedMark, at: Array, who: str) -> tuple[str, ...]:
    """The sides on which a mark is drawn, its own first; ("both",) where it lies across the middle."""
    x = at[:, 0]
    if min(-x.min(), x.max()) > ACROSS * max(-x.min(), x.max()):
        if ask.side != "both":
            raise SuitError(
                f"{who} lies across the middle, so side cannot be '{ask.side}'; leave side out."
            )
        return ("both",)
    return ("left", "right") if ask.side == "both" else (ask.side,)


def _loop(ask: AskedMark, worn: Worn) -> list[Mark]:
    who = _who(ask)
    at = worn.spots(ask.through, who)
    drawn = "left" if at[:, 0].mean() > 0 else "right"
    out = []
    for side in _sides(ask, at, who):
        if side not in ("both", drawn):
            at = worn.spots(ask.through, who, mirrored=True)
        v, f = worn.place.surface.vertices, worn.place.surface.faces
        points = nearest(v, f, at)
        draw = smooth_path if ask.round else geodesic
        try:
            curve = draw(v, f, points, closed=True, ground=worn.ground)
        except (MeshError, InputError) as why:
            raise SuitError(f"{who} cannot be drawn through its places ({why}).") from None
        out.append(Mark(_named(ask.name, side), (curve,)))
        at = worn.spots(ask.through, who)
    return out


def _oval(ask: AskedMark, worn: Worn) -> list[Mark]:
    who = _who(ask)
    out: list[Mark] = []
    many = len(ask.at) > 1
    for k, spot in enumerate(ask.at, 1):
        name = f"{ask.name}-{k}" if many else ask.name
        at = worn.spots([spot], who)
        drawn = "left" if at[0, 0] > 0 else "right"
        reach = at + np.array([[-0.5 * ask.width, 0.0, 0.0], [0.5 * ask.width, 0.0, 0.0]])
        for side in _sides(ask, reach, who):
            other = side not in ("both", drawn)
            centre = worn.spots([spot], who, mirrored=other)[0]
            size = {"width": ask.width, "height": ask.height or ask.width}
            out.append(Mark(_named(name, side), (oval(worn.ground, centre, **size),)))
    return out


def _band(ask: AskedMark, worn: Worn) -> list[Mark]:
    who = _who(ask)
    sides: Sequence[str] = ("left", "right") if ask.side == "both" else (ask.side,)
    if ask.limb == "trunk":
        sides = ("both",)
    out = []
    for side in sides:
        limb = ask.limb if side == "both" else f"{ask.limb}_{side}"
        for k in range(ask.count):
            name = f"{ask.name}-{k + 1}" if ask.count > 1 else ask.name
            shift = (k - 0.5 * (ask.count - 1)) * (ask.width + ask.gap)
            loops = band(worn.place, limb, ask.place, ask.width, f"{who}", shift=shift)
            out.append(Mark(_named(name, side), loops))
    return out


def _named(name: str, side: str) -> str:
    return name if side == "both" else f"{name}-{side}"


def carved(
    suit: Suit,
    marks: Marks,
    panels: Sequence[Panel],
    tints: Mapping[str, NDArray[np.int64]],
    flats: Sequence[Flat],
) -> Carved | None:
    """The flats as the marks part them, None for a suit without marks; panels: as they were before any dart."""
    if not marks.marks:
        return None
    colours = [
        Colour(mark.name, _plain(mark.name), ask.cloth, ask.style == "inset")
        for mark, ask in zip(marks.marks, marks.asked, strict=True)
    ]
    before = {p.name: p for p in panels}
    own = {
        f.panel.name: tint_of(f, before[f.panel.name], tints[f.panel.name])
        for f in flats
        if f.panel.name in tints
    }
    return carve(flats, own, colours, allowance_mm=suit.pieces["allowance"])


def mark_seams(parted: Carved | None) -> list[dict[str, Any]]:
    """The seams by which marks are set in, as `seam_report` tells seams; of a hole its piece's name stands there."""
    if parted is None:
        return []
    holes = {flat.panel.name: name for name, flat in parted.holes}
    told = seam_report([*parted.flats, *(flat for _, flat in parted.holes)])
    new = [s for s in told if {parted.whole.get(holes.get(p, p)) for p in s["panels"]} != {None}]
    own = [s for s in new if len({parted.whole.get(holes.get(p, p), p) for p in s["panels"]}) == 1]
    # of a dart only the whole length of its legs counts: no notch lies between its mouth and its point
    own = [s | {"worst_part_mm": s["difference_mm"]} if "-dart-" in s["name"] else s for s in own]
    return [s | {"panels": [holes.get(p, p) for p in s["panels"]]} for s in own]


def mark_report(marks: Marks, flats: Sequence[Flat], parted: Carved | None) -> list[dict[str, Any]]:
    """marks[]: of each mark its cloth, style, how large it is on each panel, where it is set in, and its pieces."""
    if parted is None:
        return []
    told = []
    for k, (mark, ask) in enumerate(zip(marks.marks, marks.asked, strict=True)):
        area = {}
        for flat in flats:
            surface = flat.panel.surface
            on = parted.tints[flat.panel.name] == k
            if on.any():
                size = face_areas(surface.vertices, surface.faces[on]).sum()
                area[flat.panel.name] = rounded(float(size) / 100, 2)
        starts = f"{_plain(mark.name)}-"
        own = {n for n in parted.cloth if n.startswith(starts) or n in area}
        own = {n for n in own if parted.whole.get(n, n) in area}
        inset = {parted.whole.get(n, n) for n in own}
        told.append(
            {
                "name": mark.name,
                "cloth": ask.cloth,
                "style": ask.style,
                "area_cm2": area,
                "set_in": sorted(inset),
                "pieces": sorted(own),
            }
        )
    return told


def mark_lines(parted: Carved | None, flats: Sequence[Flat]) -> dict[str, list[Array]]:
    """The outlines (k, 2) of all marks on flats, by panel."""
    out: dict[str, list[Array]] = {}
    for flat in flats if parted is not None else ():
        tint = parted.tints.get(flat.panel.name)
        for k in np.unique(tint[tint >= 0]).tolist() if tint is not None else ():
            for chain, closed in outline(flat.panel.surface.faces, tint == k):
                whole = np.append(chain, chain[:1]) if closed else chain
                out.setdefault(flat.panel.name, []).append(flat.positions[whole])
    return out


def _plain(name: str) -> str:
    """A mark's name without its side."""
    stem, _, side = name.rpartition("-")
    return stem if stem and side in ("left", "right") else name


_DRAW = {"loop": _loop, "oval": _oval, "band": _band}
