"""Cutting along curves: cases with a known answer. Random networks are in test_cut_networks.py."""

import numpy as np
import pytest
import trimesh

from padlib.mesh.arrange import ArrangementError, Drawing, arrange, steps_of, triangulate
from padlib.mesh.cut import cut, insert, loose_ends, prune, sides_agree, split
from padlib.mesh.geodesic import geodesic
from padlib.mesh.point import Curve, at_vertex, nearest
from padlib.mesh.section import plane_section
from padlib.mesh.surface import Point
from padlib.mesh.topology import euler, is_disk

SPHERE = trimesh.creation.icosphere(3)
V, F = np.array(SPHERE.vertices), np.array(SPHERE.faces)
ONE_V = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
ONE_F = np.array([[0, 1, 2]])


def _ring(normal, origin=(0.0, 0.0, 0.0)):
    """The plane section of the sphere."""
    (ring,) = plane_section(V, F, np.array(origin), np.array(normal))
    return ring


def _area(v, f):
    """Area of a mesh."""
    return float(trimesh.triangles.area(v[f]).sum())


def test_three_great_circles_make_eight_octants():
    """Eight disks, each with three runs whose partners are on the three pieces across."""
    rings = [_ring((1.0, 0.02, 0.03)), _ring((0.01, 1.0, 0.02)), _ring((0.03, 0.01, 1.0))]
    pieces = cut(V, F, rings)
    assert len(pieces) == 8
    for k, piece in enumerate(pieces):
        assert is_disk(piece.faces)
        assert sorted(r.curve for r in piece.runs) == [0, 1, 2]
        assert len({r.partner[0] for r in piece.runs} | {k}) == 4
    assert sides_agree(pieces)
    assert pieces.findings == ()


def test_a_ring_cuts_a_sphere_in_two_caps_with_one_whole_run():
    """Each cap has one run that comes back to its start, and the two are partners."""
    one, other = cut(V, F, [_ring((0.1, 0.2, 1.0), (0, 0, 0.3))])
    assert [r.partner for r in one.runs + other.runs] == [(1, 0), (0, 0)]
    run = one.runs[0].vertices
    assert run[0] == run[-1]
    assert len(set(run.tolist())) == len(run) - 1


def test_a_curve_inside_is_a_slit_that_is_told():
    """Its two sides are runs of one piece, partners of each other, tied at both ends; finding 150."""
    line = geodesic(V, F, nearest(V, F, np.array([[1.0, 0.2, 0.3], [0.1, 1.0, 0.5]])))
    pieces = cut(V, F, [line])
    (piece,) = pieces
    assert [r.partner for r in piece.runs] == [(0, 1), (0, 0)]
    assert euler(piece.faces) == 1
    assert [(f.number, f.count) for f in pieces.findings] == [(150, 2)]
    twins = np.unique(piece.parents, return_counts=True)[1]
    assert (twins == 2).sum() == len(piece.runs[0].vertices) - 2


def test_an_overshooting_curve_is_pruned_to_where_it_meets():
    """A line drawn past two rings is cut off at them; nothing loose is left, and a belt is opened."""
    rings = [_ring((0, 0.02, 1.0), (0, 0, 0.5)), _ring((0, 0.03, 1.0), (0, 0, -0.5))]
    line = geodesic(V, F, nearest(V, F, np.array([[0.3, 0.1, 0.9], [0.3, 0.2, -0.9]])))
    drawn = insert(V, F, [*rings, line])
    assert len(loose_ends(drawn)) == 2
    pruned = prune(drawn)
    assert len(loose_ends(pruned)) == 0
    ends = pruned.chains[2][[0, -1]]
    assert ends[0] in pruned.chains[0]
    assert ends[1] in pruned.chains[1]
    pieces = split(pruned.vertices, pruned.faces, pruned.edges)
    assert sorted(euler(p.faces) for p in pieces) == [1, 1, 1]
    assert len(loose_ends(prune(drawn, keep=[2]))) == 2


