"""Slits at the ends of legs and sleeves: where and as long as asked, and what was too narrow is cured."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pytest

from padlib.suit.file import parse_suit
from padlib.suit.steps import make_panels, suit_body, suit_shell, suit_ways


@pytest.fixture(scope="module")
def slit():
    """The demo with slits of 100 mm at its ankles and 150 at its wrists."""
    text = (resources.files("padlib.suit") / "woodland-giant.toml").read_text(encoding="utf-8")
    asked = text.replace("[seams]\n", "[seams]\nankle_slit = 100\nwrist_slit = 150\n")
    suit = parse_suit(asked)
    body = suit_body(suit)
    shell = suit_shell(suit, body)
    return suit, body, shell, make_panels(suit, body, shell)


def test_slits_are_as_long_as_asked_and_close_vertex_to_vertex(slit) -> None:
    """Each is within one triangle of its length, an edge of kind closure on two panels, and begins at the opening."""
    panels = {p.name: p for p in slit[3].panels}
    found: dict[str, list] = {}
    for panel in panels.values():
        for edge in panel.edges:
            if edge.seam.startswith("closure-"):
                assert edge.kind == "closure"
                found.setdefault(edge.seam, []).append((panel, edge))
    assert sorted(found) == [
        f"closure-{e}-{s}" for e in ("ankle", "wrist") for s in ("left", "right")
    ]
    for name, sides in found.items():
        asked = 100.0 if "ankle" in name else 150.0
        (one, a), (two, b) = sides
        at = one.surface.vertices[a.run]
        assert np.array_equal(at, two.surface.vertices[b.run][::-1])
        assert a.partner == (two.name, two.edges.index(b))
        length = float(np.linalg.norm(np.diff(at, axis=0), axis=1).sum())
        assert length == pytest.approx(asked, abs=12.0)
        rim = {
            e.seam
            for e in one.edges
            if {int(e.run[0]), int(e.run[-1])} & {int(a.run[0]), int(a.run[-1])}
        }
        assert f"{name.split('-')[1]}-{name.split('-')[2]}" in rim


def test_the_heel_gets_through_now(slit) -> None:
    """Without slits both legs of the demo are too narrow; with them every way is wide enough."""
    suit, body, shell, panels = slit
    ways = {w.name: w for w in suit_ways(suit, body, shell, panels)}
    assert all(w.passes for w in ways.values())
    assert 85.0 < ways["leg_left"].closure_mm < 115.0
