"""Moving: how far the sewn suit's cloth is stretched when its wearer raises the arms, reaches, sits, strides, bends.

Body and padding are turned about their joints (body/pose), the cloth goes along and comes to rest over them anew: it
slides without friction and its ends are free. Padding is taken as it stands: soft cushions give way, so what is told
is at most what a wearer will feel. What is over the cloth's limit is gathered by place, with the length of cloth that
is missing there; a second rest with just that much let in tells what it cures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.axes import places
from padlib.body.body import Body
from padlib.body.pose import pose_turns, turned
from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.flatten.stretch import percentiles
from padlib.mesh.point import nearest_arrays
from padlib.mesh.surface import Surface, Vertices
from padlib.proof import elastic
from padlib.proof.settle import Scene, Work, roughly, scene, settle
from padlib.proof.sew import Sewn, principal, weld
from padlib.proof.sheets import bundle

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

POSES: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "arms level": {"arms_deg": 90.0},
        "arms overhead": {"arms_deg": 150.0},
        "reaching forward": {"arms_deg": 20.0, "reach_deg": 90.0},
        "sitting": {"sit_deg": 90.0},
        "a stride": {"stride_deg": 25.0},
        "bending": {"bend_deg": 45.0},
    }
)
ROUGH = 10  # steps that take the worst out of the turned cloth
STILL = 0.3  # mm, mean movement of a step at which it rests: strains stand then to a tenth of themselves
TOLD = 0.10  # share of the cloth over its limit from which a pose is told
ROUNDS, FULL = 3, 0.8  # of letting cloth in, each down to this share of what it bears
LEAST = 0.002  # share of the suit's cloth over its limit from which a place is told
MOST = 3  # places a pose
NARROW = 20.0  # mm: no strip of tight cloth counts as narrower
# landmarks, what a maker calls the place, and what cures tightness there (common practice, no source)
CURES = {
    "axilla": ("under the arm", "an underarm gusset"),
    "acromion": ("at the shoulder", "an underarm gusset, or a wider sleeve cap"),
    "bust": ("across the chest", "ease there, or an underarm gusset"),
    "cervicale": ("between the shoulders", "ease there, or a pleat down the back"),
    "waist_back": ("at the small of the back", "a longer back: ease there, or a vent"),
    "waist_front": ("at the waist", "ease there"),
    "elbow": ("at the elbow", "ease there, or a dart across"),
    "wrist": ("at the wrist", "a wider cuff"),
    "hip": ("at the hip", "ease there"),
    "gluteal": ("under the seat", "a crotch gusset, or a longer back"),
    "crotch": ("at the crotch", "a crotch gusset"),
    "groin": ("at the groin", "a crotch gusset, or ease at the top of the leg"),
    "patella": ("at the knee", "ease there, or a dart across"),
    "knee_back": ("behind the knee", "ease there"),
    "calf": ("at the calf", "a wider leg"),
    "ankle": ("at the ankle", "a wider end, or a closure there"),
}


@dataclass(frozen=True)
class Tightness:
    """A place where a pose stretches the cloth beyond what it bears.

    place, cure: in words; panel: most of it; over: its area as a share of the suit's cloth; p95: of its greatest
    stretch; missing_mm: length of cloth that is missing across it; left: the share over with that much let in.
    """

    place: str
    panel: str
    cure: str
    over: float
    p95: float
    missing_mm: float
    left: float


@dataclass(frozen=True, eq=False)
class Move:
    """What one pose does to the suit.

    over: share of its cloth beyond what it bears; p95: 95th percentile of the greatest stretch; left: share over
    once every place has what it misses; places: the worst; surface: the suit at rest in the pose, mm;
    use (m,): greatest stretch of each triangle over what it bears.
    """

    pose: str
    over: float
    p95: float
    left: float
    places: tuple[Tightness, ...]
    surface: Surface
    use: Array


def moving(
    flats: Sequence[Flat],
    rest: Vertices,
    body: Body,
    shell: Surface,
    *,
    limit: float,
    poses: Mapping[str, Mapping[str, float]] = POSES,
) -> tuple[Move, ...]:
    """What each pose does to a suit; those that the body has no limbs for are left out.

    rest (n, 3): the sewn suit at rest, as `proof.prove` found it of these flats; shell: with the body's triangles;
    limit: strain that cloth bears of which no more is known.
    """
    suit = bundle(flats, limit)
    sewn = weld(suit)
    owner = np.repeat(np.arange(len(suit.sheets)), [len(s.faces) for s in suit.sheets])
    names = [s.name for s in suit.sheets]
    spot = _spots(body, shell, rest[sewn.faces].mean(axis=1))
    face, weights = nearest_arrays(shell.vertices, shell.faces, rest)
    standing = scene(suit, sewn, shell)
    work = Work()
    out = []
    for pose, angles in poses.items():
        try:
            turns = pose_turns(body, **angles)
        except InputError:
            continue
        support = Surface(turned(shell.vertices, turns), shell.faces)
        along = [
            replace(t, share=np.einsum("nk,nk->n", t.share[shell.faces[face]], weights))
            for t in turns
        ]
        here = replace(standing, support=support)
        place, _ = settle(
            here, roughly(here, turned(rest, along), ROUGH), rough=0, still=STILL, work=work
        )
        out.append(_told(pose, here, place, work, owner, names, spot))
    return tuple(out)


def _told(
    pose: str,
    here: Scene,
    place: Vertices,
    work: Work,
    owner: Ints,
    names: Sequence[str],
    spot: tuple[Ints, list[str]],
) -> Move:
    """The pose's tight places, and what letting cloth in there leaves."""
    sewn = here.sewn
    use, worst = _used(sewn, place)
    over, at = use > 1.0, Surface(place, sewn.faces)
    total = float(sewn.area.sum())
    share = float(sewn.area[over].sum()) / total
    p95 = percentiles(worst, sewn.area, (0.95,))[0]
    if share <= LEAST:
        return Move(pose, share, p95, share, (), at, use)
    eased, then = here, place
    for _ in range(ROUNDS):
        eased = replace(eased, sewn=let_in(eased.sewn, then))
        then, _ = settle(eased, then, rough=0, still=STILL, work=work)
    still = _used(eased.sewn, then)[0] > 1.0
    put_in = eased.sewn.area - sewn.area
    spots = [(over & (spot[0] == k), k, name) for k, name in enumerate(spot[1])]
    spots = [s for s in spots if float(sewn.area[s[0]].sum()) / total > LEAST]
    high = {k: percentiles(worst[own], sewn.area[own], (0.95,))[0] for own, k, _ in spots}
    spots.sort(key=lambda s: -float(sewn.area[s[0]].sum()) * high[s[1]])
    found = []
    for own, k, name in spots[:MOST]:
        where, cure = CURES[name]
        found.append(
            Tightness(
                where,
                names[int(np.bincount(owner[own], sewn.area[own]).argmax())],
                cure,
                float(sewn.area[own].sum()) / total,
                high[k],
                missing(sewn, place, own, put_in),
                float(sewn.area[still & (spot[0] == k)].sum()) / total,
            )
        )
    left = float(sewn.area[still].sum()) / total
    return Move(pose, share, p95, left, tuple(found), at, use)