def test_overlapping_curves_share_one_chain():
    """A part of a ring drawn again, the other way and a little off, uses the ring's own edges."""
    ring = _ring((0.1, 0.2, 1.0))
    shaken = []
    for p in ring.points[10:30][::-1]:
        weights = np.array(p.barycentric)
        weights[weights > 0] += 1e-4 * np.random.default_rng(9).normal(size=(weights > 0).sum())
        shaken.append(Point(p.face, tuple((weights / weights.sum()).tolist())))
    drawn = insert(V, F, [ring, Curve(tuple(shaken))])
    mine = {tuple(e) for e in drawn.edges[drawn.edge_curve == 0].tolist()}
    again = {tuple(e) for e in drawn.edges[drawn.edge_curve == 1].tolist()}
    assert again <= mine
    assert len(again) == 19


def test_a_curve_may_end_on_another_inside_a_face():
    """Three lines that meet in one place inside a face make one junction of three chains."""
    spot = Point(100, (0.3, 0.3, 0.4))
    goals = nearest(V, F, np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]]))
    lines = [geodesic(V, F, (spot, g)) for g in goals]
    drawn = insert(V, F, lines)
    starts = {int(c[0]) for c in drawn.chains}
    assert len(starts) == 1
    assert (drawn.edges == starts.pop()).any(axis=1).sum() == 3


def test_the_input_is_kept_and_every_vertex_told_where_it_was():
    """The first vertices are the input's; each vertex lies where its face and weights say."""
    drawn = insert(V, F, [_ring((0.1, 0.2, 1.0)), _ring((1.0, 0.2, 0.1))])
    assert np.array_equal(drawn.vertices[: len(V)], V)
    where = np.einsum("kc,kcx->kx", drawn.point_barycentric, V[F[drawn.point_face]])
    assert np.abs(where - drawn.vertices).max() < 1e-15
    whole = _area(V, F)
    per_face = np.bincount(drawn.parent_face, trimesh.triangles.area(drawn.vertices[drawn.faces]))
    assert per_face == pytest.approx(trimesh.triangles.area(V[F]), rel=1e-12)
    assert _area(drawn.vertices, drawn.faces) == pytest.approx(whole, rel=1e-12)


def test_places_nearer_than_snap_are_one():
    """A line that passes a vertex closer than snap goes through it; a finer snap keeps it apart."""
    near = Curve((Point(0, (0.995, 0.005, 0.0)), Point(0, (0.0, 0.5, 0.5))))
    assert 0 in insert(ONE_V, ONE_F, [near]).chains[0]
    assert 0 not in insert(ONE_V, ONE_F, [near], snap=1e-3).chains[0]


def test_no_triangle_is_thinner_than_snap_allows():
    """In a face that many lines cross, no triangle has less area than the snap squared, halved."""
    rng = np.random.default_rng(10)
    for _ in range(40):
        lines = []
        for _ in range(rng.integers(1, 5)):
            ends = rng.dirichlet([1, 1, 1], size=2)
            lines.append(Curve(tuple(Point(0, tuple(e)) for e in ends.tolist())))
        drawn = insert(ONE_V, ONE_F, lines, snap=1e-2)
        area = trimesh.triangles.area(drawn.vertices[drawn.faces])
        assert area.sum() == pytest.approx(0.5, rel=1e-12)
        assert area.min() > 0.25 * 1e-4


def test_lines_through_corners_and_along_edges_cost_no_vertices():
    """Along an edge and back to a corner, nothing is subdivided."""
    along = Curve((at_vertex(ONE_F, 0), at_vertex(ONE_F, 1), at_vertex(ONE_F, 2)))
    drawn = insert(ONE_V, ONE_F, [along])
    assert drawn.chains[0].tolist() == [0, 1, 2]
    assert np.array_equal(drawn.faces, ONE_F)


def test_a_fan_held_by_one_vertex_comes_apart():
    """Two triangles that share only a vertex are two pieces, each with its own copy."""
    v = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]])
    pieces = split(v, np.array([[0, 1, 2], [0, 3, 4]]), np.zeros((0, 2), dtype=int))
    assert [p.parents.tolist() for p in pieces] == [[0, 1, 2], [0, 3, 4]]


