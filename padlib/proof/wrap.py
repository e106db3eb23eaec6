"""The rough wrap from which sewing starts: each part of the suit as a plain tube round its centre line.

It knows which piece goes round which limb and how its points follow each other along and round it, as
a maker does, and nothing of the padded shape.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from padlib.body.axes import project
from padlib.flatten.flat import Flat
from padlib.mesh.surface import Vertices
from padlib.proof.sew import Sewn

Array = NDArray[np.float64]


def limb_of(panel: str) -> str:
    """The limb or trunk that a panel, by its name, goes round."""
    words = panel.split("-")
    side = words[-1]
    return {"sleeve": f"arm_{side}", "leg": f"leg_{side}"}.get(words[0], "trunk")


def wrap(flats: Sequence[Flat], sewn: Sewn, axes: Mapping[str, Array]) -> Vertices:
    """Start positions (n, 3) mm: on a tube round each centre line (k, 3), of that part's mean girth.

    The tube's radius is the flats' own: their total width across the limb over 2 pi.
    """
    out = np.zeros((sewn.count, 3))
    share = np.zeros(sewn.count)
    for limb in sorted({limb_of(f.panel.name) for f in flats}):
        members = [k for k, f in enumerate(flats) if limb_of(f.panel.name) == limb]
        _, offset = project(
            axes[limb], np.concatenate([flats[k].panel.surface.vertices for k in members])
        )
        radius = float(np.median(np.linalg.norm(offset, axis=1)))
        for k in members:
            vertices = flats[k].panel.surface.vertices
            _, off = project(axes[limb], vertices)
            way = off / np.maximum(np.linalg.norm(off, axis=1), 1e-9)[:, None]
            np.add.at(out, sewn.welded[k], vertices - off + radius * way)
            np.add.at(share, sewn.welded[k], 1.0)
    return out / share[:, None]
