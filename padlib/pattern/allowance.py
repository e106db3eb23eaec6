"""Allowance: the cut line around a sew line.

The cut line keeps the allowance's distance from the sew line everywhere but at treated places:
outward corners are mitred up to a limit and squared off beyond it; a hem ends so that it lies flush
with its neighbours when folded up; a folded dart gets a cap that lies flush when the dart is folded.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from padlib.errors import InputError
from padlib.pattern.edge import along
from padlib.pattern.piece import Line

MITRE_LIMIT = 2.0  # longest mitre in allowances: corners sharper than 60 degrees are squared off
QUAD_SEGS = 24  # of a round join: the chord of one step sags 0.05 % of the allowance
OVERLAP_MM = 0.05  # parts reach so far into their neighbours, so that no sliver stays between them
STEEP_DEG = 60.0  # a folded dart whose legs lie flatter to the edge gets no cap
BESIDE_MM = 4.0  # over which the edge beside a dart's mouth is taken as straight
STRAIGHT = np.cos(np.radians(20))  # ways closer than this meet in no corner worth a mitre
CHORD_MM = 0.005  # points of the cut line that lie closer to a straight line are left out


def cut_line(
    ring: Line,
    widths: NDArray[np.float64] | float,
    *,
    corner: NDArray[np.bool_] | None = None,
    hems: Sequence[tuple[int, int]] = (),
    caps: Sequence[Line] = (),
    mitre_limit: float = MITRE_LIMIT,
) -> Line:
    """The cut line (k, 2) around a closed sew line.

    ring (n, 2) mm, counter-clockwise, first point not repeated; widths (n,) mm: allowance beyond the
    segment from each point to the next; corner (n,): points that are treated as corners, the others
    are rounded; hems: segments (start, stop) whose ends are shaped to be folded up; caps: polygons
    that the piece must also contain. Raises InputError where the sew line crosses itself.
    """
    ring = np.asarray(ring, dtype=np.float64)
    widths = np.broadcast_to(np.asarray(widths, dtype=np.float64), len(ring))
    corner = np.zeros(len(ring), dtype=bool) if corner is None else corner
    inside = _inside(ring)
    if not hems and np.all(widths == widths[0]):
        strips = [inside.buffer(widths[0], quad_segs=QUAD_SEGS)]
    else:
        strips = _strips(ring, widths, inside, hems)
    apart = widths != np.roll(widths, 1)
    hem_ends = {i % len(ring) for hem in hems for i in hem}
    treated = [i for i in np.flatnonzero(corner | apart) if i not in hem_ends]
    kites = [_kite(ring, widths, int(i), mitre_limit) for i in treated]
    whole = shapely.union_all([inside, *strips, *[k for k in kites if k], *map(Polygon, caps)])
    if whole.geom_type != "Polygon":
        whole = max(shapely.get_parts(whole), key=lambda part: part.area)
    outline = shapely.remove_repeated_points(Polygon(whole.exterior).simplify(CHORD_MM), 1e-6)
    # normalize fixes the first point and runs clockwise
    return np.asarray(shapely.reverse(shapely.normalize(outline)).exterior.coords)[:-1].copy()


def dart_cap(ring: Line, wedge: tuple[int, int, int], allowance: float) -> Line | None:
    """What a folded dart needs beyond its mouth: a polygon (6, 2), the textbook's folded and trued dart.

    ring (n, 2); wedge: positions of mouth, apex, mouth. Folded to either side, the dart's cloth lies
    under the cut line of that side: the cut line beside the mouth is reflected in the leg and meets
    the middle of the dart (construction: fold and true the edge, as in all text books). None where a
    leg meets the edge at less than STEEP_DEG, because such a fold has no clean end: the allowance
    then runs straight across the mouth, to be trimmed when the dart is sewn.
    """
    n = len(ring)
    first, apex, second = (ring[i % n] for i in wedge)
    beside = [
        along(ring, _arc(ring, p) + d)[0]
        for p, d in ((wedge[0], -BESIDE_MM), (wedge[2], BESIDE_MM))
    ]
    legs = [first - apex, second - apex]
    lengths = [float(np.hypot(*leg)) for leg in legs]
    ways = [leg / length for leg, length in zip(legs, lengths, strict=True)]
    half = 0.5 * np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0))
    reach, ends = [], []
    for way, length, edge in zip(
        ways, lengths, (beside[0] - first, beside[1] - second), strict=True
    ):
        phi = np.arccos(-(way @ edge) / np.hypot(*edge))  # from the leg, seen outward, to the edge
        if not STEEP_DEG <= np.degrees(phi) <= 180 - STEEP_DEG:
            return None
        out = length + allowance / np.sin(phi)
        ends.append(apex + way * out)
        reach.append(out * np.sin(phi) / np.sin(phi + half))
    middle = ways[0] + ways[1]
    peak = apex + middle / np.hypot(*middle) * min(max(reach), 1.3 * max(lengths) + allowance)
    return np.array([apex, first, ends[0], peak, ends[1], second])


def _arc(ring: Line, position: int) -> NDArray[np.float64]:
    """Arc length (1,) of a ring position from the first point, mm."""
    position %= len(ring)
    steps = np.diff(ring[: position + 1], axis=0)
    return np.array([float(np.hypot(*steps.T).sum())])


def _inside(ring: Line) -> Polygon:
    """The area within a sew line; raises InputError where the line crosses itself."""
    inside = Polygon(ring)
    if inside.is_valid and inside.area > 0:
        return inside
    # Legs of a dart that touch make the polygon invalid though nothing overlaps: a hair apart will do.
    mended = inside.buffer(0)
    twice = abs(
        0.5 * np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1))
    )
    if mended.geom_type != "Polygon" or abs(mended.area - twice) > 1.0 or mended.area == 0:
        raise InputError(
            "the sew line crosses itself; the panel must be flattened without overlaps."
        )
    return mended


def _normals(ring: Line) -> tuple[Line, Line]:
    """Unit direction and outward normal (n, 2) of each segment of a counter-clockwise ring."""
    way = np.roll(ring, -1, axis=0) - ring
    way /= np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    return way, np.column_stack([way[:, 1], -way[:, 0]])


def _tangents(ring: Line, i: int, reach: float = 2.5) -> tuple[Line, Line]:
    """Directions into and out of point i of a ring, over at least `reach` mm so that crumbs do not count."""
    n, back, ahead = len(ring), 1, 1
    while np.hypot(*(ring[i] - ring[(i - back) % n])) < reach and back < n // 3:
        back += 1
    while np.hypot(*(ring[(i + ahead) % n] - ring[i])) < reach and ahead < n // 3:
        ahead += 1
    come, go = ring[i] - ring[(i - back) % n], ring[(i + ahead) % n] - ring[i]
    return come / np.hypot(*come), go / np.hypot(*go)


def _kite(ring: Line, widths: NDArray[np.float64], i: int, limit: float) -> Polygon | None:
    """What a mitre or a squared-off corner adds at point i; None at inward corners."""
    come, go = _tangents(ring, i)
    sine = come[0] * go[1] - come[1] * go[0]
    if sine <= 0:
        return None
    a, b = float(widths[i - 1]), float(widths[i])
    out_a, out_b = np.array([come[1], -come[0]]), np.array([go[1], -go[0]])
    point = ring[i]
    if come @ go > STRAIGHT:  # only the gap between two flat ends is to be filled
        return Polygon([point, *(point + min(a, b) * out for out in (out_a, out_b))]).buffer(1e-6)
    tip = (a * go - b * come) / -sine  # where the two offset lines meet, seen from the corner
    far, most = float(np.hypot(*tip)), limit * max(a, b)
    start, end = point + a * out_a - OVERLAP_MM * come, point + b * out_b + OVERLAP_MM * go
    foot = [point + OVERLAP_MM * go, point - OVERLAP_MM * come]
    if far <= most:
        return Polygon([start, point + tip, end, *foot])
    # Square off: at right angles to the middle of the corner, `most` away from it.
    middle = (out_a + out_b) / max(np.hypot(*(out_a + out_b)), 1e-9)
    middle = middle if np.hypot(*(out_a + out_b)) > 1e-6 else come
    steps = [
        (most - w * (out @ middle)) / max(way @ middle, 1e-6)
        for w, out, way in ((a, out_a, come), (b, out_b, -go))
    ]
    tips = [
        point + a * out_a + max(steps[0], 0.0) * come,
        point + b * out_b - max(steps[1], 0.0) * go,
    ]
    shape = Polygon([start, *tips, end, *foot])
    return shape if shape.is_valid else shape.convex_hull


def _strips(
    ring: Line, widths: NDArray[np.float64], inside: Polygon, hems: Sequence[tuple[int, int]]
) -> list[BaseGeometry]:
    """Allowance of each stretch of equal width, hems with shaped ends."""
    n = len(ring)
    breaks = set(np.flatnonzero(widths != np.roll(widths, 1)).tolist())
    breaks |= {i % n for hem in hems for i in hem}
    hem_at = {start % n: (start, stop) for start, stop in hems}
    if not breaks:
        breaks = {0}
    cuts = sorted(breaks)
    out = []
    for start, stop in zip(cuts, [*cuts[1:], cuts[0] + n], strict=True):
        points = ring[np.arange(start, stop + 1) % n]
        closed = stop - start == n
        if start in hem_at and not closed:
            strip = _hem(ring, widths, start, stop)
        else:
            strip = LineString(points).buffer(widths[start], cap_style="flat", quad_segs=QUAD_SEGS)
        out.append(_outer(strip, points, inside))
    return out


def _outer(strip: BaseGeometry, points: Line, inside: Polygon) -> BaseGeometry:
    """The part of a strip outside the piece that touches its own stretch, not what pokes through."""
    way = np.diff(points, axis=0)
    length = np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    normal = np.column_stack([way[:, 1], -way[:, 0]]) / length
    probes = shapely.points(0.5 * (points[1:] + points[:-1]) + 0.01 * normal)
    parts = shapely.get_parts(strip.difference(inside))
    return (
        shapely.union_all([p for p in parts if np.any(shapely.intersects(p, probes))])
        .buffer(OVERLAP_MM / 5, join_style="mitre")
        .intersection(shapely.union_all([strip, inside]))
    )


def _hem(ring: Line, widths: NDArray[np.float64], start: int, stop: int) -> BaseGeometry:
    """The strip of a hem: its ends mirror the cut lines beside it, so that it folds up flush."""
    n = len(ring)
    width = float(widths[start % n])
    points = ring[np.arange(start, stop + 1) % n]
    trims, ends, gaps = [], [], []
    for at, first in ((start, True), (stop, False)):
        come, go = _tangents(ring, at % n)
        t, s = (
            (go, -come) if first else (-come, go)
        )  # away from the corner: along the hem, beside it
        out = np.array([go[1], -go[0]]) if first else np.array([come[1], -come[0]])
        beside = float(widths[(start - 1) % n] if first else widths[stop % n])
        phi = np.clip(np.arccos(np.clip(t @ s, -1.0, 1.0)), np.radians(35), np.radians(145))
        foot = ring[at % n] - t * beside / np.sin(phi)  # cut line of the neighbour meets the fold
        slant = t * np.cos(phi) + out * np.sin(phi)  # the neighbour's direction, reflected
        tip = foot + slant * (1.5 * width / np.sin(phi))
        far = 4 * width + 4 * beside
        trims.append(Polygon([foot - 0.3 * width * slant, tip, tip - far * t, foot - far * t]))
        point = ring[at % n]
        ends.append(point - t * (beside / np.sin(phi) + 1.5 * width / np.tan(np.radians(35))))
        deep = (
            point + s * 3 * width
        )  # beyond the edge beside the hem, on the inner side of the fold
        trims.append(Polygon([point, point - far * t, point - far * t - 3 * width * out, deep]))
        aside = np.array([s[1], -s[0]]) * (-1.0 if first else 1.0)
        gaps.append(
            [
                point + OVERLAP_MM * s,
                point + beside * aside + OVERLAP_MM * s,
                foot,
                foot + OVERLAP_MM * slant,
                point + OVERLAP_MM * out,
            ]
        )
    longer = LineString([ends[0], *points, ends[1]])
    strip = longer.buffer(width, cap_style="flat", quad_segs=QUAD_SEGS)
    strip = strip.difference(shapely.union_all(trims))
    return shapely.union_all([strip, *(g for g in map(Polygon, gaps) if g.is_valid)])
