"""Gussets and seams where darts do not help: closed forms, and what the panel itself says of them."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.flatten.cures import Cures, Gusset, Split, told
from padlib.flatten.darts import dart_panel, suggest_cures
from padlib.flatten.disk import boundary_loop
from padlib.flatten.fit import summary_at
from padlib.flatten.isometric import isometric
from padlib.flatten.stretch import areas, stretch
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel


def panel(vertices: np.ndarray, faces: np.ndarray) -> Panel:
    """A panel whose edge is one seam."""
    loop = boundary_loop(faces)
    edge = Edge("rim", "sewn", np.append(loop, loop[0]))
    return Panel("piece", "left", Surface(vertices, faces), np.arange(len(vertices)), (edge,))


def inner_elbow(by_hand) -> tuple[np.ndarray, np.ndarray]:
    """The inner half of a 90 degree elbow of a torus of radii 300 and 80 mm (VALUES 6.6)."""

    def at(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        turn, round_ = 0.5 * np.pi * u, np.pi * (0.5 + v)
        out = 300 + 80 * np.cos(round_)
        return np.stack([out * np.cos(turn), out * np.sin(turn), 80 * np.sin(round_)], 1)

    return by_hand.grid(at, 31, 17)


def saddle_cone(by_hand) -> tuple[np.ndarray, np.ndarray, float]:
    """A cone that goes up and down twice on its way round, and the angle that it has over 360 degrees."""
    flat, faces = by_hand.cap(1e-4, rings=12, radius=1e8 / np.radians(1e-4) * 1e-6)
    x, y = flat[:, 0], flat[:, 1]
    r = np.hypot(x, y)
    size = 100.0 / r.max()
    turn = np.arctan2(y, x)
    vertices = np.stack([size * x, size * y, 0.45 * size * r * np.cos(2 * turn)], 1)
    fine = np.linspace(0, 2 * np.pi, 20001)
    line = np.stack([np.cos(fine), np.sin(fine), 0.45 * np.cos(2 * fine)], 1)
    line /= np.linalg.norm(line, axis=1)[:, None]
    round_ = np.degrees(np.arccos(np.clip((line[1:] * line[:-1]).sum(axis=1), -1, 1)).sum())
    return vertices, faces, float(round_ - 360.0)


def test_the_inside_of_an_elbow_wants_a_seam_along_its_middle(by_hand) -> None:
    """The best seam is the elbow's inner circle, 220 pi / 2 mm long; each part then keeps what it tells."""
    shape = panel(*inner_elbow(by_hand))
    cures = suggest_cures(shape, limit=0.03)
    assert cures.hollow
    split = cures.split
    assert split.length_mm == pytest.approx(0.5 * np.pi * 220, rel=0.02)
    vertices, faces = shape.surface.vertices, shape.surface.faces
    above = vertices[faces][:, :, 2].mean(axis=1) > 0
    for side in (above, ~above):
        used, at = np.unique(faces[side], return_inverse=True)
        own = at.reshape(-1, 3)
        laid = isometric(vertices[used], own, limit=0.018)
        real = summary_at(stretch(vertices[used], own, laid), areas(vertices[used], own), 95.0)
        assert real == pytest.approx(split.stretch_left, rel=0.1)


def test_a_saddle_cone_wants_a_gusset_of_its_excess(by_hand) -> None:
    """A cone with too much angle round its tip wants a gusset to the tip, no wider than that excess."""
    vertices, faces, excess = saddle_cone(by_hand)
    gusset = suggest_cures(panel(vertices, faces), limit=0.01).gusset
    assert 20 < excess < 60
    # the sketch's chords, a tenth of the panel long, round its tip off and with it some of the excess
    assert 0.8 * excess < gusset.opening_deg < 1.02 * excess
    off = np.linalg.norm(np.asarray(gusset.path)[-1])
    assert off < 25.0  # a spacing of the sketch is 12 mm
    assert gusset.width_mm == pytest.approx(
        2 * gusset.length_mm * np.sin(np.radians(gusset.opening_deg / 2))
    )


def test_a_dome_wants_no_gusset(by_hand) -> None:
    """A half-sphere has no place where legs overlap; a seam over its pole does not mend it."""
    cures = suggest_cures(panel(*by_hand.cap(90, rings=10)), limit=0.05)
    assert cures.gusset is None
    assert not cures.hollow
    # half a great circle is 314.2 mm
    assert cures.split.length_mm == pytest.approx(100 * np.pi, rel=0.01)
    assert cures.split.stretch_left > 0.05


def test_the_finding_tells_places_and_numbers(by_hand) -> None:
    """Where darts do not help, the warning names a cure, its length, its ends and what it leaves."""
    flat = dart_panel(panel(*inner_elbow(by_hand)), limit=0.03)
    assert flat.darts == ()
    (found,) = flat.findings
    assert found.number == 550
    assert "a seam that splits the panel, 34" in found.words
    assert "from 'rim' near x " in found.words


SPOTS = ((0.0, 0.0, 0.0), (10.0, 0.0, -0.2))
GUSSET = Gusset(SPOTS, "armhole", 60.0, 20.0, 0.04)
SPLIT = Split(SPOTS, ("armhole", "waist"), 200.0, (0.03, 0.045))


@pytest.mark.parametrize(
    ("cures", "limit", "has", "lacks"),
    [
        (Cures(None, None, False), 0.05, "a seam that splits the panel would", "mm"),
        (Cures(GUSSET, SPLIT, True), 0.05, "4.0 %; or a seam that splits", "still"),
        (Cures(GUSSET, SPLIT, False), 0.05, "in its two parts; or a gusset", "still"),
        (Cures(GUSSET, SPLIT, True), 0.042, "a gusset (cloth put in) of 20 degrees", "seam that"),
        (Cures(GUSSET, SPLIT, True), 0.01, "still too much, but less", "seam that"),
        (Cures(None, SPLIT, True), 0.05, "from 'armhole' near x 0, y 0, z 0 mm to 'waist'", "gus"),
    ],
)
def test_cures_in_words(cures: Cures, limit: float, has: str, lacks: str) -> None:
    """The words tell what holds the limit, cloth put in first where the panel is hollow."""
    words = told(cures, limit)
    assert has in words
    assert lacks not in words
