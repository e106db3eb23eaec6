"""Ways in which a scan lacks a part of its wearer, or is worn over: masks and moves of a body in padlib's frame."""

from __future__ import annotations

import numpy as np


def _parts(v):
    """Parts of a body as masks of its vertices (n,): what is kept when the rest is not there."""
    tall = v[:, 2].max()
    x, y, z = (v / tall).T
    middle = np.median(y)
    return {
        "no feet": z > 0.06,
        "no lower legs": z > 0.2,
        "no head": z < 0.86,
        "no hands": ~((np.abs(x) > 0.2) & (z < 0.55)),
        "upper half": z > 0.5,
        "lower half": (z < 0.58) & ((np.abs(x) < 0.14) | (z < 0.4)),
        "front half": y < middle,
        "back half": y > middle,
        "left half": x > 0,
        "right half": x < 0,
        "dress form": (z > 0.44) & (z < 0.87) & (np.abs(x) < 0.12),
        "bust": (z > 0.60) & (np.abs(x) < 0.13),
        "one arm": ~((x > 0.16) & (z < 0.75)),
        "one leg": ~((x > 0) & (z < 0.4)),
        "head alone": z > 0.84,
        "leg alone": (z < 0.4) & (x > 0),
    }


PARTS = tuple(_parts(np.eye(3)))


def part(vertices, faces, name):
    """The body without a part, open where it was cut: (vertices, faces)."""
    keep = _parts(vertices)[name]
    return vertices, faces[keep[faces].all(axis=1)]


def rotation(degrees, axis):
    """Rotation (3, 3) about an axis, 0 to 2."""
    a = np.radians(degrees)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out = np.eye(3)
    out[i, i] = out[j, j] = np.cos(a)
    out[i, j], out[j, i] = -np.sin(a), np.sin(a)
    return out


def helmet(vertices):
    """The head inside a ball."""
    tall = vertices[:, 2].max()
    head = vertices[:, 2] > 0.87 * tall
    centre = vertices[vertices[:, 2] > 0.9 * tall].mean(axis=0)
    away = vertices[head] - centre
    out = vertices.copy()
    out[head] = centre + away / np.linalg.norm(away, axis=1)[:, None] * 0.085 * tall
    return out


def shod(vertices, thick):
    """The body on soles: what lies within 10 mm of the floor is drawn down by `thick`, which leaves upright walls."""
    out = vertices + [0.0, 0.0, thick]
    low = out[:, 2] < thick + 10.0
    out[low, 2] = np.maximum(out[low, 2] - thick, 0.0)
    return out


def capped(vertices, thick):
    """The head, from 0.9 of the height up, `thick` farther from its middle."""
    share = np.clip((vertices[:, 2] / vertices[:, 2].max() - 0.885) / 0.015, 0.0, 1.0)
    away = vertices - vertices[share == 1.0].mean(axis=0)
    away /= np.linalg.norm(away, axis=1)[:, None]
    return vertices + (thick * share)[:, None] * away


def cut_at_random(vertices, faces, rng):
    """What is left of a body beside one to three planes, turned anyhow."""
    keep = np.ones(len(vertices), dtype=bool)
    for _ in range(rng.integers(1, 4)):
        normal = rng.normal(size=3)
        along = vertices @ (normal / np.linalg.norm(normal))
        keep &= along < np.quantile(along[keep], rng.uniform(0.35, 1.0))
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    return vertices @ turn.T, faces[keep[faces].all(axis=1)]
