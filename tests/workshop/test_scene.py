"""The bytes that the page draws: read back as the page reads them."""

from __future__ import annotations

import json

import numpy as np
import pytest

from padlib.workshop.scene import scene_bytes


@pytest.fixture(scope="module")
def scene(by_hand):
    """Flats of a tube of radius 150 mm, the header and a reader of its arrays."""
    flats = by_hand.tube()
    data = scene_bytes(flats, (), scale=0.1, limit=0.05)
    length = int.from_bytes(data[:4], "little")
    header = json.loads(data[4 : 4 + length])

    def read(place, kind):
        start, count = place
        return np.frombuffer(data, kind, count, 4 + length + start)

    return flats, header, read, length


def test_arrays_start_on_whole_words(scene):
    """Every array starts on a multiple of four bytes, as the page's typed arrays need."""
    _, header, _, length = scene
    places = [
        p[k][0] for p in header["panels"] for k in ("vertices", "normals", "faces", "stretch")
    ]

    assert {(4 + length + at) % 4 for at in places} == {0}


def test_panels_come_back_as_they_were(scene):
    """Vertices and faces of each panel are those of its surface, in single precision."""
    flats, header, read, _ = scene
    for flat, panel in zip(flats, header["panels"], strict=True):
        surface = flat.panel.surface
        vertices = read(panel["vertices"], "<f4").reshape(-1, 3)
        np.testing.assert_allclose(vertices, surface.vertices, rtol=1e-6, atol=1e-4)
        np.testing.assert_array_equal(read(panel["faces"], "<u4").reshape(-1, 3), surface.faces)
        assert panel["name"] == flat.panel.name


def test_normals_are_smooth_over_seams(scene):
    """On a tube every normal is radial, on its seams too, within the angle of half a facet."""
    _, header, read, _ = scene
    for panel in header["panels"]:
        vertices = read(panel["vertices"], "<f4").reshape(-1, 3).astype(float)
        normals = read(panel["normals"], "<f4").reshape(-1, 3).astype(float)
        radial = vertices[:, :2] / np.linalg.norm(vertices[:, :2], axis=1)[:, None]
        cosine = np.einsum("ij,ij->i", np.abs(normals[:, :2]), np.abs(radial))

        assert cosine.min() > np.cos(np.pi / 60)
