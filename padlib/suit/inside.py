"""Lines inside the pieces: zips in the bases of cushions, and where each cushion lies behind the suit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.flatten.flat import Flat
from padlib.mesh.along import lengths
from padlib.mesh.point import arrays, nearest
from padlib.padding.pillow import Pillow
from padlib.padding.shell import Shell
from padlib.pattern.piece import Inner
from padlib.seams.place import carry_points
from padlib.suit.pillows import rim_runs

Array = NDArray[np.float64]

ON = 1.5  # mm from a panel within which a point lies on it
APART = (
    2.5  # times its length in 3D that a step may have on paper before the line is cut (at a dart)
)
SHORTEST = 15.0  # mm of line that is worth drawing
CROSS = 4.0  # mm: half the size of the cross at a mark


@dataclass(frozen=True)
class SewTo:
    """Where a cushion is tacked inside the suit: mark number, panel, place on the shell in mm."""

    mark: int
    panel: str
    at_mm: tuple[float, float, float]


def zip_lines(pillows: Sequence[Pillow], flats: Sequence[Flat]) -> dict[str, tuple[Inner, ...]]:
    """For each base panel, by name, the zip's line on paper: zip_mm long, at the middle of the base's middle."""
    by_name = {f.panel.name: f for f in flats}
    out = {}
    for pillow in pillows:
        flat = by_name.get(f"pillow-{pillow.name}-{pillow.side}-base")
        if flat is None or pillow.zip_mm <= 0:
            continue
        runs = on_paper(zip_places(pillow), flat)
        words = f"zip {pillow.zip_mm:.0f} mm"
        out[flat.panel.name] = tuple(
            Inner("place", run, words=words if k == 0 else "") for k, run in enumerate(runs)
        )
    return out


def zip_places(pillow: Pillow) -> Array:
    """Points (k, 3) mm of the zip on the base: the middle `zip_mm` of its middle line."""
    vertices, faces = pillow.base.vertices, pillow.base.faces
    along = lengths(vertices, faces, pillow.middle)
    line = pillow.middle.positions(vertices, faces)
    start = (along[-1] - pillow.zip_mm) / 2
    at = np.union1d(
        along[(along > start) & (along < along[-1] - start)], [start, along[-1] - start]
    )
    return np.stack([np.interp(at, along, line[:, k]) for k in range(3)], axis=1)


def pad_lines(
    body: Body, shell: Shell, pillows: Sequence[Pillow], flats: Sequence[Flat]
) -> tuple[dict[str, tuple[Inner, ...]], dict[tuple[str, str], tuple[SewTo, ...]]]:
    """The outline of each cushion on the suit's flats, by panel, and where its marks come to lie, by name and side.

    A mark is where two runs of the rim meet: mark 1 begins rim-1. Outline and marks lie where the cushion's
    rim lies under the shell.
    """
    lines: dict[str, list[Inner]] = {}
    marks: dict[tuple[str, str], tuple[SewTo, ...]] = {}
    for pillow in pillows:
        rim, cuts = rim_runs(pillow)
        found = carry_points(body, shell, dict(zip(map(str, range(len(rim))), rim, strict=True)))
        where = np.array(list(found.values()))
        told: list[SewTo] = []
        for flat in flats:
            surface = flat.panel.surface
            close = nearest(surface.vertices, surface.faces, where)
            spots = np.array([p.on(surface.vertices, surface.faces) for p in close])
            on = np.linalg.norm(spots - where, axis=1) < ON
            if not on.any():
                continue
            own = lines.setdefault(flat.panel.name, [])
            for run in _stretches(np.append(on, on[0])):
                closed = np.vstack([where, where[:1]])[run]
                words = f"pad {pillow.name}"
                for piece in on_paper(closed, flat):
                    own.append(Inner("place", piece, words=words))
                    words = ""
            for k in range(len(cuts) - 1):
                if on[cuts[k]]:
                    told.append(
                        SewTo(k + 1, flat.panel.name, tuple(np.round(where[cuts[k]], 1).tolist()))
                    )
                    own += _cross(where[cuts[k]], f"{pillow.name} {k + 1}", flat)
        once = {mark.mark: mark for mark in reversed(told)}
        marks[pillow.name, pillow.side] = tuple(once[k] for k in sorted(once))
    return {name: tuple(own) for name, own in lines.items()}, marks


def _stretches(on: NDArray[np.bool_]) -> list[slice]:
    """Runs of True of at least two places."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    return [slice(a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) if b - a > 1]


def _cross(place: Array, words: str, flat: Flat) -> list[Inner]:
    at = _flat_places(place[None], flat)[0]
    out = []
    for k, way in enumerate(np.array([[1.0, 1.0], [1.0, -1.0]])):
        ends = at + np.outer([-1.0, 1.0], way) * CROSS / np.sqrt(2)
        out.append(Inner("place", ends, words=words if k == 0 else ""))
    return out


def on_paper(line: Array, flat: Flat) -> list[Array]:
    """A line (k, 3) on a panel as runs (j, 2) on its flat, cut where a dart lies between two points."""
    places = _flat_places(line, flat)
    true = np.linalg.norm(np.diff(line, axis=0), axis=1)
    drawn = np.linalg.norm(np.diff(places, axis=0), axis=1)
    cut = np.flatnonzero(drawn > APART * true + 1.0) + 1
    runs = np.split(places, cut)
    return [
        r
        for r in runs
        if len(r) > 1 and np.linalg.norm(np.diff(r, axis=0), axis=1).sum() > SHORTEST
    ]


def _flat_places(points: Array, flat: Flat) -> Array:
    surface = flat.panel.surface
    face, weight = arrays(nearest(surface.vertices, surface.faces, points))
    return np.einsum("kc,kcx->kx", weight, flat.positions[surface.faces[face]])
