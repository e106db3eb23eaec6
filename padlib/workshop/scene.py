"""The suit as the page draws it: panels with normals, stretch and colours in one block of bytes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from padlib.flatten.flat import Flat
from padlib.output.png import SIGNED, signed_worst

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


def scene_bytes(
    flats: Sequence[Flat], pillows: Sequence[Flat], *, scale: float, limit: float
) -> bytes:
    """Header and arrays of everything the page draws in 3D.

    Four bytes, little-endian: the length of a JSON text; the text, padded with spaces to a multiple
    of four; then the arrays that it points into by byte offset: float32 vertices and normals (n, 3),
    uint32 faces (m, 3), float32 stretch (m,) of the larger principal stretch with its sign, and
    float32 seam lines as pairs of points. scale: stretch at the ends of the colours; limit: the cloth's.
    """
    blocks: list[bytes] = []
    size = 0

    def keep(array: NDArray) -> list[int]:
        nonlocal size
        data = np.ascontiguousarray(array).tobytes()
        blocks.append(data)
        size += len(data)
        return [size - len(data), array.size]

    panels = [
        _panel(flat, normals, tone, pillow, keep)
        for group, pillow in ((flats, False), (pillows, True))
        for flat, normals, tone in zip(group, _normals(group), _tones(group), strict=True)
    ]
    points = np.concatenate([f.panel.surface.vertices for f in flats])
    header: dict[str, Any] = {
        "panels": panels,
        "low": points.min(axis=0).round(2).tolist(),
        "high": points.max(axis=0).round(2).tolist(),
        "scale": scale,
        "limit": limit,
        "colours": (255 * SIGNED(np.linspace(0, 1, 129))[:, :3]).round().astype(int).tolist(),
    }
    text = json.dumps(header).encode()
    text += b" " * (-len(text) % 4)
    return len(text).to_bytes(4, "little") + text + b"".join(blocks)


def _panel(flat: Flat, normals: NDArray, tone: NDArray, pillow: bool, keep: Any) -> dict[str, Any]:
    surface = flat.panel.surface
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    return {
        "name": flat.panel.name,
        "pillow": pillow,
        "tone": tone.round(3).tolist(),
        "centre": ((low + high) / 2).round(2).tolist(),
        "vertices": keep(surface.vertices.astype("<f4")),
        "normals": keep(normals.astype("<f4")),
        "faces": keep(surface.faces.astype("<u4")),
        "stretch": keep(signed_worst(flat.stretch).astype("<f4")),
        "seams": keep(_lines(flat, dart=False)),
        "darts": keep(_lines(flat, dart=True)),
    }


def _lines(flat: Flat, *, dart: bool) -> NDArray[np.float32]:
    """Pairs of points along a panel's edges, or along its darts."""
    runs = [e.run for e in flat.panel.edges if (e.kind == "dart") is dart]
    pairs = [np.stack([run[:-1], run[1:]], axis=1) for run in runs if len(run) > 1]
    if not pairs:
        return np.zeros((0, 3), dtype="<f4")
    return flat.panel.surface.vertices[np.concatenate(pairs).ravel()].astype("<f4")


def _tones(flats: Sequence[Flat]) -> list[NDArray[np.float64]]:
    """A tone for each panel; a panel and its mirror image share one."""
    bases = [f.panel.name.rpartition("-")[0] or f.panel.name for f in flats]
    order = sorted(set(bases))
    return [np.array(TONES[order.index(b) % len(TONES)]) for b in bases]


def _normals(flats: Sequence[Flat]) -> list[NDArray[np.float64]]:
    """Normals (n, 3) of each panel's vertices, smooth over the seams between the panels."""
    if not flats:
        return []
    vertices = np.concatenate([f.panel.surface.vertices for f in flats])
    starts = np.cumsum([0, *(len(f.panel.surface.vertices) for f in flats)])
    faces = np.concatenate(
        [f.panel.surface.faces + at for f, at in zip(flats, starts[:-1], strict=True)]
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
