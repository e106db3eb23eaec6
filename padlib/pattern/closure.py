"""Closures: which zip, where it begins and ends, how much pile is trimmed; parts that are zipped on.

Zip lengths, chain widths and tapes: common practice, no source (VALUES 5.3 gives the slider mouths of
ASTM D3657 only). A zip stops short of the throat, and nothing of it touches bare skin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from padlib.body.limb import lengths
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.pattern.parts.part import (
    Ask,
    Made,
    Mark,
    Notion,
    Step,
    Worn,
    need_seam,
    opening_of,
    runs_of,
    stitched,
)
from padlib.pattern.parts.site import along
from padlib.pattern.piece import Inner, Line

LENGTHS_MM = (
    *range(100, 850, 50),
    *range(900, 2100, 100),
)  # as shops keep them; longer: by the metre
CHAINS = {3: (4.3, 25.0), 5: (5.9, 32.0), 8: (7.5, 36.0), 10: (9.8, 39.0)}  # chain, tape pair, mm
HEAVY = ((800.0, 10), (450.0, 8), (0.0, 5))  # from so many g/m2 on, this size
TRIM_BEYOND = 8.0  # mm of short pile beyond the slider, so that it does not eat the pile
FITS_MM = 5.0  # pile cloth is eased in so much without pleats
WAYS = {"front": (0.0, -1.0), "back": (0.0, 1.0)}
OPPOSITE = {"front": "back", "back": "front", "inner": "outer", "outer": "inner"}


@dataclass(frozen=True)
class Zip:
    """A zip: length and chain size (0 for one by the metre, cut to length), tape and trim in mm.

    seam_mm: of the seam that it closes; top_mm: from the seam's upper end to its first tooth.
    """

    length_mm: float
    size: int
    standard: bool
    tape_mm: float
    trim_mm: float
    seam_mm: float
    top_mm: float

    def rest_mm(self) -> float:
        """What is sewn shut below the zip."""
        return self.seam_mm - self.top_mm - self.length_mm


def choose_zip(
    seam_mm: float,
    *,
    shortest_mm: float = 0.0,
    mass: float = 600.0,
    top_mm: float = 15.0,
    size: int = 0,
    trim_mm: float = 0.0,
) -> Zip:
    """The longest standard zip that a seam holds, of a chain that suits the cloth.

    shortest_mm: what getting in needs; mass of the cloth, g/m2; top_mm: stays free at the upper end;
    size: of the chain, 0 by the cloth; trim_mm: pile cut short on each side, 0 by the chain. Where no
    standard length does, it is one by the metre, cut to the seam. Raises InputError for a chain that
    there is not.
    """
    if size and size not in CHAINS:
        known = ", ".join(map(str, CHAINS))
        raise InputError(f"there is no zip chain of size {size}; take one of {known}.")
    size = size or next(s for least, s in HEAVY if mass >= least)
    chain, tape = CHAINS[size]
    room = max(seam_mm - top_mm, 0.0)
    fit = [mm for mm in LENGTHS_MM if shortest_mm - 1e-9 <= mm <= room]
    length = float(max(fit)) if fit else room
    trim = trim_mm or chain / 2 + TRIM_BEYOND
    return Zip(length, size, bool(fit), tape, trim, seam_mm, top_mm)


def closure_part(worn: Worn, chosen: Zip, *, shortest_mm: float, pull: str, cloth: str) -> Made:
    """The suit's own closure: marks at both ends of the zip, the pile that is trimmed, what to buy."""
    line = stitched([places for _, _, places in runs_of(worn, "closure")])
    line = line if line[0, 2] > line[-1, 2] else line[::-1]
    s = lengths(line)
    ends = [chosen.top_mm, chosen.top_mm + chosen.length_mm]
    share = s[-1] / max(chosen.seam_mm, 1e-9)  # the shell's length for the paper's
    marks = [
        Mark("closure", _at(line, s, mm * share), "zip")
        for mm in ends
        if 1.0 < mm < chosen.seam_mm - 1.0
    ]
    drawn = []
    for flat in worn.flats:
        for edge in flat.panel.edges:
            if edge.seam == "closure":
                places = flat.panel.surface.vertices[edge.run]
                points = _upper(
                    flat.positions[edge.run], places, chosen.top_mm + chosen.length_mm + TRIM_BEYOND
                )
                band = Inner("trim", offset(points, chosen.trim_mm), words="trim pile to the seam")
                drawn.append((flat.panel.name, band))
    found = []
    if chosen.length_mm < shortest_mm:
        words = (
            f"getting in needs a zip of {shortest_mm:.0f} mm, but this seam holds only "
            f"{chosen.length_mm:.0f} mm; raise closure_below_waist in [seams]"
        )
        found.append(Finding(730, words, "closure", Grade.CAUTION))
    kind = "" if chosen.standard else ", by the metre, cut and stopped at both ends"
    zip_ = Notion(
        f"zip, chain size {chosen.size}, two sliders that open from inside, {cloth} colour{kind}",
        1,
        chosen.length_mm,
    )
    panels = sorted(
        {f.panel.name for f in worn.flats for e in f.panel.edges if e.seam == "closure"}
    )
    halves = "backs" if panels and all("back" in name for name in panels) else "fronts"
    words = (
        f"Closure: trim the pile {chosen.trim_mm:.0f} mm wide beside the seam on both sides, up to the "
        f"marked line. Set in the zip of {chosen.length_mm:.0f} mm while the {halves} lie flat, from "
        f"{chosen.top_mm:.0f} mm below the neck edge, its pull on the wearer's {pull}"
    )
    rest = chosen.rest_mm()
    words += f"; sew the last {rest:.0f} mm of the seam shut below it." if rest > 1.0 else "."
    return Made(
        "closure",
        "closure",
        marks=tuple(marks),
        drawn=tuple(drawn),
        steps=(Step("closure", words, (along(worn.flats, "closure", runs=2),)),),
        notions=(zip_,),
        findings=tuple(found),
        numbers={
            "seam_mm": chosen.seam_mm,
            "shortest_mm": shortest_mm,
            "zip_mm": chosen.length_mm,
            "chain": chosen.size,
            "tape_mm": chosen.tape_mm,
            "trim_mm": chosen.trim_mm,
            "top_mm": chosen.top_mm,
            "rest_mm": rest,
        },
    )


