"""Darted flats that are kept, so that the same panel is not darted twice."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.flatten.ground import Rules
from padlib.seams.panels import Panel

Known = dict[bytes, tuple[Panel, Flat]]
"""Darted flats with the panels that they are of, by all that they depend on."""


def known_by(panel: Panel, pile: NDArray[np.float64], rules: Rules, *asked: object) -> bytes:
    """What a darted flat depends on, as a key: the panel, its pile (3,), where it is seen, what is asked of it."""
    out = hashlib.sha256(repr((panel.name, panel.side, replace(rules, seen=None), asked)).encode())
    views = np.zeros(0) if rules.seen is None else rules.seen
    for array in (panel.surface.vertices, panel.surface.faces, views, pile):
        out.update(np.ascontiguousarray(array).tobytes())
    for edge in panel.edges:
        out.update(repr((edge.seam, edge.kind, len(edge.run))).encode() + edge.run.tobytes())
    return out.digest()
