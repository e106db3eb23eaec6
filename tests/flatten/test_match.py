"""Seam partners made to agree, on closed forms and on a sphere cut into octants."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from padlib.errors import MeshError
from padlib.flatten import isometric, newton, stretch
from padlib.flatten.injective import is_injective
from padlib.flatten.isometric import solve
from padlib.flatten.match import match, matched
from padlib.flatten.stretch import areas, flipped


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


def strain(vertices, faces, flat):
    """The strain energy of a flat, mm2: area times the mean of the square of (s - 1/s) / 2."""
    s = 1 + stretch(vertices, faces, flat)
    return areas(vertices, faces) @ (0.25 * (s - 1 / s) ** 2).sum(axis=1)


def halves(by_hand):
    """Two half frusta of unequal slant, 200 and 208 mm, and the pairs of their long sides."""
    meshes = []
    for slant in (200.0, 208.0):
        height = np.sqrt(slant**2 - 40.0**2)

        def place(u, v, height=height):
            angle, radius = np.pi * u, 80 - 40 * v
            points = [radius * np.cos(angle), radius * np.sin(angle), height * v]
            return np.column_stack(points)

        meshes.append(by_hand.grid(place, 15, 21))
    left, right = np.arange(21), 14 * 21 + np.arange(21)
    return meshes, [(0, left, 1, right), (0, right, 1, left)]


def shared(flats, pairs):
    """Edges and the mean of both sides' lengths, for each of two panels."""
    out = ([], [])
    for i, one, j, other in pairs:
        mean = (lengths(flats[i], one) + lengths(flats[j], other)) / 2
        for k, run in ((i, one), (j, other)):
            out[k].append((np.column_stack([run[:-1], run[1:]]), mean))
    return [tuple(np.concatenate(parts) for parts in zip(*side, strict=True)) for side in out]


def test_two_discs_meet_where_the_sum_of_their_strains_is_least():
    """Discs of 100 and 104 mm sewn rim to rim are scaled as one unknown says that has closed form.

    A disc that is scaled evenly is in equilibrium with an even pull along its rim, so the best is
    the least of A f(t) + B f(t / 1.04), f(s) = (s - 1/s)**2 / 2 (derived here).
    """
    angle = np.arange(24) * np.pi / 12
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    flat = 100 * np.concatenate([[[0.0, 0.0]], 0.5 * ring, ring])
    a, b = np.arange(1, 25), np.roll(np.arange(1, 25), -1)
    faces = [np.column_stack([np.zeros_like(a), a, b])]
    faces += [np.column_stack([a, a + 24, b + 24]), np.column_stack([a, b + 24, b])]
    faces = np.concatenate(faces)
    vertices = np.column_stack([flat, np.zeros(49)])
    rim = np.append(np.arange(25, 49), 25)

    out, told = match(
        [(vertices, faces), (1.04 * vertices, faces)], [flat, 1.04 * flat], [(0, rim, 1, rim)]
    )

    def f(s):
        return 0.5 * (s - 1 / s) ** 2

    best = minimize_scalar(
        lambda t: f(t) + 1.04**2 * f(t / 1.04), bounds=(1, 1.04), options={"xatol": 1e-10}
    ).x
    radius = np.linalg.norm(out[0][rim] - out[0][0], axis=1)
    np.testing.assert_allclose(radius, 100 * best, rtol=2e-6)
    slope = (f(best + 1e-6) - f(best - 1e-6)) / 2e-6
    area, edge = areas(vertices, faces).sum(), 200 * np.sin(np.pi / 24)
    np.testing.assert_allclose(told.pull, -area * slope / (24 * edge), rtol=1e-3)


def test_frustum_halves_agree_for_the_least_strain(by_hand):
    """Halves of unequal slant agree, with less strain in all than at the mean of their lengths."""
    meshes, pairs = halves(by_hand)
    flats = [isometric(*mesh) for mesh in meshes]
    at_mean = [
        isometric(*mesh, flat, edge_targets=targets)
        for mesh, flat, targets in zip(meshes, flats, shared(flats, pairs), strict=True)
    ]

    out, told = match(meshes, flats, pairs)

    np.testing.assert_allclose(told.before, -8, atol=0.01)
    assert np.abs(told.after).max() < 0.002
    assert told.notch_after.max() < 0.002
    best, mean = (
        sum(strain(*mesh, flat) for mesh, flat in zip(meshes, some, strict=True))
        for some in (out, at_mean)
    )
    assert best < mean * (1 - 1e-4)


def test_partners_pull_alike_at_the_best(by_hand):
    """Laid on its own with the lengths found, each panel is pulled as its partner, the other way."""
    meshes, pairs = halves(by_hand)
    flats = [isometric(*mesh) for mesh in meshes]

    out, told = match(meshes, flats, pairs, tolerance=1e-9)

    pulls = []
    for mesh, flat, targets in zip(meshes, out, shared(out, pairs), strict=True):
        alone = solve(*mesh, flat, edge_targets=targets)
        pulls.append(alone.pull * areas(*mesh).sum() / targets[1])
    size = np.abs(told.pull).max()
    np.testing.assert_allclose(pulls[0], -pulls[1], atol=0.01 * size)
    np.testing.assert_allclose(pulls[0], told.pull, atol=0.01 * size)


