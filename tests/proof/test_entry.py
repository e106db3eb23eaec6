"""Getting in: rims and slits by hand, wearers cut and closed, and handbook girths of heel and hand."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.body.axes import places
from padlib.body.parametric import parametric_body
from padlib.body.regions import LEG_LEFT, segment_at
from padlib.mesh.surface import Surface
from padlib.proof.entry import ellipse_girth, entry_findings, heel_girth, mouths, ways_in
from padlib.seams.panels import Edge, Panel


def _neck(closure_mm: float) -> list[Panel]:
    """Two halves whose neck is 400 mm round and whose front opens by closure_mm."""
    line = np.array([[0.0, 0, 0], [200.0, 0, 0], [200.0, closure_mm, 0], [0.0, closure_mm, 0]])
    surface = Surface(line, np.array([[0, 1, 2], [0, 2, 3]]))
    edges = (
        Edge("neck", "opening", np.array([0, 1])),
        Edge("front", "closure", np.array([1, 2]), ("b", 1)),
    )
    return [Panel(n, "left", surface, np.arange(4), edges) for n in ("a", "b")]


def test_a_slit_counts_with_both_sides() -> None:
    """400 mm of neck and a closure of 300 open to 1,000; whatever the closure is called."""
    panels = _neck(300.0)
    skin = panels[0].surface
    (mouth,) = mouths(panels, skin, np.zeros(4, dtype=np.int64))
    assert mouth.girth_mm == pytest.approx(1000.0)
    assert mouth.closed_mm == pytest.approx(400.0)


def test_openings_apart_stay_apart(demo_built) -> None:
    """The demo has five: the neck with its closure, two wrists, two ankles, each with its own rim."""
    body = demo_built.body
    label = segment_at(body.surface, places(body.surface, body.landmarks))
    found = mouths(demo_built.panels.panels, demo_built.shell.surface, label)
    rims: dict[str, float] = {}
    for panel in demo_built.panels.panels:
        for edge in panel.edges:
            if edge.kind in ("opening", "closure"):
                at = panel.surface.vertices[edge.run]
                rims[edge.seam] = rims.get(edge.seam, 0.0) + float(
                    np.linalg.norm(np.diff(at, axis=0), axis=1).sum()
                )
    assert len(found) == 5
    assert found[0].girth_mm == pytest.approx(rims["neck"] + rims["closure"], abs=1e-6)
    assert sum(m.girth_mm for m in found) == pytest.approx(sum(rims.values()), abs=1e-6)


@pytest.mark.parametrize(("figure", "mean", "sd"), [("male", 343.5, 16.6), ("female", 310.3, 15.3)])
def test_heel_of_a_mean_body(figure: str, mean: float, sd: float) -> None:
    """Heel-ankle circumference of ANSUR II (48): a body of mean measurements lies within 1.96 sd."""
    body = parametric_body({}, figure=figure)
    at = places(body.surface, body.landmarks)
    own = segment_at(body.surface, at) == LEG_LEFT
    assert abs(heel_girth(body.surface, own, at, "left") - mean) < 1.96 * sd


def test_hand_by_its_area() -> None:
    """An ellipse of the mean hand's breadth, 88.3 mm, and of this ratio is 212.3 mm round (ANSUR II, 42 and 43)."""
    a = 88.3 / 2
    b = a / 2.1
    assert float(ellipse_girth(np.array([np.pi * a * b]), 2.1)[0]) == pytest.approx(212.3, rel=0.01)


def test_ways_of_the_demo(demo_built) -> None:
    """What must pass never grows inwards on a limb, and the shortest closure is indeed the shortest."""
    told = {w.name: w for w in demo_built.ways}
    assert set(told) == {"trunk", "leg_left", "leg_right", "arm_left", "arm_right"}
    for way in told.values():
        assert (np.diff(way.s) > 0).all()
        assert (way.padded <= way.has + 1e-9).all()
    hips = demo_built.measurements.values["hip_girth"]
    assert told["trunk"].needed.max() == pytest.approx(hips, rel=0.02)
    assert told["trunk"].passes


def test_a_shorter_closure_does_not_do(demo_built) -> None:
    """Where the closure is 5 mm shorter than the shortest told, the wearer is told not to get in; with it, not."""
    body, shell, panels = demo_built.body, demo_built.shell.surface, demo_built.panels
    trunk = next(w for w in demo_built.ways if w.name == "trunk")

    def with_closure(length: float):
        cut = []
        for p in panels.panels:
            edges = []
            for e in p.edges:
                if e.kind != "closure":
                    edges.append(e)
                    continue
                at = p.surface.vertices[e.run]
                upper = at[:, 2] if at[0, 2] > at[-1, 2] else at[::-1, 2]
                run = e.run if at[0, 2] > at[-1, 2] else e.run[::-1]
                size = np.concatenate(
                    [
                        [0],
                        np.cumsum(np.linalg.norm(np.diff(p.surface.vertices[run], axis=0), axis=1)),
                    ]
                )
                assert (np.diff(upper) < 5).all()
                kept = int(np.searchsorted(size, length))
                edges.append(Edge(e.seam, "closure", run[: kept + 1]))
            cut.append(Panel(p.name, p.side, p.surface, p.parents, tuple(edges), p.mirror_of))
        ways = ways_in(body, shell, panels.place.axes, cut, stretch=0.05, room=12.0)
        return next(w for w in ways if w.name == "trunk")

    assert trunk.shortest_mm is not None
    assert with_closure(trunk.shortest_mm + 10.0).passes
    short = with_closure(trunk.shortest_mm - 15.0)
    assert not short.passes
    assert any(f.number == 608 and "closure of" in f.words for f in entry_findings([short]))


def test_narrow_ankles_are_told(demo_built) -> None:
    """The demo's legs end narrower than the heel's ring: told for each leg, with the closure that cures it."""
    told = [f for f in entry_findings(demo_built.ways) if f.number == 608]
    assert [f.where for f in told] == ["leg_left", "leg_right"]
    assert all("a closure of" in f.words for f in told)
