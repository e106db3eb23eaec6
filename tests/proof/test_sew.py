"""Sewing back: closed forms first, then the demo suit, then patterns that are spoiled on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.proof.entry import entry, entry_findings
from padlib.proof.sew import distances, settle, stiffness, turned_frames, weld
from padlib.seams.panels import Edge, Panel
from padlib.suit.build import Built


def strip(
    name: str, width: float, height: float, around: int, up: int, first: int, wrap: int
) -> Flat:
    """A flat rectangle of cloth whose two upright edges are sewn to its partner's."""
    x, y = np.meshgrid(np.linspace(0, width, around + 1), np.linspace(0, height, up + 1))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    n = around + 1
    faces = []
    for i in range(up):
        for j in range(around):
            a = i * n + j
            faces += [[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]
    column = (first + np.arange(around + 1)) % wrap
    parents = (np.arange(up + 1)[:, None] * wrap + column).ravel()
    other = "b" if name == "a" else "a"
    right, left = np.arange(up + 1) * n + around, (np.arange(up + 1) * n)[::-1]
    edges = (Edge("one", "sewn", right, (other, 1)), Edge("two", "sewn", left, (other, 0)))
    surface = Surface(np.column_stack([flat, np.zeros(len(flat))]), np.array(faces))
    panel = Panel(name, "left", surface, parents, edges)
    none = np.zeros((0, 2))
    return Flat(panel, flat, none, none, np.zeros(0))


def tube(radius: float, height: float, around: int, up: int) -> tuple[Surface, list[Flat]]:
    """A closed cylinder to hold the cloth up, and two flats that sew up to its side."""
    angle = 2 * np.pi * np.arange(around) / around
    step = height / up  # the support goes on beyond the cloth, so that its rims do not matter
    levels = np.linspace(-6 * step, height + 6 * step, up + 13)
    side = np.array([[radius * np.cos(a), radius * np.sin(a), z] for z in levels for a in angle])
    faces = []
    for i in range(up + 12):
        for j in range(around):
            a, b = i * around + j, i * around + (j + 1) % around
            faces += [[a, b, b + around], [a, b + around, a + around]]
    count = len(side)
    for j in range(around):
        k = (j + 1) % around
        last = (up + 12) * around
        faces += [[count, k, j], [count + 1, last + j, last + k]]
    vertices = np.vstack([side, [0, 0, levels[0]], [0, 0, levels[-1]]])
    half = around // 2
    chord = 2 * radius * np.sin(np.pi / around)
    flats = [
        strip("a", half * chord, height, half, up, 0, around),
        strip("b", half * chord, height, half, up, half, around),
    ]
    return Surface(vertices, np.array(faces)), flats


def test_cylinder_sews_back_to_itself() -> None:
    """Two rectangles of half the girth sew up to the cylinder within 0.1 mm, from a square wrap."""
    support, flats = tube(60.0, 200.0, 48, 16)
    sewn = weld(flats)
    angle = np.zeros(sewn.count)
    z = np.zeros(sewn.count)
    for w, flat in zip(sewn.welded, flats, strict=True):
        angle[w] = 2 * np.pi * (flat.panel.parents % 48) / 48
        z[w] = flat.positions[:, 1]
    # A square tube 20 mm off on average: not the answer.
    square = 70.0 / np.maximum(np.abs(np.cos(angle)), np.abs(np.sin(angle)))
    start = np.stack([square * np.cos(angle), square * np.sin(angle), z], axis=1)
    place, _ = settle(sewn, start, support, steps=400, still=1e-6)
    away, _ = distances(place, sewn.faces, support)
    radius = np.hypot(place[:, 0], place[:, 1])

    assert sewn.count == 48 * 17
    assert np.abs(np.hypot(start[:, 0], start[:, 1]) - 60).mean() > 15
    assert away.max() < 0.1
    assert radius.mean() == pytest.approx(60.0, abs=0.1)


def test_cloth_cut_too_small_stands_off_or_is_stretched() -> None:
    """The same tube with one flat 10 mm too wide does not lie on the cylinder any more."""
    support, flats = tube(60.0, 200.0, 48, 16)
    wide = flats[0].positions * [1 + 10.0 / flats[0].positions[:, 0].max(), 1.0]
    sewn = weld([replace(flats[0], positions=wide), flats[1]])
    start = np.zeros((sewn.count, 3))
    for w, flat in zip(sewn.welded, flats, strict=True):
        a = 2 * np.pi * (flat.panel.parents % 48) / 48
        start[w] = np.stack([80 * np.cos(a), 80 * np.sin(a), flat.positions[:, 1]], axis=1)
    place, _ = settle(sewn, start, support, steps=300, still=1e-3)
    away, share = distances(place, sewn.faces, support)

    assert (away * share).sum() / share.sum() > 0.7  # 10 mm of girth is 1.6 mm of radius


def test_stiffness_is_the_cotangent_laplacian() -> None:
    """The cloth's stiffness equals libigl's cotangent matrix of the flat, up to sign."""
    igl = pytest.importorskip("igl")
    _, flats = tube(60.0, 200.0, 12, 4)
    alone = replace(flats[0], panel=replace(flats[0].panel, edges=()))
    sewn = weld([alone])
    flat3 = np.column_stack([alone.positions, np.zeros(len(alone.positions))])
    other = igl.cotmatrix(flat3, np.asarray(alone.panel.surface.faces))

    assert abs(stiffness(sewn) + other).max() < 1e-9


def test_frames_of_a_rigid_motion_are_that_motion() -> None:
    """For cloth that is only turned, the nearest rigid image of every triangle is the turn itself."""
    _, flats = tube(60.0, 200.0, 12, 4)
    sewn = weld([replace(flats[0], panel=replace(flats[0].panel, edges=()))])
    rng = np.random.default_rng(4)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    place = flats[0].positions @ turn[:, :2].T
    frames = turned_frames(sewn, place)

    assert np.allclose(frames, turn[:, :2], atol=1e-9)


def test_demo_suit_sewn_back(demo_built: Built) -> None:
    """The demo's flats, sewn from a rough wrap, come back near the sculpted outline."""
    proof = demo_built.proof

    assert proof is not None
    assert proof.deviation_mm["mean"] < 2.5
    assert proof.deviation_mm["p95"] < 9.0


def test_entry_of_a_slit() -> None:
    """A neck of 400 mm and a closure of 300 mm open to 1000 mm; a wearer of 1100 mm needs 350 mm."""
    line = np.array([[0.0, 0, 0], [200.0, 0, 0], [200.0, 300, 0], [0.0, 300, 0]])
    surface = Surface(line, np.array([[0, 1, 2], [0, 2, 3]]))
    edges = (
        Edge("neck", "opening", np.array([0, 1])),
        Edge("closure", "closure", np.array([1, 2]), ("b", 1)),
    )
    panels = [Panel(n, "left", surface, np.arange(4), edges) for n in ("a", "b")]
    none = np.zeros((0, 2))
    flats = [Flat(p, line[:, :2], none, none, np.zeros(0)) for p in panels]
    told = entry(flats, {"hip_girth": 1100.0, "chest_girth": 900.0}, 0.0)

    assert told.closure_mm == 300
    assert told.opening_mm == 1000
    assert told.shortest_mm == 350
    assert "make the closure at least 350 mm long" in str(entry_findings(told)[0])
    assert entry_findings(replace(told, needed_mm=1000.0)) == ()
