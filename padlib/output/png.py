"""Pictures as PNG: stretch maps of flats, and bodies from four sides."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.spatial import KDTree

from padlib.flatten.flat import Flat
from padlib.flatten.together import chains
from padlib.mesh.surface import Faces, Vertices

# Blue (slack) to white to orange-red (stretched): told apart by red-green blind eyes, since the two
# ends differ in blue against yellow and both darken toward the ends.
MOST_OFF = 10.0  # mm off the outline at both ends of the colours
SIGNED = LinearSegmentedColormap.from_list(
    "slack-stretch", ["#053061", "#2f79b5", "#a7d0e4", "#f7f7f7", "#fbc78f", "#d9641e", "#7f2704"]
)
DPI = 110
LEGEND = 80  # pixels below the views


def signed_worst(stretch: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of each triangle's two principal stretches (m, 2), the one that is larger in size, with sign."""
    pick = np.abs(stretch).argmax(axis=1)
    return stretch[np.arange(len(stretch)), pick]


def map_scale(flats: Sequence[Flat], limit: float) -> float:
    """One colour scale for all panels: the stretch at both ends of the legend, as a fraction."""
    every = np.concatenate([np.abs(signed_worst(f.stretch)) for f in flats])
    return float(max(2 * limit, 0.01 * np.ceil(100 * np.percentile(every, 99))))


def stretch_map(
    flat: Flat,
    *,
    scale: float,
    limit: float,
    title: str,
    below: str = "",
    lines: Sequence[NDArray[np.float64]] = (),
) -> bytes:
    """PNG of one flat coloured by its worst principal stretch, with the legend in per cent.

    scale: fraction at the ends of the legend, the same for all panels of a suit; limit: the cloth's,
    where the flat is not laid for a cloth with limits of its own; lines (k, 2): outlines of marks.
    """
    xy = flat.positions
    span = np.ptp(xy, axis=0)
    # 1 mm of cloth is drawn at one size on every map, so that maps can be compared.
    width, height = span / 100.0
    figure = Figure(figsize=(max(width, 2.2) + 2.6, max(height, 2.4) + 1.5), dpi=DPI)
    FigureCanvasAgg(figure)
    full = figure.get_size_inches()
    ax = figure.add_axes(
        (0.5 / full[0], 0.75 / full[1], max(width, 2.2) / full[0], max(height, 2.4) / full[1])
    )
    norm = Normalize(-100 * scale, 100 * scale)
    faces = flat.panel.surface.faces
    mesh = PolyCollection(
        xy[faces],
        array=100 * signed_worst(flat.stretch),
        cmap=SIGNED,
        norm=norm,
        edgecolors="face",
        linewidths=0.3,
    )
    ax.add_collection(mesh)
    for edge in flat.panel.edges:
        dart = edge.kind == "dart"
        for run in chains(flat.panel, edge):
            ax.plot(*xy[run].T, color="black", lw=1.4 if dart else 0.9)
    for line in lines:
        ax.plot(*line.T, color="black", lw=0.8, ls=(0, (5, 2, 1, 2)))
    for dart in flat.darts:
        ax.plot(*xy[dart.apex], "o", color="black", ms=3.5)
    pad = 0.02 * span.max()
    ax.set_xlim(xy[:, 0].min() - pad, xy[:, 0].max() + pad)
    ax.set_ylim(xy[:, 1].min() - pad, xy[:, 1].max() + pad)
    ax.set_aspect("equal")
    ax.axis("off")
    ax.set_title(title, fontsize=11, loc="left")
    bar = figure.add_axes(
        (
            (full[0] - 1.35) / full[0],
            0.9 / full[1],
            0.16 / full[0],
            min(3.0, full[1] - 2.0) / full[1],
        )
    )
    legend = figure.colorbar(mesh, cax=bar, extend="both")
    legend.set_label("stretch of the cloth, %", fontsize=9)
    legend.ax.tick_params(labelsize=8)
    for at, line in legend_marks(flat, limit):
        legend.ax.axhline(100 * at, color="black", lw=1.0, ls=line)
    figure.text(0.4 / full[0], 0.18 / full[1], below, fontsize=8, va="bottom")
    return png_bytes(figure)


