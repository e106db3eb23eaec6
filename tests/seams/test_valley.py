"""Lines that follow valleys, against the closed form of the valley's floor."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay, cKDTree

from padlib.body.limb import resampled
from padlib.mesh.point import nearest
from padlib.mesh.relief import relief
from padlib.mesh.smooth import smooth_path
from padlib.mesh.surface import Surface
from padlib.mesh.topology import boundary_loops
from padlib.seams.panels import Edge, Panel
from padlib.seams.valley import REACH, drawn_into, pace, ways_across, ways_over
from padlib.suit.new_seams import HOLD, Land, lines_across

RADIUS, OFF = 100.0, 70.0  # of two balls, and of their middles from the plane between them


def grooved(floor, depth=18.0, width=22.0):
    """A sheet 400 by 300 mm with a groove along y = floor(x), on a mesh of 9 mm that knows nothing of it."""
    rng = np.random.default_rng(5)
    x, y = np.meshgrid(np.arange(0.0, 401.0, 8.0), np.arange(-150.0, 151.0, 8.0))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    inner = (flat[:, 0] > 0) & (flat[:, 0] < 400) & (np.abs(flat[:, 1]) < 149)
    flat[inner] += rng.uniform(-2.5, 2.5, (int(inner.sum()), 2))
    line = np.linspace(-60.0, 460.0, 4000)
    line = np.stack([line, floor(line)], axis=1)
    away = cKDTree(line).query(flat)[0]
    surface = Surface(
        np.column_stack([flat, -depth * np.exp(-((away / width) ** 2))]), Delaunay(flat).simplices
    )
    return surface, line


def joined_balls():
    """Half of two balls that run into each other (x > 0): a surface of revolution about z, with its sharp joint at
    z = 0 on the circle of radius sqrt(RADIUS^2 - OFF^2)."""
    end = np.arccos(-OFF / RADIUS)
    low = np.linspace(0.35, end, 27)
    profile = np.stack([RADIUS * np.sin(low), OFF + RADIUS * np.cos(low)], axis=1)
    profile = np.concatenate([profile, (profile * [1.0, -1.0])[-2::-1]])
    turn = np.linspace(-np.pi / 2, np.pi / 2, 37)
    r, z = profile.T
    at = np.stack(
        [
            r[:, None] * np.cos(turn),
            r[:, None] * np.sin(turn),
            np.broadcast_to(z[:, None], (len(r), len(turn))),
        ],
        axis=2,
    ).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(r) - 1), np.arange(len(turn) - 1), indexing="ij")
    a, b = (i * len(turn) + j).ravel(), (i * len(turn) + j + 1).ravel()
    c, d = a + len(turn), b + len(turn)
    faces = np.concatenate([np.stack([a, c, b], 1), np.stack([b, c, d], 1)])
    return Surface(at, faces)


def across(surface, start, stop):
    """The line between the places of the rim nearest to two points, drawn into the valley."""
    rim = boundary_loops(surface.faces)[0]
    ends = [
        int(rim[np.argmin(np.linalg.norm(surface.vertices[rim] - p, axis=1))])
        for p in (start, stop)
    ]
    bends = relief(surface.vertices, surface.faces, REACH)
    paces = pace(bends, np.zeros(len(surface.vertices)))
    ways = ways_across(surface, paces, rim, np.array(ends))
    return ways, drawn_into(surface, bends, ways.way(0, 1))


@pytest.mark.parametrize(
    "floor",
    [lambda x: 0.0 * x, lambda x: 0.3 * x - 60.0, lambda x: 35.0 * np.sin(x / 70.0)],
    ids=["straight", "slanting", "winding"],
)
def test_a_line_lies_on_the_floor_of_a_groove(floor):
    """From ends 30 mm beside the groove the line runs into it and lies within 2 mm of its floor."""
    surface, line = grooved(floor)
    start = [0.0, float(floor(np.array(0.0))) + 30.0, 0.0]
    stop = [400.0, float(floor(np.array(400.0))) - 30.0, 0.0]

    _, drawn = across(surface, start, stop)

    inside = (drawn[:, 0] > 90.0) & (drawn[:, 0] < 310.0)
    assert inside.sum() > 15
    assert cKDTree(line).query(drawn[inside, :2])[0].max() < 2.0


def test_a_line_between_two_balls_is_their_joint():
    """From ends 40 mm off; the circle of the joint is known, and the line's length is half of it."""
    surface = joined_balls()
    radius = np.sqrt(RADIUS**2 - OFF**2)

    _, drawn = across(surface, [0.0, -radius, 40.0], [0.0, radius, -40.0])

    inside = np.abs(drawn[:, 1]) < 50.0
    assert inside.sum() > 8
    assert np.abs(drawn[inside, 2]).max() < 1.5
    assert np.hypot(drawn[inside, 0], drawn[inside, 1]) == pytest.approx(
        np.full(inside.sum(), radius), abs=1.5
    )


