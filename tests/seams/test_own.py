"""Seams of the maker's own drawn into a plan that is cut: what they do not touch stays, what they touch fits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from padlib.mesh.areas import face_areas
from padlib.mesh.topology import euler
from padlib.suit.built import Built
from padlib.suit.file import DrawnSeam
from padlib.suit.steps import make_panels


def own(side: int, z: float) -> DrawnSeam:
    """From an armhole over the front to the hip seam; side: 1 left, -1 right; z: height of its bend, mm."""
    through = (
        (155.0, 30.0, 1164.0),
        (107.0, -107.0, z),
        (90.0, -200.0, 1000.0),
        (80.0, -200.0, 880.0),
    )
    name = "over-left" if side > 0 else "over-right"
    return DrawnSeam(name, tuple((side * x, y, height) for x, y, height in through), False, "sewn")


def test_only_what_a_seam_touches_is_cut_again(demo_built: Built) -> None:
    """The plan without, with one seam, with it moved, and with its image: panels that the seam does not touch are the
    same to the last digit, all are disks whose sides agree bit for bit, their area is the shell's within 1e-5, and of
    a symmetric suit the right is the left's image."""
    suit, body, shell, plain = (
        getattr(demo_built, key) for key in ("suit", "body", "shell", "panels")
    )
    whole = sum(face_areas(p.surface.vertices, p.surface.faces).sum() for p in plain.panels)
    found = {}
    for count, seams in (
        ("one", [own(1, 1130)]),
        ("moved", [own(1, 1141)]),
        ("both", [own(1, 1141), own(-1, 1141)]),
    ):
        cut = make_panels(replace(suit, drawn=tuple(seams)), body, shell, plain.place)
        found[count] = {p.name: p for p in cut.panels}
        area = 0.0
        for panel in cut.panels:
            area += face_areas(panel.surface.vertices, panel.surface.faces).sum()
            assert euler(panel.surface.faces) == 1
            for k, edge in enumerate(panel.edges):
                if edge.partner is None:
                    continue
                other = found[count][edge.partner[0]]
                back = other.edges[edge.partner[1]]
                assert back.partner == (panel.name, k)
                here, there = panel.surface.vertices[edge.run], other.surface.vertices[back.run]
                assert np.array_equal(here, there[::-1])
        assert abs(area / whole - 1.0) < 1e-5

    assert (
        set(found["one"]) == set(found["moved"]) > {"front-1-left", "front-2-left", "front-right"}
    )
    for name in ("back-right", "sleeve-under-left", "leg-inner-right", "front-right"):
        one, moved = found["one"][name].surface, found["moved"][name].surface
        assert np.array_equal(one.vertices, moved.vertices)
        assert np.array_equal(one.faces, moved.faces)
    kept = {id(p.surface) for p in found["one"].values()} & {
        id(p.surface) for p in found["moved"].values()
    }
    assert len(kept) > 5  # the very same, with all that is known of them
    assert all(p.mirror_of for p in found["both"].values() if p.side == "right")
