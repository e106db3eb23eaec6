"""Getting in: what of the wearer must pass where, all along legs, sleeves and trunk, with every closure open.

The wearer steps in through the mouth, feet first, then one arm after the other (common practice, no source), so
each level of a leg, sleeve or trunk must let pass everything that lies beyond it on the wearer. Girths are taut.
Padded cloth gives way where a pad can be taken out; with the pads in, only what the body itself fills is free.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from padlib.body.axes import places
from padlib.body.body import Body
from padlib.body.limb import Limb, lengths, resampled, submesh, tangents
from padlib.body.parts import SIDES
from padlib.body.regions import ARM_LEFT, ARM_RIGHT, HEAD, LEG_LEFT, LEG_RIGHT, TRUNK, segment_at
from padlib.body.slices import girth, hull, oblique, slices
from padlib.findings import Finding, Grade
from padlib.mesh.surface import Surface
from padlib.seams.panels import Panel

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

LIMBS = {
    "leg_left": LEG_LEFT, "leg_right": LEG_RIGHT, "arm_left": ARM_LEFT, "arm_right": ARM_RIGHT,
}  # fmt: skip
LEVEL = ("inside_mm", "needed_mm", "suit_mm", "suit_with_pads_mm")
STEP = 20.0  # mm between the levels
# breadth over depth of an ellipse of the mean hand's breadth and girth (88.3 and 212.3 mm of men, ANSUR II): a hand
# with its thumb laid in is put through a sleeve about so
HAND = 2.1
TILTS = np.deg2rad(np.arange(15.0, 80.0, 2.5))  # of the ring that passes over a heel
SLIT = 1.0  # mm by which a slit may be held open per mm from its end, of 2 at most (no source: careful)
MOST = 800.0  # mm: longest closure that is tried
TRY = 5.0  # mm between the lengths that are tried


@dataclass(frozen=True, eq=False)
class Mouth:
    """An opening with the closures that run into it: girth_mm of its rim, closed_mm of it without them,
    part: the label of the limb that it ends; at (k, 3): its points; slit (j, 3): those of its closures."""

    girth_mm: float
    closed_mm: float
    part: int
    at: Array
    slit: Array


@dataclass(frozen=True, eq=False)
class Way:
    """One way in: along a leg, a sleeve, or through the mouth into the trunk.

    s (k,): mm from the mouth inwards along the limb; needed (k,): greatest girth of the wearer that must pass each
    level; has, padded (k,): girth of the suit there, the cloth stretched, with its pads out and with them in;
    mouth_mm, through_mm: the same of the mouth itself; closure_mm: length of its closure;
    shortest_mm: of the shortest that lets the wearer pass with the pads out, None where none does;
    what: of the wearer fills the mouth most.
    """

    name: str
    s: Array
    needed: Array
    has: Array
    padded: Array
    mouth_mm: float
    through_mm: float
    closure_mm: float
    shortest_mm: float | None
    what: str

    @property
    def passes(self) -> bool:
        """Whether the wearer gets through with the pads out."""
        return self.mouth_mm >= self.through_mm and bool((self.has >= self.needed).all())

    @property
    def passes_padded(self) -> bool:
        """Whether the wearer gets through with the pads in."""
        return self.mouth_mm >= self.through_mm and bool((self.padded >= self.needed).all())


def mouths(panels: Sequence[Panel], skin: Surface, label: Ints) -> tuple[Mouth, ...]:
    """Openings of a suit with every closure open, the largest first.

    Edges of kind opening and closure hang together where they share a point; a closure counts
    with both its sides, so that a slit of length l into a rim of length r makes r + 2 l.
    skin: the shell; label (n,): the part of the body of each of its vertices.
    """
    runs = [
        (e, p.surface.vertices[e.run])
        for p in panels
        for e in p.edges
        if e.kind in ("opening", "closure")
    ]
    if not runs:
        return ()
    names = _same([at for _, at in runs])
    runs = [(e, name, at) for (e, at), name in zip(runs, names, strict=True)]
    links = np.concatenate([np.column_stack([r[:-1], r[1:]]) for _, r, _ in runs])
    count = int(links.max()) + 1
    graph = coo_matrix((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(count, count))
    joined = connected_components(graph, directed=False)[1]
    tree = cKDTree(skin.vertices)
    out = []
    for group in np.unique(joined[links[:, 0]]):
        own = [(e, at) for e, r, at in runs if joined[r[0]] == group]
        length = {"opening": 0.0, "closure": 0.0}
        for e, at in own:
            length[e.kind] += float(np.linalg.norm(np.diff(at, axis=0), axis=1).sum())
        rim = [at for e, at in own if e.kind == "opening"] or [at for _, at in own]
        slit = [at for e, at in own if e.kind == "closure"]
        rim_points = np.concatenate(rim)
        near = label[tree.query(rim_points)[1]]
        out.append(
            Mouth(
                length["opening"] + length["closure"],
                length["opening"],
                int(np.bincount(near).argmax()),
                rim_points,
                np.concatenate(slit) if slit else np.zeros((0, 3)),
            )
        )
    return tuple(sorted(out, key=lambda m: -m.girth_mm))


def _same(runs: Sequence[Array]) -> list[Ints]:
    """Numbers of points (k, 3), the same for the same place: mirrored panels do not share parents."""
    every = np.concatenate(runs)
    near = cKDTree(every).query_pairs(1e-3, output_type="ndarray")
    graph = coo_matrix((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(every),) * 2)
    name = connected_components(graph, directed=False)[1]
    return np.split(name, np.cumsum([len(r) for r in runs])[:-1])


def ways_in(
    body: Body,
    shell: Surface,
    axes: Mapping[str, Array],
    panels: Sequence[Panel],
    *,
    stretch: float,
    room: float,
) -> tuple[Way, ...]:
    """Every way in: trunk, legs and sleeves that are there.

    shell: the sculpted outline, with the triangles of the body; axes: centre lines of limbs and trunk (k, 3);
    stretch: share by which the cloth gives; room: mm between skin and cloth where there is no pad.
    """
    at = places(body.surface, body.landmarks)
    label = segment_at(body.surface, at)
    openings = mouths(panels, shell, label)
    out = []
    trunk = [m for m in openings if m.part in (TRUNK, HEAD)]
    if trunk and "trunk" in axes and "crotch" in at:
        out.append(_trunk(body.surface, shell, label, at, trunk[0], stretch, room))
    for name, part in LIMBS.items():
        if name not in axes:
            continue
        ends = [m for m in openings if m.part == part]
        out.append(
            _limb(
                name,
                body.surface,
                shell,
                label == part,
                axes[name],
                at,
                ends[0] if ends else None,
                stretch,
                room,
            )  # fmt: skip
        )
    return tuple(w for w in out if len(w.s))


def _limb(
    name: str,
    body: Surface,
    shell: Surface,
    own: NDArray[np.bool_],
    axis: Array,
    at: Mapping[str, Array],
    mouth: Mouth | None,
    stretch: float,
    room: float,
) -> Way:
    """The way through a leg or a sleeve to its end; a limb without an opening ends at its tip."""
    line = resampled(axis, STEP)
    s, way = lengths(line), tangents(line)
    cut = [oblique(*submesh(x.vertices, x.faces, own), line, way) for x in (body, shell)]
    bare, worn = (Limb(line, way, c, s).girth for c in cut)
    side = name.rpartition("_")[2]
    foot = name.startswith("leg")
    tip = float(s[-1])
    end = tip if mouth is None else float(_along(line, s, mouth.at).mean())
    if foot and f"heel_{side}" in at and f"ankle_{side}" in at:
        heel = heel_girth(body, own, at, side)
        ankle = float(_along(line, s, at[f"ankle_{side}"][None])[0])
        bare = np.where(s >= ankle, heel, bare)  # a foot is put through stretched, heel last
    elif not foot and f"wrist_{side}" in at:
        wrist = float(_along(line, s, at[f"wrist_{side}"][None])[0])
        area = np.bincount(cut[0].loop_level, np.maximum(cut[0].area, 0.0), len(s))
        bare = np.where(s >= wrist, np.fmin(bare, ellipse_girth(area, HAND)), bare)
    keep = np.isfinite(bare) & np.isfinite(worn)
    s, bare, worn = s[keep], bare[keep], worn[keep]
    most = np.maximum.accumulate(np.nan_to_num(bare)[::-1])[::-1]
    inner = (s <= end + 1e-9) & (s > 0.0)
    through = float(np.interp(end, s, most)) if len(s) else 0.0
    levels = s[inner][::-1]
    needed, suit = most[inner][::-1], worn[inner][::-1]
    filled = np.minimum(suit, bare[inner][::-1] + 2 * np.pi * room)
    if mouth is None:
        return Way(
            name, end - levels, needed, suit * (1 + stretch), filled * (1 + stretch),
            np.inf, 0.0, 0.0, 0.0, "nothing, it is closed",
        )  # fmt: skip
    return _told(
        name, end - levels, needed, suit, filled, mouth, through, stretch,
        "the heel and instep" if foot else "the hand",
    )  # fmt: skip


def _trunk(
    body: Surface,
    shell: Surface,
    label: Ints,
    at: Mapping[str, Array],
    mouth: Mouth,
    stretch: float,
    room: float,
) -> Way:
    """The way through the mouth down the trunk; arms are up until they find their sleeves."""
    arms = np.isin(label, (ARM_LEFT, ARM_RIGHT, HEAD))
    top = min((at[f"axilla_{s}"][2] for s in SIDES if f"axilla_{s}" in at), default=np.inf)
    top = min(top, float(body.vertices[~arms, 2].max())) - 1.0
    z = np.arange(at["crotch"][2] + STEP, top, STEP)
    bare, worn = (_level_girths(x, ~arms, z) for x in (body, shell))
    keep = np.isfinite(bare) & np.isfinite(worn)
    z, bare, worn = z[keep], bare[keep], worn[keep]
    most = np.maximum.accumulate(bare)  # legs and hips pass every level above them
    s = (top - z)[::-1]
    last = shoulders(body, label, at)
    through, what = float(bare.max()), "the hips"
    if bare.argmax() > len(bare) // 2:
        what = "the chest"
    if last > through:
        through, what = last, "the last shoulder, one arm in"
    filled = np.minimum(worn, bare + 2 * np.pi * room)
    return _told("trunk", s, most[::-1], worn[::-1], filled[::-1], mouth, through, stretch, what)


def _told(
    name: str,
    s: Array,
    needed: Array,
    suit: Array,
    filled: Array,
    mouth: Mouth,
    through: float,
    stretch: float,
    what: str,
) -> Way:
    """The way with the closure that is there, and the shortest that would do."""
    own = (mouth.girth_mm - mouth.closed_mm) / 2
    more = 1 + stretch

    def has(girths: Array, closure: float) -> Array:
        return (girths + SLIT * np.maximum(closure - s, 0.0)) * more

    shortest = None
    for length in np.arange(0.0, MOST + TRY, TRY):
        if (mouth.closed_mm + 2 * length) * more >= through and (has(suit, length) >= needed).all():
            shortest = float(length)
            break
    return Way(
        name, s, needed, has(suit, own), has(filled, own), mouth.girth_mm * more, through, own,
        shortest, what,
    )  # fmt: skip


def heel_girth(body: Surface, own: NDArray[np.bool_], at: Mapping[str, Array], side: str) -> float:
    """Least taut girth (mm) of a ring over the heel of one leg: the heel-ankle girth of handbooks.

    A sleeve that slips over the heel may tilt as it likes: the least over all tilts about the heel's point.
    own (n,): the vertices of the leg. Check: ANSUR II, heel-ankle circumference.
    """
    heel, toe, sole = at[f"heel_{side}"], at[f"toe_{side}"], float(body.vertices[own, 2].min())
    ahead = (toe - heel) * [1.0, 1.0, 0.0]
    ahead = ahead / np.linalg.norm(ahead)
    points, faces = submesh(body.vertices, body.faces, own)
    through = (
        heel * [1.0, 1.0, 0.0] + [0.0, 0.0, sole] + 0.25 * (heel[2] - sole) * np.array([0, 0, 1.0])
    )
    normals = np.cos(TILTS)[:, None] * np.array([0.0, 0.0, 1.0]) - np.sin(TILTS)[:, None] * ahead
    cut = oblique(points, faces, np.tile(through, (len(TILTS), 1)), normals)
    girths = [
        girth(hull(cut.start[cut.level == k], cut.normals[k]))
        for k in range(len(TILTS))
        if (cut.level == k).sum() > 2
    ]
    return min(girths, default=0.0)


def ellipse_girth(area: Array, ratio: float) -> Array:
    """Girth (k,) of ellipses of an area (k,) and ratio of axes (S. Ramanujan 1914, better than 1e-4 here)."""
    b = np.sqrt(area / (np.pi * ratio))
    a = ratio * b
    return np.pi * (3 * (a + b) - np.sqrt((3 * a + b) * (a + 3 * b)))


def shoulders(body: Surface, label: Ints, at: Mapping[str, Array]) -> float:
    """Taut girth (mm) of the last shoulder to get in: round the trunk from one armpit over the other shoulder."""
    names = [f"{n}_{s}" for n in ("axilla", "acromion") for s in SIDES]
    if not at.keys() >= set(names):
        return 0.0
    out = []
    for one, other, arm in (("left", "right", ARM_LEFT), ("right", "left", ARM_RIGHT)):
        low, high = at[f"axilla_{one}"], at[f"acromion_{other}"]
        along = high - low
        normal = np.array([-along[2], 0.0, along[0]])
        normal *= np.sign(normal[2]) / np.linalg.norm(normal)
        kept = (label != arm) & (label != HEAD)
        points, faces = submesh(body.vertices, body.faces, kept)
        cut = oblique(points, faces, (low - 5.0 * normal)[None], normal[None])
        beyond = np.abs(cut.start[:, 0] - low[0]) <= abs(along[0]) + 60.0
        out.append(girth(hull(cut.start[beyond], normal)))
    return min(out)


def _level_girths(surface: Surface, own: NDArray[np.bool_], z: Array) -> Array:
    """Taut girth (k,) of all flesh of some vertices at levels z (k,), mm; NaN where there is none."""
    cut = slices(*submesh(surface.vertices, surface.faces, own), z)
    out = np.full(len(z), np.nan)
    for k in range(len(z)):
        points = cut.start[cut.level == k]
        if len(points) > 2:
            out[k] = girth(hull(points, cut.normals[k]))
    return out


def _along(line: Array, s: Array, points: Array) -> Array:
    """Distance (k,) along a line of the samples nearest to points (k, 3)."""
    return s[cKDTree(line).query(points)[1]]


def told(ways: Sequence[Way]) -> list[dict[str, Any]]:
    """Ways in, for the report: levels every 20 mm from the opening inwards."""
    out = []
    for way in ways:
        levels = zip(way.s, way.needed, way.has, way.padded, strict=True)
        out.append(
            {
                "name": way.name,
                "passes": way.passes,
                "passes_with_pads": way.passes_padded,
                "opening_mm": None if np.isinf(way.mouth_mm) else round(way.mouth_mm, 1),
                "needed_mm": round(way.through_mm, 1),
                "filled_by": way.what,
                "closure_mm": round(way.closure_mm, 1),
                "shortest_closure_mm": way.shortest_mm,
                "levels": [
                    dict(zip(LEVEL, (round(float(x), 1) for x in row), strict=True))
                    for row in levels
                ],
            }
        )
    return out


def entry_findings(ways: Sequence[Way]) -> tuple[Finding, ...]:
    """Cautions where the wearer would not get in, or out."""
    out = []
    for way in ways:
        if not way.passes:
            out.append(Finding(608, _short(way), way.name, Grade.CAUTION))
        elif not way.passes_padded:
            k = int((way.padded - way.needed).argmin())
            words = (
                f"{way.name.replace('_', ' ')}: with the pads in {way.padded[k]:.0f} mm are free "
                f"{way.s[k]:.0f} mm inside the opening, where {way.needed[k]:.0f} mm must pass; take the "
                "pads out to get in, or try it before the cloth is cut"
            )
            out.append(Finding(609, words, way.name, Grade.NOTE))
    return tuple(out)


def _short(way: Way) -> str:
    """What is short, and what would do; rounded so that what is short reads as less than what must pass."""
    name = way.name.replace("_", " ")
    if way.mouth_mm < way.through_mm:
        words = (
            f"{name}: its opening is {floor(way.mouth_mm)} mm round with the closure open and the cloth "
            f"stretched, but {ceil(way.through_mm)} mm are needed to let {way.what} through"
        )
    else:
        k = int((way.has - way.needed).argmin())
        words = (
            f"{name}: {way.s[k]:.0f} mm inside its opening it is {floor(way.has[k])} mm round, but "
            f"{ceil(way.needed[k])} mm must pass"
        )
    if way.shortest_mm is None:
        return words + "; no closure of its own helps, make it wider there"
    ask = {"leg": "ankle_slit", "arm": "wrist_slit", "tru": "closure_below_waist"}[way.name[:3]]
    return words + (
        f"; a closure of {way.shortest_mm:.0f} mm from the opening inwards would do ({ask} in [seams])"
    )
