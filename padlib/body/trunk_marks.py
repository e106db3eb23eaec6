"""Landmarks of the trunk: chest, waist, hip, seat, crotch, groin, gluteal fold.

Levels are sought on the profiles of the sections and held near the published places. Those are written as shares of
the span from crotch to armpit (0.276 of stature in ANSUR II), not of stature, so that they also suit a child, whose
legs are shorter and whose head is larger.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from padlib.body.figure import Figure, Mark, sagittal
from padlib.body.parts import SIDES
from padlib.body.pick import TAPE, bow, hollow, most, on_profile, pick, smoothed, sway
from padlib.body.slices import edges
from padlib.findings import Finding

Array = NDArray[np.float64]

# Shares of the span crotch to armpit, mean over ANSUR II (men; women):
WAIST = 0.52  # midway of tenth rib and iliocristale (0.507; 0.534, standard deviation 0.029)
ILIAC = 0.456  # iliocristale (0.446; 0.467)
TROCHANTER = 0.126  # trochanterion (0.114; 0.138)
SEAT = 0.10  # buttock point (0.086; 0.112)
BUST = -0.11  # chest point, from the armpit (-0.078; -0.147)
FOLD = -0.08  # gluteal fold: about 0.023 of stature below the crotch (from memory)

# Standard deviations of what places a trochanter on a raw scan: of the crotch's height, mm, and of what the hip's
# outline leans, mm a mm (58 raw scans against clean meshes, tests/benchmarks/results/scan.md)
CROTCH_OFF, LEANING = 1.3, 0.010
LEAST_LEVELS = 5  # sections below which nothing is looked for
LEAST_SPAN = 0.1  # of stature
FORM_SURE = 0.5
WAISTED = 1.015  # a waist is there when both sides of it rise by this factor in girth

FRONT, BACK = np.array([0.0, -1.0, 0.0]), np.array([0.0, 1.0, 0.0])
STEP = 2.0


def trunk_marks(fig: Figure, findings: list[Finding]) -> dict[str, Mark]:
    """Bust, chest, waist, iliac, hip, seat, crotch, groin and gluteal landmarks, as far as the body has them."""
    marks: dict[str, Mark] = {}
    for side, point in fig.axilla.items():
        marks[f"axilla_{side}"] = (point, 0.6 if fig.touches(f"axilla_{side}") else 0.95)
    if fig.axilla or fig.form:
        marks.update(_bust(fig))
    level, sure = _waist(fig, findings)
    marks.update(_girdle(fig, "waist", level, sure))
    for side in SIDES:
        marks[f"iliac_{side}"] = _flank(fig, side, fig.crotch_z + ILIAC * _span(fig), 0.5)
    if fig.crotch is not None:
        marks["crotch"] = (fig.crotch, 0.6 if fig.touches("crotch") else 0.95)
    if fig.crotch is not None or fig.form:
        marks.update(_hips(fig))
    if fig.form:  # all levels rest on published shares
        marks = {name: (place, min(sure, FORM_SURE)) for name, (place, sure) in marks.items()}
    return marks


def _span(fig: Figure) -> float:
    """Height from crotch to armpits, mm."""
    return max(fig.axilla_z - fig.crotch_z, LEAST_SPAN * fig.stature)


def _middle(fig: Figure) -> float:
    """x of the middle of the trunk, mm."""
    return fig.middle(fig.crotch_z + 0.2 * _span(fig), fig.crotch_z + 0.95 * _span(fig))


def _bust(fig: Figure) -> dict[str, Mark]:
    """Bust points, farthest forward of the chord of the chest, and chest front and back in the middle."""
    span, top = _span(fig), fig.axilla_z
    levels = fig.window(top - 0.40 * span, top + 0.05 * span)
    z, middle = fig.levels[levels], _middle(fig)
    reach = (0.02 * fig.stature, 0.115 * fig.stature)
    marks: dict[str, Mark] = {}
    if len(levels) < LEAST_LEVELS:
        return marks
    heights = []
    for side, sign in SIDES.items():
        low, high = sorted((middle + sign * reach[0], middle + sign * reach[1]))
        profile = fig.side(levels, FRONT, low, high)
        bulge = smoothed(bow(profile[:, 1:]), TAPE)
        inside = z < top - 0.02 * span
        at, _ = pick(
            z[inside],
            bulge[inside] / fig.stature,
            near=top + BUST * span,
            spread=0.08 * span,
            weight=0.002,
        )
        heights.append(at)
        sure = 0.5 + 0.4 * float(np.clip(most(bulge) / fig.stature / 0.01, 0.0, 1.0))
        marks[f"bust_{side}"] = (on_profile(profile, z, at), sure)
    level = float(np.mean(heights))
    sure = float(np.mean([marks[f"bust_{side}"][1] for side in SIDES]))
    cut = sagittal(fig, middle)
    front, back = edges(cut.start, cut.end, np.array([level]), along=2, across=1)
    return marks | {"chest_front": (front[0], sure), "chest_back": (back[0], sure)}


def _waist(fig: Figure, findings: list[Finding]) -> tuple[float, float]:
    """Level of the natural waist: the narrowest, or else midway of lowest rib and hip bone (ISO 8559-1).

    One published standard deviation away costs 1 % of girth, and a wide waist is taken in its
    middle, so that a small change of the surface is a small change of the level. A body that is
    nowhere narrow gets the published level, and a finding.
    """
    span = _span(fig)
    near, spread = fig.crotch_z + WAIST * span, 0.075 * span
    levels = fig.window(fig.crotch_z + 0.22 * span, fig.crotch_z + 0.86 * span)
    z, taut = fig.levels[levels], fig.girths(levels)
    if len(z) >= LEAST_LEVELS and np.all(np.isfinite(taut)):
        shape = -taut / taut.mean()
        at, _ = pick(z, shape, near=near, spread=spread, weight=0.01, soft=0.5)
        around = np.abs(z - at) < spread
        at, _ = pick(z[around], shape[around], near=at, spread=spread, weight=0.004, soft=1.0)
        least = taut[np.abs(z - at) < 0.5 * spread].min(initial=np.inf)
        if min(most(taut[z < at]), most(taut[z > at])) > WAISTED * least:
            return at, 0.85
    findings.append(
        Finding(
            242,
            "The trunk has no narrowest level; the waist is placed between lowest rib and hip bone "
            "by published shares.",
            "waist",
        )
    )
    return near, 0.45


def _girdle(fig: Figure, name: str, level: float, sure: float) -> dict[str, Mark]:
    """Front, back, left and right points of the trunk at a level."""
    cut = sagittal(fig, _middle(fig))
    front, back = edges(cut.start, cut.end, np.array([level]), along=2, across=1)
    out = {f"{name}_front": (front[0], sure), f"{name}_back": (back[0], sure)}
    return out | {f"{name}_{side}": _flank(fig, side, level, sure) for side in SIDES}


def _flank(fig: Figure, side: str, level: float, sure: float) -> Mark:
    """The point of the trunk farthest to one side at a level; NaN where the body has no such level."""
    if not 0.0 <= level <= fig.parts.top:
        return np.full(3, np.nan), sure
    k = np.array([int(np.argmin(np.abs(fig.levels - level)))])
    point = fig.side(k, np.array([SIDES[side], 0.0, 0.0]))[0]
    return np.array([point[0], point[1], level]), sure


def _hips(fig: Figure) -> dict[str, Mark]:
    """Hip (widest, trochanter level), seat, groin and gluteal fold of each side, and seat level in the middle."""
    crotch = fig.crotch if fig.crotch is not None else np.array([_middle(fig), 0.0, fig.crotch_z])
    levels = fig.window(*_about_hips(fig))
    z = fig.levels[levels]
    marks: dict[str, Mark] = {}
    for side, sign in SIDES.items():
        outward = fig.side(levels, np.array([sign, 0.0, 0.0]))
        at, _ = pick(*_breadths(fig, outward, z, side), **_trochanter(fig))
        marks[f"hip_{side}"] = (on_profile(outward, z, at), 0.8)
        half = 0.5 * float(abs(marks[f"hip_{side}"][0][0] - crotch[0]))
        low, high = sorted((crotch[0], crotch[0] + sign * 2.2 * half))
        rear = fig.side(levels, BACK, low, high)
        marks[f"seat_{side}"] = _seat(fig, rear, z)
        marks.update(_thigh_root(fig, side, crotch[0] + sign * half, marks[f"seat_{side}"][0]))
    return marks


def _about_hips(fig: Figure) -> tuple[float, float]:
    """Heights between which the hips' landmarks are looked for, mm."""
    return fig.crotch_z - 0.30 * _span(fig), fig.crotch_z + 0.45 * _span(fig)


