"""The suit as the page draws it: panels in the round and laid flat, in one block of bytes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.flatten.forecast import forecast
from padlib.mesh.areas import face_crosses, sums
from padlib.mesh.surface import Surface, per_surface
from padlib.output.png import SIGNED, signed_worst
from padlib.pattern.carved import outline, tint_of
from padlib.seams.panels import Panel
from padlib.workshop.frames import Blocks

# Muted tones of leaf, bark, stone and straw, told apart by lightness as well as by hue.
TONES = (
    (0.46, 0.57, 0.28),
    (0.84, 0.73, 0.44),
    (0.33, 0.50, 0.52),
    (0.70, 0.46, 0.32),
    (0.62, 0.72, 0.56),
    (0.88, 0.82, 0.68),
    (0.48, 0.42, 0.55),
    (0.58, 0.60, 0.62),
)


MARK_TONES = ((0.93, 0.89, 0.78), (0.55, 0.24, 0.16), (0.24, 0.25, 0.29), (0.80, 0.55, 0.20))


@dataclass(frozen=True)
class MarkShown:
    """A mark as it is drawn: its name, its cloth, whether it is set in, and its colour, 0 to 1."""

    name: str
    cloth: str
    inset: bool
    colour: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Coloured:
    """The marks on cut panels: the mark of each face of each panel by name, -1 none, and those panels before any
    dart; pile: the way (3,) that each panel's pile lies."""

    marks: tuple[MarkShown, ...] = ()
    tints: Mapping[str, NDArray[np.int64]] = field(default_factory=dict)
    before: Mapping[str, Panel] = field(default_factory=dict)
    pile: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)


PLAIN = Coloured()


@dataclass(frozen=True)
class Shown:
    """One panel as it is drawn: its stretch (m,) with its sign, and its flat where it has one."""

    panel: Panel
    stretch: NDArray[np.float64]
    flat: Flat | None = None
    pillow: bool = False


def scene_bytes(
    flats: Sequence[Flat],
    pillows: Sequence[Flat],
    *,
    scale: float,
    limit: float,
    coloured: Coloured = PLAIN,
) -> bytes:
    """The message of everything that the page draws (see `padlib.workshop.frames`).

    Of each panel: float32 vertices and normals (n, 3), uint32 faces (m, 3), float32 stretch (m,) of
    the larger principal stretch with its sign, float32 seam lines as pairs of points, float32 flat
    (n, 2), its edges as uint32 runs of vertices, and of each mark on it uint32 triangles and outlines. scale:
    stretch at the ends of the colours; limit: the cloth's.
    """
    shown = [
        Shown(f.panel, signed_worst(f.stretch), f, pillow)
        for group, pillow in ((flats, False), (pillows, True))
        for f in group
    ]
    return shown_bytes(shown, scale=scale, limit=limit, coloured=coloured)


def forecast_shown(panels: Sequence[Panel]) -> list[Shown]:
    """Panels that are not laid yet, each with the stretch that one linear solve tells of it.

    A mirror image takes that of its original. Raises MeshError where one is not a disk.
    """
    told: dict[str, NDArray[np.float64]] = {}
    for panel in panels:
        if panel.mirror_of is None:
            told[panel.name] = _foreseen(panel.surface)
    out = []
    for panel in panels:
        own = told.get(panel.mirror_of or panel.name)
        if own is None or len(own) != len(panel.surface.faces):
            own = np.zeros(len(panel.surface.faces))
        out.append(Shown(panel, own))
    return out


@per_surface
def _foreseen(surface: Surface) -> NDArray[np.float64]:
    """The forecast stretch (m,) of a panel; one that a seam did not touch keeps its surface, and so this."""
    u = forecast(surface.vertices, surface.faces)
    return np.expm1(-u[surface.faces].mean(axis=1))


def shown_bytes(
    shown: Sequence[Shown], *, scale: float, limit: float, coloured: Coloured = PLAIN
) -> bytes:
    """As `scene_bytes`, of panels whether they are laid or not."""
    blocks = Blocks()
    suit = [s.panel for s in shown if not s.pillow]
    normals = {id(s): n for s, n in zip(shown, _all_normals(shown), strict=True)}
    tones = _tones([s.panel for s in shown])
    points = np.concatenate([p.surface.vertices for p in suit])
    panels = [
        _panel(s, normals[id(s)], t, blocks)
        | {"marks": _marks(s, coloured, blocks), "pile": _pile(s.panel.name, coloured)}
        for s, t in zip(shown, tones, strict=True)
    ]
    header: dict[str, Any] = {
        "panels": panels,
        "marks": [vars(mark) for mark in coloured.marks],
        "low": points.min(axis=0).round(2).tolist(),
        "high": points.max(axis=0).round(2).tolist(),
        "scale": scale,
        "limit": limit,
        "colours": ramp(),
    }
    return blocks.message(header)


def ramp() -> list[list[int]]:
    """Red, green and blue, 0 to 255, of the 129 steps from the lowest value to the highest."""
    return (255 * SIGNED(np.linspace(0, 1, 129))[:, :3]).round().astype(int).tolist()


