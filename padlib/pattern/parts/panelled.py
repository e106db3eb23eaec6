"""Parts in the shape of panels: linings of whole panels, and vents of mesh let into a panel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from padlib.errors import InputError
from padlib.findings import Finding, Grade
from padlib.flatten.flat import Flat
from padlib.mesh.point import nearest
from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.allowance import cut_line
from padlib.pattern.edge import rim
from padlib.pattern.parts.part import ARC_MM, Ask, Blank, Copy, Kind, Made, Step, Worn, rectangle
from padlib.pattern.parts.site import Site
from padlib.pattern.piece import Inner, Line
from padlib.seams.panels import is_called

NEAR_MM = 3.0  # a place is on every panel that comes so near
CLEAR_MM = 15.0  # from a vent's cut-out to the sew line of its panel


def _lining(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """Copies of panels, cut from the lining."""
    names = {f.panel.name: f for f in worn.flats}
    there = set(names)
    chosen = []
    for asked in ask.panels:
        found = [n for n in names if is_called(n, asked)]
        if not found:
            raise InputError(
                f"part '{ask.name}' lines a panel '{asked}' that is not there; there are "
                f"{', '.join(sorted({n.rpartition('-')[0] or n for n in names}))}."
            )
        chosen += [n for n in found if names[n].panel.mirror_of not in there]
    copies = tuple(Copy(n, ask.name, ask.cloth) for n in dict.fromkeys(chosen))
    words = (
        f"{ask.name}: sew the lining together like the suit, seams outward, put it inside, and fell "
        "it to the neck, the closure's tape and the hems; leave the pads' openings free."
    )
    return Made(ask.kind, ask.name, copies=copies, steps=(Step("last", words),))


LINING = Kind("chosen panels once more in lining cloth", (), {}, _lining, ("cloth", "panels"))


def spots(worn: Worn, ask: Ask) -> list[tuple[Flat, Line]]:
    """Flats that a part's place on the shell lies on, with where (2,) it lies on paper.

    Raises InputError where it lies on none.
    """
    out, at = [], ask.at
    for flat in worn.flats:
        surface = flat.panel.surface
        point = nearest(surface.vertices, surface.faces, np.array([at]))[0]
        corners = surface.faces[point.face]
        place = point.barycentric @ surface.vertices[corners]
        if np.linalg.norm(place - np.array(at)) < NEAR_MM:
            out.append((flat, point.barycentric @ flat.positions[corners]))
    if not out:
        raise InputError(
            f"part '{ask.name}' lies on no panel; give a place on the suit as 'at', a landmark or "
            "[x, y, z] in mm."
        )
    return out


def ellipse(width: float, height: float) -> Line:
    """An ellipse (k, 2) about the origin, counter-clockwise."""
    count = 4 * max(8, int(np.ceil(np.pi * max(width, height) / ARC_MM / 4)))
    turn = 2 * np.pi * np.arange(count) / count
    return 0.5 * np.column_stack([width * np.cos(turn), height * np.sin(turn)])


def on_panel(ask: Ask, worn: Worn, size: tuple[float, float]) -> tuple[tuple[str, ...], Line]:
    """The panel that a part of a size (mm) lies within, with its image if it has one, and where (2,) its middle is.

    The panel is the one of a pair that is printed. Raises InputError where the part comes near a seam.
    """
    found = spots(worn, ask)
    flat, middle = found[0]
    there = {f.panel.name: f for f in worn.flats}
    image = flat.panel.mirror_of in there
    own = there[flat.panel.mirror_of] if image else flat
    middle = middle * [-1.0, 1.0] if image else middle
    ring = rim(own, allowance_mm=10.0, allowances={}, opening_mm=10.0, fold_mm=30.0)
    inside = shapely.Polygon(ring.points).buffer(0)
    half = 0.5 * np.array(size)
    round_ = ask.kind == "vent"
    outer = ellipse(*size) + middle if round_ else rectangle(*(middle - half), *(middle + half))
    room = inside.exterior.distance(shapely.LinearRing(outer))
    if len(found) > 1 or not inside.contains(shapely.Polygon(outer)) or room < CLEAR_MM:
        raise InputError(
            f"part '{ask.name}' comes nearer than {CLEAR_MM:g} mm to a seam of panel "
            f"'{flat.panel.name}'; move it or make it smaller."
        )
    twins = (n for n, f in there.items() if f.panel.mirror_of == own.panel.name)
    return (own.panel.name, *twins), middle


def _vent(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
    """An ellipse of mesh let into a panel; the hole keeps its allowance inwards."""
    names, middle = on_panel(ask, worn, (v["width"], v["height"]))
    own, twin = names[0], len(names) > 1
    sew, mm = ellipse(v["width"], v["height"]) + middle, worn.allowance_mm
    hole = shapely.Polygon(sew).buffer(-mm)
    found_, lines = [], [Inner("place", sew, True, ask.name)]
    if hole.is_empty:
        words = f"with {mm:g} mm allowance nothing is left to cut out; make the vent larger"
        found_.append(Finding(724, words, ask.name, Grade.WARNING))
    else:
        cut_out = np.asarray(shapely.orient_polygons(hole).exterior.coords)[:-1]
        lines.append(Inner("cutout", cut_out, True, "cut out"))
    count = 2 if twin and ask.side == "both" else 1
    at_origin = sew - middle
    blank = Blank(
        ask.name,
        ask.cloth,
        count,
        at_origin,
        cut_line(at_origin, mm),
        ((f"{own}, the hole", at_origin),),
        notes=("" if count == 2 or not twin else f"{ask.side} side only",),
    )
    words = (
        f"{ask.name}: cut the hole out, clip its allowance, and sew the mesh into it while the panel "
        "still lies flat; trim the pile round it."
    )
    panels = names[:count]
    area = float(shapely.Polygon(sew).area) / 100
    return Made(
        ask.kind,
        ask.name,
        (blank,),
        drawn=tuple((own, line) for line in lines),
        steps=(Step("flat", words, (Site(panels=panels, flat=True),)),),
        findings=tuple(found_),
        numbers={"area_cm2": area, "count": count},
    )


VENT = Kind(
    "an oval of mesh let into a panel, to let heat out",
    (
        Parameter("width", "mm", "of the oval's sew line", 30, 400, "less lets no air through"),
        Parameter("height", "mm", "of the oval's sew line", 30, 500, "less lets no air through"),
    ),
    {"width": 100.0, "height": 140.0},
    _vent,
    ("cloth", "at"),
)
