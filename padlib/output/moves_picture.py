"""A picture of the suit in each pose, coloured by how much of what the cloth bears is used."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from padlib.output.png import png_bytes, shade
from padlib.proof.motion import Move

HEIGHT = 520  # pixels of a view
TURNS = ((20.0, "front"), (200.0, "back"))
MOST = 4.0  # times what the cloth bears at the end of the colours


def moves_picture(moves: Sequence[Move]) -> bytes:
    """PNG: a column for each pose, from the front and from the back, all in one scale.

    White is cloth that is not stretched; at 1 it is stretched as far as it bears, beyond it grows dark.
    """
    colours = colormaps["YlOrBr"]
    scale = Normalize(0.0, MOST, clip=True)
    places = [m.surface.vertices for m in moves]
    tall = max(float(np.ptp(p[:, 2])) for p in places)
    mm_per_pixel = tall * 1.06 / HEIGHT
    wide = max(int(np.hypot(*np.ptp(p[:, :2], axis=0)) / mm_per_pixel) + 20 for p in places)
    foot = 60
    size = (len(moves) * wide / 100, (2 * HEIGHT + foot) / 100)
    figure = Figure(figsize=size, dpi=100)
    FigureCanvasAgg(figure)
    share = HEIGHT / (2 * HEIGHT + foot)
    for k, move in enumerate(moves):
        at, faces = move.surface.vertices, move.surface.faces
        own = np.asarray(colours(np.asarray(scale(move.use))))[:, :3]
        for row, (turn, side) in enumerate(TURNS):
            ax = figure.add_axes((k / len(moves), 1.0 - (row + 1) * share, 1 / len(moves), share))
            picture = shade(
                at,
                faces,
                turn_deg=turn,
                size=(wide, HEIGHT),
                colours=own,
                centre=(at.min(axis=0) + at.max(axis=0)) / 2,
                mm_per_pixel=mm_per_pixel,
            )
            ax.imshow(picture, interpolation="antialiased")
            ax.text(8, HEIGHT - 10, f"{move.pose}, {side}", fontsize=9)
            ax.axis("off")
    edge = 1.0 - 2 * share
    bar = figure.add_axes((0.3, 0.35 * edge, 0.4, 0.25 * edge))
    figure.colorbar(ScalarMappable(scale, colours), cax=bar, orientation="horizontal", extend="max")
    bar.tick_params(labelsize=8)
    bar.set_title(
        "stretch of the cloth over what it bears (1: just as far as it bears)", fontsize=8
    )
    return png_bytes(figure)
