"""Bodies from measurements: what was asked for, measured again by sections of another library."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh

from padlib.body.parametric import parametric_body
from padlib.errors import InputError

MESHES = Path(__file__).resolve().parents[2] / "meshes"


@pytest.fixture(scope="module")
def giant() -> tuple[dict[str, float], trimesh.Trimesh]:
    """The demo's wearer: the table that was asked for, and the body made from it."""
    table = tomllib.loads((MESHES / "giant_wearer.toml").read_text())
    surface = parametric_body(table["measurements"], figure=table["figure"]).surface
    return table["measurements"], trimesh.Trimesh(surface.vertices, surface.faces, process=False)


def level_girth(mesh: trimesh.Trimesh, z: float, x_low: float, x_high: float) -> float:
    """Girth of the convex hull of a horizontal section between two x, mm, by trimesh and shapely."""
    section = mesh.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    rings = [np.asarray(r)[:, :2] for r in section.discrete]
    inside = [r for r in rings if x_low <= r[:, 0].mean() <= x_high and np.abs(r[:, 0]).max() < 320]
    widest = max(inside, key=lambda r: np.ptp(r[:, 0]))
    return float(shapely.MultiPoint(widest).convex_hull.length)


def test_closed_and_its_own_mirror_image(giant: tuple) -> None:
    """Closed, one piece without a handle, exactly symmetric in x = 0, standing on the floor."""
    _, mesh = giant
    mirrored = mesh.vertices * [-1, 1, 1]
    order = np.lexsort(np.round(mesh.vertices, 6).T)
    other = np.lexsort(np.round(mirrored, 6).T)

    assert mesh.is_watertight
    assert mesh.euler_number == 2
    assert mesh.body_count == 1
    assert np.abs(mesh.vertices[order] - mirrored[other]).max() < 1e-5
    assert mesh.bounds[0, 2] == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize(
    ("girth", "height"), [("waist_girth", "waist_height"), ("hip_girth", "hip_height")]
)
def test_trunk_girths_are_those_asked_for(giant: tuple, girth: str, height: str) -> None:
    """Waist and hip girth at their heights, as a taut tape reads them, are within 2 mm."""
    asked, mesh = giant

    assert level_girth(mesh, asked[height], -60, 60) == pytest.approx(asked[girth], abs=2)


def test_stature_and_surface_area(giant: tuple) -> None:
    """Stature within 5 mm; skin area within 10 % of Du Bois 1916 and Mosteller 1987 (VALUES 3.1).

    The weight for the formulas is the body's own volume at 1.01 kg/l (from memory).
    """
    asked, mesh = giant
    height, weight = asked["stature"] / 10, mesh.volume / 1e6 * 1.01
    du_bois = 0.007184 * height**0.725 * weight**0.425
    mosteller = np.sqrt(height * weight / 3600)

    assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(asked["stature"], abs=5)
    assert mesh.area / 1e6 == pytest.approx(du_bois, rel=0.10)
    assert mesh.area / 1e6 == pytest.approx(mosteller, rel=0.10)


def test_shipped_body_is_the_one_of_the_table() -> None:
    """The body in the package and the one in meshes/ are the same file."""
    shipped = MESHES.parent / "padlib" / "suit" / "demo_body.ply"

    assert shipped.read_bytes() == (MESHES / "giant_wearer.ply").read_bytes()


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ({"statur": 1700}, "stature"),
        ({"stature": 300}, "stature"),
        ({"stature": float("nan")}, "stature"),
        ({"stature": 1750, "calf_girth": 200, "ankle_girth": 300}, "girth"),
    ],
)
def test_wishes_that_no_body_has(wish: dict[str, float], words: str) -> None:
    """Unknown names, values outside of the human range and contradictions are one sentence."""
    with pytest.raises(InputError, match=words) as caught:
        parametric_body(wish)

    assert "\n" not in str(caught.value)