def test_without_a_valley_a_line_is_straight_and_keeps_off_the_rim():
    """On a flat sheet the way between two places is straight within 2 % of its length (it is sought over vertices and
    middles of edges); one along an edge leaves it."""
    surface, _ = grooved(lambda x: 0.0 * x, depth=0.0)

    _, drawn = across(surface, [0.0, -70.0, 0.0], [400.0, 90.0, 0.0])
    _, beside = across(surface, [40.0, -150.0, 0.0], [360.0, -150.0, 0.0])

    way = np.array([400.0, 160.0]) / np.hypot(400.0, 160.0)
    off = (drawn[:, :2] - drawn[0, :2]) @ [-way[1], way[0]]
    assert np.abs(off).max() < 0.02 * np.hypot(400.0, 160.0)
    assert beside[4:-4, 1].min() > -150.0 + 10.0


def test_a_millimetre_costs_less_in_a_valley_and_more_on_a_bulge_and_in_view():
    """By the curvature of a groove: least at its floor, most on its shoulders."""
    surface, line = grooved(lambda x: 0.0 * x)
    bends = relief(surface.vertices, surface.faces, REACH)
    hidden = pace(bends, np.zeros(len(surface.vertices)))
    shown = pace(bends, np.ones(len(surface.vertices)))
    away = np.abs(surface.vertices[:, 1])
    middle = np.abs(surface.vertices[:, 0] - 200.0) < 120.0

    assert hidden[middle & (away < 4)].max() < 0.5 * hidden[middle & (away > 120)].min()
    assert hidden[middle & (np.abs(away - 35) < 4)].min() > hidden[middle & (away > 120)].max()
    assert (shown > hidden).all()


