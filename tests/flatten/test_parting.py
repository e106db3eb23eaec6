"""What a seam across a panel leaves, as the forecast of both of its parts says when they are really cut apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay

from padlib.flatten.forecast import forecast
from padlib.flatten.parting import parting
from padlib.mesh.areas import face_areas, vertex_areas


def bumps():
    """A sheet with two bumps; its middle line x = 0 is a line of vertices."""
    x, y = np.meshgrid(np.arange(-200.0, 201.0, 8.0), np.arange(-120.0, 121.0, 8.0))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    height = sum(
        60.0 * np.exp(-((flat - middle) ** 2).sum(axis=1) / (2 * 45.0**2))
        for middle in ([-90.0, 0.0], [100.0, 10.0])
    )
    return np.column_stack([flat, height]), Delaunay(flat).simplices


def cut_strain(vertices, faces, keep):
    """Sum of the squared stretch that the forecast asks of some faces alone."""
    used, own = np.unique(faces[keep], return_inverse=True)
    v, f = vertices[used], own.reshape(-1, 3)
    u = forecast(v, f)
    weight = vertex_areas(f, face_areas(v, f), len(v))
    return float(weight @ (np.exp(weight @ u / weight.sum() - u) - 1.0) ** 2)


def test_a_parted_panel_asks_what_its_parts_ask():
    """Along the valley between two bumps, and off it: within a tenth of the two parts cut apart and forecast
    alone, and in their order; without a seam within 6 %."""
    vertices, faces = bumps()
    ahead = parting(vertices, faces)
    whole = cut_strain(vertices, faces, np.ones(len(faces), bool))
    middle = vertices[faces].mean(axis=1)[:, 0]

    assert ahead.strain == pytest.approx(whole, rel=0.06)
    told, true = [], []
    for at in (0.0, -96.0, 56.0):
        line = np.stack([np.full(31, at), np.linspace(-120.0, 120.0, 31)], axis=1)
        height = vertices[np.abs(vertices[:, 0] - at) < 1e-9][:, 2]
        way = np.column_stack([line, height])
        on = [int(np.argmin(np.linalg.norm(vertices - p, axis=1))) for p in way]
        # from its upper end on, the other way round than the loop runs, to its lower end
        first, last = (int(np.flatnonzero(ahead.loop == v)[0]) for v in (on[-1], on[0]))
        off = np.arange(first + 1, last + (len(ahead.loop) if last < first else 0)) % len(
            ahead.loop
        )
        strain, share = ahead.parted(way, ahead.flat[on], off)
        parts = [cut_strain(vertices, faces, middle > at), cut_strain(vertices, faces, middle < at)]

        told.append(strain)
        true.append(sum(parts))
        assert share == pytest.approx((200.0 - abs(at)) / 400.0, abs=0.04)
    assert told == pytest.approx(true, rel=0.1)
    assert np.argsort(told).tolist() == np.argsort(true).tolist()
    assert max(told) < whole


def test_the_summit_is_where_the_surface_asks_most():
    """Of one bump of the height that Gauss's bell has, beside the middle: its top, as near as the places lie that the
    forecast is kept at."""
    x, y = np.meshgrid(np.arange(-200.0, 201.0, 8.0), np.arange(-120.0, 121.0, 8.0))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    top = np.array([60.0, -20.0])
    vertices = np.column_stack(
        [flat, 70.0 * np.exp(-((flat - top) ** 2).sum(axis=1) / (2 * 45.0**2))]
    )
    ahead = parting(vertices, Delaunay(flat).simplices)

    apart = np.sqrt(400.0 * 240.0 / 500.0)
    assert np.linalg.norm(vertices[ahead.summit, :2] - top) < 1.5 * apart
