"""What the landmark finders share: the sweep of sections, the partings of the limbs, and the scale of the person."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from padlib.body.crotch import evened
from padlib.body.parts import LEVELS, SIDES, Parts, find_parts, parting, top_of
from padlib.body.scale import AXILLA, CROTCH, has_feet, scale
from padlib.body.slices import Slices, extreme, girth, hull, slices
from padlib.body.webs import axilla_above, crotch_above
from padlib.errors import InputError
from padlib.findings import Finding, Grade

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Mark = tuple[Array, float]  # position (3,) in mm, confidence 0..1

HEAD = 0.08  # a head rises at least this share of the height over the thinnest of the neck
WIDER = 1.06  # ... and is this much wider than it
FAT_NECK = (
    0.13  # share of stature from crown to thinnest neck where the neck has no waist of its own
)
LEAST_TRUNK = 0.1  # of the height: an arm does not part from the trunk lower over the crotch
AXILLA_RANGE = (0.66, 0.81)


@dataclass(frozen=True, eq=False)
class Figure:
    """A body cut into sections, with the places that everything else is found from.

    vertices (n, 3) quietened, faces (m, 3); parts: the sweep; crotch (3,) or None; axilla: side to (3,);
    neck: level index of the thinnest neck, or None without a neck; head: there is a head.
    base: height of the (possibly missing) soles, stature: height of the whole person, both in mm; feet: it has feet.
    """

    vertices: Array
    faces: Ints
    parts: Parts
    crotch: Array | None
    axilla: dict[str, Array]
    neck: int | None
    head: bool
    base: float
    stature: float
    feet: bool
    findings: tuple[Finding, ...] = field(default=())

    def z(self, share: float) -> float:
        """Height in mm of a share of stature."""
        return self.base + share * self.stature

    @property
    def form(self) -> bool:
        """Whether it is a trunk without limbs, such as a dress form."""
        return self.crotch is None and not self.axilla

    @property
    def levels(self) -> Array:
        """Heights (k,) of the sweep, mm."""
        return self.parts.cut.levels

    @property
    def crotch_z(self) -> float:
        """Height of the crotch, mm; the published share of stature where there are no legs."""
        return float(self.crotch[2]) if self.crotch is not None else self.z(CROTCH)

    @property
    def axilla_z(self) -> float:
        """Mean height of the armpits, mm; the published share of stature where there are no arms."""
        return (
            float(np.mean([p[2] for p in self.axilla.values()])) if self.axilla else self.z(AXILLA)
        )

    def touches(self, landmark: str) -> bool:
        """Whether a parting had to be guessed because the parts touch."""
        return any(f.number == 244 and f.where == landmark for f in self.findings)

    def window(self, low: float, high: float) -> Ints:
        """Indices of the levels between two heights, mm."""
        return np.flatnonzero((self.levels >= low) & (self.levels <= high))

    def trunk(self, levels: Ints) -> list[list[int]]:
        """For each level the loops of the trunk, or of both legs below the crotch; arms left out."""
        parts = self.parts
        return [
            [int(n) for n in (parts.core[k], parts.leg["left"][k], parts.leg["right"][k]) if n >= 0]
            for k in levels
        ]

    def points(self, levels: Ints) -> tuple[Array, Ints]:
        """Section points (p, 3) of trunk and legs at some levels, and for each its place in `levels`."""
        cut = self.parts.cut
        group = [(i, cut.points(n)) for i, loops in enumerate(self.trunk(levels)) for n in loops]
        if not group:
            return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
        return np.concatenate([p for _, p in group]), np.concatenate(
            [np.full(len(p), i) for i, p in group]
        )

    def side(
        self, levels: Ints, direction: Array, low: float = -np.inf, high: float = np.inf
    ) -> Array:
        """At each level the point (k, 3) of trunk or leg that is farthest along direction (3,), with x in low..high."""
        points, group = self.points(levels)
        keep = (points[:, 0] >= low) & (points[:, 0] <= high)
        return extreme(points[keep], group[keep], points[keep] @ direction, len(levels))

    def middle(self, low: float, high: float) -> float:
        """x of the middle of the trunk between two heights: mean of the section centroids."""
        core = self.parts.core[self.window(low, high)]
        core = core[core >= 0]
        return float(np.mean(self.parts.cut.centre[core, 0])) if len(core) else 0.0

    def girths(self, levels: Ints) -> Array:
        """Taut girth (k,) of the trunk at each level, NaN where there is none."""
        cut, core = self.parts.cut, self.parts.core[levels]
        return np.array(
            [girth(hull(cut.points(n), cut.normals[0])) if n >= 0 else np.nan for n in core]
        )


def figure(vertices: Array, faces: Ints) -> Figure:
    """Cut a surface (n, 3), (m, 3) and find crotch, armpits, neck and scale.

    Raises InputError where nothing of a person can be made out.
    """
    parts = find_parts(vertices, faces)
    findings: list[Finding] = []
    crotch = _crotch(vertices, faces, parts, findings)
    axilla = _axillae(vertices, faces, parts, crotch, findings)
    neck, head = _neck(parts, axilla, findings)
    size = scale(parts, crotch, axilla, head)
    if size is None:
        raise InputError(
            "The body has neither two legs nor two arms apart from the trunk, and no waist; check its up axis and its "
            "pose (A pose)."
        )
    base, stature, feet = size
    if not head:
        then = "stature is estimated from the rest"
        then += ", and the ankles, which are looked for by it, are unsure" if feet else ""
        findings.append(_missing("head", then))
    if crotch is None:
        findings.append(_missing("pair of legs", "stature is estimated from the rest"))
    elif not feet:
        findings.append(
            _missing("pair of feet", "heights over the floor are left out, knees are unsure")
        )
    form = crotch is None and not axilla
    then = "its landmarks are left out" if form else "its landmarks, bust and chest are left out"
    for side in SIDES:
        if side not in axilla:
            findings.append(_missing(f"{side} arm that hangs apart from the trunk", then))
    return Figure(
        vertices, faces, parts, crotch, axilla, neck, head, base, stature, feet, tuple(findings)
    )


def _missing(what: str, then: str) -> Finding:
    """The finding for a part that is not there."""
    return Finding(240, f"The body has no {what}; {then}.", what, Grade.WARNING)


def _touching(what: str, where: str) -> Finding:
    """The finding for limbs that touch."""
    words = f"The {what} touch; the {where} is placed where they become one body, from the section's shape."
    return Finding(244, words, where, Grade.WARNING)


def _crotch(vertices: Array, faces: Ints, parts: Parts, findings: list[Finding]) -> Array | None:
    """Where the two legs grow together, above any web between the thighs, or None."""
    left, right = parts.leg["left"], parts.leg["right"]
    level = top_of(left >= 0)
    if level is None or level >= LEVELS - 2:
        return None
    low = parting(vertices, faces, parts, level, left[level], right[level])
    cut = parts.cut
    middle = 0.5 * (cut.low[left[level], 0] + cut.high[right[level], 0])  # of the gap
    low = evened(vertices, faces, low, float(middle), parts.top)
    true = crotch_above(vertices, faces, parts, low)
    if true is None:
        return low
    findings.append(_touching("thighs", "crotch"))
    return true


def _axillae(
    vertices: Array, faces: Ints, parts: Parts, crotch: Array | None, findings: list[Finding]
) -> dict[str, Array]:
    """Where each arm grows together with the trunk, above any web between the two on a body with legs."""
    out = {}
    for side, sign in SIDES.items():
        level = top_of(parts.arm[side] >= 0)
        if level is None or level >= LEVELS - 2 or parts.core[level] < 0:
            continue
        core = parts.core[level]
        if crotch is not None and parts.cut.levels[level] < crotch[2] + LEAST_TRUNK * parts.top:
            continue
        low = parting(vertices, faces, parts, level, parts.arm[side][level], core)
        middle = float(parts.cut.centre[core, 0])
        true = axilla_above(parts, low, sign, middle) if crotch is not None else None
        if true is not None:
            findings.append(_touching(f"{side} arm and trunk", f"axilla_{side}"))
        out[side] = low if true is None else true
    return out


def _neck(
    parts: Parts, axilla: dict[str, Array], findings: list[Finding]
) -> tuple[int | None, bool]:
    """Level of the thinnest neck and whether a head sits on it."""
    cut, core, top = parts.cut, parts.core, parts.top
    low = max([p[2] for p in axilla.values()], default=0.72 * top) + 0.01 * top
    good = np.flatnonzero((core >= 0) & (cut.levels > low))
    if len(good) < 5 or cut.levels[good[-1]] < top * (1 - 0.05):
        return None, False
    width = cut.high[core[good], 0] - cut.low[core[good], 0]
    crown = np.flatnonzero(cut.levels[good] > top * (1 - 0.10))
    widest = int(crown[np.argmax(width[crown])])
    thin = int(np.argmin(width[: widest + 1]))
    tall = top - cut.levels[good[thin]] > HEAD * top
    if tall and width[widest] > WIDER * width[thin]:
        return int(good[thin]), True
    shoulders = good[np.flatnonzero(width > 1.8 * width[widest])]
    limbs = axilla or top_of(parts.leg["left"] >= 0) is not None  # what is over a form is its neck
    if limbs and len(shoulders) and top - cut.levels[shoulders[-1]] > 0.11 * top:
        findings.append(
            Finding(
                241,
                "The neck is nowhere thinner than the head; it is placed by published shares.",
                "neck",
            )
        )
        return int(np.argmin(np.abs(cut.levels - top * (1 - FAT_NECK)))), True
    return None, False


def is_whole(parts: Parts) -> bool:
    """Whether a sweep is of a figure with head and feet, whose height is the person's stature."""
    level = top_of(parts.leg["left"] >= 0)
    return (
        level is not None and has_feet(parts, parts.cut.levels[level]) and _neck(parts, {}, [])[1]
    )


def sagittal(fig: Figure, x: float) -> Slices:
    """Section of the body by the vertical plane of a given x, mm, running front to back."""
    return slices(fig.vertices, fig.faces, [x], (1.0, 0.0, 0.0))
