"""The cut line against shapely's own distances and against closed forms."""

import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.pattern.allowance import MITRE_LIMIT, cut_line, dart_cap
from padlib.pattern.edge import corners

RECTANGLE = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 300.0], [0.0, 300.0]])


def outline(rng, count=80):
    """A random closed curve (n, 2): a circle with waves and some sharp points, about 300 mm across."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, count))
    turn = turn[np.concatenate([[True], np.diff(turn) > 0.01])]
    radius = np.full(len(turn), 150.0)
    for k in range(2, 7):
        radius += rng.normal(0, 60.0 / k) * np.cos(k * turn + rng.uniform(0, 2 * np.pi))
    radius[rng.choice(len(turn), 4)] *= rng.uniform(0.5, 1.5, 4)
    radius = np.maximum(radius, 15.0)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def check_outline(ring, allowance):
    """Assert that a cut line is simple, and at the allowance's distance but near treated corners."""
    treated = corners(ring)[1]
    line = cut_line(ring, allowance, corner=treated)
    cut, sew = shapely.Polygon(line), shapely.Polygon(ring)
    assert cut.exterior.is_simple
    assert cut.is_valid
    assert cut.contains(sew)
    probes = shapely.segmentize(cut.exterior, 3.0)
    points = shapely.points(shapely.get_coordinates(probes))
    if treated.any():
        # a squared-off corner reaches the limit along its middle and at most one allowance to each side
        reach = np.hypot(MITRE_LIMIT, 1.0) * allowance + 0.1
        points = points[shapely.distance(points, shapely.multipoints(ring[treated])) > reach]
    off = shapely.distance(points, sew.exterior)
    assert np.abs(off - allowance).max(initial=0.0) < 0.05


def test_rectangle_mitred_area():
    """A 200 by 300 mm rectangle with 10 mm all round is 220 by 320 mm (VALUES 4.5)."""
    line = cut_line(RECTANGLE, 10.0, corner=np.ones(4, dtype=bool))
    assert shapely.Polygon(line).area == pytest.approx(70_400.0, abs=1e-6)
    assert len(line) == 4


def test_rectangle_rounded_area():
    """With round corners its area is A + P w + pi w^2 = 70 314.16 mm2 (Steiner, VALUES 4.5)."""
    area = shapely.Polygon(cut_line(RECTANGLE, 10.0)).area
    # the arcs are polygons: their area is short by less than 0.1 % of the four corners' 314 mm2
    assert 60_000 + 10_000 + 100 * np.pi - 0.3 < area <= 60_000 + 10_000 + 100 * np.pi


@pytest.mark.parametrize("degrees", [75.0, 90.0, 120.0, 150.0])
def test_mitre_length(degrees):
    """A mitre at a corner of angle t reaches w / sin(t / 2) from the corner (VALUES 4.5)."""
    half = np.radians(degrees) / 2
    tip = np.array([0.0, 0.0])
    ring = np.array(
        [
            tip,
            200 * np.array([-np.cos(half), np.sin(half)]),
            200 * np.array([-np.cos(half), -np.sin(half)]),
        ]
    )
    line = cut_line(ring, 10.0, corner=np.array([True, False, False]))
    assert line[:, 0].max() == pytest.approx(10.0 / np.sin(half), abs=1e-6)


def test_sharp_corner_is_squared_off():
    """A corner of 20 degrees ends at the mitre limit, at right angles to its middle."""
    half = np.radians(10.0)
    ring = np.array(
        [
            [0.0, 0.0],
            [-300 * np.cos(half), 300 * np.sin(half)],
            [-300 * np.cos(half), -300 * np.sin(half)],
        ]
    )
    line = cut_line(ring, 10.0, corner=np.array([True, False, False]))
    tip = line[line[:, 0] > line[:, 0].max() - 1e-6]
    assert tip[:, 0] == pytest.approx([MITRE_LIMIT * 10.0] * 2)
    assert np.ptp(tip[:, 1]) > 10.0


