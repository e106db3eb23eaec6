"""Pinned darts stay, forbidden places stay free, and slips are told in one sentence."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.errors import InputError
from padlib.flatten.darts import dart_panel
from padlib.flatten.disk import boundary_loop
from padlib.flatten.fit import summary_at
from padlib.flatten.flat import Flat
from padlib.flatten.injective import overlaps
from padlib.flatten.pins import Ban, Pin
from padlib.flatten.stretch import areas, flipped
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel


def panel(vertices: np.ndarray, faces: np.ndarray, seams: int = 1) -> Panel:
    """A panel whose edge is one seam, or several of about the same length."""
    loop = boundary_loop(faces)
    marks = np.linspace(0, len(loop), seams + 1).astype(int)
    around = np.append(loop, loop[0])
    edges = tuple(
        Edge(f"seam {k}", "sewn", around[marks[k] : marks[k + 1] + 1]) for k in range(seams)
    )
    return Panel("piece", "left", Surface(vertices, faces), np.arange(len(vertices)), edges)


@pytest.fixture(scope="module")
def dome(by_hand) -> Panel:
    """A cap of an ellipsoid with one seam around it; one dart brings it within 5 %."""
    vertices, faces = by_hand.cap(70, rings=10)
    return panel(vertices * [1.6, 1.0, 0.8], faces)


@pytest.fixture(scope="module")
def split_dome(dome: Panel) -> Panel:
    """The same cap with three seams around it."""
    return panel(dome.surface.vertices, dome.surface.faces, seams=3)


def kept(flat: Flat) -> float:
    """What 95 % of the area keep."""
    surface = flat.panel.surface
    return summary_at(flat.stretch, areas(surface.vertices, surface.faces), 95.0)


def sound(flat: Flat) -> bool:
    """Whether nothing is flipped or overlaps."""
    surface = flat.panel.surface
    turned = flipped(surface.vertices, surface.faces, flat.positions).any()
    return not turned and overlaps(surface.faces, flat.positions) == 0


PIN = Pin((0.0, 95.0, 27.0), (5.0, 62.0, 60.0))


@pytest.mark.parametrize("limit", [0.05, 0.5])
def test_a_pinned_dart_stays(dome: Panel, limit: float) -> None:
    """A pinned dart is the first, at its places, whether it is needed or not; others come besides."""
    flat = dart_panel(dome, limit=limit, pinned=[PIN])
    assert sound(flat)
    at, first = flat.panel.surface.vertices, flat.darts[0]
    rim = dome.surface.vertices[dome.edges[0].run]
    nearest = rim[np.linalg.norm(rim - PIN.mouth, axis=1).argmin()]
    np.testing.assert_allclose(at[first.left[0]], nearest, atol=1e-9)
    assert np.linalg.norm(at[first.apex] - PIN.tip) < 8.0  # snaps to a vertex, edges are 15 mm
    assert kept(flat) <= limit
    assert (len(flat.darts) == 1) == (limit == 0.5)


def test_other_darts_are_sought_around_a_pinned_one(dome: Panel) -> None:
    """The darts besides a pinned one keep 15 mm from it and from each other, and open."""
    flat = dart_panel(dome, limit=0.03, pinned=[PIN])
    at = flat.panel.surface.vertices
    assert len(flat.darts) > 1
    assert kept(flat) <= 0.03
    for k, one in enumerate(flat.darts):
        for two in flat.darts[:k]:
            gap = np.linalg.norm(at[one.left][:, None] - at[two.left], axis=2).min()
            assert gap > 12.0  # 15 mm in the flat without darts, which is up to 10 % smaller
    assert all(dart.intake_deg >= 2.5 for dart in flat.darts[1:])


def test_a_pinned_dart_in_a_hollow_is_cut_and_told(by_hand) -> None:
    """On a saddle a pinned dart is cut all the same, nothing overlaps, and a warning tells of it."""
    flat = dart_panel(panel(*by_hand.saddle()), limit=0.5, pinned=[Pin((100, 0, 0), (40, 0, 0))])
    assert len(flat.darts) == 1
    assert sound(flat)
    assert 555 in {f.number for f in flat.findings}


def test_no_dart_starts_from_a_forbidden_seam(split_dome: Panel) -> None:
    """With two of three seams forbidden all darts start from the third."""
    for free in range(3):
        bans = [Ban(seam=f"seam {k}") for k in range(3) if k != free]
        flat = dart_panel(split_dome, limit=0.05, forbidden=bans)
        assert flat.darts
        assert all(int(d.left[0]) in split_dome.edges[free].run for d in flat.darts)
        assert kept(flat) <= 0.05


def test_no_dart_touches_a_forbidden_place(dome: Panel) -> None:
    """Where the dart would lie, a ban of 40 mm moves it away; it still holds the limit."""
    first = dart_panel(dome, limit=0.05)
    spot = first.panel.surface.vertices[first.darts[0].left].mean(axis=0)
    flat = dart_panel(dome, limit=0.05, forbidden=[Ban(at=tuple(spot), radius=40.0)])
    assert flat.darts
    assert kept(flat) <= 0.05
    for dart in flat.darts:
        off = np.linalg.norm(flat.panel.surface.vertices[dart.left] - spot, axis=1)
        assert off.min() > 35.0  # the ban is kept by vertices, edges are 15 mm


def test_a_ban_everywhere_leaves_no_dart(dome: Panel) -> None:
    """Where darts are forbidden all around, none is cut and the finding says so."""
    flat = dart_panel(dome, limit=0.05, forbidden=[Ban(seam="seam 0")])
    assert flat.darts == ()
    assert {f.number for f in flat.findings} == {550, 553}


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        ([Pin((0, 300, 27), (0, 60, 60))], "the mouth of pinned dart 1 lies 2"),
        ([Pin((0, 95, 27), (0, 60, 400))], "the tip of pinned dart 1 lies 3"),
        ([Pin((0, 94, 27), (0, 94, 27))], "shorter than 5 mm"),
        ([PIN, Pin((30, 93, 27), (-30, 60, 55))], "pinned darts 1 and 2 of panel 'piece' meet"),
    ],
)
def test_slips_with_pins(dome: Panel, pins: list[Pin], words: str) -> None:
    """A pin that cannot be meant is refused in one sentence that says which and why."""
    with pytest.raises(InputError, match=words):
        dart_panel(dome, pinned=pins)


def test_a_pin_that_leaves_its_panel(by_hand) -> None:
    """In a panel with a bay a pinned dart straight across the bay is refused."""
    vertices, faces = by_hand.grid(lambda u, v: np.stack([200 * u, 100 * v, 0 * u], 1), 21, 11)
    middle = vertices[faces].mean(axis=1)
    bay = (np.abs(middle[:, 0] - 100) < 30) & (middle[:, 1] > 20)
    used, at = np.unique(faces[~bay], return_inverse=True)
    shape = panel(vertices[used], at.reshape(-1, 3))
    with pytest.raises(InputError, match="leaves panel 'piece'"):
        dart_panel(shape, pinned=[Pin((0, 70, 0), (160, 70, 0))])


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "either a seam or a place"),
        ({"seam": "side", "at": (0, 0, 0), "radius": 5.0}, "either a seam or a place"),
        ({"at": (0, 0, 0)}, "the radius of a ban on darts is 0 mm"),
    ],
)
def test_slips_with_bans(given: dict, words: str) -> None:
    """A ban that says nothing, or two things, is refused."""
    with pytest.raises(InputError, match=words):
        Ban(**given)


@pytest.mark.parametrize(
    ("ban", "words"),
    [
        (Ban(seam="side"), "has no seam 'side'.* it has seam 0"),
        (Ban(at=(0, 0, 900), radius=20.0), "from panel 'piece'; give one on the panel"),
    ],
)
def test_bans_that_are_not_on_the_panel(dome: Panel, ban: Ban, words: str) -> None:
    """A ban about a seam or a place that the panel does not have is refused."""
    with pytest.raises(InputError, match=words):
        dart_panel(dome, limit=0.05, forbidden=[ban])