@dataclass(frozen=True)
class Joined:
    """A foot, hand, tail or head that is zipped on.

    seam: the opening, for example ankle; rim_mm: round of the part's own edge; overlap_mm: how far the
    suit's cloth runs beyond the teeth; closes: where the part itself opens, front, back, inner, outer
    or "" if it does not.
    """

    name: str
    seam: str
    rim_mm: float
    overlap_mm: float = 35.0
    closes: str = ""
    size: int = 5


def joined_part(worn: Worn, part: Joined) -> Made:
    """One zipped-on part: both halves of its zip as long as the rim, and how the opening meets it."""
    seams = need_seam(worn, Ask("joined", part.name, ""), part.seam)
    marks, notions, found, told = [], [], [], {"rim_mm": part.rim_mm}
    where = OPPOSITE.get(part.closes, "back")
    for side, seam in seams.items():
        around = opening_of(worn, seam)
        told[f"{seam}_mm"] = around
        name = f"{part.name} {side}".strip()
        if abs(around - part.rim_mm) > FITS_MM:
            more = around > part.rim_mm
            words = (
                f"the opening {seam} is {around:.0f} mm round but the rim of {name} is "
                f"{part.rim_mm:.0f} mm; {'gather the suit' if more else 'widen the suit'} by "
                f"{abs(around - part.rim_mm):.0f} mm, or change the rim, so that both halves of the "
                "zip are of one length"
            )
            found.append(Finding(731, words, name, Grade.WARNING))
        notions.append(
            Notion(f"separating zip, chain size {part.size}, for {name}", 1, part.rim_mm)
        )
        line = stitched([places for _, _, places in runs_of(worn, seam)])
        marks.append(Mark(seam, line[_toward(line, where, side)], "zip"))
    own = f" {part.name} opens at its {part.closes}, so" if part.closes else ""
    words = (
        f"{part.name}: sew one half of the zip to the {part.seam}, the other to the rim of {part.name}, "
        f"both {part.rim_mm:.0f} mm long;{own} its ends meet at the {where}, where the notch 'zip' is. "
        f"Let {part.overlap_mm:.0f} mm of cloth run beyond the teeth to hide them, pile untrimmed."
    )
    return Made(
        "joined",
        part.name,
        marks=tuple(marks),
        steps=(Step("hem", words, tuple(along(worn.flats, s) for s in seams.values())),),
        notions=tuple(notions),
        findings=tuple(found),
        numbers=told | {"overlap_mm": part.overlap_mm},
    )


def last_leg_seam(part: Joined) -> str:
    """The side of the leg whose seam is sewn last: the one where the foot opens."""
    return {"front": "front", "back": "back"}.get(part.closes, "")


def _toward(line: np.ndarray, where: str, side: str) -> int:
    """Which point of an opening (k, 3) lies farthest to the front, back, inner or outer side."""
    middle = line[:, :2].mean(axis=0)
    if where in WAYS:
        way = np.array(WAYS[where])
    else:
        outer = np.array([-1.0 if side == "right" else 1.0, 0.0])
        way = outer if where == "outer" else -outer
    return int(np.argmax((line[:, :2] - middle) @ way))


def _upper(points: Line, places: np.ndarray, reach: float) -> Line:
    """The part of an edge (k, 2) within an arc length of its upper end (places (k, 3) say which)."""
    step = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    down = places[0, 2] >= places[-1, 2]
    stop = min(reach, float(step[-1]))
    low, high = (0.0, stop) if down else (float(step[-1]) - stop, float(step[-1]))
    at = np.unique(np.concatenate([[low], step[(step > low) & (step < high)], [high]]))
    return np.column_stack([np.interp(at, step, points[:, c]) for c in (0, 1)])


def place_along(line: np.ndarray, share: float) -> np.ndarray:
    """The place (3,) at a share of a polyline's length."""
    s = lengths(line)
    return _at(line, s, share * float(s[-1]))


def _at(line: np.ndarray, s: np.ndarray, mm: float) -> np.ndarray:
    """The place (3,) at an arc length of a polyline."""
    return np.array([np.interp(mm, s, line[:, c]) for c in range(3)])


def offset(line: Line, width: float) -> Line:
    """A line moved to its left by a width, joined at each bend, without loops."""
    way = np.diff(line, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    normal = np.column_stack([-way[:, 1], way[:, 0]])
    out = np.concatenate([normal[:1], 0.5 * (normal[1:] + normal[:-1]), normal[-1:]])
    out /= np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    return line + width * out