def legend_marks(flat: Flat, limit: float) -> tuple[tuple[float, str], ...]:
    """Where the legend is marked, and with what line: limits along the pile dashed, across dotted."""
    cloth = flat.cloth
    if cloth is None:
        return ((-limit, "--"), (limit, "--"))
    along, across = (
        (cloth.stretch_along, -cloth.slack_along),
        (cloth.stretch_across, -cloth.slack_across),
    )
    return (*((at, "--") for at in along), *((at, ":") for at in across))


def png_bytes(figure: Figure) -> bytes:
    """A figure as PNG, the same bytes every run."""
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def shade(
    vertices: Vertices,
    faces: Faces,
    *,
    turn_deg: float,
    size: tuple[int, int],
    colours: NDArray[np.float64],
    centre: NDArray[np.float64],
    mm_per_pixel: float,
) -> NDArray[np.uint8]:
    """An orthographic view of a mesh from the front, turned about the vertical; (h, w, 3) uint8.

    colours (m, 3) from 0 to 1; nearest surface wins (depth buffer filled by dense samples).
    """
    a = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1]])
    p = (vertices - centre) @ turn.T
    corner = p[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1)
    seen = (normal[:, 1] < 0) & (length > 0)
    corner, normal = corner[seen], normal[seen] / length[seen, None]
    light = np.array([-0.4, -0.8, 0.45]) / np.linalg.norm([-0.4, -0.8, 0.45])
    tone = (0.35 + 0.65 * np.clip(normal @ light, 0, 1))[:, None] * colours[seen]
    w, h = size
    x = corner[:, :, 0] / mm_per_pixel + w / 2
    y = h / 2 - corner[:, :, 2] / mm_per_pixel
    return _splat(x, y, corner[:, :, 1], tone, w, h)


def _splat(
    x: NDArray, y: NDArray, depth: NDArray, tone: NDArray, w: int, h: int
) -> NDArray[np.uint8]:
    """Fill triangles with samples closer than half a pixel, nearest depth last."""
    reach = np.maximum(np.ptp(x, axis=1), np.ptp(y, axis=1))
    per_side = np.clip(np.ceil(2 * reach), 2, 200).astype(int)
    image = np.full((h * w, 3), 255, dtype=np.uint8)
    buffer = np.full(h * w, np.inf)
    for n in np.unique(per_side):
        at = np.flatnonzero(per_side == n)
        g = np.linspace(0.0, 1.0, n + 1)
        u, v = (q.ravel() for q in np.meshgrid(g, g))
        u, v = u[u + v <= 1 + 1e-9], v[u + v <= 1 + 1e-9]
        weights = np.stack([1 - u - v, u, v])
        px = np.floor(x[at] @ weights).astype(int).ravel()
        py = np.floor(y[at] @ weights).astype(int).ravel()
        pz = (depth[at] @ weights).ravel()
        colour = np.repeat(tone[at], len(u), axis=0)
        inside = (px >= 0) & (px < w) & (py >= 0) & (py < h)
        pixel, pz, colour = (py * w + px)[inside], pz[inside], colour[inside]
        order = np.argsort(-pz, kind="stable")
        pixel, pz, colour = pixel[order], pz[order], colour[order]
        nearer = pz < buffer[pixel]
        pixel, pz, colour = pixel[nearer], pz[nearer], colour[nearer]
        buffer[pixel] = pz
        image[pixel] = np.clip(255 * colour, 0, 255).astype(np.uint8)
    return image.reshape(h, w, 3)