def _used(sewn: Sewn, place: Vertices) -> tuple[Array, Array]:
    """Of each triangle (m,) the share that is used of what the cloth bears, and its greatest stretch."""
    state = elastic.strained(sewn, place)
    return principal(elastic.shares(sewn, state))[0], principal(state.strain)[0]


def let_in(sewn: Sewn, place: Vertices) -> Sewn:
    """The cloth cut larger, triangle by triangle, by what stretches it beyond its share of what it bears.

    Where the strain's principal value is over its limit, the flat triangle grows along it by the rest, so that at
    the same place (n, 3) no cloth is over it; what the whole then does, a new rest tells.
    """
    state = elastic.strained(sewn, place)
    used, _, axis = principal(elastic.shares(sewn, state))
    value = np.einsum("mij,mij->m", axis, state.strain)
    most = FULL * value / np.maximum(used, 1e-9)
    more = np.where(used > 1.0, (1.0 + value) / (1.0 + most) - 1.0, 0.0)
    smaller = (
        np.eye(2) - (more / (1.0 + more))[:, None, None] * axis
    )  # inverse of 1 + more along the axis
    return replace(sewn, gradients=sewn.gradients @ smaller, area=sewn.area * (1.0 + more))


def missing(sewn: Sewn, place: Vertices, own: NDArray[np.bool_], put_in: Array) -> float:
    """Length of cloth (mm) that is missing across a set of triangles: the area (m,) that was let in there over the
    set's width across the mean way in which it is stretched beyond what it bears."""
    state = elastic.strained(sewn, place)
    used, _, axis = principal(elastic.shares(sewn, state))
    beyond = np.where(own, np.maximum(used - 1.0, 0.0), 0.0) * sewn.area
    tensor = np.einsum("m,mxa,mab,myb->xy", beyond, state.frame, axis, state.frame, optimize=True)
    main = np.linalg.eigh(tensor)[1][:, -1]
    flat = place[sewn.faces[own]].mean(axis=1)
    flat = flat - flat.mean(axis=0)
    flat = flat - np.outer(flat @ main, main)
    size = np.linalg.eigh(np.cov(flat.T, aweights=sewn.area[own]))[0][-1]
    width = float(np.sqrt(12.0 * max(size, 1e-9)))  # of a strip whose points scatter so
    return float(put_in[own].sum()) / max(width, NARROW)


