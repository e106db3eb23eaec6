"""Seams that a plan has not yet: lines across its panels that follow valleys of the shell, or run over a summit.

Many lines are told apart by the forecast (`padlib.flatten.parting`), few of them are drawn into the shell, and those
panels that they make are really laid flat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from padlib.body.body import Body
from padlib.body.limb import lengths, resampled
from padlib.flatten.parting import Parting, parting
from padlib.mesh.areas import vertex_normals
from padlib.mesh.geodesic import prepare
from padlib.mesh.point import nearest, nearest_arrays, positions
from padlib.mesh.relief import Relief, relief
from padlib.mesh.seen import seen
from padlib.mesh.surface import Surface
from padlib.padding.shell import Shell
from padlib.padding.spot import held, opposite
from padlib.seams.mirror import other_side
from padlib.seams.panels import Panel
from padlib.seams.place import Place, body_positions
from padlib.seams.valley import REACH, Ways, drawn_into, pace, ways_across, ways_over
from padlib.suit.extras import as_written
from padlib.suit.file import DrawnSeam, Suit

Array = NDArray[np.float64]

PAYS = 0.25  # mm of dart that a mm of seam must save on a flat that nobody sees; more in view, less in a valley
FRONT = 1.0  # what a mm costs more where the wearer's front is seen
JOINT, ABOUT = 1.0, 80.0  # the same at knees and elbows, and within how many mm of them
JOINTS = ("patella", "knee_back", "elbow")
CLEAR = 30.0  # mm between a new seam's end and where another seam ends
APART = 25.0  # mm between ends that are tried
LEAST_PART = 0.1  # of a panel's area that a seam must part off: no small corners (common practice, no source)
DIFFERS = 70.0  # mm by which an end of two lines must differ for both to be tried
BEYOND = 15.0  # mm past the seam on which a new one ends, so that they meet; the rest is cut off
TURN = 40.0  # mm: a mm of seam that turns in the cloth by this radius costs twice (common practice, no source)
HOLD = 40.0  # mm between the places by which a new seam is written
VALLEY = 0.25  # bend times REACH from which a seam is said to lie in a fold
WORDS = {
    "gluteal": "seat",
    "seat": "seat",
    "groin": "groin",
    "crotch": "groin",
    "waist": "waist",
    "iliac": "hip",
    "hip": "hip",
    "bust": "bust",
    "chest": "chest",
    "suprasternal": "chest",
    "axilla": "underarm",
    "acromion": "upper-arm",
    "cervicale": "nape",
    "neck": "nape",
    "mid": "thigh",
    "patella": "knee",
    "knee": "knee",
    "calf": "calf",
    "ankle": "calf",
    "elbow": "elbow",
    "wrist": "forearm",
}


@dataclass(frozen=True, eq=False)
class Land:
    """A shell as new seams see it: how it bends, what a mm costs at each vertex (n,), the places (n, 3) of the body
    under its vertices, landmarks on it."""

    body: Body
    surface: Surface
    bends: Relief
    paces: Array
    under: Array
    place: Place


@dataclass(frozen=True, eq=False)
class Line:
    """A line across a panel: its places (k, 3) on the shell mm, its length, what that must save in dart length, mm,
    and the mean square stretch that the forecast leaves, as a share of what there was; over (3,): the summit that it
    was led over, where it was."""

    panel: str
    places: Array
    length_mm: float
    price: float
    left: float
    over: Array | None = None


def survey(body: Body, shell: Shell, place: Place) -> Land:
    """What new seams on a shell go by."""
    surface = shell.surface
    bends = relief(surface.vertices, surface.faces, REACH)
    view = seen(surface.vertices, surface.faces)
    ahead = np.clip(-vertex_normals(surface.vertices, surface.faces)[:, 1], 0.0, 1.0)
    toll = FRONT * ahead * view
    at = [p for name, p in place.at.items() if name.startswith(JOINTS)]
    if at:
        toll = toll + JOINT * np.exp(-((cKDTree(at).query(surface.vertices)[0] / ABOUT) ** 2))
    paces = pace(bends, view, toll)
    return Land(body, surface, bends, paces, body_positions(body, shell), place)


def lines_across(land: Land, panel: Panel, count: int) -> list[Line]:
    """The most promising lines across a panel, no two of them close together, `count` at most.

    By turns those that the forecast leaves least stretch with, and those that save most for their price.
    """
    surface = panel.surface
    rim = np.unique(np.concatenate([edge.run for edge in panel.edges]))
    ends = _ends(panel)
    if len(ends) < 2:
        return []
    near = cKDTree(land.surface.vertices).query(surface.vertices)[1]
    ahead = parting(surface.vertices, surface.faces)
    asked = surface, land.paces[near], rim, ends
    both = ways_across(*asked), ways_over(*asked, ahead.summit)
    rows = [_judged(panel, ways, ahead) for ways in both]
    kind = np.repeat((0, 1), [len(own) for own in rows])
    found = np.concatenate(rows)
    before = ahead.strain
    least = np.argsort(found[:, 2], kind="stable")
    cheap = np.argsort(-(before - found[:, 2]) / found[:, 3], kind="stable")
    out: list[Line] = []
    marks: list[tuple[int, Array]] = []
    for k in np.stack([least, cheap], axis=1).ravel():
        i, j = int(found[k, 0]), int(found[k, 1])
        ways = both[kind[k]]
        pair = ways.nodes[ways.ends[[i, j]]]
        if any(
            of == kind[k] and min(np.abs(pair - m).max(), np.abs(pair[::-1] - m).max()) < DIFFERS
            for of, m in marks
        ):
            continue
        marks.append((int(kind[k]), pair))
        over = None if ways.over is None else ways.nodes[ways.over]
        places = drawn_into(land.surface, land.bends, ways.way(i, j), deep=over is None)
        size = float(lengths(places)[-1])
        price = PAYS * _paced(land, places)
        left = float(found[k, 2]) / before
        out.append(Line(panel.name, places, size, price, left, over))
        if len(out) == count:
            break
    return out


def _ends(panel: Panel) -> NDArray[np.int64]:
    """Places of a panel's rim at which a new seam may end: on seams and openings, clear of their ends."""
    out: list[int] = []
    for edge in panel.edges:
        if edge.kind in ("closure", "dart"):
            continue
        along = lengths(panel.surface.vertices[edge.run])
        for at in np.arange(CLEAR, float(along[-1]) - CLEAR, APART):
            out.append(int(edge.run[np.argmin(np.abs(along - at))]))
    return np.unique(np.array(out, dtype=np.int64))