def test_uniform_allowance_is_a_buffer():
    """With no corners treated, the cut line is shapely's round buffer of the sew line."""
    ring = outline(np.random.default_rng(5))
    ours = shapely.Polygon(cut_line(ring, 12.0))
    theirs = shapely.Polygon(shapely.Polygon(ring).buffer(12.0, quad_segs=200).exterior)
    assert ours.symmetric_difference(theirs).area < 1e-4 * theirs.area


def test_random_outlines():
    """On 200 random outlines the cut line never crosses itself and keeps its distance to 0.05 mm."""
    rng = np.random.default_rng(20)
    done = 0
    while done < 200:
        ring = outline(rng)
        if shapely.Polygon(ring).is_valid:
            check_outline(ring, float(rng.uniform(5, 25)))
            done += 1


@pytest.mark.slow
def test_ten_thousand_outlines():
    """On 10,000 random outlines the cut line never crosses itself and keeps its distance to 0.05 mm."""
    rng = np.random.default_rng(21)
    done = 0
    while done < 10_000:
        ring = outline(rng, int(rng.integers(12, 160)))
        if shapely.Polygon(ring).is_valid:
            check_outline(ring, float(rng.uniform(3, 30)))
            done += 1


def test_hem_of_a_rectangle():
    """A 40 mm hem on one side of a rectangle with 10 mm elsewhere makes it 220 by 350 mm."""
    widths = np.array([40.0, 10.0, 10.0, 10.0])
    line = cut_line(RECTANGLE, widths, corner=np.ones(4, dtype=bool), hems=[(0, 1)])
    assert shapely.Polygon(line).area == pytest.approx(220 * 350, rel=1e-6)
    assert np.ptp(line, axis=0) == pytest.approx([220.0, 350.0])


@pytest.mark.parametrize("slant", [-60.0, -25.0, 25.0, 60.0])
def test_hem_folds_up_flush(slant):
    """Folded up about its sew line, a hem's slanted ends lie on the cut lines beside it."""
    ring = np.array([[0.0, 0.0], [200.0, 0.0], [200.0 + slant, 300.0], [-slant, 300.0]])
    widths = np.array([40.0, 10.0, 10.0, 10.0])
    line = cut_line(ring, widths, corner=np.ones(4, dtype=bool), hems=[(0, 1)])
    cut = shapely.Polygon(line)
    hem = shapely.intersection(cut, shapely.box(-500, -40.0, 500, 0.0))
    folded = shapely.affinity.scale(hem, 1.0, -1.0, origin=(0, 0))
    garment = shapely.intersection(cut, shapely.box(-500, 0.0, 500, 40.0))
    assert folded.symmetric_difference(garment).area < 1.0


def test_stretches_of_different_width():
    """Each stretch keeps its own distance where its neighbours are far."""
    ring = 200 * np.column_stack(
        [np.cos(np.linspace(0, 2 * np.pi, 201)[:-1]), np.sin(np.linspace(0, 2 * np.pi, 201)[:-1])]
    )
    widths = np.where(np.arange(200) < 100, 10.0, 25.0)
    line = shapely.LinearRing(cut_line(ring, widths))
    for k, width in ((50, 10.0), (150, 25.0)):
        assert line.distance(shapely.Point(ring[k])) == pytest.approx(width, abs=0.05)
    assert line.is_simple


def test_folded_dart_lies_under_its_cut_line():
    """A dart's cap, folded about its middle and laid beside a leg, reaches the cut line there exactly."""
    half = np.radians(8.0)
    apex = np.array([0.0, 0.0])
    a, b = (150 * np.array([s * np.sin(half), -np.cos(half)]) for s in (-1, 1))
    ring = np.array([[-200.0, a[1]], a, apex, b, [200.0, b[1]], [200.0, 200.0], [-200.0, 200.0]])
    cap = dart_cap(ring, (1, 2, 3), 10.0)
    # the cut line beside the left mouth is y = a_y - 10; reflected in the left leg it bounds the flap
    leg = a / np.hypot(*a)
    peak = cap[3]
    back = 2 * (peak @ leg) * leg - peak
    assert back[1] == pytest.approx(a[1] - 10.0, abs=1e-9)
    assert abs(peak[0]) < 1e-9


