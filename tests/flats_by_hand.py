"""Flats whose panels and plane positions are known in closed form, for the tests of pieces and paper."""

from __future__ import annotations

import numpy as np

from padlib.flatten.flat import Dart, Flat
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel


def grid_flat(name, places, plane, sides, *, side="both", mirror_of=None):
    """A flat from a grid: places (v, u, 3), plane (v, u, 2); sides: bottom, right, top, left edges.

    Each side is a list of (seam, kind, partner name or None, share of the side's segments).
    """
    rows, cols = places.shape[:2]
    index = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    faces = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    runs = [index[0], index[:, -1], index[-1, ::-1], index[::-1, 0]]
    edges = []
    for run, parts in zip(runs, sides, strict=True):
        at = 0
        for k, (seam, kind, partner, share) in enumerate(parts):
            stop = len(run) - 1 if k == len(parts) - 1 else at + int(round(share * (len(run) - 1)))
            edges.append(
                Edge(seam, kind, run[at : stop + 1], None if partner is None else (partner, 0))
            )
            at = stop
    return _flat(
        name, side, places.reshape(-1, 3), faces, tuple(edges), plane.reshape(-1, 2), mirror_of
    )


def _flat(name, side, places, faces, edges, plane, mirror_of=None, darts=()):
    """A flat of the given parts, with no stretch."""
    panel = Panel(name, side, Surface(places, faces), np.arange(len(places)), edges, mirror_of)
    none = np.zeros((len(faces), 2))
    return Flat(panel, plane, none, none, np.ones(len(faces)), darts)


def tube(*, radius=150.0, height=600.0, names=("front", "back"), at=(0.0, 0.0, 900.0), steps=60):
    """A tube in two halves, front and back, sewn at both sides: their flats are rectangles."""
    out = []
    for k, name in enumerate(names):
        angle = np.linspace(np.pi, 2 * np.pi, steps + 1) + k * np.pi
        z = np.linspace(0.0, height, steps // 2 + 1)
        places = np.stack(
            np.broadcast_arrays(radius * np.cos(angle), radius * np.sin(angle), z[:, None]), -1
        ) + np.array(at)
        plane = np.stack(np.broadcast_arrays(radius * (angle - angle[0]), z[:, None]), -1)
        other = names[1 - k]
        right, left = ("left side", "right side") if k == 0 else ("right side", "left side")
        sides = (
            [("lower edge", "opening", None, 1)],
            [(right, "sewn", other, 1)],
            [("neck", "opening", None, 1)],
            [(left, "sewn", other, 1)],
        )
        out.append(grid_flat(name, places, plane, sides))
    return out


def sleeves(*, radius=70.0, wrist=40.0, length=500.0, at=300.0, steps=40):
    """Two cone-shaped sleeves, left and right, each one panel sewn to itself underneath."""
    out = []
    slant = np.hypot(length, radius - wrist)
    inner, outer = slant * wrist / (radius - wrist), slant * radius / (radius - wrist)
    turn = 2 * np.pi * radius / outer
    for name, sign in (("sleeve left", 1), ("sleeve right", -1)):
        angle = np.linspace(0.0, 2 * np.pi, steps + 1) * sign
        share = np.linspace(0.0, 1.0, steps // 2 + 1)[:, None]
        r = wrist + share * (radius - wrist)
        places = np.stack(
            np.broadcast_arrays(
                sign * (at + r * np.cos(angle * sign)),
                r * np.sin(angle * sign),
                1000.0 + share * length,
            ),
            -1,
        )
        rho, phi = inner + share * (outer - inner), np.linspace(-0.5, 0.5, steps + 1) * turn
        plane = np.stack(np.broadcast_arrays(rho * np.sin(phi), rho * np.cos(phi)), -1)
        sides = (
            [("wrist", "opening", None, 1)],
            [("underarm", "sewn", name, 1)],
            [("armhole", "opening", None, 1)],
            [("underarm", "sewn", name, 1)],
        )
        if (
            sign < 0
        ):  # a mirrored panel: its grid is read the other way round, so that it stays outside out
            places = places[:, ::-1]
            plane = plane[:, ::-1] * [-1.0, 1.0]
        out.append(
            grid_flat(
                name,
                places,
                plane,
                sides,
                side=name.split()[1],
                mirror_of="sleeve left" if sign < 0 else None,
            )
        )
    return out


def dart_disk(*, name="seat back", radius=200.0, intake_deg=12.0, steps=120, rings=20, share=0.6):
    """A flat disk with one dart of the given intake: its 3D form is a shallow cone about the apex.

    The dart runs from the edge to a point share * radius inside; the disk is centred on the apex only
    when share is 1. The cone is exact, so all legs and rim lengths are known.
    """
    delta = np.radians(intake_deg)
    angle = -np.pi / 2 + delta / 2 + np.linspace(0.0, 2 * np.pi - delta, steps + 1)
    mouth = np.array([0.0, -radius])
    apex = mouth * (1 - share)
    # the rim is a circle about the origin seen from the apex, so its distance from the apex varies
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    along_ = way @ apex
    reach = -along_ + np.sqrt(along_**2 + radius**2 - apex @ apex)
    rho = np.linspace(0.0, 1.0, rings + 1)[1:, None] * reach
    plane = np.concatenate([[apex], (apex + rho[..., None] * way).reshape(-1, 2)])
    scale = 1 - intake_deg / 360.0
    theta = -np.pi / 2 + np.linspace(0.0, 2 * np.pi, steps + 1)
    lift = np.sqrt(1 - scale**2)
    solid = np.stack(
        [rho * scale * np.cos(theta), -rho * lift + 0 * theta, rho * scale * np.sin(theta)], -1
    )
    places = np.concatenate([[[0.0, 0.0, 0.0]], solid.reshape(-1, 3)])
    index = 1 + np.arange(rings * (steps + 1)).reshape(rings, steps + 1)
    fan = np.column_stack([np.zeros(steps, dtype=int), index[0, :-1], index[0, 1:]])
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    faces = np.concatenate(
        [fan, np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    first, last = index[::-1, 0], index[::-1, -1]
    second = np.append(first, 0)
    end = np.append(last, 0)
    edges = (
        Edge("seat round", "sewn", index[-1], None),
        Edge("dart", "dart", end, None),
        Edge("dart", "dart", second[::-1], None),
    )
    dart = Dart(0, end, second, float(reach[0]), intake_deg, 0.0)
    return _flat(name, "both", places + [0.0, 200.0, 900.0], faces, edges, plane, darts=(dart,))
