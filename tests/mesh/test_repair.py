"""Repairs of triangle soups, against meshes whose faults are put in on purpose."""

import numpy as np
import pytest
import trimesh
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from padlib.mesh import islands, repair
from padlib.mesh.surface import Surface


def _ball(level=3, radius=100.0, at=(0.0, 0.0, 0.0)):
    mesh = trimesh.creation.icosphere(level, radius=radius)
    return np.asarray(mesh.vertices) + np.asarray(at), np.asarray(mesh.faces, dtype=np.int64)


def _together(*parts):
    shifts = np.cumsum([0] + [len(v) for v, _ in parts[:-1]])
    return Surface(
        np.concatenate([v for v, _ in parts]),
        np.concatenate([f + s for (_, f), s in zip(parts, shifts, strict=True)]),
    )


def test_a_soup_of_separate_triangles_becomes_one_closed_ball():
    """Vertices that differ by less than the tolerance are joined; the count of merges is told."""
    v, f = _ball()
    soup = v[f].reshape(-1, 3) + np.random.default_rng(0).uniform(-1e-6, 1e-6, (3 * len(f), 3))
    merged, found = repair.merge_vertices(Surface(soup, np.arange(3 * len(f)).reshape(-1, 3)))
    assert repair.is_closed_manifold(merged.faces)
    assert len(merged.vertices) == len(v)
    assert found[0].count == 3 * len(f) - len(v)


def test_doubled_and_degenerate_faces_go_and_nothing_else():
    """Copies in any order of corners and faces with a corner twice are dropped and counted."""
    v, f = _ball()
    extra = np.concatenate([f[:7][:, [1, 2, 0]], f[:5][:, ::-1]])
    thin = np.array([[0, 0, 1], [2, 3, 3]])
    surface = Surface(v, np.concatenate([f, extra, thin]))
    surface, found = repair.drop_degenerate(surface)
    assert found[0].count == 2
    surface, found = repair.drop_doubled(surface)
    assert found[0].count == 12
    assert np.array_equal(surface.faces, f)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.97])
def test_flipped_faces_are_turned_outward(share):
    """Whatever share of faces is flipped, the volume comes out positive and whole."""
    v, f = _ball()
    mine = np.random.default_rng(1).random(len(f)) < share
    mixed = f.copy()
    mixed[mine] = mixed[mine][:, ::-1]
    surface, found = repair.orient(Surface(v, mixed))
    assert repair.is_closed_manifold(surface.faces)
    assert repair.signed_volume(v, surface.faces) == pytest.approx(repair.signed_volume(v, f))
    told = sum(finding.count for finding in found if finding.number == repair.FLIPPED)
    assert told in (mine.sum(), (~mine).sum())


@pytest.mark.parametrize("bonds", [0, 40, 300, 2000])
def test_what_belongs_together_is_gathered(bonds):
    """Groups and their numbers are those of scipy's search, on random pairs and on a chain in random order."""
    random = np.random.default_rng(bonds)
    one, two = random.integers(0, 400, (2, bonds))
    chain = random.permutation(np.arange(400, 700))
    one, two = np.r_[one, chain[1:]], np.r_[two, chain[:-1]]
    graph = coo_matrix((np.ones(len(one)), (one, two)), shape=(700, 700))
    label = connected_components(graph, directed=False)[1]
    assert np.array_equal(repair.gathered(700, one, two), label)


@pytest.mark.parametrize("half_turns", [0, 1, 2, 3])
def test_faces_of_a_turned_band_are_followed(half_turns):
    """A band of an even number of half turns comes out alike all round, one of an odd number but for one place."""
    count = 40
    upper, lower = np.arange(count), count + np.arange(count)
    on = np.roll(upper, -1), np.roll(lower, -1)
    if half_turns % 2:  # the last ends meet crosswise
        on[0][-1], on[1][-1] = lower[0], upper[0]
    faces = np.concatenate(
        [np.stack([upper, on[0], lower], axis=1), np.stack([on[0], on[1], lower], axis=1)]
    )
    angle = 2 * np.pi * np.arange(count) / count
    lean = half_turns * angle / 2
    across = np.stack(
        [np.cos(lean) * np.cos(angle), np.cos(lean) * np.sin(angle), np.sin(lean)], axis=1
    )
    middle = 5.0 * np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
    vertices = np.concatenate([middle + across, middle - across])
    mixed = faces.copy()
    mixed[::3] = mixed[::3, ::-1]
    out = repair.orient(Surface(vertices, mixed))[0].faces
    edges = repair.directed_edges(out)
    twice = repair.times(repair.edge_keys(edges, True)) > 1
    assert np.count_nonzero(twice) == (2 if half_turns % 2 else 0)


def test_two_boxes_that_share_an_edge_are_parted():
    """Boxes with one edge in common (four faces there) become two closed manifolds."""
    one = trimesh.creation.box((1, 1, 1))
    two = one.copy()
    two.apply_translation((1, 1, 0))
    both = trimesh.util.concatenate([one, two])
    both.merge_vertices()
    surface = Surface(both.vertices, both.faces)
    assert not repair.is_closed_manifold(surface.faces)
    parted, found = repair.split_nonmanifold(surface)
    assert repair.is_closed_manifold(parted.faces)
    assert repair.components(parted.faces).max() == 1
    assert found[0].count == 2


def test_two_boxes_that_share_a_corner_are_parted():
    """One vertex with two fans becomes two vertices."""
    one = trimesh.creation.box((1, 1, 1))
    two = one.copy()
    two.apply_translation((1, 1, 1))
    both = trimesh.util.concatenate([one, two])
    both.merge_vertices()
    assert not repair.is_closed_manifold(np.asarray(both.faces))
    parted, _ = repair.split_nonmanifold(Surface(both.vertices, both.faces))
    assert repair.is_closed_manifold(parted.faces)
    assert len(parted.vertices) == 16