def test_crossing_sew_line_is_refused():
    """A sew line that crosses itself is refused in one sentence."""
    bow = np.array([[0.0, 0.0], [100.0, 100.0], [100.0, 0.0], [0.0, 100.0]])
    with pytest.raises(InputError, match="crosses itself"):
        cut_line(bow, 10.0)


def test_random_hems():
    """On 150 random outlines with hems and mixed widths the cut line is simple and holds the piece."""
    rng = np.random.default_rng(8)
    done = 0
    while done < 150:
        ring = outline(rng)
        if not shapely.Polygon(ring).is_valid:
            continue
        done += 1
        breaks = np.sort(rng.choice(len(ring), 4, replace=False))
        widths = np.full(len(ring), 10.0)
        widths[breaks[0] : breaks[1]] = 30.0
        widths[breaks[2] : breaks[3]] = 16.0
        treated = corners(ring)[1]
        hems = [(int(breaks[0]), int(breaks[1]))]
        line = cut_line(ring, widths, corner=treated, hems=hems)
        cut, sew = shapely.Polygon(line), shapely.Polygon(ring)
        assert cut.is_valid
        assert cut.exterior.is_simple
        assert cut.buffer(1e-6).contains(sew)
        # nowhere narrower than the narrowest allowance, nowhere wider than the widest treated corner
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(cut.exterior, 3.0)))
        off = shapely.distance(points, sew.exterior)
        assert off.min() > 10.0 - 0.05
        assert off.max() < 30.0 * np.hypot(MITRE_LIMIT, 1.0) + 0.1


def check_purposes(rng, ring):
    """Random allowances (none among them) and corners: the cut line is simple and each stretch has its own."""
    n, treated = len(ring), corners(ring)[1]
    cuts = np.sort(rng.choice(n, 4, replace=False))
    widths = np.zeros(n)
    for a, b, mm in zip(
        cuts, np.append(cuts[1:], cuts[0] + n), rng.choice([0.0, 6.0, 10.0, 25.0], 4), strict=True
    ):
        widths[np.arange(a, b) % n] = mm
    limits = rng.choice([1.0, MITRE_LIMIT], n)
    line = cut_line(ring, widths, corner=treated, mitre_limit=limits)
    cut, sew = shapely.Polygon(line), shapely.Polygon(ring)
    assert cut.is_valid
    assert cut.exterior.is_simple
    assert cut.buffer(0.02).contains(sew)
    # places whose nearest stretch of sew line is far from corners and from another allowance
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(cut.exterior, 3.0)))
    apart = treated | (widths != np.roll(widths, 1))
    reach = np.hypot(MITRE_LIMIT, 1.0) * widths.max() + 0.1
    points = points[shapely.distance(points, shapely.multipoints(ring[apart])) > reach]
    segments = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    off = shapely.distance(points[:, None], segments[None])
    # a wide stretch may hide a narrow one behind it, so a place may have the allowance of any near one
    right = np.abs(off - widths[None]).min(axis=1)
    assert right.max(initial=0.0) < 0.05
    return len(right)


def test_random_purposes():
    """On 100 random outlines with stretches of any purpose, each has its own allowance, and nothing crosses."""
    rng = np.random.default_rng(33)
    done = probed = 0
    while done < 100:
        ring = outline(rng)
        if shapely.Polygon(ring).is_valid:
            probed += check_purposes(rng, ring)
            done += 1
    assert probed > 10_000  # most of the cut lines lies away from corners and is looked at


@pytest.mark.slow
def test_ten_thousand_purposes():
    """The same on 10,000 outlines."""
    rng = np.random.default_rng(34)
    done = 0
    while done < 10_000:
        ring = outline(rng, int(rng.integers(12, 160)))
        if shapely.Polygon(ring).is_valid:
            check_purposes(rng, ring)
            done += 1
