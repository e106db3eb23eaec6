"""The suit as the page draws it: panels in the round and laid flat, in one block of bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.flatten.forecast import forecast
from padlib.output.png import SIGNED, signed_worst
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


@dataclass(frozen=True)
class Shown:
    """One panel as it is drawn: its stretch (m,) with its sign, and its flat where it has one."""

    panel: Panel
    stretch: NDArray[np.float64]
    flat: Flat | None = None
    pillow: bool = False


def scene_bytes(
    flats: Sequence[Flat], pillows: Sequence[Flat], *, scale: float, limit: float
) -> bytes:
    """The message of everything that the page draws (see `padlib.workshop.frames`).

    Of each panel: float32 vertices and normals (n, 3), uint32 faces (m, 3), float32 stretch (m,) of
    the larger principal stretch with its sign, float32 seam lines as pairs of points, float32 flat
    (n, 2), and its edges as uint32 runs of vertices. scale: stretch at the ends of the colours; limit:
    the cloth's.
    """
    shown = [
        Shown(f.panel, signed_worst(f.stretch), f, pillow)
        for group, pillow in ((flats, False), (pillows, True))
        for f in group
    ]
    return shown_bytes(shown, scale=scale, limit=limit)


def forecast_shown(panels: Sequence[Panel]) -> list[Shown]:
    """Panels that are not laid yet, each with the stretch that one linear solve tells of it.

    A mirror image takes that of its original. Raises MeshError where one is not a disk.
    """
    told: dict[str, NDArray[np.float64]] = {}
    for panel in panels:
        if panel.mirror_of is None:
            surface = panel.surface
            u = forecast(surface.vertices, surface.faces)
            told[panel.name] = np.expm1(-u[surface.faces].mean(axis=1))
    out = []
    for panel in panels:
        own = told.get(panel.mirror_of or panel.name)
        if own is None or len(own) != len(panel.surface.faces):
            own = np.zeros(len(panel.surface.faces))
        out.append(Shown(panel, own))
    return out


def shown_bytes(shown: Sequence[Shown], *, scale: float, limit: float) -> bytes:
    """As `scene_bytes`, of panels whether they are laid or not."""
    blocks = Blocks()
    suit = [s.panel for s in shown if not s.pillow]
    normals = {id(s): n for s, n in zip(shown, _all_normals(shown), strict=True)}
    tones = _tones([s.panel for s in shown])
    points = np.concatenate([p.surface.vertices for p in suit])
    panels = [_panel(s, normals[id(s)], t, blocks) for s, t in zip(shown, tones, strict=True)]
    header: dict[str, Any] = {
        "panels": panels,
        "low": points.min(axis=0).round(2).tolist(),
        "high": points.max(axis=0).round(2).tolist(),
        "scale": scale,
        "limit": limit,
        "colours": (255 * SIGNED(np.linspace(0, 1, 129))[:, :3]).round().astype(int).tolist(),
    }
    return blocks.message(header)


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
    _, twin = np.unique(vertices.round(4), axis=0, return_inverse=True)
    twin = twin.reshape(-1)
    corner = vertices[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.zeros((twin.max() + 1, 3))
    for k in range(3):
        np.add.at(total, twin[faces[:, k]], normal)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]
    return np.split(total[twin], starts[1:-1])
