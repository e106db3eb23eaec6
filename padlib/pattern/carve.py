"""Flats cut along marks: the inside of a mark is its own piece of another cloth, set into the piece round it.

A mark is cut out of the finished flat, so that both sides of its outline are one curve on paper: they agree exactly,
and the stretch is that of the flat. Where a mark runs on beyond a seam, each side of the seam has its part, and
both meet where the seam's steps meet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from padlib.findings import Finding, Grade
from padlib.flatten.flat import Dart, Flat
from padlib.mesh.split import CutPiece, split
from padlib.mesh.surface import Surface
from padlib.mesh.topology import boundary_loops, edges, face_components
from padlib.pattern.border import (
    Pair,
    Step,
    Twin,
    leg_steps,
    own_steps,
    runs_of,
    vertices_of,
    without_darts,
)
from padlib.pattern.carved import NONE, Carved, Colour, outline
from padlib.pattern.piece import Inner, Line
from padlib.seams.mirror import other_side
from padlib.seams.panels import Edge, Panel

Ints = NDArray[np.int64]

LEAST = 600.0  # mm2; a smaller piece cannot be set in
ROOM = 2.0  # mm that must be left of a hole inside its allowance


def carve(
    flats: Sequence[Flat],
    tints: Mapping[str, Ints],
    colours: Sequence[Colour],
    *,
    allowance_mm: float,
) -> Carved:
    """The parts of all flats; tints: for each flat the mark of each of its faces, an index into colours, or -1.

    A part that is too small to be set in with its allowance becomes a line, which a finding tells. Flats without
    marks come back as they are.
    """
    if not colours:
        return Carved(tuple(flats))
    by_name = {f.panel.name: f for f in flats}
    lines, findings, labels = [], [], {}
    for flat in flats:
        tint = tints.get(flat.panel.name, np.full(len(flat.panel.surface.faces), NONE))
        label, small = _labels(flat, tint, colours, allowance_mm)
        labels[flat.panel.name] = label
        drawn = np.where(label == tint, NONE, tint)
        lines += [(flat.panel.name, line) for line in _outlines(flat, drawn, colours)]
        findings += small
    if all((label == NONE).all() for label in labels.values()):
        return Carved(tuple(flats), lines=tuple(lines), tints=tints, findings=tuple(findings))
    every: dict[str, list[_Part]] = {}
    for flat in flats:
        every[flat.panel.name] = _parts(flat, labels[flat.panel.name], colours)
    owner = {
        (name, *pair): part
        for name, parts in every.items()
        for part in parts
        for pair in part.pairs
    }
    made: list[Flat] = []
    holes: list[tuple[str, Flat]] = []
    cloth: dict[str, str] = {}
    whole: dict[str, str] = {}
    for flat in flats:
        name = flat.panel.name
        mirror = _mirrored(flat, by_name, every, labels, colours)
        for part in every[name]:
            image = other_side(part.name) if mirror else None
            rings = _rings(part, flat, by_name, owner, colours)
            for k, (steps, darts) in enumerate(rings):
                made_flat = _flat(part, flat, steps, darts, owner, k, image)
                if k == 0:
                    made.append(made_flat)
                else:
                    holes.append((part.name, made_flat))
            if part.colour != NONE:
                cloth[part.name] = colours[part.colour].cloth
            if part.name != name or part.colour != NONE or len(rings) > 1:
                whole[part.name] = name
    done = _partnered(made, [h for _, h in holes])
    holes = [(name, hole) for (name, _), hole in zip(holes, done[len(made) :], strict=True)]
    return Carved(
        tuple(done[: len(made)]), tuple(holes), cloth, whole, tuple(lines), tints, tuple(findings)
    )


@dataclass(eq=False)
class _Part:
    """A connected part of a flat: its name, its mark or -1, its mesh, and the pairs of its border."""

    name: str
    colour: int
    piece: CutPiece
    loops: list[Ints]
    pairs: set[Pair] = field(default_factory=set)
    ring_of: dict[Pair, int] = field(default_factory=dict)


def _labels(
    flat: Flat, tint: Ints, colours: Sequence[Colour], allowance: float
) -> tuple[Ints, list[Finding]]:
    """For each face the mark that is set in there, -1 where none is or it is too small."""
    inset = np.array([c.inset for c in colours])
    label = np.where((tint != NONE) & inset[tint], tint, NONE)
    faces = flat.panel.surface.faces
    findings = []
    for part in _components(faces, label):
        k = int(label[part[0]])
        if k == NONE:
            continue
        loops = boundary_loops(faces[part])
        outer = max((Polygon(flat.positions[loop]) for loop in loops), key=lambda p: p.area)
        if outer.area < LEAST or outer.buffer(-allowance - ROOM).is_empty:
            label[part] = NONE
            words = (
                f"is only {outer.area / 100:.0f} cm2 large here, too small to be set in with its allowance; it "
                "is drawn as a line: dye, paint or lay it on, or make it larger or move it off the seam"
            )
            if flat.panel.mirror_of is None:
                where = f"mark '{colours[k].name}' on '{flat.panel.name}'"
                findings.append(Finding(941, words, where, Grade.WARNING))
    return label, findings


def _components(faces: NDArray, label: Ints) -> list[Ints]:
    """The faces of each connected part of one label."""
    part = face_components(faces, cut=_between(faces, label))
    order = np.argsort(part, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(part[order])) + 1)


def _between(faces: NDArray, label: Ints) -> NDArray[np.bool_]:
    """Which edges of a mesh part faces of different labels."""
    e = edges(faces)
    low = np.full(len(e.ends), np.iinfo(np.int64).max)
    high = np.full(len(e.ends), np.iinfo(np.int64).min)
    np.minimum.at(low, e.of_face.ravel(), np.repeat(label, 3))
    np.maximum.at(high, e.of_face.ravel(), np.repeat(label, 3))
    return (low != high) & (e.count == 2)


def _parts(flat: Flat, label: Ints, colours: Sequence[Colour]) -> list[_Part]:
    """The parts of a flat, named, in the order of their lowest face."""
    surface = flat.panel.surface
    cut = edges(surface.faces).ends[_between(surface.faces, label)]
    pieces = split(surface.vertices, surface.faces, cut).pieces
    colour = [int(label[p.face_parents[0]]) for p in pieces]
    out = []
    for name, k, piece in zip(_names(flat, pieces, colour, colours), colour, pieces, strict=True):
        loops = boundary_loops(piece.faces)
        loops.sort(key=lambda loop: -_signed(flat.positions[piece.parents[loop]]))
        part = _Part(name, k, piece, loops)
        for number, loop in enumerate(loops):
            way = piece.parents[loop].tolist()
            for pair in zip(way, way[1:] + way[:1], strict=True):
                part.pairs.add(pair)
                part.ring_of[pair] = number
        out.append(part)
    return out


def _signed(points: Line) -> float:
    """Area of a closed line (k, 2), negative where it runs clockwise."""
    x, y = points.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _names(
    flat: Flat, pieces: Sequence[CutPiece], colour: Sequence[int], colours: Sequence[Colour]
) -> list[str]:
    """Names of parts: the panel's for what is left of it, the mark's before it for what is set in.

    Of several of one name the highest is 1.
    """
    name = flat.panel.name
    stem, dash, side = name.rpartition("-")
    if not dash or side not in ("left", "right"):
        stem, side = name, ""
    out = [""] * len(pieces)
    for k in sorted(set(colour)):
        mine = [i for i, c in enumerate(colour) if c == k]
        mine.sort(key=lambda i: -float(pieces[i].vertices[:, 2].mean()))
        for number, i in enumerate(mine, 1):
            words = [stem] if k == NONE or len(pieces) == 1 else [colours[k].plain, stem]
            words += [str(number)] if len(mine) > 1 else []
            out[i] = "-".join([*words, side]) if side else "-".join(words)
    return out


def _mirrored(
    flat: Flat,
    by_name: Mapping[str, Flat],
    every: Mapping[str, list[_Part]],
    labels: Mapping[str, Ints],
    colours: Sequence[Colour],
) -> bool:
    """Whether a flat's parts are the images of another's: their marks must be images too."""
    other = flat.panel.mirror_of
    if other is None or other not in by_name:
        return False
    one, two = (
        [colours[k].plain if k != NONE else "" for k in labels[n]] for n in (other, flat.panel.name)
    )
    names = {p.name for p in every[other]}
    return one == two and all(other_side(p.name) in names for p in every[flat.panel.name])


def _rings(
    part: _Part,
    flat: Flat,
    by_name: Mapping[str, Flat],
    owner: Mapping[Twin, _Part],
    colours: Sequence[Colour],
) -> list[tuple[list[Step], list[Dart]]]:
    """The borders of a part, the outer one first, and the darts that open into each."""
    own, legs = own_steps(flat, by_name), leg_steps(flat)
    name = flat.panel.name
    out = []
    for loop in part.loops:
        ring = []
        ids = loop.tolist()
        for a, b in zip(ids, ids[1:] + ids[:1], strict=True):
            pair = (int(part.piece.parents[a]), int(part.piece.parents[b]))
            leg = None
            if pair in own:
                number, twin = own[pair]
                edge = flat.panel.edges[number]
                seam, kind = edge.seam, edge.kind
            elif pair in legs:
                d, far, back = legs[pair]
                number, twin, kind = -10 - d, (name, *back), "sewn"
                seam, leg = f"{name}-dart-{d + 1}", (d, far)
            else:
                twin = (name, pair[1], pair[0])
                there = owner[twin]
                seam = colours[max(part.colour, there.colour)].name
                number, kind = -1, "sewn"
            partner = _at(owner, twin)
            ring.append((Step(a, b, seam, kind, (partner, number), twin if partner else None), leg))
        out.append(without_darts(ring, flat))
    return out


def _at(owner: Mapping[Twin, _Part], twin: Twin | None) -> str:
    """The name of the panel that a step's twin will be on, "" where there is none."""
    if twin is None or twin not in owner:
        return ""
    part = owner[twin]
    ring = part.ring_of[twin[1], twin[2]]
    return part.name if ring == 0 else hole_name(part.name, ring)