def four_sides(
    vertices: Vertices,
    faces: Faces,
    *,
    colours: NDArray[np.float64],
    lines: Sequence[NDArray[np.float64]] = (),
    height: int = 900,
    legend: tuple[float, str] | None = None,
) -> bytes:
    """PNG of a mesh from the front, its left, the back and its right; seams (k, 3) drawn over it.

    legend: of colours that go from minus this number to plus it, and what they mean.
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    centre = (low + high) / 2
    mm_per_pixel = (high[2] - low[2]) * 1.06 / height
    wide = int(np.hypot(*(high - low)[:2]) / mm_per_pixel) + 20
    foot = 0 if legend is None else LEGEND
    figure = Figure(figsize=(4 * wide / 100, (height + foot) / 100), dpi=100)
    FigureCanvasAgg(figure)
    low_edge = foot / (height + foot)
    names = ("front", "wearer's left", "back", "wearer's right")
    for k, turn_deg in enumerate((0.0, 90.0, 180.0, 270.0)):
        ax = figure.add_axes((k / 4, low_edge, 0.25, 1.0 - low_edge))
        ax.imshow(
            shade(
                vertices,
                faces,
                turn_deg=turn_deg,
                size=(wide, height),
                colours=colours,
                centre=centre,
                mm_per_pixel=mm_per_pixel,
            ),
            interpolation="antialiased",
        )
        segments = _visible(lines, turn_deg, centre, vertices, faces)
        ax.add_collection(
            LineCollection(
                [
                    np.stack(
                        [s[:, 0] / mm_per_pixel + wide / 2, height / 2 - s[:, 1] / mm_per_pixel], 1
                    )
                    for s in segments
                ],
                colors="#101010",
                linewidths=1.1,
            )
        )
        ax.text(10, height - 12, names[k], fontsize=10)
        ax.axis("off")
    if legend is not None:
        most, words = legend
        bar = figure.add_axes((0.36, 0.4 * low_edge, 0.28, 0.2 * low_edge))
        key = ScalarMappable(Normalize(-most, most), SIGNED)
        figure.colorbar(key, cax=bar, orientation="horizontal", extend="both")
        bar.tick_params(labelsize=8)
        bar.set_title(words, fontsize=8)
    return png_bytes(figure)


def deviation_picture(
    vertices: Vertices,
    faces: Faces,
    deviation: NDArray[np.float64],
    *,
    lines: Sequence[NDArray[np.float64]] = (),
    most: float = MOST_OFF,
) -> bytes:
    """PNG from four sides of a sewn suit, coloured by how far it is off the sculpted outline.

    deviation (n,) mm, positive outside; most: mm at both ends of the colours.
    """
    share = Normalize(-most, most, clip=True)(deviation[faces].mean(axis=1))
    words = "mm off the sculpted outline: blue inside, red outside (cloth bridges a hollow)"
    colours = SIGNED(np.asarray(share))[:, :3]
    return four_sides(vertices, faces, colours=colours, lines=lines, legend=(most, words))


def _visible(
    lines: Sequence[NDArray[np.float64]],
    turn_deg: float,
    centre: NDArray[np.float64],
    vertices: Vertices,
    faces: Faces,
) -> list[NDArray[np.float64]]:
    """Segments (2, 2) of lines on the side of the mesh that faces the viewer (by the nearest normal)."""
    if not len(lines):
        return []
    a = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1]])
    corner = vertices[faces]
    face_normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal = np.zeros_like(vertices)
    for c in range(3):
        np.add.at(normal, faces[:, c], face_normal)
    tree = KDTree(vertices)
    out = []
    for line in lines:
        p = (line - centre) @ turn.T
        facing = (normal[tree.query(line)[1]] @ turn.T)[:, 1] < 0
        both = facing[:-1] & facing[1:]
        out += list(np.stack([p[:-1][both][:, [0, 2]], p[1:][both][:, [0, 2]]], axis=1))
    return out