def _breadths(fig: Figure, outward: Array, z: Array, side: str) -> tuple[Array, Array]:
    """Heights (k,) and breadths (k,) from the middle, of stature, of one side's outline where a trochanter may lie.

    outward (n, 3): the outline; z (n,): its heights.
    """
    span, middle = _span(fig), fig.crotch[0] if fig.crotch is not None else _middle(fig)
    near = (z > fig.crotch_z - 0.05 * span) & (z < fig.crotch_z + 0.3 * span)
    return z[near], SIDES[side] * (outward[near, 0] - middle) / fig.stature


def _trochanter(fig: Figure) -> dict[str, float]:
    """Where a trochanter mostly lies, and how firmly it is held there: the words of `pick`."""
    span = _span(fig)
    return {"near": fig.crotch_z + TROCHANTER * span, "spread": 0.10 * span, "weight": 0.005}


def trochanter_unsure(fig: Figure) -> float:
    """Standard deviation, mm, of the trochanters' height on a raw scan.

    Where the outline widens about as the pull to the usual place grows, the widest place is a balance: it goes farther
    than the crotch by which the usual place is told, and far for a little that the outline leans.
    """
    levels, way = fig.window(*_about_hips(fig)), _trochanter(fig)
    z, far = fig.levels[levels], []
    for side, sign in SIDES.items():
        outline = _breadths(fig, fig.side(levels, np.array([sign, 0.0, 0.0])), z, side)
        far.append(sway(*outline, **way))
    pull = 2.0 * way["weight"] / way["spread"] ** 2 * (1.0 - TROCHANTER)
    return float(np.mean(far) * np.hypot(pull * CROTCH_OFF, LEANING / fig.stature))