def test_the_cheapest_seam_across_two_balls_is_their_joint_as_it_is_written_too():
    """Sought over the whole rim and drawn round through places 40 mm apart, as a suit file has it: within 1.5 mm of the
    circle, and as long as half of it."""
    surface = joined_balls()
    radius = np.sqrt(RADIUS**2 - OFF**2)
    loop = boundary_loops(surface.faces)[0]
    start = int(np.argmax(surface.vertices[loop, 2]))
    loop = np.roll(loop, -start)
    runs = [loop[k * len(loop) // 4 : (k + 1) * len(loop) // 4 + 1] for k in range(3)]
    runs.append(np.append(loop[3 * len(loop) // 4 :], loop[0]))
    edges = tuple(Edge(f"edge-{k}", "sewn", run) for k, run in enumerate(runs))
    count = len(surface.vertices)
    panel = Panel("balls-left", "left", surface, np.arange(count), edges)
    bends = relief(surface.vertices, surface.faces, REACH)
    land = Land(None, surface, bends, pace(bends, np.zeros(count)), surface.vertices, None)

    line = min(lines_across(land, panel, 4), key=lambda found: found.price)
    held = nearest(surface.vertices, surface.faces, resampled(line.places, HOLD))
    drawn = smooth_path(surface.vertices, surface.faces, held)
    at = drawn.positions(surface.vertices, surface.faces)

    inside = np.abs(at[:, 1]) < 50.0
    assert np.abs(at[inside, 2]).max() < 1.5
    assert line.length_mm == pytest.approx(np.pi * radius, rel=0.03)


def domed(top=(230.0, 20.0), height=90.0, width=60.0):
    """A sheet 400 by 300 mm with a bell-shaped dome, as a panel of four edges, and the ground that lines see."""
    surface, _ = grooved(lambda x: 0.0 * x, depth=0.0)
    away = np.linalg.norm(surface.vertices[:, :2] - top, axis=1)
    surface = Surface(
        surface.vertices + np.outer(height * np.exp(-0.5 * (away / width) ** 2), [0.0, 0.0, 1.0]),
        surface.faces,
    )
    loop = boundary_loops(surface.faces)[0]
    corners = [
        int(np.argmin(np.abs(surface.vertices[loop, :2] - at).sum(axis=1)))
        for at in ([0, -150], [400, -150], [400, 150], [0, 150])
    ]
    loop = np.roll(loop, -min(corners))
    cuts = [*sorted(c - min(corners) for c in corners), len(loop)]
    ring = np.append(loop, loop[0])
    edges = tuple(
        Edge(f"edge-{k}", "sewn", ring[a : b + 1])
        for k, (a, b) in enumerate(zip(cuts[:-1], cuts[1:], strict=True))
    )
    panel = Panel("dome-left", "left", surface, np.arange(len(surface.vertices)), edges)
    bends = relief(surface.vertices, surface.faces, REACH)
    paces = pace(bends, np.zeros(len(surface.vertices)))
    return panel, Land(None, surface, bends, paces, surface.vertices, None)


def test_ways_over_a_summit_run_straight_over_it():
    """Between opposite places of the rim: through the summit, no more than 2 % longer than two straight lines down from
    it (sought over vertices and middles of edges); between neighbouring places, where it would be a corner: none."""
    panel, land = domed()
    surface = panel.surface
    at = surface.vertices
    loop = boundary_loops(surface.faces)[0]
    ends = np.array(
        [
            loop[np.argmin(np.linalg.norm(at[loop, :2] - p, axis=1))]
            for p in ([0.0, 20.0], [400.0, 20.0], [400.0, 60.0], [230.0, -150.0])
        ]
    )
    top = int(np.argmax(at[:, 2]))

    ways = ways_over(surface, land.paces, loop, ends, top)
    way = ways.node_way(0, 1)

    assert top in way
    assert len(np.unique(way)) == len(way)
    assert (way[0], way[-1]) == (ends[0], ends[1])
    size = np.linalg.norm(np.diff(ways.nodes[way], axis=0), axis=1).sum()
    x = np.linspace(0.0, 400.0, 4001)
    z = 90.0 * np.exp(-0.5 * ((x - 230.0) / 60.0) ** 2)
    assert size == pytest.approx(np.hypot(np.diff(x), np.diff(z)).sum(), rel=0.02)
    finite = np.isfinite(ways.cost)
    assert finite[0, 1]
    assert finite[0, 2]
    assert not finite[1, 2]
    assert not finite[0, 3]


def test_a_line_over_a_dome_is_offered_first_and_stays_on_its_summit():
    """A dome in the middle of a panel is not cured by any line beside it: of all lines the one over it leaves least of
    the stretch, less than half of the best one beside it, and once drawn and smoothed it still runs over the top."""
    panel, land = domed()

    lines = lines_across(land, panel, 40)
    over = [line for line in lines if line.over is not None]
    beside = [line for line in lines if line.over is None]

    assert lines[0].over is not None
    assert over[0].left < 0.5 * min(line.left for line in beside)
    top = land.surface.vertices[np.argmax(land.surface.vertices[:, 2])]
    assert cKDTree(over[0].places).query(top)[0] < 25.0
