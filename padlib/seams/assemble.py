"""From a seam plan to panels: all seams drawn into the shell, the shell taken apart along them."""

from __future__ import annotations

import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import project
from padlib.errors import SuitError
from padlib.findings import Finding
from padlib.mesh.areas import face_areas
from padlib.mesh.cut import boundary_runs, insert, split
from padlib.mesh.insert import Inserted
from padlib.mesh.onto import divided
from padlib.mesh.point import Curve, arrays
from padlib.mesh.split import CutPiece
from padlib.mesh.surface import Faces, Surface, Vertices, per_surface
from padlib.mesh.topology import Edges, boundary_loops, edge_numbers, edges, face_components
from padlib.seams.marks import Drawn, Mark, tints, with_images
from padlib.seams.mirror import mirrored
from padlib.seams.own import Ground, Parted, Seams, components_beside, draw_own, joined
from padlib.seams.panels import Edge, Panel, whole_name
from padlib.seams.place import Place
from padlib.seams.plan import (
    SIDES,
    Line,
    Options,
    chain_curves,
    first_lines,
    parting,
    region_seeds,
    second_lines,
)
from padlib.seams.settle import settle

GARMENT = ("trunk", "arm", "leg")
NAMES = {
    "trunk": ("front", "back"),
    "arm": ("sleeve-upper", "sleeve-under"),
    "leg": ("leg-inner", "leg-outer"),
}
_plans: weakref.WeakKeyDictionary[Place, tuple[tuple[object, ...], _Plan]] = (
    weakref.WeakKeyDictionary()
)
_surfaces: weakref.WeakKeyDictionary[CutPiece, Surface] = weakref.WeakKeyDictionary()
_parted: weakref.WeakKeyDictionary[Place, tuple[tuple[object, ...], _Parts]] = (
    weakref.WeakKeyDictionary()
)