def test_runs_along_the_mesh_border_have_no_partner():
    """A square cut across: each half has a cut run with a partner and a border run without."""
    v = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    f = np.array([[0, 1, 2], [0, 2, 3]])
    (line,) = plane_section(v, f, [0.4, 0, 0], [1.0, 0, 0])
    for piece in cut(v, f, [line]):
        assert sorted((r.curve, r.partner is None) for r in piece.runs) == [(-1, True), (0, False)]


def test_what_cannot_be_cut_is_told_in_a_sentence():
    """Points apart, points off the mesh, a wrong snap and edges that are not there are refused."""
    apart = Curve((Point(0, (0.3, 0.3, 0.4)), Point(500, (0.3, 0.3, 0.4))))
    with pytest.raises(ValueError, match="curve 0: points 0 and 1 share no face"):
        insert(V, F, [apart])
    with pytest.raises(ValueError, match="point 0 is not on the mesh"):
        insert(V, F, [Curve((Point(len(F), (1.0, 0, 0)),))])
    with pytest.raises(ValueError, match="snap must be over 0"):
        insert(V, F, [], snap=0.5)
    with pytest.raises(ValueError, match="not joined by an edge"):
        split(ONE_V, ONE_F, np.array([[0, 7]]))


def test_a_curve_too_short_to_show_is_told():
    """Two points that snap to one vertex leave no chain, and finding 152 says so."""
    tiny = Curve((Point(0, (1.0, 0.0, 0.0)), Point(0, (0.999, 0.001, 0.0))))
    assert [f.number for f in insert(ONE_V, ONE_F, [tiny]).findings] == [152]


def test_more_than_two_faces_on_an_edge_are_told():
    """Three leaves on one edge come apart, and finding 151 says so."""
    v = np.array([[0.0, 0, 0], [0, 0, 1], [1, 0, 0], [0, 1, 0], [-1, 0, 0]])
    pieces = split(v, np.array([[0, 1, 2], [0, 1, 3], [0, 1, 4]]), np.zeros((0, 2), dtype=int))
    assert len(pieces) == 3
    assert [f.number for f in pieces.findings] == [151]


def test_same_curves_same_bytes():
    """Cutting twice gives the same arrays, bit for bit."""
    rings = [_ring((1.0, 0.02, 0.03)), _ring((0.01, 1.0, 0.02))]
    one, other = insert(V, F, rings), insert(V, F, rings)
    assert one.vertices.tobytes() == other.vertices.tobytes()
    assert one.faces.tobytes() == other.faces.tobytes()


def test_lines_that_cross_in_one_place_get_one_node():
    """Six lines through the middle of a triangle meet in one new node, all steps are edges."""
    weights = {0: (1.0, 0, 0), 1: (0, 1.0, 0), 2: (0, 0, 1.0)}
    rim, lines = [0, 1, 2], [(0, 4), (1, 5), (3, 2)]
    weights |= {3: (0.5, 0.5, 0.0), 4: (0.0, 0.5, 0.5), 5: (0.5, 0.0, 0.5)}
    rim = [0, 3, 1, 4, 2, 5]
    drawing = Drawing(weights, (0j, 1 + 0j, 1j), rim, [], 6)
    paths = arrange(drawing, lines, 1e-3)
    assert drawing.new == [6]
    triangles = triangulate(drawing, steps_of(drawing, paths.values()))
    sides = {frozenset((t[k], t[k - 1])) for t in triangles for k in range(3)}
    assert all(frozenset((6, k)) in sides for k in range(6))
    assert len(triangles) == 6


def test_an_unheard_of_node_is_not_swallowed():
    """A node outside its triangle raises instead of making a triangle that is upside down."""
    weights = {0: (1.0, 0, 0), 1: (0, 1.0, 0), 2: (0, 0, 1.0), 3: (1.2, -0.1, -0.1)}
    drawing = Drawing(weights, (0j, 1 + 0j, 1j), [0, 1, 2], [3], 4)
    with pytest.raises(ArrangementError, match="outside"):
        triangulate(drawing, [])
