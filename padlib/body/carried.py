"""What a body file carries: landmarks that its shape alone would place elsewhere, and what was not scanned of it.

A wide waist has no narrowest level, and a maker may have put a landmark by hand. Such landmarks are written into
the PLY's header as comments, `comment landmark waist_left 140.0000 -3.2000 1069.8000` (mm), and are found again there
when the file is read, so that a body measures the same before and after. How far each vertex lies from what was scanned
is a property of its own, `property float unscanned` (mm).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from padlib.body.body import Body
from padlib.body.landmarks import NAMES, find_landmarks
from padlib.findings import Finding, Grade
from padlib.mesh.point import nearest
from padlib.mesh.surface import Point, Surface

Array = NDArray[np.float64]

KEPT, LOST = 250, 251  # numbers of the findings
OWN_MM = 0.5  # a landmark so far from where it would be found was put there
NEAR_MM = 4.0  # a carried landmark may lie so far off the surface, triangles having been made even
HEADER = 65_536  # bytes of a file in which its header must end
_LINE = re.compile(rb"^comment landmark ([a-z_]{3,40})((?: -?\d{1,5}(?:\.\d{1,6})?){3})\s*$", re.M)
_ROWS = re.compile(
    rb"^format binary_little_endian 1\.0\s*$.*^element vertex (\d{1,9})\s*^property double x\s*^property double y\s*"
    rb"^property double z\s*^property float unscanned\s*^element face",
    re.M | re.S,
)
_END = b"end_header\n"


def own_landmarks(body: Body) -> dict[str, Point]:
    """The body's landmarks that lie elsewhere than where they are found on its shape."""
    surface = body.surface
    found = find_landmarks(surface)
    out = {}
    for name, point in body.landmarks.items():
        own = point.on(surface.vertices, surface.faces)
        if name not in found.points or np.linalg.norm(own - found.at(name, surface)) > OWN_MM:
            out[name] = point
    return out


def own_places(body: Body) -> dict[str, Array]:
    """Positions (3,) in mm of the landmarks that a file of the body must carry."""
    surface = body.surface
    return {n: p.on(surface.vertices, surface.faces) for n, p in own_landmarks(body).items()}


def read_carried(path: str | Path) -> dict[str, Array]:
    """Positions (3,) by name of the landmarks in a PLY's header, in the file's own frame; {} where there are none."""
    path = Path(path)
    if path.suffix.lower() != ".ply":
        return {}
    with path.open("rb") as file:
        head = file.read(HEADER)
    end = head.find(b"end_header")
    found = _LINE.findall(head[:end] if end > 0 else b"")
    out = {name.decode(): np.array(place.split(), dtype=np.float64) for name, place in found}
    return {name: place for name, place in out.items() if name in NAMES}


def read_unscanned(path: str | Path) -> tuple[Array, Array] | None:
    """Vertices (n, 3) of a PLY of padlib's, in its own frame, and their distance (n,) in mm from what was scanned.

    None where the file does not say it.
    """
    path = Path(path)
    if path.suffix.lower() != ".ply":
        return None
    with path.open("rb") as file:
        head = file.read(HEADER)
        end = head.find(_END)
        layout = _ROWS.search(head[:end]) if end > 0 else None
        if layout is None:
            return None
        kind = np.dtype([("place", "<f8", 3), ("gap", "<f4")])
        file.seek(end + len(_END))
        data = file.read(int(layout[1]) * kind.itemsize)
    if not data or len(data) < int(layout[1]) * kind.itemsize:
        return None
    rows = np.frombuffer(data, kind)
    gap = rows["gap"].astype(np.float64)
    if not np.all(gap >= 0.0) or not np.isfinite(rows["place"]).all():
        return None
    return rows["place"].copy(), gap


def placed(
    surface: Surface, places: Mapping[str, Array]
) -> tuple[dict[str, Point], tuple[Finding, ...]]:
    """Carried landmarks on a surface in mm, and what is to be told; those that lie off the surface are left out."""
    if not places:
        return {}, ()
    names = list(places)
    points = nearest(surface.vertices, surface.faces, np.array([places[n] for n in names]))
    out, lost = {}, []
    for name, point in zip(names, points, strict=True):
        apart = np.linalg.norm(point.on(surface.vertices, surface.faces) - places[name])
        if apart <= NEAR_MM:
            out[name] = point
        else:
            lost.append(name)
    told = []
    if out:
        words = f"The file says where {', '.join(out)} lie; they are taken from there."
        told.append(Finding(KEPT, words, "landmarks", Grade.NOTE, len(out)))
    if lost:
        words = (
            f"The file's places of {', '.join(lost)} lie off the body (it was changed since); "
            "they are found anew from its shape."
        )
        told.append(Finding(LOST, words, "landmarks", Grade.WARNING, len(lost)))
    return out, tuple(told)