def hole_name(part: str, number: int) -> str:
    """The name of the border of a part's hole, as the panel that an inset is sewn to."""
    stem, dash, side = part.rpartition("-")
    return (
        f"{stem}-hole{number}-{side}"
        if dash and side in ("left", "right")
        else f"{part}-hole{number}"
    )


def _flat(
    part: _Part,
    flat: Flat,
    steps: Sequence[Step],
    darts: Sequence[Dart],
    owner: Mapping[Twin, _Part],
    ring: int,
    image: str | None,
) -> Flat:
    """The flat of a part, or of one of its holes; partners are named, their edges not yet numbered."""
    piece, panel = part.piece, flat.panel
    own = []
    for run in runs_of(steps):
        partner = (run[0].edge[0], -1) if run[0].edge[0] else None
        kind = "opening" if partner is None and run[0].kind == "sewn" else run[0].kind
        own.append(Edge(run[0].seam, kind, vertices_of(run), partner))
    for k, dart in enumerate(darts):
        run = np.concatenate([dart.left, dart.right[-2::-1]])
        own.append(Edge(f"dart {k + 1}", "dart", run))
    name = part.name if ring == 0 else hole_name(part.name, ring)
    if image is not None and ring:
        image = hole_name(image, ring)
    new = Panel(
        name,
        panel.side,
        Surface(piece.vertices, piece.faces),
        panel.parents[piece.parents],
        tuple(own),
        mirror_of=image,
    )
    stretch = flat.stretch[piece.face_parents]
    return replace(
        flat,
        panel=new,
        positions=flat.positions[piece.parents],
        stretch=stretch,
        stretch_before=stretch,
        area_before=np.zeros(len(stretch)),
        stretch_unmatched=None,
        darts=tuple(darts),
        findings=(),
    )