def _seat(fig: Figure, rear: Array, z: Array) -> Mark:
    """The fullest place of one buttock."""
    span = _span(fig)
    near = (z > fig.crotch_z - 0.05 * span) & (z < fig.crotch_z + 0.38 * span)
    back = rear[near, 1] / fig.stature
    at, _ = pick(z[near], back, near=fig.crotch_z + SEAT * span, spread=0.12 * span, weight=0.002)
    return on_profile(rear, z, at), 0.85


def _thigh_root(fig: Figure, side: str, x: float, seat: Array) -> dict[str, Mark]:
    """Groin and gluteal fold on the plane through the middle of the thigh.

    The groin's middle lies over the head of the thigh bone, at trochanter level (anatomy, from memory); the fold is
    the inward corner between buttock and thigh, sought near its published place.
    """
    span, crotch = _span(fig), fig.crotch_z
    cut = sagittal(fig, x)
    z = np.arange(crotch - 0.35 * span, crotch + 0.30 * span, STEP)
    front, back = edges(cut.start, cut.end, z, along=2, across=1)
    groin = on_profile(front, z, crotch + TROCHANTER * span)
    upper = back[np.argmin(np.abs(z - seat[2]))]
    lower = back[np.argmin(np.abs(z - (crotch - 0.26 * span)))]
    bulge = -hollow(back[:, 1:], lower[1:], upper[1:])
    inside = (z > crotch - 0.22 * span) & (z < crotch + 0.02 * span)
    at, lead = pick(
        z[inside],
        -bulge[inside] / fig.stature,
        near=crotch + FOLD * span,
        spread=0.05 * span,
        weight=0.0015,
    )
    sure = 0.5 + 0.4 * float(np.clip(lead / 0.004 + 0.3, 0, 1))
    return {f"groin_{side}": (groin, 0.6), f"gluteal_{side}": (on_profile(back, z, at), sure)}
