"""Volumes of pads: what lies between the body and its padded outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.mesh.surface import Faces, Vertices
from padlib.padding.pad import Pad
from padlib.padding.shell import Shell, pad_layers, pad_shares, pad_way
from padlib.padding.smooth import heat

Array = NDArray[np.float64]

LITRE = 1e6  # mm3


@dataclass(frozen=True)
class PadSize:
    """How big a pad came out. name, side: of the pad; depth_max_mm; volume_l: litres over the body."""

    name: str
    side: str
    depth_max_mm: float
    volume_l: float


def pad_sizes(body: Body, shell: Shell, pads: Sequence[Pad]) -> tuple[PadSize, ...]:
    """Greatest depth and volume of each pad on each of its sides, as the shell has them.

    Where pads overlap each has its share; the volumes sum to what all pads add to the body.
    """
    layers = pad_layers(body, pads)
    if not layers:
        return ()
    vertices, faces = body.surface.vertices, body.surface.faces
    flow = heat(vertices, faces)
    way = pad_way(vertices, faces, flow, float(shell.thickness.max()))
    volume = swept(vertices, vertices + shell.thickness[:, None] * way, faces)
    shares = pad_shares([layer for _, _, layer in layers])
    parts = shares[:, faces].mean(axis=2)  # of a triangle on the rim, 0 at the corners outside
    parts = parts / np.maximum(parts.sum(axis=0), 1e-12)
    return tuple(
        PadSize(
            pad.name, side, float((share * shell.thickness).max()), float(volume @ part) / LITRE
        )
        for (pad, side, _), share, part in zip(layers, shares, parts, strict=True)
    )


def swept(start: Vertices, end: Vertices, faces: Faces) -> Array:
    """Volume (m,) mm3 that each triangle sweeps from start (n, 3) straight to end (n, 3), outward positive.

    Each is the integral over the way of area normal dotted with the mean of the corners' moves. The
    normal is quadratic along the way, so Simpson's rule is exact, and the sum over a closed surface is
    the difference of the volumes enclosed.
    """
    corners, moves = start[faces], (end - start)[faces]
    edges = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=1)
    turns = np.stack([moves[:, 1] - moves[:, 0], moves[:, 2] - moves[:, 0]], axis=1)
    total = np.zeros((len(faces), 3))
    for at, weight in ((0.0, 1 / 6), (0.5, 4 / 6), (1.0, 1 / 6)):
        side = edges + at * turns
        total += weight * np.cross(side[:, 0], side[:, 1]) / 2
    return np.einsum("ij,ij->i", total, moves.mean(axis=1))
