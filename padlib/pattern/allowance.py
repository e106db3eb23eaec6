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
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from padlib.errors import InputError
from padlib.pattern.edge import along
from padlib.pattern.piece import Line

MITRE_LIMIT = 2.0  # longest mitre in allowances: corners sharper than 60 degrees are squared off
FLATTEST_DEG = 20.0  # a hem that meets its neighbour flatter than this has a square end
FAN = 12  # points of a rounded bend inside a stretch
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
    mitre_limit: NDArray[np.float64] | float = MITRE_LIMIT,
) -> Line:
    """The cut line (k, 2) around a closed sew line.

    ring (n, 2) mm, counter-clockwise, first point not repeated; widths (n,) mm: allowance beyond the
    segment from each point to the next; corner (n,): points that are treated as corners, the others
    are rounded; hems: segments (start, stop) whose ends are shaped to be folded up; caps: polygons
    that the piece must also contain; mitre_limit: longest mitre at each point (n,), in allowances, 1
    squares every corner off. An allowance of 0 is a fold or a raw edge. Raises InputError where the sew
    line crosses itself.
    """
    ring = np.asarray(ring, dtype=np.float64)
    widths = np.broadcast_to(np.asarray(widths, dtype=np.float64), len(ring))
    corner = np.zeros(len(ring), dtype=bool) if corner is None else corner
    inside = _inside(ring)
    if not hems and np.all(widths == widths[0]):
        strips = [inside.buffer(widths[0], quad_segs=QUAD_SEGS)]
    else:
        strips = _strips(ring, widths, hems)
    apart = widths != np.roll(widths, 1)
    hem_ends = {i % len(ring) for hem in hems for i in hem}
    treated = [i for i in np.flatnonzero(corner | apart) if i not in hem_ends]
    limits = np.broadcast_to(np.asarray(mitre_limit, dtype=np.float64), len(ring))
    kites = [_kite(ring, widths, int(i), float(limits[i])) for i in treated]
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
    if max(a, b) == 0.0:
        return None
    out_a, out_b = np.array([come[1], -come[0]]), np.array([go[1], -go[0]])
    point = ring[i]
    if come @ go > STRAIGHT:  # only the gap between two flat ends is to be filled
        share = np.linspace(0.0, 1.0, 5)[:, None]
        arc = out_a + share * (out_b - out_a)
        arc *= min(a, b) / np.hypot(*arc.T)[:, None]
        return Polygon([point, *(point + arc)]).buffer(0.2 * OVERLAP_MM, join_style="mitre")
    tip = (a * go - b * come) / -sine  # where the two offset lines meet, seen from the corner
    far, most = float(np.hypot(*tip)), limit * max(a, b)
    start, end = point + a * out_a - OVERLAP_MM * come, point + b * out_b + OVERLAP_MM * go
    foot = [point + OVERLAP_MM * go, point - OVERLAP_MM * come]
    if far <= most:
        return _solid([start, point + tip, end, *foot])
    # Square off: at right angles to the middle of the corner, `most` away from it.
    middle = (out_a + out_b) / max(np.hypot(*(out_a + out_b)), 1e-9)
    middle = middle if np.hypot(*(out_a + out_b)) > 1e-6 else come
    steps = [
        (most - w * (out @ middle)) / max(way @ middle, 1e-6)
        for w, out, way in ((a, out_a, come), (b, out_b, -go))
    ]
    # two very different allowances at a sharp corner would put one tip far out
    first, second = (min(max(step, 0.0), most) for step in steps)
    tips = [point + a * out_a + first * come, point + b * out_b - second * go]
    return _solid([start, *tips, end, *foot])


def _solid(points: Sequence[Line]) -> Polygon:
    """A small polygon, or its hull where its sides would cross."""
    shape = Polygon(points)
    return shape if shape.is_valid else shape.convex_hull