def test_order_and_side_do_not_matter(by_hand):
    """Panels given in the other order, runs the other way round, or all mirrored: the same strain."""
    meshes, pairs = halves(by_hand)
    flats = [isometric(*mesh) for mesh in meshes]
    want, _ = match(meshes, flats, pairs, limit=0.03, tolerance=1e-9)
    swapped = [(1 - j, run_j[::-1], 1 - i, run_i[::-1]) for i, run_i, j, run_j in pairs[::-1]]
    images = [(v * [-1, 1, 1], f[:, [0, 2, 1]]) for v, f in meshes]

    other, _ = match(meshes[::-1], flats[::-1], swapped, limit=0.03, tolerance=1e-9)
    mirrored, _ = match(
        images, [flat * [-1, 1] for flat in flats], pairs, limit=0.03, tolerance=1e-9
    )

    for mesh, image, flat, one, two in zip(
        meshes, images, want, other[::-1], mirrored, strict=True
    ):
        np.testing.assert_allclose(stretch(*mesh, one), stretch(*mesh, flat), atol=1e-5)
        np.testing.assert_allclose(stretch(*image, two), stretch(*mesh, flat), atol=1e-5)


def test_cylinders_with_ease_are_that_much_longer(by_hand):
    """The side of a cylinder of 150 mm sewn to one of 153 mm with 3 % ease is 3 % longer, exactly."""
    short, long = by_hand.cylinder(40, 150, 20, 16), by_hand.cylinder(40, 153, 20, 16)
    flats = [isometric(*short), isometric(*long)]
    left, right = np.arange(16), 19 * 16 + np.arange(16)

    out, told = match([long, short], flats[::-1], [(0, left, 1, right)], ease=[0.03])

    ratio = lengths(out[0], left).sum() / lengths(out[1], right).sum()
    assert ratio == pytest.approx(1.03, abs=2e-6)
    np.testing.assert_allclose(lengths(out[0], left), 1.03 * lengths(out[1], right), rtol=1e-4)
    assert told.notch_after[0] < 0.005


def test_ease_on_some_edges_leaves_the_others_alike(by_hand):
    """With 5 % asked of the middle third only, the outer thirds agree as they are."""
    mesh = by_hand.cylinder(40, 150, 20, 16)
    flat = isometric(*mesh)
    left, right = np.arange(16), 19 * 16 + np.arange(16)
    asked = np.where((np.arange(15) >= 5) & (np.arange(15) < 10), 0.05, 0.0)

    out, _ = match([mesh, mesh], [flat, flat], [(0, left, 1, right)], ease=[asked])

    np.testing.assert_allclose(lengths(out[0], left) / lengths(out[1], right), 1 + asked, rtol=2e-4)


def test_held_panel_stays_and_the_other_comes(by_hand):
    """A panel that is held keeps its flat to the bit, whichever side of the pair it is."""
    meshes, pairs = halves(by_hand)
    flats = [isometric(*mesh) for mesh in meshes]
    for held in (0, 1):
        out, told = match(meshes, flats, pairs, held=[held])

        np.testing.assert_array_equal(out[held], flats[held])
        assert np.abs(told.after).max() < 0.002
    both, told = match(meshes, flats, pairs, held=[0, 1])
    np.testing.assert_array_equal(both[0], flats[0])
    np.testing.assert_allclose(told.after, told.before)


@pytest.mark.parametrize("laid", [352, 366])
def test_ring_that_would_close_is_kept_off_itself(by_hand, laid):
    """A ring of 352 degrees whose outer side must grow by 3 % agrees and does not meet itself.

    Also where it is given to lie on itself.
    """

    def ring(turn):
        def place(u, v):
            angle, radius = np.radians(turn) * u, 160 - 60 * v
            return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle])

        return by_hand.grid(place, 61, 7)

    def strip(u, v):
        return np.column_stack([1.03 * np.radians(352) * 160 * u, 30 * v, 0 * u])

    (vertices, faces), long = ring(352), by_hand.grid(strip, 61, 3)
    pairs = [(0, np.arange(61) * 7, 1, np.arange(61) * 3)]

    out, told = match(
        [(vertices, faces), long], [ring(laid)[0][:, :2], long[0][:, :2]], pairs, held=[1]
    )

    assert told.barrier
    assert abs(told.after[0]) < 0.01
    assert is_injective(vertices, faces, out[0])


