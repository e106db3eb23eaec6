"""The seam plan of the demo suit: panels are disks, partners are one polyline, nothing is lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from padlib.errors import SuitError
from padlib.mesh.point import Curve
from padlib.mesh.surface import Point, Surface
from padlib.mesh.topology import boundary_loops, euler
from padlib.seams.mirror import mirror_panel, other_side
from padlib.seams.settle import settle
from padlib.suit.built import Built
from padlib.suit.file import DrawnSeam, Suit
from padlib.suit.steps import make_panels

USUAL = {"front", "back", "sleeve-upper", "sleeve-under", "leg-inner", "leg-outer"}


def area(surface: Surface) -> float:
    """Area in mm2, by trimesh."""
    return float(trimesh.Trimesh(surface.vertices, surface.faces, process=False).area)


def test_the_usual_pieces_on_both_sides(demo_built: Built) -> None:
    """Front, back, two sleeve panels and two leg panels, left and right."""
    names = {p.name for p in demo_built.panels.panels}

    assert names == {f"{n}-{s}" for n in USUAL for s in ("left", "right")}


def test_every_panel_is_a_disk(demo_built: Built) -> None:
    """One border each, Euler characteristic 1."""
    for panel in demo_built.panels.panels:
        assert len(boundary_loops(panel.surface.faces)) == 1, panel.name
        assert euler(panel.surface.faces) == 1, panel.name


def test_partners_are_the_same_polyline(demo_built: Built) -> None:
    """DESIGN 5.1: an edge and its partner are one polyline in 3D, vertex for vertex, bit for bit."""
    panels = {p.name: p for p in demo_built.panels.panels}
    seen = 0
    for panel in panels.values():
        for k, edge in enumerate(panel.edges):
            if edge.partner is None:
                assert edge.kind == "opening", (panel.name, edge.seam)
                continue
            other = panels[edge.partner[0]]
            back = other.edges[edge.partner[1]]
            assert back.partner == (panel.name, k)
            assert back.seam.replace("right", "left") == edge.seam.replace("right", "left")
            here = panel.surface.vertices[edge.run]
            there = other.surface.vertices[back.run[::-1]]
            assert np.array_equal(here, there), (panel.name, edge.seam)
            seen += 1
    assert seen > 40


def test_edges_are_the_whole_border_in_order(demo_built: Built) -> None:
    """The runs follow each other round the panel, the panel to the left, nothing left out."""
    for panel in demo_built.panels.panels:
        border = np.concatenate([e.run[:-1] for e in panel.edges])
        ends = [
            (a.run[-1], b.run[0])
            for a, b in zip(panel.edges, (*panel.edges[1:], panel.edges[0]), strict=True)
        ]
        loop = boundary_loops(panel.surface.faces)[0]
        start = int(np.flatnonzero(loop == border[0])[0])

        assert all(a == b for a, b in ends), panel.name
        assert np.array_equal(np.roll(loop, -start), border), panel.name


def test_openings_are_neck_wrists_and_ankles(demo_built: Built) -> None:
    """What is not sewn is an opening of its name, and the closure lies in the centre front."""
    for panel in demo_built.panels.panels:
        kinds = {e.seam: e.kind for e in panel.edges}
        for seam, kind in kinds.items():
            is_opening = seam.startswith(("neck", "wrist", "ankle"))
            assert (kind == "opening") == is_opening, (panel.name, seam)
        assert ("closure" in kinds) == panel.name.startswith("front")


def test_closure_ends_below_the_waist(demo_built: Built) -> None:
    """The closure runs from the neck to 60 mm below the waist, to within a triangle."""
    front = next(p for p in demo_built.panels.panels if p.name == "front-left")
    run = next(e.run for e in front.edges if e.kind == "closure")
    low = front.surface.vertices[run, 2].min()

    assert low == pytest.approx(demo_built.panels.place.at["waist_front"][2] - 60, abs=12)


def test_symmetric_body_gives_mirror_images(demo_built: Built) -> None:
    """On the built-in body, which is its own mirror image, right panels are images of left ones."""
    panels = {p.name: p for p in demo_built.panels.panels}
    for panel in panels.values():
        if panel.side == "left":
            image = panels[other_side(panel.name)]
            assert image.mirror_of == panel.name
            assert np.array_equal(image.surface.vertices, panel.surface.vertices * [-1, 1, 1])
            counts = {p.name: len(p.edges) for p in panels.values()}
            again = mirror_panel(image, counts)
            assert np.array_equal(again.surface.faces, panel.surface.faces)
            assert [e.partner for e in again.edges] == [e.partner for e in panel.edges]


def test_panels_cover_the_shell_between_the_openings(demo_built: Built) -> None:
    """Panels and what lies beyond the openings add up to the shell; moved vertices cost under 0.2 %."""
    panels = sum(area(p.surface) for p in demo_built.panels.panels)
    shell = demo_built.shell.surface
    at = demo_built.panels.place.at
    centre = shell.vertices[shell.faces].mean(axis=1)
    corner = shell.vertices[shell.faces]
    each = (
        np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
        / 2
    )
    low = min(at["ankle_left"][2], at["ankle_right"][2]) - 30
    sure = (
        (centre[:, 2] > low) & (centre[:, 2] < at["suprasternal"][2]) & (np.abs(centre[:, 0]) < 250)
    )
    sure &= ~((np.abs(centre[:, 0]) > 180) & (centre[:, 2] < at["wrist_left"][2] + 60))

    assert panels > 0.97 * each[sure].sum()
    assert panels < each.sum()


def test_a_seam_of_the_makers_own_splits_a_panel(demo_built: Built) -> None:
    """A drawn belt round the trunk gives more panels, still disks with partners."""
    ring = ("waist_front", "waist_left", "waist_back", "waist_right")
    seam = DrawnSeam("belt", ring, True, "sewn", None)
    suit = demo_built.suit.__class__(**{**demo_built.suit.__dict__, "drawn": (seam,)})
    panels = make_panels(suit, demo_built.body, demo_built.shell).panels
    names = {p.name for p in panels}

    assert {"front-1-left", "front-2-left", "back-1-right", "back-2-right"} <= names
    assert all(euler(p.surface.faces) == 1 for p in panels)


def stray(demo_built: Built, aside: float) -> Suit:
    """The demo with a short seam up the front of a thigh, so many mm outward of the middle of the knee."""
    x, _, z = demo_built.panels.place.at["patella_left"]
    ends = ((float(x) + aside, -300.0, float(z) + 60), (float(x) + aside, -300.0, float(z) + 90))
    return replace(demo_built.suit, drawn=(DrawnSeam("stray", ends, False, "sewn", None),))


def test_a_seam_that_does_not_close_is_refused(demo_built: Built) -> None:
    """A drawn seam whose ends meet nothing is told by name, with what to do."""
    with pytest.raises(
        SuitError, match=r"seam 'stray' does not close: an end of it meets no other seam"
    ):
        make_panels(stray(demo_built, 25.0), demo_built.body, demo_built.shell)


def test_a_seam_along_another_is_refused(demo_built: Built) -> None:
    """A drawn seam that crosses one of the plan twice within 5 mm would be lost in it: it is told."""
    with pytest.raises(SuitError, match=r"seam 'stray' parts nothing off: it runs along another"):
        make_panels(stray(demo_built, -15.0), demo_built.body, demo_built.shell)


def test_a_seam_through_an_unknown_landmark_is_refused(demo_built: Built) -> None:
    """The landmark is named, and those that there are."""
    seam = DrawnSeam("belt", ("waist_front", "navvel"), False, "sewn", 7)
    suit = demo_built.suit.__class__(**{**demo_built.suit.__dict__, "drawn": (seam,)})
    with pytest.raises(
        SuitError, match=r"line 7: seam 'belt' runs through 'navvel', which is no landmark"
    ):
        make_panels(suit, demo_built.body, demo_built.shell)


def test_settling_moves_vertices_onto_the_curve_only() -> None:
    """A curve close by a vertex draws that vertex onto it; the others stay, the curve keeps its course."""
    x, y = np.meshgrid(np.arange(5.0), np.arange(5.0))
    vertices = np.stack([x.ravel(), y.ravel(), np.zeros(25)], axis=1)
    faces = []
    for i in range(4):
        for j in range(4):
            a = 5 * i + j
            faces += [[a, a + 1, a + 6], [a, a + 6, a + 5]]
    mesh = np.array(faces)
    # The line y = 1.1 crosses the upright edges at a tenth of their length.
    points = []
    for j in range(4):
        face = int(np.flatnonzero((mesh == [5 + j, 5 + j + 6, 5 + j + 5]).all(axis=1))[0])
        points.append(Point(face, (0.9, 0.0, 0.1)))
    moved, (line,) = settle(vertices, mesh, [Curve(tuple(points), False)])

    assert np.array_equal(np.flatnonzero((moved != vertices).any(axis=1)), [5, 6, 7, 8])
    assert np.allclose(moved[5:9, 1], 1.1)
    assert np.allclose(line.positions(moved, mesh)[:, 1], 1.1)
