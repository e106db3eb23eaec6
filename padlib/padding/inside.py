"""The skin inside a loop drawn on the body, and how far in each place of it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.errors import InputError, MeshError
from padlib.mesh.cut import CutPiece, insert, split
from padlib.mesh.geodesic import geodesic
from padlib.mesh.solve import factor
from padlib.mesh.surface import Point
from padlib.mesh.topology import boundary_loops

Array = NDArray[np.float64]

ENDS = ("crown", "hand_tip_left", "hand_tip_right", "toe_left", "toe_right")
SAMPLES = 2.0  # mm between the samples of a loop


@dataclass(frozen=True, eq=False)
class Inside:
    """The skin inside a loop. radial (n,): 0 at its middle, 1 on the loop, growing on past it, for each
    vertex of the body; radius: mm, of the disk that is as far in as this skin is; area: mm2.
    """

    radial: Array
    radius: float
    area: float


def inside_loop(body: Body, points: Sequence[Point], who: str) -> Inside:
    """What lies inside the loop of shortest ways through points on a body.

    How far in a place lies is measured by the bulge u of a film held at the loop (u'' = -1, as of a
    soap film under even pressure): radial = sqrt(1 - u / largest u). On a flat disk that is the distance from the
    middle over the radius exactly, as u = (R^2 - r^2) / 4 there; on other outlines it has no ridges.
    Raises InputError where the loop crosses itself, has no inside, or runs round a limb.
    """
    surface = body.surface
    try:
        loop = geodesic(surface.vertices, surface.faces, points, closed=True)
    except MeshError as e:
        raise InputError(f"{who}: no outline could be drawn through its points ({e})") from None
    inserted = insert(surface.vertices, surface.faces, [loop])
    pieces = split(inserted.vertices, inserted.faces, inserted.edges).pieces
    if len(pieces) != 2 or any(len(boundary_loops(p.faces)) != 1 for p in pieces):
        raise InputError(
            f"{who}: its outline crosses or touches itself; give its points in order, once round"
        )
    areas = [float(igl.doublearea(p.vertices, p.faces).sum()) / 2 for p in pieces]
    piece, area = pieces[int(np.argmin(areas))], min(areas)
    _not_round_a_limb(body, piece, who)
    depth, largest = _film(piece)
    line = loop.positions(surface.vertices, surface.faces)
    away = cKDTree(_sampled(line)).query(surface.vertices)[0]
    radius = 2.0 * float(np.sqrt(largest))
    radial = 1.0 + away / radius
    own = piece.parents < len(surface.vertices)
    radial[piece.parents[own]] = np.sqrt(np.maximum(1.0 - depth[own] / largest, 0.0))
    return Inside(radial, radius, area)


def _film(piece: CutPiece) -> tuple[Array, float]:
    """Bulge (k,) mm2 of a film over a piece, held at its border, and the largest."""
    v, f = np.ascontiguousarray(piece.vertices), np.ascontiguousarray(piece.faces)
    stiff = -igl.intrinsic_delaunay_cotmatrix(v, f)[0].tocsr()
    area = igl.doublearea(v, f) / 2
    mass = np.bincount(f.ravel(), np.repeat(area / 3, 3), minlength=len(v))
    free = np.ones(len(v), dtype=bool)
    free[boundary_loops(f)[0]] = False
    film = np.zeros(len(v))
    if free.any():
        inner = sp.csc_matrix(stiff[free][:, free])
        film[free] = factor(inner).solve(mass[free])
    return film, max(float(film.max()), 1e-9)


def _not_round_a_limb(body: Body, piece: CutPiece, who: str) -> None:
    """Raise InputError where the piece holds a whole hand, foot or head."""
    middles = piece.vertices
    for name in ENDS:
        if name not in body.landmarks:
            continue
        vertex = int(np.argmin(np.linalg.norm(body.surface.vertices - body.at(name), axis=1)))
        if (piece.parents == vertex).any() and np.ptp(middles, axis=0).max() > 0:
            raise InputError(
                f"{who}: its outline runs round a limb or the neck, so that it has no inside; keep it on one "
                "side of the limb, or draw one pad for each side"
            )


def _sampled(line: Array) -> Array:
    """Points every SAMPLES mm along a closed polyline (k, 3)."""
    ends = np.roll(line, -1, axis=0)
    count = np.maximum(np.ceil(np.linalg.norm(ends - line, axis=1) / SAMPLES), 1).astype(int)
    start = np.repeat(line, count, axis=0)
    share = np.arange(len(start)) - np.repeat(np.cumsum(count) - count, count)
    return start + (share / np.repeat(count, count))[:, None] * np.repeat(
        ends - line, count, axis=0
    )