def test_one_bad_triangle_in_the_start_spoils_nothing(by_hand):
    """A start in which one triangle is nearly collapsed ends where the good start does."""
    meshes, pairs = octants(by_hand)
    flats = [isometric(*mesh, limit=0.05) for mesh in meshes]
    bad = [flat.copy() for flat in flats]
    vertices, faces = meshes[0]
    rims = {
        int(v) for i, one, j, two in pairs for k, run in ((i, one), (j, two)) if k == 0 for v in run
    }
    inner = next(k for k in range(len(vertices) // 2, len(vertices)) if k not in rims)
    face = faces[(faces == inner).any(axis=1)][0]
    middle = bad[0][[v for v in face if v != inner]].mean(axis=0)
    bad[0][inner] += 0.9 * (middle - bad[0][inner])
    assert np.abs(stretch(vertices, faces, bad[0])).max() > 1

    good, _ = match(meshes, flats, pairs, limit=0.05, tolerance=1e-8)
    out, told = match(meshes, bad, pairs, limit=0.05, tolerance=1e-8)

    assert np.abs(told.after).max() < 0.01
    worst = [
        max(np.abs(stretch(*mesh, flat)).max() for mesh, flat in zip(meshes, some, strict=True))
        for some in (good, out)
    ]
    assert worst[1] < worst[0] + 0.002


def test_too_few_steps_are_told_by_the_difference(by_hand):
    """Where the steps do not suffice the flats are sound and the report tells what is missing."""
    meshes, pairs = halves(by_hand)
    flats = [isometric(*mesh) for mesh in meshes]

    out, told = match(meshes, [flats[0], 1.3 * flats[1]], pairs, steps=1)

    assert np.abs(told.after).max() > 0.1
    assert not any(flipped(*mesh, flat).any() for mesh, flat in zip(meshes, out, strict=True))


@pytest.mark.parametrize(
    ("pairs", "options", "words"),
    [
        ([(0, [0, 1, 2], 1, [0, 1])], {}, "the runs of pair 0 have 2 and 1 edges"),
        ([(0, [0, 5], 1, [0, 1])], {}, "a run of panel 0 does not follow"),
        ([(0, [0, 1], 3, [0, 1])], {}, "names panel 3, but there are 2 panels"),
        ([(0, [0, 1], 1, [0, 1])] * 2, {}, "in more than one pair"),
        ([(0, [0, 1], 1, [0, 1])], {"limit": 0.0}, "limit is 0.0, but a stretch limit must be"),
        ([(0, [0, 1], 1, [0, 1])], {"ease": [0.1, 0.1]}, "ease names 2 pairs of runs, but there"),
        ([(0, [0, 1], 1, [0, 1])], {"ease": [[0.1, 0.1]]}, "ease must be numbers above -1"),
        ([(0, [0, 1], 1, [0, 1])], {"ease": [-2.0]}, "ease must be numbers above -1"),
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


@pytest.fixture
def steps(monkeypatch):
    """How many vertices each Newton step of matching was for, step by step."""
    taken, step = [], newton.step

    def counted(problem, flat, work):
        taken.append(len(flat))
        return step(problem, flat, work)

    monkeypatch.setattr(newton, "step", counted)
    return taken


def test_what_is_matched_already_takes_one_step(by_hand, steps):
    """Octants whose seams pull, since one side is eased, take one step and stay when told that nothing is new since
    they were matched; told nothing they take more."""
    meshes, pairs = octants(by_hand)
    own = {"limit": 0.05, "ease": [0.02] * len(pairs)}
    out, _ = match(meshes, [isometric(*mesh) for mesh in meshes], pairs, tolerance=1e-9, **own)
    size = sum(map(len, out))
    steps.clear()
    matched(meshes, out, pairs, **own)
    from_nothing = len(steps)
    steps.clear()

    again = matched(meshes, out, pairs, **own, loose=[np.zeros(len(u), bool) for u in out])

    assert steps == [size]
    assert from_nothing > 1
    assert max(np.abs(a - b).max() for a, b in zip(again, out, strict=True)) < 1e-3


def test_what_is_new_comes_to_rest_before_the_whole(by_hand, steps):
    """Octants with a few vertices at one seam put wrong end where they were; all octants take two steps, the places
    about the wrong ones the rest."""
    meshes, pairs = octants(by_hand)
    out, _ = match(meshes, [isometric(*mesh) for mesh in meshes], pairs, limit=0.05, tolerance=1e-9)
    size = sum(map(len, out))
    i, run, j, _ = pairs[0]
    loose = [np.zeros(len(u), bool) for u in out]
    loose[i][run[5:8]] = True
    wrong = [u.copy() for u in out]
    wrong[i][run[5:8]] += np.array([[0.5, -0.3], [-0.4, 0.4], [0.2, 0.5]])
    steps.clear()

    again = matched(meshes, wrong, pairs, limit=0.05, loose=loose)

    assert steps.count(size) <= 2 < len(steps)
    assert max(np.abs(a - b).max() for a, b in zip(again, out, strict=True)) < 5e-3