def _partnered(flats: Sequence[Flat], holes: Sequence[Flat]) -> list[Flat]:
    """Flats whose edges know the numbers of their partners' edges: those that are the same places backwards."""
    every = [*flats, *holes]
    ends: dict[tuple[str, str, str], list[tuple[int, NDArray]]] = {}
    for flat in every:
        for k, edge in enumerate(flat.panel.edges):
            if edge.partner is not None:
                where = flat.panel.surface.vertices[edge.run]
                key = (flat.panel.name, edge.partner[0], edge.seam)
                ends.setdefault(key, []).append((k, where))
    out = []
    for flat in every:
        own = []
        for k, edge in enumerate(flat.panel.edges):
            if edge.partner is not None:
                where = flat.panel.surface.vertices[edge.run]
                key = (edge.partner[0], flat.panel.name, edge.seam)
                found = ends.get(key, [])
                if edge.partner[0] == flat.panel.name:
                    found = [x for x in found if x[0] != k] or found
                best = min(found, key=lambda x: _apart(where, x[1]), default=None)
                partner = None if best is None else (edge.partner[0], best[0])
                edge = replace(edge, partner=partner)
            own.append(edge)
        out.append(replace(flat, panel=replace(flat.panel, edges=tuple(own))))
    return out


def _apart(one: NDArray, two: NDArray) -> float:
    """How far the ends and the middles of two runs in opposite directions lie apart."""
    ends = np.linalg.norm(one[[0, -1]] - two[[-1, 0]], axis=1).max()
    return float(ends + np.linalg.norm(one.mean(axis=0) - two.mean(axis=0)))


def _outlines(flat: Flat, tint: Ints, colours: Sequence[Colour]) -> list[Inner]:
    """The outlines of marks on a flat as lines, where they do not run along its border."""
    out = []
    for k in sorted(set(tint[tint != NONE].tolist())):
        words = f"{colours[k].plain}: {colours[k].cloth or 'another colour'} inside"
        for chain, closed in outline(flat.panel.surface.faces, tint == k):
            out.append(Inner("colour", flat.positions[chain], closed, words))
            words = ""
    return out
