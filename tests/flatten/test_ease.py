"""Ease along seams: which edges get it, and how much."""

import numpy as np
import pytest

from padlib.errors import InputError
from padlib.flatten.ease import Ease, ease_of_pairs, eased_edges, mirrored_ease, shares_of
from padlib.flatten.flat import Flat
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel


def strip(name, partner, flip=False):
    """A strip of 10 by 1 squares of 10 mm, its long lower side the seam "hem" in two edges."""
    x, y = np.meshgrid(np.arange(11) * 10.0, [0.0, 10.0])
    vertices = np.column_stack([x.ravel(), y.ravel(), np.zeros(22)])
    a = np.arange(10)
    faces = np.concatenate(
        [np.column_stack([a, a + 1, a + 12]), np.column_stack([a, a + 12, a + 11])]
    )
    runs = [np.arange(4), np.arange(3, 11), [10, 21], np.arange(21, 10, -1), [11, 0]]
    seams = ["hem", "hem", "end", "top", "start"]
    edges = tuple(
        Edge(seam, "sewn", run, (partner, 1 - k) if seam == "hem" else None)
        for k, (seam, run) in enumerate(zip(seams, runs, strict=True))
    )
    panel = Panel(name, "left", Surface(vertices, faces), np.arange(22), edges)
    none = np.zeros((len(faces), 2))
    return Flat(panel, vertices[:, :2], none, none, np.ones(len(faces)))


def places(edges):
    """Places of the left ends of edges along the strip, in tens of mm."""
    return sorted(edges.min(axis=1).tolist())


def test_whole_seam_over_both_edges():
    """Without places, every edge of the seam is eased, over both runs that it is parted in."""
    flat = strip("a", "b")

    assert places(eased_edges(flat.panel, Ease("hem", "a", 0.03))) == list(range(10))


def test_only_between_two_places():
    """Between two places it is the edges between the vertices nearest to them, in any order."""
    flat = strip("a", "b")
    for between in (((22, -5, 0), (68, 0, 3)), ((68, 0, 3), (22, -5, 0))):
        ease = Ease("hem", "a", 0.03, between)

        assert places(eased_edges(flat.panel, ease)) == [2, 3, 4, 5, 6]


def test_mirrored_ease_is_on_the_other_side():
    """Names change sides and places change the sign of x."""
    ease = Ease("hem-left", "leg-left", 0.02, ((1.0, 2.0, 3.0), (-4.0, 5.0, 6.0)))

    other = mirrored_ease(ease)

    assert (other.seam, other.panel, other.share) == ("hem-right", "leg-right", 0.02)
    assert other.between == ((-1.0, 2.0, 3.0), (4.0, 5.0, 6.0))
    assert mirrored_ease(Ease("hem-right", "leg-right", 0.02)).between is None


def test_shorter_way_round_a_ring():
    """On a seam that closes on itself the shorter of the two ways between the places is eased."""
    angle = np.arange(24) * np.pi / 12
    ring = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle]) * 100
    faces = np.column_stack([np.full(24, 24), np.arange(24), (np.arange(24) + 1) % 24])
    edge = Edge("rim", "sewn", np.append(np.arange(24), 0), ("b", 0))
    surface = Surface(np.vstack([ring, [[0, 0, 0]]]), faces)
    panel = Panel("a", "left", surface, np.arange(25), (edge,))
    ease = Ease("rim", "a", 0.03, (tuple(ring[2]), tuple(ring[22])))

    assert sorted(map(sorted, eased_edges(panel, ease).tolist())) == [
        [0, 1],
        [0, 23],
        [1, 2],
        [22, 23],
    ]


def test_mouth_of_a_dart_is_not_eased():
    """Where a dart opens on the seam, its mouth is no edge to be eased."""
    flat = strip("a", "b")
    parents = np.arange(22)
    parents[5] = 4
    panel = Panel("a", "left", flat.panel.surface, parents, flat.panel.edges)

    assert places(eased_edges(panel, Ease("hem", "a", 0.03))) == [0, 1, 2, 3, 5, 6, 7, 8, 9]


def test_either_side_of_a_pair_can_be_longer():
    """Ease on the first side makes the ratio 1 + share, on the second its inverse."""
    flats = [strip("a", "b"), strip("b", "a")]
    run = np.arange(4)
    named = [("hem", (0, run, 1, run))]

    (first,) = ease_of_pairs(flats, named, [Ease("hem", "a", 0.04)])
    (second,) = ease_of_pairs(flats, named, [Ease("hem", "b", 0.04, ((0, 0, 0), (20, 0, 0)))])

    np.testing.assert_allclose(first, 0.04)
    np.testing.assert_allclose(1 + second, [1 / 1.04, 1 / 1.04, 1])


@pytest.mark.parametrize(
    ("eases", "words"),
    [
        ([Ease("ham", "a", 0.03)], "panel 'a' has no seam 'ham'."),
        ([Ease("hem", "a", 0.03)] * 2, "panel 'a' is eased twice on one stretch of seam 'hem'"),
        ([Ease("hem", "a", 0.03, ((20, 0, 0), (21, 0, 0)))], "between two places that are one"),
        ([Ease("hem", "a", 0.03, ((20, 0, 0), (0, 300, 0)))], "begins or ends 300 mm from that"),
    ],
)
def test_ease_that_cannot_be_is_told(eases, words):
    """A seam that is not there, double ease and places that do not fit are each one sentence."""
    with pytest.raises(InputError, match=words):
        shares_of(strip("a", "b").panel, eases, np.arange(4))


def test_ease_on_both_sides_is_told():
    """Both sides of one seam longer than the other is no wish that can be met."""
    flats, run = [strip("a", "b"), strip("b", "a")], np.arange(4)

    with pytest.raises(InputError, match="'a' and 'b' are both eased on seam 'hem'"):
        ease_of_pairs(
            flats,
            [("hem", (0, run, 1, run))],
            [Ease("hem", "a", 0.03), Ease("hem", "b", 0.01)],
        )