def _judged(panel: Panel, ways: Ways, ahead: Parting) -> Array:
    """Rows of two ends, the forecast's strain and the cost for every line that parts off enough."""
    loop, count = ahead.loop, len(panel.surface.vertices)
    place = np.full(count, -1)
    place[loop] = np.arange(len(loop))
    land = prepare(panel.surface.vertices, panel.surface.faces)
    flat = np.concatenate([ahead.flat, ahead.flat[land.ends].mean(axis=1)])
    rows = []
    for j in range(len(ways.ends)):
        for i in range(j):
            if not np.isfinite(ways.cost[i, j]):
                continue
            nodes = ways.node_way(i, j)
            start, stop = place[ways.ends[j]], place[ways.ends[i]]
            off = np.arange(start + 1, stop + (len(loop) if stop <= start else 0)) % len(loop)
            strain, share = ahead.parted(ways.nodes[nodes], flat[nodes], off)
            if share >= LEAST_PART:
                rows.append((i, j, strain, ways.cost[i, j]))
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def _paced(land: Land, places: Array) -> float:
    """The length of a line on the shell, each mm at what it costs there, the more the tighter it turns."""
    surface = land.surface
    face, weight = nearest_arrays(surface.vertices, surface.faces, places)
    each = np.einsum("kc,kc->k", weight, land.paces[surface.faces[face]])
    normal = vertex_normals(surface.vertices, surface.faces)[surface.faces[face]]
    each = each * (1.0 + (TURN * turning(places, np.einsum("kc,kcx->kx", weight, normal))) ** 2)
    return float(np.linalg.norm(np.diff(places, axis=0), axis=1) @ (0.5 * (each[1:] + each[:-1])))