def _spots(body: Body, shell: Surface, middle: Array) -> tuple[Ints, list[str]]:
    """For each place (m, 3) the number of the nearest landmark's kind that has a cure, and those kinds."""
    marks = places(Surface(shell.vertices, shell.faces), body.landmarks)
    kinds = list(CURES)
    rows = [
        (kinds.index(kind), at)
        for name, at in marks.items()
        for kind in kinds
        if name == kind or name in (f"{kind}_left", f"{kind}_right")
    ]
    nearest = cKDTree(np.array([at for _, at in rows])).query(middle)[1]
    return np.array([k for k, _ in rows])[nearest], kinds


def motion_report(moves: Sequence[Move]) -> list[dict[str, Any]]:
    """Poses for the report."""
    return [
        {
            "pose": m.pose,
            "over_limit_percent": round(100 * m.over, 1),
            "stretch_p95_percent": round(100 * m.p95, 1),
            "over_limit_when_let_in_percent": round(100 * m.left, 1),
            "places": [
                {
                    "place": t.place,
                    "panel": t.panel,
                    "over_limit_percent": round(100 * t.over, 1),
                    "stretch_p95_percent": round(100 * t.p95, 1),
                    "missing_mm": round(t.missing_mm, 0),
                    "cure": t.cure,
                    "over_limit_when_let_in_percent": round(100 * t.left, 1),
                }
                for t in m.places
            ],
        }
        for m in moves
    ]


def motion_findings(moves: Sequence[Move]) -> tuple[Finding, ...]:
    """A note for each pose that stretches much cloth beyond what it bears."""
    out = []
    for m in moves:
        if m.over <= TOLD or not m.places:
            continue
        worst = m.places[0]
        words = (
            f"{m.pose}: {100 * m.over:.0f} % of the cloth is stretched beyond what it bears, most {worst.place} "
            f"({worst.panel}), where about {worst.missing_mm:.0f} mm are missing; {worst.cure} would cure it"
        )
        out.append(Finding(610, words, m.pose, Grade.NOTE))
    return tuple(out)