def _strips(
    ring: Line, widths: NDArray[np.float64], hems: Sequence[tuple[int, int]]
) -> list[BaseGeometry]:
    """Allowance of each stretch of equal width, hems with shaped ends."""
    n = len(ring)
    breaks = set(np.flatnonzero(widths != np.roll(widths, 1)).tolist())
    breaks |= {i % n for hem in hems for i in hem}
    starts = {start % n for start, _ in hems}
    cuts = sorted(breaks) or [0]
    out = []
    for start, stop in zip(cuts, [*cuts[1:], cuts[0] + n], strict=True):
        strip = _strip(ring[np.arange(start, stop + 1) % n], float(widths[start]))
        if start in starts and stop - start < n:
            strip = _with_hem_end(strip, ring, widths, start, first=True)
            strip = _with_hem_end(strip, ring, widths, stop % n, first=False)
        out.append(strip)
    # where two widths meet, nothing may come nearer than the smaller of them
    discs = [
        shapely.Point(ring[i]).buffer(min(widths[i], widths[i - 1]), quad_segs=QUAD_SEGS)
        for i in cuts
    ]
    return out + discs


def _strip(points: Line, width: float) -> BaseGeometry:
    """The outer side of a line to a distance: a box on each segment, a fan at each outward bend."""
    if width == 0.0:
        return Polygon()
    way = np.diff(points, axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    normal = np.column_stack([way[:, 1], -way[:, 0]])
    more, deep = 0.2 * OVERLAP_MM * way, -0.2 * OVERLAP_MM * normal
    a, b = points[:-1], points[1:]
    corners = [
        a - more + deep,
        b + more + deep,
        b + more + width * normal,
        a - more + width * normal,
    ]
    boxes = shapely.polygons(np.stack(corners, axis=1))
    turn = np.arctan2(
        way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0],
        np.einsum("ij,ij->i", way[:-1], way[1:]),
    )
    bends = np.flatnonzero(turn > 1e-6)
    start = np.arctan2(normal[:-1, 1], normal[:-1, 0])[bends]
    share = np.linspace(0.0, 1.0, FAN)
    angle = start[:, None] + turn[bends, None] * share
    arc = np.stack([np.cos(angle), np.sin(angle)], axis=-1) * width + points[1:-1][bends, None]
    fans = shapely.polygons(np.concatenate([points[1:-1][bends, None], arc], axis=1))
    return shapely.union_all([*boxes, *fans])


def _with_hem_end(
    strip: BaseGeometry, ring: Line, widths: NDArray[np.float64], at: int, *, first: bool
) -> BaseGeometry:
    """A hem's strip with the end at ring position `at` shaped to lie flush when the hem is folded up.

    The cut line beside the hem, reflected in the fold, bounds it. An end at an inward corner stays square.
    """
    width, point = float(widths[at] if first else widths[at - 1]), ring[at]
    beside = float(widths[at - 1] if first else widths[at])
    come, go = _tangents(ring, at)
    along_, aside = (go, -come) if first else (-come, go)  # both away from the corner
    out = np.array([go[1], -go[0]]) if first else np.array([come[1], -come[0]])
    if aside @ out > -np.sin(np.radians(FLATTEST_DEG)):
        kite = _kite(ring, widths, at, 1.0)
        return strip if kite is None else shapely.union_all([strip, kite])
    phi = np.clip(np.arccos(along_ @ aside), np.radians(35), np.radians(145))

    def place(u: float, v: float) -> Line:
        return point + u * along_ + v * out

    foot, cotangent = -beside / np.sin(phi), 1.0 / np.tan(phi)
    end = foot + width * cotangent
    tiny = 0.2 * OVERLAP_MM
    if end <= 1e-6:  # square, but for rounding
        wedge = _solid([place(foot, 0), place(tiny, -tiny), place(tiny, width), place(end, width)])
        parts = [strip, wedge]
    else:
        cross = -foot / cotangent
        trim = _solid(
            [
                place(-1.0, cross - 1.0 / cotangent),
                place(-1.0, width + 1.0),
                place(end + cotangent, width + 1.0),
            ]
        )
        wedge = _solid([place(foot, 0), place(tiny, -tiny), place(tiny, cross + tiny / cotangent)])
        parts = [strip.difference(trim), wedge]
    normal = np.array([aside[1], -aside[0]]) * (-1.0 if first else 1.0)
    gap = _solid(
        [
            point + OVERLAP_MM * aside,
            point + beside * normal + OVERLAP_MM * aside,
            place(foot, 0),
            place(foot + tiny * cotangent, tiny),
            place(0, tiny),
        ]
    )
    return shapely.union_all([*parts, gap])