@dataclass(frozen=True)
class Closure:
    """Where the suit opens: place front, back or none; its lower end at height z_low mm; slits: mm by which the
    back seam of a leg or sleeve is left open from its end, by side and the end's name ("ankle", "wrist")."""

    place: str = "front"
    z_low: float = 0.0
    slits: Mapping[tuple[str, str], float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Cut:
    """The panels of a suit; tints: for each, the mark (m,) that each of its faces lies in, -1 none; findings."""

    panels: tuple[Panel, ...]
    tints: Mapping[str, NDArray[np.int64]]
    findings: tuple[Finding, ...]


def suit_panels(
    place: Place,
    options: Options,
    closure: Closure,
    drawn: Sequence[Line] = (),
    marks: Sequence[Mark] = (),
) -> Cut:
    """All panels of the suit with their edges and partners, and what was noticed.

    drawn: the maker's own seams, marks: where the cloth has another colour, both on the shell's own mesh.
    The plan is cut once for a place as long as all but the maker's seams stays; these are drawn into its panels, and
    only those that they touch are cut again.
    Raises SuitError if a part cannot be parted or a panel is not a disk, naming it and where to open it,
    and for a mark that crosses itself.
    """
    plan = _planned(place, options, closure, marks)
    cut = draw_own(plan.ground, drawn) if drawn else plan.ground.cut
    runs = boundary_runs(cut.pieces, cut.edges, cut.labels)
    names = _numbered([_base_name(plan, piece) for piece in cut.pieces], runs)
    panels = _panels(runs, [_surface_of(piece) for piece in cut.pieces], names, cut.seams)
    for panel in panels:
        _check_disk(panel)
    if place.mirror is not None:
        panels = mirrored(panels)
    own_faces = {str(n): piece.face_parents for n, piece in zip(names, runs, strict=True) if n}
    return Cut(panels, _tints(panels, own_faces, plan.tint), plan.findings)


@dataclass(frozen=True, eq=False)
class _Plan:
    """The seam plan of a suit drawn into its shell, before the maker's own seams.

    ground: what these are drawn into; region (m,): the part of the body that each face belongs to; split_by: of each
    part what parts its two panels, at the vertices; tint: the mark of each face and of its mirror image; stems: names
    of pieces without a number.
    """

    ground: Ground
    parts: Sequence[str]
    region: NDArray[np.int64]
    split_by: Mapping[str, NDArray[np.float64]]
    tint: tuple[NDArray[np.int64], NDArray[np.int64]]
    findings: tuple[Finding, ...]
    stems: weakref.WeakKeyDictionary[CutPiece, str | None]


def _planned(place: Place, options: Options, closure: Closure, marks: Sequence[Mark]) -> _Plan:
    """The plan drawn in, once for a place as long as these stay."""
    key = options, closure, _asked(marks)
    known = _plans.get(place)
    if known is None or known[0] != key:
        known = _plans[place] = key, _new_plan(place, options, closure, marks)
    return known[1]


@dataclass(frozen=True, eq=False)
class _Parts:
    """A shell with the lines between the parts of the body drawn in, and the outlines of its marks.

    known: edges of the mesh; region (m,): the part that each face belongs to.
    """

    lines: Sequence[Line]
    marks: Drawn
    mesh: Inserted
    known: Edges
    region: NDArray[np.int64]
    parts: Sequence[str]


def _new_plan(place: Place, options: Options, closure: Closure, marks: Sequence[Mark]) -> _Plan:
    begun, shell = _parted_shell(place, options, marks), place.surface
    first, region, parts, count = begun.mesh, begun.region, begun.parts, len(begun.lines)
    loops = begun.marks.curves()
    masks = {name: region == k for k, name in enumerate(parts)}
    inner, split_by = second_lines(first, masks, place, options)
    curves = [*chain_curves(first), *(x.curve for x in inner)]
    second = _drawn_in(first.vertices, first.faces, begun.known, curves, len(first.chains))
    known = edges(second.faces)
    drawn = np.unique(second.edges)
    every_line = [*begun.lines, *(Line("", loop) for loop in loops), *inner]
    tint = tints(second, known, begun.marks, count)
    second = _without(second, range(count, count + len(loops)))
    face_region = region[second.parent_face]
    both = _regions_beside(second, known, face_region)
    seams, labels = _seam_table(second, every_line, both, parts, place, closure)
    vertices = second.vertices.copy()
    if place.mirror is not None:
        vertices[second.chains[count - 1], 0] = 0.0
    cut_edges, labels = joined(vertices, second.faces, known, second.edges, labels)
    pieces = split(vertices, second.faces, cut_edges, mesh_edges=known)
    carriers = first.faces[second.point_face]
    split_by = {
        part: np.einsum("nk,nk->n", second.point_barycentric, values[carriers])
        for part, values in split_by.items()
    }
    taken = np.zeros(len(vertices), dtype=bool)
    taken[drawn] = True
    parted = Parted(pieces.pieces, cut_edges, labels, seams)
    ground = Ground(divided(shell.faces, first, second), vertices, taken, parted)
    stems: weakref.WeakKeyDictionary[CutPiece, str | None] = weakref.WeakKeyDictionary()
    findings = tuple(second.findings)
    return _Plan(ground, parts, face_region, split_by, tint, findings, stems)


def _parted_shell(place: Place, options: Options, marks: Sequence[Mark]) -> _Parts:
    """The shell parted, once for a place as long as what parts it and the marks stay."""
    key = parting(options), _asked(marks)
    known = _parted.get(place)
    if known is None or known[0] != key:
        known = _parted[place] = key, _newly_parted(place, options, marks)
    return known[1]


def _newly_parted(place: Place, options: Options, marks: Sequence[Mark]) -> _Parts:
    lines, shell = first_lines(place, options), place.surface
    coloured = with_images(marks, place)
    every = [*(line.curve for line in lines), *coloured.curves()]
    mesh = _drawn_in(shell.vertices, shell.faces, _edges_of(shell), every)
    known = edges(mesh.faces)
    return _Parts(lines, coloured, mesh, known, *find_regions(mesh, known, place, len(lines)))


def _asked(marks: Sequence[Mark]) -> tuple[object, ...]:
    """What of marks a cut depends on."""
    return tuple((mark.name, mark.loops) for mark in marks)


def _without(mesh: Inserted, curves: range) -> Inserted:
    """A mesh that no longer knows some of the curves drawn into it."""
    keep = ~np.isin(mesh.edge_curve, list(curves))
    return replace(mesh, edges=mesh.edges[keep], edge_curve=mesh.edge_curve[keep])


def _tints(
    panels: Sequence[Panel],
    own_faces: Mapping[str, NDArray[np.int64]],
    tint: tuple[NDArray[np.int64], NDArray[np.int64]],
) -> dict[str, NDArray[np.int64]]:
    """The mark of each face of each panel; a panel that is an image has its original's faces, turned."""
    return {p.name: tint[p.mirror_of is not None][own_faces[p.mirror_of or p.name]] for p in panels}


@per_surface
def _edges_of(surface: Surface) -> Edges:
    """The edges of a surface, found once for as long as it lives."""
    return edges(surface.faces)


def _drawn_in(
    vertices: Vertices, faces: Faces, known: Edges, curves: Sequence[Curve], kept: int = 0
) -> Inserted:
    """The mesh with curves drawn in; vertices close to a curve are moved onto it.

    known: the mesh's edges. The first `kept` curves are chains of edges already, and the vertices on them stay.
    """
    locked = np.zeros(len(vertices), dtype=bool)
    for curve in curves[:kept]:
        face, weights = arrays(curve.points)
        locked[faces[face, weights.argmax(axis=1)]] = True
    moved, settled = settle(vertices, faces, curves, locked=locked)
    return insert(moved, faces, settled, mesh_edges=known)


def find_regions(
    mesh: Inserted, e: Edges, place: Place, count: int
) -> tuple[NDArray[np.int64], list[str]]:
    """The part of the body (m,) that each face belongs to, as an index into the names of the parts.

    e: the mesh's edges. Only the first `count` curves part the body; -1 for patches that belong to none.
    """
    cut = np.zeros(len(e.ends), dtype=bool)
    cut[edge_numbers(e, mesh.edges[mesh.edge_curve < count])] = True
    component = face_components(mesh.faces, cut=cut, mesh_edges=e)
    seeds = region_seeds(place)
    names = list(seeds)
    region = np.full(len(mesh.faces), -1, dtype=np.int64)
    found: dict[int, str] = {}
    for k, name in enumerate(names):
        face = int(np.flatnonzero((mesh.faces == seeds[name]).any(axis=1))[0])
        part = int(component[face])
        if part in found:
            raise SuitError(
                f"{found[part]} and {name} could not be parted by the seam plan; check the "
                "landmarks between them in [body.landmarks]."
            )
        found[part] = name
        region[component == part] = k
    return region, names


def _seam_table(
    mesh: Inserted,
    lines: Sequence[Line],
    both: NDArray[np.int64],
    parts: Sequence[str],
    place: Place,
    closure: Closure,
) -> tuple[Seams, NDArray[np.int64]]:
    """The seams, and which (k,) each seam edge is of: from its curve and the parts of the body (k, 2) on both sides."""
    middle = mesh.vertices[mesh.edges].mean(axis=1)
    trunk = place.axes["trunk"]
    order = np.argsort(trunk[:, 2])
    front = middle[:, 1] < np.interp(middle[:, 2], trunk[order, 2], trunk[order, 1])
    slit = _slit_edges(mesh, lines, middle, place, closure)
    names: list[str] = []
    kinds: list[str] = []
    labels = np.empty(len(mesh.edges), dtype=np.int64)
    index: dict[tuple[str, str], int] = {}
    for k in range(len(mesh.edges)):
        line = lines[mesh.edge_curve[k]]
        beside = {parts[r] if r >= 0 else "" for r in both[k]}
        name, kind = _edge_name(line, beside, bool(front[k]), float(middle[k, 2]), closure)
        if k in slit:
            name, kind = slit[k], "closure"
        if (name, kind) not in index:
            index[name, kind] = len(names)
            names.append(name)
            kinds.append(kind)
        labels[k] = index[name, kind]
    return Seams(tuple(names), tuple(kinds)), labels


def part_of(panel: str) -> str:
    """The part of the body with its side, as "leg-left", that a panel of this name lies on."""
    name, _, side = whole_name(panel).rpartition("-")
    return next((f"{part}-{side}" for part, names in NAMES.items() if name in names), panel)


def slit_name(end: str, side: str) -> str:
    """The seam name of a slit; end: ankle or wrist."""
    return f"closure-{end}-{side}"


def _slit_edges(
    mesh: Inserted,
    lines: Sequence[Line],
    middle: NDArray[np.float64],
    place: Place,
    closure: Closure,
) -> dict[int, str]:
    """Seam edges that lie in a slit at a limb's end, with the slit's name."""
    out: dict[int, str] = {}
    for (side, end), length in closure.slits.items():
        name, limb = (
            (f"leg-back-{side}", f"leg_{side}")
            if end == "ankle"
            else (f"sleeve-back-{side}", f"arm_{side}")
        )
        own = [k for k in range(len(mesh.edges)) if lines[mesh.edge_curve[k]].name == name]
        if not own or limb not in place.axes:
            continue
        ends = mesh.vertices[mesh.edges[own]]
        far = project(place.axes[limb], ends.reshape(-1, 3))[0].max()
        s = project(place.axes[limb], middle[own])[0]
        out |= {k: slit_name(end, side) for k, at in zip(own, s, strict=True) if at > far - length}
    return out


def _edge_name(
    line: Line, beside: set[str], front: bool, z: float, closure: Closure
) -> tuple[str, str]:
    if line.name == "middle":
        if beside == {"leg-left", "leg-right"}:
            return "seat-seam", "sewn"
        side = "front" if front else "back"
        if beside == {"trunk-left", "trunk-right"} and side == closure.place and z > closure.z_low:
            return "closure", "closure"
        return f"centre-{side}", "sewn"
    if line.name == "hip":
        return ("hip-left" if "leg-left" in beside else "hip-right"), "sewn"
    return line.name, line.kind


def _regions_beside(mesh: Inserted, e: Edges, face_region: NDArray[np.int64]) -> NDArray[np.int64]:
    """Region index (k, 2) of the two faces beside each seam edge."""
    return components_beside(e, face_region)[edge_numbers(e, mesh.edges)]


def _base_name(plan: _Plan, piece: CutPiece) -> str | None:
    """The panel name of a piece without its number, None for head, hands and feet; found once for a piece."""
    if piece not in plan.stems:
        plan.stems[piece] = _new_name(plan, piece)
    return plan.stems[piece]


def _new_name(plan: _Plan, piece: CutPiece) -> str | None:
    counts = np.bincount(plan.region[piece.face_parents] + 1, minlength=len(plan.parts) + 1)
    best = int(counts.argmax()) - 1
    part = plan.parts[best] if best >= 0 else ""
    kind, _, side = part.partition("-")
    if kind not in GARMENT:
        return None
    value, faces = plan.split_by[part], plan.ground.mesh.faces[piece.face_parents]
    sign = np.sign(value[faces].mean(axis=1))
    second = float((sign * face_areas(piece.vertices, piece.faces)).sum()) > 0
    return f"{NAMES[kind][int(second)]}-{side}"


def _numbered(base: Sequence[str | None], pieces: Sequence[CutPiece]) -> list[str | None]:
    """Names made unique: of several pieces of one name, the highest is 1."""
    out = list(base)
    for name in {n for n in base if n}:
        mine = [i for i, n in enumerate(base) if n == name]
        if len(mine) > 1:
            stem, _, side = name.rpartition("-")
            mine.sort(key=lambda i: -float(pieces[i].vertices[:, 2].mean()))
            for number, i in enumerate(mine, 1):
                out[i] = f"{stem}-{number}-{side}"
    return out


def _surface_of(piece: CutPiece) -> Surface:
    """The surface of a piece, one for as long as the piece lives: what is known of it need not be found again."""
    if piece not in _surfaces:
        _surfaces[piece] = Surface(piece.vertices, piece.faces)
    return _surfaces[piece]


def _panels(
    pieces: Sequence[CutPiece],
    surfaces: Sequence[Surface],
    names: Sequence[str | None],
    table: Seams,
) -> tuple[Panel, ...]:
    panels = []
    for piece, surface, name in zip(pieces, surfaces, names, strict=True):
        if name is None:
            continue
        edge_list = []
        for run in piece.runs:
            kind = table.kinds[run.curve]
            partner = None
            if run.partner is not None and names[run.partner[0]] is not None:
                partner = (str(names[run.partner[0]]), run.partner[1])
            elif kind != "opening":
                kind = "opening"
            edge_list.append(Edge(table.names[run.curve], kind, run.vertices, partner))
        panels.append(
            Panel(name, name.rpartition("-")[2], surface, piece.parents, tuple(edge_list))
        )
    order = [f"{n}-{s}" for s in SIDES for k in GARMENT for n in NAMES[k]]
    panels.sort(key=lambda p: (p.side, _rank(p.name, order), p.name))
    return tuple(panels)


def _rank(name: str, order: Sequence[str]) -> int:
    return order.index(whole_name(name))


def _check_disk(panel: Panel) -> None:
    """SuitError, naming the panel, if it is not a disk.

    A piece is one component whose vertices have one fan each and whose edges two faces at most (`split`), so it is a
    surface with borders, and Euler's characteristic says what kind: 1 is a disk alone.
    """
    faces = panel.surface.faces
    rim = sum(len(edge.run) - 1 for edge in panel.edges)
    sides = (3 * len(faces) + rim) // 2
    if len(panel.surface.vertices) - sides + len(faces) == 1:
        return
    loops = boundary_loops(faces)
    where = max(loops, key=len)
    centre = panel.surface.vertices[where].mean(axis=0)
    raise SuitError(
        f"panel '{panel.name}' cannot be laid flat: it has {len(loops)} borders instead of one; draw a seam "
        f"that joins them, near ({centre[0]:.0f}, {centre[1]:.0f}, {centre[2]:.0f})."
    )