def _panel(shown: Shown, normals: NDArray, tone: NDArray, blocks: Blocks) -> dict[str, Any]:
    panel, flat, keep = shown.panel, shown.flat, blocks.keep
    surface = panel.surface
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    return {
        "name": panel.name,
        "pillow": shown.pillow,
        "mirror_of": panel.mirror_of,
        "tone": tone.round(3).tolist(),
        "centre": ((low + high) / 2).round(2).tolist(),
        "vertices": keep(surface.vertices.astype("<f4")),
        "normals": keep(normals.astype("<f4")),
        "faces": keep(surface.faces.astype("<u4")),
        "stretch": keep(shown.stretch.astype("<f4")),
        "seams": keep(_lines(panel, dart=False)),
        "darts": keep(_lines(panel, dart=True)),
        "flat": None if flat is None else keep(flat.positions.astype("<f4")),
        "edges": [[e.kind, e.seam, keep(np.asarray(e.run).astype("<u4"))] for e in panel.edges],
        "held": [] if flat is None else [_dart(flat, k) for k in range(len(flat.darts))],
    }


def _marks(shown: Shown, coloured: Coloured, blocks: Blocks) -> list[dict[str, Any]]:
    """The marks on a panel: which, their triangles, and their outlines as [run of vertices, closed]."""
    panel, name = shown.panel, shown.panel.name
    tint = coloured.tints.get(name)
    if tint is None or tint.max(initial=-1) < 0:
        return []
    if shown.flat is not None:
        tint = tint_of(shown.flat, coloured.before[name], tint)
    out = []
    for mark in np.unique(tint[tint >= 0]).tolist():
        inside = tint == mark
        lines = [] if inside.all() else outline(panel.surface.faces, inside)
        runs = [[blocks.keep(line.astype("<u4")), closed] for line, closed in lines]
        triangles = blocks.keep(np.flatnonzero(inside).astype("<u4"))
        out.append({"mark": mark, "triangles": triangles, "lines": runs})
    return out


def _pile(name: str, coloured: Coloured) -> list[float] | None:
    """The way that a panel's pile lies, where that is known."""
    way = coloured.pile.get(name)
    return None if way is None else np.asarray(way).round(4).tolist()


def _dart(flat: Flat, number: int) -> dict[str, Any]:
    """A dart: length, intake, and its mouth and tip in space and on paper."""
    dart, at = flat.darts[number], flat.panel.surface.vertices
    paper = flat.positions[[dart.left[0], dart.apex, dart.right[0]]]
    return {
        "length_mm": round(float(dart.length_mm), 1),
        "intake_deg": round(float(dart.intake_deg), 1),
        "mouth": at[dart.left[0]].round(1).tolist(),
        "tip": at[dart.apex].round(1).tolist(),
        "paper": paper.round(2).tolist(),
    }


def _lines(panel: Panel, *, dart: bool) -> NDArray[np.float32]:
    """Pairs of points along a panel's edges, or along its darts."""
    runs = [e.run for e in panel.edges if (e.kind == "dart") is dart]
    pairs = [np.stack([run[:-1], run[1:]], axis=1) for run in runs if len(run) > 1]
    if not pairs:
        return np.zeros((0, 3), dtype="<f4")
    return panel.surface.vertices[np.concatenate(pairs).ravel()].astype("<f4")


def _tones(panels: Sequence[Panel]) -> list[NDArray[np.float64]]:
    """A tone for each panel; a panel and its mirror image share one."""
    bases = [p.name.rpartition("-")[0] or p.name for p in panels]
    order = sorted(set(bases))
    return [np.array(TONES[order.index(b) % len(TONES)]) for b in bases]


def _all_normals(shown: Sequence[Shown]) -> list[NDArray[np.float64]]:
    """Normals of all panels; cushions are not smoothed into the suit that lies over them."""
    out: dict[int, NDArray[np.float64]] = {}
    for pillow in (False, True):
        group = [k for k, s in enumerate(shown) if s.pillow is pillow]
        out |= zip(group, _normals([shown[k].panel for k in group]), strict=True)
    return [out[k] for k in range(len(shown))]


def _normals(panels: Sequence[Panel]) -> list[NDArray[np.float64]]:
    """Normals (n, 3) of each panel's vertices, smooth over the seams between the panels."""
    if not panels:
        return []
    vertices = np.concatenate([p.surface.vertices for p in panels])
    starts = np.cumsum([0, *(len(p.surface.vertices) for p in panels)])
    faces = np.concatenate(
        [p.surface.faces + at for p, at in zip(panels, starts[:-1], strict=True)]
    )
    twin = _twins(vertices)
    normal = face_crosses(vertices, faces)
    total = sums(twin[faces].ravel(), np.repeat(normal, 3, axis=0), int(twin.max()) + 1)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]
    return np.split(total[twin], starts[1:-1])


def _twins(vertices: NDArray[np.float64]) -> NDArray[np.int64]:
    """A number (n,) for each vertex, the same for those in one place."""
    x, y, z = vertices.round(4).T + 0.0  # one zero only
    order = np.lexsort((z, y, x))
    new = np.zeros(len(order), dtype=np.bool_)
    for along in (x, y, z):
        new[1:] |= along[order[1:]] != along[order[:-1]]
    out = np.empty(len(order), dtype=np.int64)
    out[order] = np.cumsum(new)
    return out
