"""The foot of the neck: the tape round it, and side neck points put where a given girth says.

The side neck point lies on a slope without a corner: people who measure find it within a centimetre or two (common
practice, no source). Where the girth over it is given, it is the better witness, and the point slides along the slope.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.limb import submesh
from padlib.body.slices import girth
from padlib.errors import MeshError
from padlib.mesh.geodesic import Ground, geodesic, prepare
from padlib.mesh.point import nearest

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

NAME = "neck_base_girth"
# how far aside the point may lie, of the way from cervicale to front neck point
INWARD, OUTWARD = 0.34, 0.58
TRIES, STEPS = 7, 3  # places tried between them, and steps to the girth between two of these
ROUND = ("cervicale", "neck_left", "suprasternal", "neck_right")  # in the order of the tape
SIDED = ("neck_left", "neck_right")
BESIDE = 1.8  # of the points' distance from their middle: so far about them is skin on which the tape may lie


def neck_base_ring(vertices: Array, faces: Ints, at: Mapping[str, Array]) -> Array:
    """Ring (h, 3) of the tape round the foot of the neck (ISO 8559-1): over cervicale, side and front neck points.

    Between two of the four points it lies the shortest way over the skin, as a tape does that is held at them. at:
    their positions (3,). A plane through cervicale and front neck point alone grazes the shoulders, and its section
    jumps there. Empty where skin is missing between the points.
    """
    return _ring(*_about(vertices, faces, [at[name] for name in ROUND]), at)


def _about(vertices: Array, faces: Ints, places: Sequence[Array]) -> tuple[Array, Ints]:
    """The skin (vertices, faces) about some places, as far as a tape between them can lie."""
    middle = np.mean(places, axis=0)
    reach = BESIDE * max(float(np.linalg.norm(place - middle)) for place in places)
    return submesh(vertices, faces, np.linalg.norm(vertices - middle, axis=1) < reach)


def _ring(
    vertices: Array, faces: Ints, at: Mapping[str, Array], land: Ground | None = None
) -> Array:
    """The shortest ring (h, 3) on some skin through the four points; empty where there is none."""
    if not len(faces):
        return np.zeros((0, 3))
    points = nearest(vertices, faces, np.array([at[name] for name in ROUND]))
    try:
        curve = geodesic(vertices, faces, points, closed=True, ground=land)
    except MeshError:
        return np.zeros((0, 3))
    return curve.positions(vertices, faces)


def based(body: Body, given: Mapping[str, float]) -> Body:
    """The body with its side neck points slid to where the given neck base girth (mm) lies over them.

    Up the neck and down the shoulder alike the tape gets longer: the point lies on the shoulder's side of where it is
    shortest, or there, if that is still too long (padlib.body.asks then makes the neck thinner). The body as it is
    where that girth is not given or a landmark is missing.
    """
    if NAME not in given or any(name not in body.landmarks for name in ROUND):
        return body
    v, f = body.surface.vertices, body.surface.faces
    at = {name: body.at(name) for name in ROUND}
    skin = _about(v, f, list(at.values()))
    land = prepare(*skin)
    middle = 0.5 * (at["cervicale"] + at["suprasternal"]) * [1.0, 0.0, 0.0]
    deep = float(np.linalg.norm(at["cervicale"] - at["suprasternal"]))

    def slid(aside: float) -> dict[str, Array]:
        out = {}
        for name in (n for n in ROUND if n in SIDED):
            place = at[name].copy()
            place[0] = middle[0] + np.sign(place[0] - middle[0]) * aside * deep
            out[name] = _on_slope(v, place)
        return out

    def over(aside: float) -> float:
        ring = _ring(*skin, at | slid(aside), land)
        return girth(ring) if len(ring) else np.inf

    aside = _where(over, given[NAME])
    places = slid(aside)
    points = nearest(v, f, np.array(list(places.values())))
    new = dict(zip(places, points, strict=True))
    return replace(body, landmarks={**body.landmarks, **new})


def _where(over: Callable[[float], float], wanted: float) -> float:
    """The place beyond the least girth at which it is as wanted, between INWARD and OUTWARD; the nearest to it else."""
    tried = np.linspace(INWARD, OUTWARD, TRIES)
    found = np.array([over(a) for a in tried])
    least = int(np.argmin(found))
    if found[least] > wanted:  # the least itself lies between those tried
        tried[least], found[least] = _lowest(over, tried, found, least)
    enough = np.flatnonzero(found[least:] >= wanted)
    if not len(enough) or enough[0] == 0:
        return float(tried[least if len(enough) else -1])
    k = least + int(enough[0])
    low, high, below, above = tried[k - 1], tried[k], found[k - 1], found[k]
    for _ in range(STEPS):
        half = low + (high - low) * (wanted - below) / (above - below)
        now = over(half)
        low, below, high, above = (
            (half, now, high, above) if now < wanted else (low, below, half, now)
        )
    return float(low + (high - low) * (wanted - below) / max(above - below, 1e-9))


def _lowest(
    over: Callable[[float], float], tried: Array, found: Array, least: int
) -> tuple[float, float]:
    """Where between the neighbours of the least of some values it is least, and the value there."""
    best, lowest = float(tried[least]), float(found[least])
    step = 0.5 * float(tried[1] - tried[0])
    for _ in range(STEPS):
        for aside in (best - step, best + step):
            if tried[0] <= aside <= tried[-1] and (now := over(aside)) < lowest:
                best, lowest = aside, now
                break
        step *= 0.5
    return best, lowest


def _on_slope(vertices: Array, place: Array) -> Array:
    """The place (3,) lifted or lowered to the skin that is nearest to it in height, by the vertices about it."""
    beside = np.linalg.norm(vertices[:, :2] - place[:2], axis=1)
    near = vertices[(beside < 25.0) & (np.abs(vertices[:, 2] - place[2]) < 60.0)]
    if len(near) < 4:
        return place
    flat = np.column_stack([np.ones(len(near)), near[:, :2] - place[:2]])
    weight = np.exp(-(((near[:, :2] - place[:2]) ** 2).sum(axis=1)) / 200.0)[:, None]
    fit = np.linalg.lstsq(flat * weight, near[:, 2] * weight[:, 0], rcond=None)[0]
    return np.array([place[0], place[1], fit[0]])
