"""The sewn suit as the page draws it: how far the proof's cloth lies off the outline, vertex by vertex."""

from __future__ import annotations

import numpy as np

from padlib.output.png import MOST_OFF
from padlib.proof.proof import Proof
from padlib.workshop.frames import Blocks
from padlib.workshop.scene import ramp

SEWN = "sewn.bin"


def sewn_bytes(proof: Proof) -> bytes:
    """The message of a suit that was sewn back together (see `padlib.workshop.frames`).

    Of its cloth: float32 vertices (n, 3) mm, uint32 faces (m, 3), float32 away (n,) mm off the sculpted outline,
    positive outside, float32 seams as pairs of points; most: mm at the ends of the colours; mm: mean, p95 and max
    of the distance by area; before: the same of the flats before they were corrected, None where they were not.
    """
    blocks, surface = Blocks(), proof.surface
    pairs = [np.stack([s[:-1], s[1:]], axis=1).reshape(-1, 3) for s in proof.seams if len(s) > 1]
    before = proof.uncorrected_mm
    return blocks.message(
        {
            "vertices": blocks.keep(surface.vertices.astype("<f4")),
            "faces": blocks.keep(surface.faces.astype("<u4")),
            "away": blocks.keep(proof.deviation.astype("<f4")),
            "seams": blocks.keep(np.concatenate([np.zeros((0, 3)), *pairs]).astype("<f4")),
            "most": MOST_OFF,
            "colours": ramp(),
            "mm": {k: round(float(v), 2) for k, v in proof.deviation_mm.items()},
            "before": None
            if before is None
            else {k: round(float(v), 2) for k, v in before.items()},
        }
    )
