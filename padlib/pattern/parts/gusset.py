"""Gussets: a disk under the arm and a lens at the crotch, sized from how far the wearer must move.

Closed form: cloth on trunk and on arm at distance r from the joint lies 2 r sin(a/2) apart when the arm
stands at angle a from the trunk. A gusset adds what that grows by from the angle in which the suit was
cut to the angle that is asked for. Of two legs that part by an angle more, each turns by half of it,
and cloth at distance r from its joint moves along a chord of 2 r sin(half / 2).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from padlib.body.limb import lengths
from padlib.findings import Finding, Grade
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.allowance import cut_line
from padlib.pattern.edge import corners
from padlib.pattern.parts.part import (
    Ask,
    Blank,
    Kind,
    Made,
    Mark,
    Step,
    Worn,
    beside,
    need_seam,
    part_of,
    round_line,
    runs_of,
    stitched,
)
from padlib.pattern.parts.site import beside_run
from padlib.pattern.piece import Notch

USUAL_REACH = 120.0  # mm from hip joint to crotch, where the joint is not known; common practice


def spread_mm(radius: float, from_deg: float, to_deg: float) -> float:
    """How much farther apart two places at a distance from a joint get when it opens, mm."""
    a, b = np.radians(from_deg) / 2, np.radians(to_deg) / 2
    return float(2 * radius * (np.sin(b) - np.sin(a)))


def _underarm(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A disk each side: half of its edge goes to the trunk, half to the sleeve."""
    seams = need_seam(worn, ask, "armhole")
    marks, sites, wanted, around = [], [], [], []
    for side, seam in seams.items():
        loop = stitched([places for _, _, places in runs_of(worn, seam)])
        round_mm = float(np.linalg.norm(np.diff(loop, axis=0), axis=1).sum())
        low = loop[int(np.argmin(loop[:, 2]))]
        middle = 0.5 * (loop.min(axis=0) + loop.max(axis=0))
        joint = worn.joints.get(f"arm_{side}", middle)
        reach = float(np.linalg.norm(low - joint))
        wanted.append(spread_mm(reach, worn.arm_deg, max(v["raise"], worn.arm_deg)))
        around.append(round_mm)
    most = min(around) / np.pi
    asked = max(wanted) if v["diameter"] == 0 else v["diameter"]
    across = float(min(max(asked, 30.0), most))
    for seam in seams.values():
        loop = stitched([places for _, _, places in runs_of(worn, seam)])
        low = loop[int(np.argmin(loop[:, 2]))]
        marks += [Mark(seam, place, "gusset") for place in beside(loop, low, np.pi * across / 4)]
        sites.append(beside_run(worn.flats, seam, part_of(loop, low, np.pi * across / 4), runs=2))
    sew, mm = round_line(across / 2), worn.allowance_mm
    cut = round_line(across / 2 + mm)
    side = np.array([1.0, 0.0])
    notches = tuple(
        Notch(sign * across / 2 * side, sign * side, 1, "gusset", mm) for sign in (1.0, -1.0)
    )
    half = len(sew) // 2
    edges = (("armhole, sleeve half", sew[: half + 1]), ("armhole, trunk half", sew[half:]))
    blank = Blank(ask.name, ask.cloth, len(seams), sew, cut, edges, notches=notches)
    found = []
    if asked > most + 1e-9:
        words = (
            f"raising the arm to {v['raise']:g} degrees asks for a disk of {asked:.0f} mm, but its edge may "
            f"be no longer than the armhole's {min(around):.0f} mm; it is {across:.0f} mm, which does "
            "for less: bend at the waist or cut the armhole larger"
        )
        found.append(Finding(721, words, ask.name, Grade.WARNING))
    words = (
        f"{ask.name}: between the two notches marked gusset leave the armhole open; sew one half of "
        "the disk's edge to the trunk, the other half to the sleeve, notches on notches, and stitch "
        "both ends twice."
    )
    told = {"diameter_mm": across, "edge_mm": np.pi * across, "armhole_mm": min(around)}
    told |= {"wanted_mm": float(asked), "arm_deg": worn.arm_deg, "raise_deg": v["raise"]}
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        marks=tuple(marks),
        steps=(Step("sleeve", words, tuple(sites), tuple(seams.values())),),
        findings=tuple(found),
        numbers=told,
    )


