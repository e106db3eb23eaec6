"""Making a clean body look like a raw scan, in ways that can be told afterwards."""

from __future__ import annotations

import numpy as np

from padlib.mesh.surface import Surface


def subdivided(vertices, faces, times=1):
    """Every triangle in four, `times` times."""
    for _ in range(times):
        edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        unique, inverse = np.unique(edges, axis=0, return_inverse=True)
        m = len(vertices) + inverse.reshape(-1, 3)
        vertices = np.concatenate([vertices, vertices[unique].mean(axis=1)])
        a, b, c = faces.T
        ab, bc, ca = m.T
        faces = np.concatenate(
            [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        )
    return vertices, faces


def noisy(vertices, rng, sigma):
    """Independent noise of standard deviation sigma along each axis."""
    return vertices + sigma * rng.normal(size=vertices.shape)


def holed(vertices, faces, balls):
    """Without the faces whose middle lies in one of the balls (centre, radius)."""
    middle = vertices[faces].mean(axis=1)
    keep = np.ones(len(faces), dtype=bool)
    for centre, radius in balls:
        keep &= np.linalg.norm(middle - centre, axis=1) > radius
    return faces[keep]


def scan_holes(vertices, rng, diameters=(50.0, 150.0)):
    """Balls at crown, soles and armpits of a body in padlib's frame, of random diameters in mm."""
    tall = vertices[:, 2].max()
    scale = tall / 1700.0
    crown = vertices[np.argmax(vertices[:, 2])]
    places = [crown]
    for side in (-1, 1):
        foot = vertices[(side * vertices[:, 0] > 0) & (vertices[:, 2] < 0.01 * tall)]
        places.append(foot[rng.integers(len(foot))])
        places.append(_armpit(vertices, side, tall))
    return [(place, scale * rng.uniform(*diameters) / 2.0) for place in places]


def _armpit(vertices, side, tall):
    """Roughly the armpit: the highest place under the arm, between trunk and arm."""
    x, z = side * vertices[:, 0], vertices[:, 2]
    arm = vertices[(x > 0.09 * tall) & (x < 0.12 * tall) & (z > 0.66 * tall) & (z < 0.85 * tall)]
    level = np.sort(arm[:, 2])
    gap = int(np.argmax(np.diff(level[: len(level) // 2 + 1])))
    low = arm[arm[:, 2] <= level[gap] + 0.05 * tall]
    return low.mean(axis=0)


def crumbs(vertices, rng, count=8):
    """Small closed pyramids and specks around a body, as (vertices, faces) pieces."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    corner = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) * 1.0
    sides = np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]])
    return [(rng.uniform(low, high) + rng.uniform(2.0, 12.0) * corner, sides) for _ in range(count)]


def floor_sheet(vertices, rng, size=1500.0, height=0.0, steps=40):
    """A square sheet at a height, with a little noise."""
    line = np.linspace(-size / 2, size / 2, steps + 1)
    x, y = np.meshgrid(line, line, indexing="ij")
    z = height + 0.5 * rng.normal(size=x.shape)
    sheet = np.stack([x, y, z], axis=-1).reshape(-1, 3) + vertices.mean(axis=0) * [1, 1, 0]
    k = np.arange((steps + 1) ** 2).reshape(steps + 1, steps + 1)
    a, b, c, d = (q.ravel() for q in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    return sheet, np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def joined(pieces):
    """One mesh of several (vertices, faces)."""
    shifts = np.cumsum([0] + [len(v) for v, _ in pieces[:-1]])
    return (
        np.concatenate([v for v, _ in pieces]),
        np.concatenate([f + s for (_, f), s in zip(pieces, shifts, strict=True)]),
    )


def flipped(faces, rng, share=0.03):
    """A share of the faces, at random, the other way round."""
    faces = faces.copy()
    mine = rng.random(len(faces)) < share
    faces[mine] = faces[mine][:, [0, 2, 1]]
    return faces


def doubled(vertices, faces, rng, share=0.01):
    """Some faces twice: half of them on the same vertices, half on copies of their own."""
    some = faces[rng.random(len(faces)) < share]
    half = len(some) // 2
    own = some[half:].ravel()
    copies = len(vertices) + np.arange(len(own)).reshape(-1, 3)
    extra = some[:half][:, [1, 2, 0]]
    return np.concatenate([vertices, vertices[own]]), np.concatenate([faces, extra, copies])


def turned(vertices, degrees):
    """Turned about the vertical, anticlockwise seen from above."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return vertices @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T


UP = {
    "+z": np.eye(3),
    "-z": np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]]),
    "+y": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
    "-y": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
    "+x": np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]]),
    "-x": np.array([[0.0, 0, -1], [1, 0, 0], [0, -1, 0]]),
}  # carries padlib's frame to a file whose up axis is the key: file point = UP @ point

PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


def roughened(vertices, faces, seed, *, times=1, sigma=0.7, floor=True, diameters=(50.0, 150.0)):
    """A raw scan of a clean body in padlib's frame: the Surface as a file holds it, and the truth.

    The truth is a dict: unit, up, degrees (turn about the vertical) and file (a function from
    padlib's frame to the file's).
    """
    rng = np.random.default_rng(seed)
    v, f = subdivided(vertices, faces, times)
    f = holed(v, f, scan_holes(vertices, rng, diameters))
    v = noisy(v, rng, sigma)
    f = flipped(f, rng)
    v, f = doubled(v, f, rng)
    pieces = [(v, f), *crumbs(v, rng)]
    if floor:
        pieces.append(floor_sheet(v, rng, rng.uniform(700, 2500), rng.uniform(-8.0, 4.0)))
    v, f = joined(pieces)
    f = f[rng.permutation(len(f))]
    unit = str(rng.choice(["mm", "cm", "m"]))
    up = str(rng.choice(list(UP)))
    degrees = float(rng.uniform(-180, 180))
    away = rng.uniform(-300, 300, size=3)

    def file(points):
        return (turned(points, degrees) @ UP[up].T + away) / PER_UNIT[unit]

    return Surface(file(v), f), {"unit": unit, "up": up, "degrees": degrees, "file": file}
