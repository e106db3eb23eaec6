"""Seam partners made to agree, on closed forms and on a sphere cut into octants."""

import numpy as np
import pytest

from padlib.errors import MeshError
from padlib.flatten import isometric, stretch
from padlib.flatten.match import match
from padlib.flatten.stretch import flipped


def octants(by_hand, count=13):
    """The eight octants of an egg, and the pairs of their edges."""
    axes = np.array([60.0, 80.0, 100.0])

    def corner(sign):
        def place(u, v):
            points = np.column_stack([1 - u, u * (1 - v), u * v])
            return axes * sign * points / np.linalg.norm(points, axis=1)[:, None]

        return place

    meshes = []
    for k in range(8):
        sign = np.array([1 if k >> bit & 1 == 0 else -1 for bit in range(3)])
        vertices, faces = weld(*by_hand.grid(corner(sign), count, count))
        if sign.prod() < 0:
            faces = faces[:, ::-1]
        meshes.append((vertices, np.ascontiguousarray(faces)))
    pairs = []
    for k in range(8):
        for axis in range(3):
            other = k | 1 << axis
            if other != k:
                pairs.append((k, rim(meshes[k][0], axis), other, rim(meshes[other][0], axis)))
    return meshes, pairs


def weld(vertices, faces):
    """The grid with its collapsed side made one vertex."""
    _, first, at = np.unique(np.round(vertices, 9), axis=0, return_index=True, return_inverse=True)
    faces = at.ravel()[faces]
    twice = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    return vertices[first], faces[~twice]


def rim(vertices, axis):
    """The vertices in the plane where a coordinate is nothing, one after the other."""
    on = np.flatnonzero(np.abs(vertices[:, axis]) < 1e-9)
    a, b = (k for k in range(3) if k != axis)
    angle = np.arctan2(np.abs(vertices[on, a]), np.abs(vertices[on, b]))
    return on[np.argsort(angle)]


def lengths(flat, run):
    """Lengths of the edges of a run."""
    return np.linalg.norm(np.diff(flat[run], axis=0), axis=1)


def test_octants_agree(by_hand):
    """Twelve seams of eight octants of unequal triangulation agree, whole and notch to notch."""
    meshes, pairs = octants(by_hand)
    # the pole of every second octant is elsewhere, so that partners flatten differently
    flats = [isometric(*mesh, limit=0.0 if k % 2 else None) for k, mesh in enumerate(meshes)]

    out, told = match(meshes, flats, pairs)

    assert np.abs(told.before).max() > 0.5
    assert np.abs(told.after).max() < 0.01
    assert told.notch_after.max() < 0.02
    for i, run_i, j, run_j in pairs:
        np.testing.assert_allclose(lengths(out[i], run_i), lengths(out[j], run_j), rtol=1e-4)
    assert not any(flipped(*mesh, flat).any() for mesh, flat in zip(meshes, out, strict=True))
    assert told.price.max() < 0.01


def test_report_measures_the_difference(by_hand):
    """The difference reported before is that of the flats given."""
    vertices, faces = by_hand.cylinder(50, 200, columns=9, rows=11)
    flat = isometric(vertices, faces)
    run = np.arange(11)

    _, told = match([(vertices, faces)] * 2, [flat, flat * [1.1, 1.1]], [(0, run, 1, run)])

    assert told.before[0] == pytest.approx(200 - 220)
    assert told.notch_before[0] == pytest.approx(20)
    assert told.after[0] == pytest.approx(0, abs=1e-3)


def test_same_panel_both_sides(by_hand):
    """The two legs of a slit in one panel, which share their apex, become equally long."""
    vertices, faces = by_hand.cylinder(50, 200, columns=9, rows=11)
    left, right = np.arange(11), np.arange(88, 99)
    flat = isometric(vertices, faces)
    flat[left] *= 1.02

    out, told = match([(vertices, faces)], [flat], [(0, left, 0, right)])

    np.testing.assert_allclose(lengths(out[0], left), lengths(out[0], right), rtol=1e-6)
    assert abs(told.before[0]) > 0.5


def test_agreeing_cylinders_stay_flat(by_hand):
    """Where partners agree already, matching costs nothing."""
    vertices, faces = by_hand.cylinder(40, 150)
    flats = [isometric(vertices, faces)] * 2
    left, right = np.arange(30), np.arange(1770, 1800)

    out, told = match([(vertices, faces)] * 2, flats, [(0, left, 1, right), (0, right, 1, left)])

    assert max(np.abs(stretch(vertices, faces, flat)).max() for flat in out) < 1e-6
    np.testing.assert_allclose(told.price, 0, atol=1e-9)


def test_ease_is_kept(by_hand):
    """A run asked to be 4 % longer than its partner is, edge by edge."""
    vertices, faces = by_hand.saddle()
    flats = [isometric(vertices, faces)] * 2
    run = np.arange(21)

    out, told = match([(vertices, faces)] * 2, flats, [(0, run, 1, run)], ease=[0.04])

    np.testing.assert_allclose(lengths(out[0], run), 1.04 * lengths(out[1], run), rtol=1e-4)
    assert abs(told.after[0]) < 0.01


def test_limit_is_kept_in_mind(by_hand):
    """With a limit the worst stretch does not grow back to that of the plain map."""
    meshes, pairs = octants(by_hand)
    plain, _ = match(meshes, [isometric(*mesh) for mesh in meshes], pairs)
    flats = [isometric(*mesh, limit=0.02) for mesh in meshes]

    out, told = match(meshes, flats, pairs, limit=0.02)

    worst = [
        max(np.abs(stretch(*mesh, flat)).max() for mesh, flat in zip(meshes, some, strict=True))
        for some in (plain, out)
    ]
    assert worst[1] < 0.9 * worst[0]
    assert np.abs(told.after).max() < 0.01


@pytest.mark.parametrize(
    ("pairs", "options", "words"),
    [
        ([(0, [0, 1, 2], 1, [0, 1])], {}, "the runs of pair 0 have 2 and 1 edges"),
        ([(0, [0, 5], 1, [0, 1])], {}, "a run of panel 0 does not follow"),
        ([(0, [0, 1], 3, [0, 1])], {}, "names panel 3, but there are 2 panels"),
        ([(0, [0, 1], 1, [0, 1])] * 2, {}, "in more than one pair"),
        ([(0, [0, 1], 1, [0, 1])], {"ease": [-2.0]}, "ease must be one number above -1"),
    ],
)
def test_bad_pairs_are_told(by_hand, pairs, options, words):
    """Runs that do not fit the panels or each other are refused in one sentence."""
    mesh = by_hand.cylinder(50, 200, columns=9, rows=11)
    flat = isometric(*mesh)

    with pytest.raises(MeshError, match=words):
        match([mesh, mesh], [flat, flat], pairs, **options)


def test_flat_of_wrong_size_is_told(by_hand):
    """A flat that is not of its panel is refused."""
    mesh = by_hand.cylinder(50, 200, columns=9, rows=11)

    with pytest.raises(MeshError, match="a flat must hold 99 positions"):
        match([mesh], [np.zeros((5, 2))], [])