UNDERARM = Kind(
    "a disk under each arm, half of it sewn to the trunk and half to the sleeve",
    (
        Parameter(
            "raise",
            "degrees",
            "how far the wearer must raise the arm",
            30,
            180,
            "arms go no farther",
        ),
        Parameter(
            "diameter",
            "mm",
            "of the disk's sew line; 0: from raise",
            0,
            400,
            "its edge may be no longer than the armhole",
        ),
    ),
    {"raise": 120.0, "diameter": 0.0},
    _underarm,
)


def lens(long: float, wide: float) -> tuple[np.ndarray, float]:
    """Half a lens: an arc (k, 2) from tip (0, 0) to tip (long, 0), wide / 2 below, and its length."""
    sag = wide / 2
    radius = (long**2 / 4 + sag**2) / (2 * sag)
    half = float(np.arcsin(min(1.0, long / (2 * radius))))
    turn = np.linspace(-half, half, 1 + 2 * max(8, int(radius * half / 2)))
    arc = np.column_stack([radius * np.sin(turn), -radius * np.cos(turn)])
    arc = arc - arc[0]
    return arc, 2 * radius * half


def _crotch(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A lens in the seat seam about the crotch; each side of it takes one side of the seam."""
    seam = need_seam(worn, ask, "seat-seam")[""]
    line = stitched([places for _, _, places in runs_of(worn, seam)])
    total = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    low = line[int(np.argmin(line[:, 2]))]
    hips = [worn.joints[k] for k in ("leg_left", "leg_right") if k in worn.joints]
    reach = float(np.mean([np.linalg.norm(low - h) for h in hips])) if hips else USUAL_REACH
    turn = np.radians(max(v["stride"] - worn.leg_deg, 0.0)) / 2
    asked = float(4 * reach * np.sin(turn / 2))
    wide = float(np.clip(asked if v["width"] == 0 else v["width"], 30.0, 200.0))
    arc, arc_mm = lens(v["length_ratio"] * wide, wide)
    found = []
    if arc_mm > 0.8 * total:
        scale = 0.8 * total / arc_mm
        arc, arc_mm, wide = arc * scale, arc_mm * scale, wide * scale
        words = (
            f"the seat seam is only {total:.0f} mm long, so the lens was made {wide:.0f} mm wide"
        )
        found.append(Finding(722, words, ask.name, Grade.WARNING))
    s = lengths(line)
    middle = float(s[int(np.argmin(line[:, 2]))])
    reach_mm = min(arc_mm / 2, middle - 1.0, s[-1] - middle - 1.0)
    if (
        reach_mm < arc_mm / 2 - 1e-6
    ):  # the crotch lies near one end: the lens is moved along the seam
        low = line[int(np.argmin(np.abs(s - np.clip(middle, arc_mm / 2, s[-1] - arc_mm / 2))))]
    marks = [Mark(seam, place, "gusset") for place in beside(line, low, arc_mm / 2)]
    site = beside_run(worn.flats, seam, part_of(line, low, arc_mm / 2), runs=2)
    upper = (arc * [1.0, -1.0])[::-1]
    sew = np.concatenate([arc[:-1], upper[:-1]]) @ np.array([[0.0, 1.0], [-1.0, 0.0]])
    cut = cut_line(sew, worn.allowance_mm, corner=corners(sew)[1])
    half = len(arc) - 1
    closed = np.concatenate([sew, sew[:1]])
    edges = (("seat seam, one leg", closed[: half + 1]), ("seat seam, other leg", closed[half:]))
    words = (
        f"{ask.name}: leave the seat seam open between the two notches marked gusset, sew one side of "
        "the lens to each leg, points on notches, and stitch it twice all round."
    )
    numbers = {"width_mm": wide, "length_mm": float(np.ptp(arc[:, 0])), "edge_mm": arc_mm}
    numbers |= {"wanted_mm": asked, "stride_deg": v["stride"], "leg_deg": worn.leg_deg}
    return Made(
        ask.kind,
        ask.name,
        (Blank(ask.name, ask.cloth, 1, sew, cut, edges),),
        marks=tuple(marks),
        steps=(Step("leg", words, (site,), (seam,)),),
        findings=tuple(found),
        numbers=numbers,
    )


CROTCH = Kind(
    "a lens in the seat seam at the crotch, for striding and sitting",
    (
        Parameter("stride", "degrees", "angle between the legs", 20, 160, "legs open no farther"),
        Parameter("width", "mm", "at its middle; 0: from stride", 0, 250, "more hangs down"),
        Parameter("length_ratio", "share", "its length over its width", 1.2, 4, "less puckers"),
    ),
    {"stride": 60.0, "width": 0.0, "length_ratio": 2.0},
    _crotch,
)
