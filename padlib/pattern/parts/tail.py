"""Tail: the opening in the suit and the two-layer base that carries the tail's zip."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.edge import rim
from padlib.pattern.parts.panelled import spots
from padlib.pattern.parts.part import (
    Ask,
    Blank,
    Kind,
    Made,
    Notion,
    Step,
    Worn,
    round_line,
)
from padlib.pattern.parts.site import apart, over
from padlib.pattern.piece import Inner, Line, Notch
from padlib.seams.panels import Edge


def _opening(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """A round opening over the tail's root; two disks of its size carry one half of a zip between them."""
    radius, mm = v["girth"] / (2 * np.pi), worn.allowance_mm
    found = _unfolded(worn, spots(worn, ask), ask.at, radius + v["pile"])
    there = {f.panel.name for f in worn.flats}
    drawn, around = [], 0.0
    for flat, middle in found:
        line = _arc(flat, middle, radius)
        around += sum(float(np.hypot(*np.diff(part, axis=0).T).sum()) for part, _ in line)
        if flat.panel.mirror_of in there:
            continue
        drawn += [
            (flat.panel.name, Inner("place", part, whole, "tail base")) for part, whole in line
        ]
        for way, words, purpose in (
            (-mm, "tail: cut out", "cutout"),
            (v["pile"], "leave the pile long up to here", "trim"),
        ):
            if radius + way <= 5.0:
                continue
            drawn += [
                (flat.panel.name, Inner(purpose, part, whole, words))
                for part, whole in _arc(flat, middle, radius + way)
            ]
    off = abs(around - v["girth"])
    findings: tuple[Finding, ...] = ()
    if off > 0.02 * v["girth"]:
        words = (
            f"the opening is {around:.0f} mm round on paper and the tail's root {v['girth']:.0f} mm; it "
            "runs over more than one seam: move it, or ease the base in"
        )
        findings = (Finding(723, words, ask.name, Grade.WARNING),)
    sew, cut = round_line(radius), round_line(radius + mm)
    up = np.array([0.0, 1.0])
    notch = (Notch(radius * up, up, 1, "up", mm),)
    closed = np.concatenate([sew, sew[:1]])
    blank = Blank(
        f"{ask.name} base",
        ask.cloth,
        2,
        sew,
        cut,
        (("tail opening, zip between both", closed),),
        notches=notch,
        notes=("two layers",),
    )
    words = (
        f"{ask.name}: baste one half of the zip round the edge of one base disk, teeth outward, lay the "
        "second disk on it and stitch all round; sew the base behind the opening, zip up to the edge. "
        f"Do not trim the pile in the {v['pile']:g} mm round it: it hides the zip. Double-stitch it, "
        "it carries the tail."
    )
    site = over(worn.flats, [f.panel.name for f, _ in found], ask.at, radius)
    zip_ = Notion(f"separating zip for the rim of {ask.name}", 1, v["girth"])
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        drawn=tuple(drawn),
        steps=(Step("flat", words, (site,)),),
        notions=(zip_,),
        findings=findings,
        numbers={"girth_mm": v["girth"], "opening_mm": around, "radius_mm": float(radius)},
    )


def _unfolded(
    worn: Worn, found: list[tuple[Flat, Line]], at: Line, reach: float
) -> list[tuple[Flat, Line]]:
    """Flats that a place comes within a reach of, and where (2,) it lies in their plane, beyond their edge or not.

    Panel after panel is laid against the ones that have the place by the part of their seam that is near it.
    """
    flats = {f.panel.name: f for f in worn.flats}
    out = {f.panel.name: (f, middle) for f, middle in found}
    todo = list(out)
    while todo:
        flat, middle = out[todo.pop(0)]
        for edge in flat.panel.edges:
            name = edge.partner[0] if edge.partner is not None and edge.kind == "sewn" else ""
            if name not in flats or name in out:
                continue
            near = _laid_against(flat, edge, flats[name], at, reach)
            if near is None:
                continue
            turn, own, other = near
            out[name] = (flats[name], (middle - own) @ turn + other)
            todo.append(name)
    return list(out.values())


def _laid_against(
    flat: Flat, edge: Edge, other: Flat, at: Line, reach: float
) -> tuple[Line, Line, Line] | None:
    """The turn (2, 2) and both middles (2,) that bring one side of a seam near a place onto the other side.

    None where the seam does not come within reach. Least squares over the vertices there (Kabsch 1976).
    """
    run, places = edge.run, flat.panel.surface.vertices[edge.run]
    twin = np.concatenate([e.run for e in other.panel.edges if e.seam == edge.seam])
    far = np.linalg.norm(places - np.asarray(at), axis=1)
    if apart(np.asarray(at)[None], places)[0] > reach:
        return None
    near = np.argsort(far, kind="stable")[: max(2, int((far < reach).sum()))]
    off = np.linalg.norm(places[near][:, None] - other.panel.surface.vertices[twin][None], axis=2)
    here, there = flat.positions[run[near]], other.positions[twin[off.argmin(axis=1)]]
    own, onto = here.mean(axis=0), there.mean(axis=0)
    u, _, vt = np.linalg.svd((here - own).T @ (there - onto))
    turn = u @ np.diag([1.0, np.sign(np.linalg.det(u @ vt))]) @ vt
    return turn, own, onto


def _arc(flat: Flat, middle: Line, radius: float) -> list[tuple[Line, bool]]:
    """The parts of a circle that lie on a flat, and whether each is the whole circle."""
    ring = rim(flat, allowance_mm=10.0, allowances={}, opening_mm=10.0, fold_mm=30.0)
    inside = shapely.Polygon(ring.points).buffer(1e-6)
    circle = round_line(radius, at=middle)
    if inside.contains(shapely.LinearRing(circle)):
        return [(np.concatenate([circle, circle[:1]]), True)]
    cut = shapely.line_merge(shapely.LinearRing(circle).intersection(inside))
    parts = [np.asarray(p.coords) for p in shapely.get_parts(cut) if p.length > 1.0]
    if len(parts) > 1 and np.hypot(*(parts[0][0] - parts[-1][-1])) < 1e-6:
        parts = [np.concatenate([parts[-1], parts[0][1:]]), *parts[1:-1]]
    return [(part, False) for part in parts]


OPENING = Kind(
    "a round opening for the tail with a two-layer base that carries its zip",
    (
        Parameter("girth", "mm", "of the tail at its root", 120, 1200, "less takes no zip"),
        Parameter("pile", "mm", "left long round the opening", 0, 60, "more gets caught"),
    ),
    {"girth": 314.0, "pile": 19.0},
    _opening,
    ("at",),
)