def test_a_fin_on_a_closed_ball_is_taken_off():
    """A triangle that stands on an edge of a ball goes, and the ball has holes at most there."""
    v, f = _ball()
    fin = np.array([[f[0, 0], f[0, 1], len(v)]])
    surface = Surface(np.concatenate([v, 1.5 * v[f[0, :1]]]), np.concatenate([f, fin]))
    parted, _ = repair.split_nonmanifold(surface)
    kept, _ = islands.drop_islands(parted)
    assert len(f) - 2 <= len(kept.faces) <= len(f)


def test_islands_go_and_a_limb_stays():
    """Crumbs, an eyeball inside, a thing far off and a floor go; a piece close by stays."""
    body, limb = _ball(3, 100.0), _ball(3, 40.0, (0, 0, 142.0))
    crumb, eye = _ball(1, 2.0, (150, 0, 0)), _ball(3, 30.0, (20, 0, 0))
    lamp = _ball(3, 60.0, (900, 0, 0))
    sheet = trimesh.creation.box((1000, 1000, 0.01)).subdivide().subdivide()
    floor = np.asarray(sheet.vertices) - [0, 0, 99.0], np.asarray(sheet.faces)
    kept, found = islands.drop_islands(_together(crumb, body, floor, eye, lamp, limb))
    volume = sum(repair.signed_volume(*part) for part in (body, limb))
    assert len(kept.faces) == len(body[1]) + len(limb[1])
    pieces = repair.components(kept.faces)
    total = sum(repair.signed_volume(kept.vertices, kept.faces[pieces == k]) for k in (0, 1))
    assert total == pytest.approx(volume)
    assert {finding.number: finding.count for finding in found} == {
        islands.ISLANDS: 3,
        islands.FLOOR: 1,
        islands.LEFT_OUT: 1,
    }
    words = next(finding.words for finding in found if finding.number == islands.LEFT_OUT)
    assert "36% of the surface" in words  # of a ball of 60 mm beside one of 100


def _tube(low, high, closed=False, radius=100.0):
    """An upright tube between two heights, open at its ends or closed by lids."""
    mesh = trimesh.creation.cylinder(radius, high - low, sections=48)
    v = np.asarray(mesh.vertices) + [0.0, 0.0, 0.5 * (low + high)]
    f = np.asarray(mesh.faces)
    return v, f if closed else f[np.ptp(v[f, 2], axis=1) > 0.0]


@pytest.mark.parametrize(
    ("lost", "closed", "kept"),
    [(60.0, False, True), (80.0, False, True), (80.0, True, False), (200.0, False, False)],
)
def test_what_lies_over_against_a_lost_band_stays(lost, closed, kept):
    """Two tubes in line: across 60 mm, or 80 between open rims, both stay; closed or farther apart one is left out."""
    one, two = _tube(0.0, 500.0, closed), _tube(500.0 + lost, 900.0, closed)
    surface, found = islands.drop_islands(_together(one, two))
    assert len(surface.faces) == len(one[1]) + kept * len(two[1])
    assert (islands.LEFT_OUT in [finding.number for finding in found]) == (not kept)


@pytest.mark.parametrize("apart", [0.3, 30.0])
def test_many_copies_take_no_more_work_than_their_triangles(apart, monkeypatch):
    """32 balls that overlap or stand in a row stay, one that lies inside goes; no tree is built for each pair of them.

    Counted are triangles and places that are handed to the two searches: to ask each ball of all before it takes 16
    times all triangles, halves of halves take the logarithm of 32.
    """
    work = {"faces": 0, "places": 0}
    winding, tree = islands.igl.fast_winding_number, islands.cKDTree

    def counted_winding(v, f, points):
        work["faces"] += len(f)
        return winding(v, f, points)

    def counted_tree(places):
        work["places"] += len(places)
        return tree(places)

    monkeypatch.setattr(islands.igl, "fast_winding_number", counted_winding)
    monkeypatch.setattr(islands, "cKDTree", counted_tree)
    balls = [_ball(2, 100.0 - 0.001 * k, (apart * k, 0.0, 0.0)) for k in range(32)]
    kept, found = islands.drop_islands(_together(*balls, _ball(2, 20.0, (0.0, 5.0, 0.0))))
    assert len(kept.faces) == 32 * 320
    assert [(finding.number, finding.count) for finding in found] == [(islands.ISLANDS, 1)]
    assert work["faces"] <= 6 * 33 * 320
    assert work["places"] <= 2 * 33 * 162


def test_what_lies_inside_a_piece_that_is_inside_out_goes():
    """An inner ball goes whichever way round the faces of either lie; so does one inside two that cross."""
    body, eye = _ball(3, 100.0), _ball(3, 30.0, (20, 0, 0))
    for one, two in ((1, 1), (-1, 1), (1, -1), (-1, -1)):
        pair = _together((body[0], body[1][:, ::one]), (eye[0], eye[1][:, ::two]))
        assert len(islands.drop_islands(pair)[0].faces) == len(body[1])
    arm, between = _ball(3, 80.0, (120, 0, 0)), _ball(3, 30.0, (75, 0, 0))
    kept, _ = islands.drop_islands(_together(body, (arm[0], arm[1][:, ::-1]), between))
    assert len(kept.faces) == 2 * len(body[1])


@pytest.mark.parametrize("handles", [0, 1])
def test_genus_counts_handles(handles):
    """A ball has none and a torus one (Euler)."""
    mesh = trimesh.creation.torus(10, 3) if handles else trimesh.creation.icosphere(2)
    assert repair.genus(np.asarray(mesh.faces)) == handles