def turning(places: Array, normals: Array) -> Array:
    """Geodesic curvature (k,) 1/mm of a line of places (k, 3) mm at which a surface has normals (k, 3); 0 at both ends.

    The turn of the line's direction about the normal, over the length that goes with a place.
    """
    steps = np.diff(places, axis=0)
    size = np.maximum(np.linalg.norm(steps, axis=1), 1e-9)
    way = steps / size[:, None]
    up = normals[1:-1] / np.linalg.norm(normals[1:-1], axis=1, keepdims=True)
    one, two = (w - np.einsum("kx,kx->k", w, up)[:, None] * up for w in (way[:-1], way[1:]))
    sine = np.einsum("kx,kx->k", np.cross(one, two), up)
    turn = np.arctan2(sine, np.einsum("kx,kx->k", one, two))
    out = np.zeros(len(places))
    out[1:-1] = 2.0 * turn / (size[:-1] + size[1:])
    return out


def with_line(suit: Suit, land: Land, line: Line) -> Suit:
    """The suit with a line as a new seam of its own on both sides, in coordinates of the body."""
    name, own = _name(suit, land, line), line.panel.rpartition("-")[2]
    spots = [as_written(s) for s in held(land.body, list(_under(land, _longer(line.places))))]
    pair = [
        DrawnSeam(f"{name}-{own}", tuple(spots), False, "sewn", round=True),
        DrawnSeam(
            other_side(f"{name}-{own}"), tuple(map(opposite, spots)), False, "sewn", round=True
        ),
    ]
    return replace(suit, drawn=(*suit.drawn, *sorted(pair, key=lambda seam: seam.name)))


def _name(suit: Suit, land: Land, line: Line) -> str:
    """What a new seam is called, without its side: after the landmark nearest to the summit that it runs over, or to
    where it lies deepest."""
    face, weight = nearest_arrays(land.surface.vertices, land.surface.faces, line.places)
    least = np.einsum("kc,kc->k", weight, land.bends.least[land.surface.faces[face]])
    deep = int(np.argmin(least))
    known = {name: at for name, at in land.place.at.items() if name.partition("_")[0] in WORDS}
    names = sorted(known)
    word = "new"
    if names:
        at = line.places[deep] if line.over is None else line.over
        far = np.linalg.norm(np.array([known[n] for n in names]) - at, axis=1)
        word = WORDS[names[int(np.argmin(far))].partition("_")[0]]
    fold = line.over is None and least[deep] * REACH < -VALLEY
    stem = f"{word}-{'fold' if fold else 'line'}"
    taken = {seam.name for seam in suit.drawn}
    tries = (stem, *(f"{stem}-{k}" for k in range(2, 2 + len(taken))))
    return next(t for t in tries if f"{t}-left" not in taken and f"{t}-right" not in taken)


def _longer(places: Array) -> Array:
    """A line led a little beyond both of its ends, in places HOLD apart."""
    first, last = (
        places[0] - places[min(2, len(places) - 1)],
        places[-1] - places[-min(3, len(places))],
    )
    ends = [
        at + BEYOND * way / max(float(np.linalg.norm(way)), 1e-9)
        for at, way in ((places[0], first), (places[-1], last))
    ]
    return resampled(np.vstack([ends[0], places, ends[1]]), HOLD)


def _under(land: Land, places: Array) -> Array:
    """The places (k, 3) of the body under places of the shell."""
    surface = land.surface
    return positions(land.under, surface.faces, nearest(surface.vertices, surface.faces, places))
