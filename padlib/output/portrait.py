"""Pictures to agree on: the finished suit in its colours, all its pieces, and a file to turn round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import trimesh
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray

from padlib.output.drawing import Drawing, Fill, Stroke, Words
from padlib.output.letters import letter_lines
from padlib.output.png import four_sides, png_bytes
from padlib.seams.panels import Panel

Colour = tuple[float, ...]  # red, green, blue from 0 to 1
PIXELS_MM = 0.9  # of the picture of all pieces
LEAST_WORDS_MM = 3.4  # smaller words cannot be read in it


def suit_picture(
    panels: Sequence[Panel],
    colours: Mapping[str, Colour | NDArray],
    *,
    lines: Sequence[NDArray] = (),
    height: int = 900,
) -> bytes:
    """PNG of the suit from four sides, each panel in its colour, seams drawn; height in pixels.

    colours: one of a panel, or one of each of its faces (m, 3); lines: others (k, 3) that are drawn.
    """
    offsets = np.cumsum([0, *(len(p.surface.vertices) for p in panels)])
    vertices = np.concatenate([p.surface.vertices for p in panels])
    faces = np.concatenate([p.surface.faces + o for p, o in zip(panels, offsets, strict=False)])
    tones = np.concatenate(
        [np.broadcast_to(colours[p.name], (len(p.surface.faces), 3)) for p in panels]
    )
    lines = [*lines, *(p.surface.vertices[e.run] for p in panels for e in p.edges)]
    return four_sides(vertices, faces, colours=tones, lines=lines, height=height)


def glb_bytes(panels: Sequence[Panel], colours: Mapping[str, Colour | NDArray]) -> bytes:
    """The suit as binary glTF: one mesh a panel in its colour; metres, Y up, facing +Z (glTF 2.0).

    colours: as of `suit_picture`; a panel of several colours is a mesh for each, named NAME, NAME-2, ...
    """
    scene = trimesh.Scene()
    for panel in panels:
        tones = np.broadcast_to(colours[panel.name], (len(panel.surface.faces), 3))
        found, which = np.unique(tones, axis=0, return_inverse=True)
        for k, tone in enumerate(found):
            name = panel.name if k == 0 else f"{panel.name}-{k + 1}"
            _add(scene, panel, panel.surface.faces[which.ravel() == k], tone, name)
    return bytes(scene.export(file_type="glb", include_normals=True))


def _add(
    scene: trimesh.Scene, panel: Panel, faces: NDArray, tone: Sequence[float], name: str
) -> None:
    """Some faces of a panel in one colour as a mesh of a scene."""
    used, own = np.unique(faces, return_inverse=True)
    x, y, z = panel.surface.vertices[used].T / 1000.0
    mesh = trimesh.Trimesh(
        np.column_stack([x, z, -y]), own.reshape(-1, 3), process=False, validate=False
    )
    material = trimesh.visual.material.PBRMaterial(
        name=name,
        baseColorFactor=[*(int(round(255 * c)) for c in tone), 255],
        metallicFactor=0.0,
        roughnessFactor=1.0,
        doubleSided=True,
    )
    mesh.visual = trimesh.visual.TextureVisuals(material=material)
    scene.add_geometry(mesh, node_name=name, geom_name=name)


def sheet_picture(drawing: Drawing) -> bytes:
    """PNG of all pieces of a sheet with their names."""
    dpi = 100
    size = (drawing.width_mm * PIXELS_MM / dpi, drawing.height_mm * PIXELS_MM / dpi)
    figure = Figure(figsize=size, dpi=dpi)
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    marks = [m for p in drawing.parts if p.kind == "piece" for m in p.marks]
    strokes = [m for m in marks if isinstance(m, Stroke)]
    lines = [np.concatenate([m.points, m.points[:1]]) if m.closed else m.points for m in strokes]
    widths = [max(0.5, 1.6 * m.style.width_mm) for m in strokes]
    dashes = [
        (0.0, [2.0 * d for d in m.style.dashes]) if m.style.dashes else "solid" for m in strokes
    ]
    ax.add_collection(LineCollection(lines, colors="black", linewidths=widths, linestyles=dashes))
    fills = [m.points for m in marks if isinstance(m, Fill)]
    ax.add_collection(PolyCollection(fills, facecolors="black"))
    words = [m for m in marks if isinstance(m, Words) and m.height_mm >= LEAST_WORDS_MM]
    for m in words:  # as one path each, so that the insides of letters stay white
        path = Path.make_compound_path(*(Path(line, closed=True) for line in letter_lines(m)))
        ax.add_patch(PathPatch(path, facecolor="black", linewidth=0.0))
    ax.set_xlim(0.0, drawing.width_mm)
    ax.set_ylim(0.0, drawing.height_mm)
    ax.axis("off")
    return png_bytes(figure)
