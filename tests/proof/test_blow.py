"""Sewn cloth blown out, against the shape of the balloon of two discs that do not stretch.

W. Paulsen 1994, "What is the shape of a mylar balloon?", Amer. Math. Monthly 101 (10): of two discs of
radius a, the rim comes to r = a 4 sqrt(2 pi) / gamma(1/4)^2, the thickness is 1.1981 r and the volume
2/3 pi a r^2 (the formulas are from memory; the rim's is checked by the arc length below).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial import Delaunay
from scipy.special import gamma

from padlib.mesh.areas import enclosed
from padlib.proof.blow import blown
from padlib.proof.sew import weld
from padlib.proof.sheets import Bundle, Sheet, Stitch


def discs(radius: float, rings: int) -> Bundle:
    """Two discs sewn together all round."""
    points = [np.zeros((1, 2))]
    for k in range(1, rings + 1):
        t = 2 * np.pi * np.arange(6 * k) / (6 * k)
        points.append(radius * k / rings * np.column_stack([np.cos(t), np.sin(t)]))
    flat = np.concatenate(points)
    faces = Delaunay(flat).simplices
    one, two = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    double = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    faces[double < 0] = faces[double < 0][:, ::-1]
    faces = faces[np.abs(double) > 1e-6]
    rim = len(flat) - 6 * rings + np.arange(6 * rings + 1) % (6 * rings)
    top = Sheet("top", flat, faces, (1.0, 1.0, 1.0), ())
    base = Sheet("base", flat * [-1, 1], faces[:, ::-1], (1.0, 1.0, 1.0), ())
    return Bundle((top, base), (Stitch("rim", 0, rim, 1, rim),))


def test_two_discs_blow_out_to_the_balloon_of_paper_bags() -> None:
    """Volume within 1 %, radius within 1.5 % and thickness within 3 % of the closed form."""
    a = 100.0
    r = a * 4 * np.sqrt(2 * np.pi) / gamma(0.25) ** 2
    assert quad(lambda t: r / np.sqrt(1 - t**4), 0, 1)[0] == pytest.approx(a, rel=1e-6)
    suit = discs(a, 18)
    sewn = weld(suit)
    start = np.zeros((sewn.count, 3))
    for welded, sheet, sign in zip(sewn.welded, suit.sheets, (1, -1), strict=True):
        high = 10 * np.sqrt(np.maximum(1 - (sheet.positions**2).sum(axis=1) / a**2, 0))
        start[welded] = np.column_stack([sheet.positions * [sign, 1], sign * high])
    place, _ = blown(sewn, start, load=0.02, steps=1500)
    rim = np.hypot(*place[sewn.welded[0][suit.stitches[0].a], :2].T).mean()

    assert enclosed(start, sewn.faces) < 0.5 * 2 / 3 * np.pi * a * r**2
    assert enclosed(place, sewn.faces) == pytest.approx(2 / 3 * np.pi * a * r**2, rel=0.01)
    assert rim == pytest.approx(r, rel=0.015)
    assert np.ptp(place[:, 2]) == pytest.approx(1.19814 * r, rel=0.03)


def gores(radius: float, count: int, columns: int = 8, rows: int = 48) -> Bundle:
    """Flat gores of a sphere, half as wide as (pi radius / count) cos(s / radius), sewn to a closed envelope."""
    s = np.linspace(-0.5 * np.pi * radius, 0.5 * np.pi * radius, rows + 1)
    half = np.pi * radius / count * np.cos(s[1:-1] / radius)
    across = np.linspace(-1.0, 1.0, columns + 1)
    inner = np.stack(
        [np.outer(half, across), np.repeat(s[1:-1, None], columns + 1, axis=1)], axis=2
    )
    flat = np.concatenate([[[0.0, s[0]]], inner.reshape(-1, 2), [[0.0, s[-1]]]])
    at = 1 + np.arange((rows - 1) * (columns + 1)).reshape(rows - 1, columns + 1)
    a, b, c, d = at[:-1, :-1].ravel(), at[:-1, 1:].ravel(), at[1:, 1:].ravel(), at[1:, :-1].ravel()
    low = [np.zeros(columns, int), at[0, 1:], at[0, :-1]]
    high = [np.full(columns, len(flat) - 1), at[-1, :-1], at[-1, 1:]]
    quads = [np.stack([a, b, c], 1), np.stack([a, c, d], 1)]
    faces = np.concatenate(
        [*quads, np.stack(low, 1)[:, [0, 2, 1]], np.stack(high, 1)[:, [0, 2, 1]]]
    )
    one, two = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
    wrong = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0] < 0
    faces[wrong] = faces[wrong][:, ::-1]
    left = np.concatenate([[0], at[:, 0], [len(flat) - 1]])
    right = np.concatenate([[0], at[:, -1], [len(flat) - 1]])
    sheets = tuple(Sheet(f"gore {k}", flat, faces, (1.0, 1.0, 1.0), ()) for k in range(count))
    stitches = tuple(Stitch(f"seam {k}", k, right, (k + 1) % count, left) for k in range(count))
    return Bundle(sheets, stitches)


@pytest.mark.parametrize("count", [6, 8, 12])
def test_gores_under_pressure_come_to_the_envelope_of_so_many_gores(count: int) -> None:
    """Flat gores blown out from a thin spindle.

    Round the equator all gores measure 2 pi R, so the mean radius there is R (VALUES 6.4: rule S). Cloth that bends
    one way only makes an n-gon of that girth, area (pi / n) / tan(pi / n) of the circle's; cloth that bends as it
    likes at most the circle. The envelope lies between, and holds between so many sphere's volumes.
    """
    radius = 100.0
    suit = gores(radius, count)
    sewn = weld(suit)
    start = np.zeros((sewn.count, 3))
    for k, (welded, sheet) in enumerate(zip(sewn.welded, suit.sheets, strict=True)):
        x, s = sheet.positions.T
        reach = 0.5 * radius * np.cos(s / radius)
        angle = 2 * np.pi * k / count + x / (radius * np.maximum(np.cos(s / radius), 1e-9))
        start[welded] = np.column_stack([reach * np.cos(angle), reach * np.sin(angle), s])
    place, _ = blown(sewn, start, load=0.01, steps=3000)
    middle = np.abs(suit.sheets[0].positions[:, 1]) < 1e-9
    ring = np.concatenate(
        [
            place[w[middle]][np.argsort(s.positions[middle, 0])][:-1]
            for w, s in zip(sewn.welded, suit.sheets, strict=True)
        ]
    )
    girth = float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum())
    x, y = ring[:, 0], ring[:, 1]
    area = 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))
    gon = (np.pi / count) / np.tan(np.pi / count)
    sphere = 4 / 3 * np.pi * radius**3
    assert enclosed(start, sewn.faces) < 0.7 * sphere
    assert girth / (2 * np.pi) == pytest.approx(radius, rel=0.015)
    assert gon * 0.99 < area / (np.pi * radius**2) < 1.02
    assert gon * 0.97 < enclosed(place, sewn.faces) / sphere < 1.02
