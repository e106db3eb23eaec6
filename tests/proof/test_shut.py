"""Darts pinned shut on the table: legs lie on one another, and what lies beyond a dart turns back to where it hangs."""

from __future__ import annotations

import numpy as np
import pytest

from padlib.proof.sheets import Bundle, Sheet, Stitch
from padlib.proof.shut import shut

ACROSS, DOWN, STEP = 6, 36, 20.0  # squares of 20 mm: a strip 120 mm wide and 720 long
MIDDLE, TIP = (
    18,
    0,
)  # the row and the column of the dart's tip: at the left edge, so that the strip hinges there


def strip_with_dart(open_deg: float) -> tuple[Sheet, Stitch]:
    """A strip slit from its right edge to its left one but for one vertex, all that lies below it turned round that."""
    n = ACROSS + 1
    column, row = np.meshgrid(np.arange(n), np.arange(DOWN + 1))
    place = STEP * np.column_stack([column.ravel(), row.ravel()]).astype(float)
    upper = MIDDLE * n + np.arange(
        TIP, n
    )  # along the slit; the lower leg's vertices come after all others
    lower = np.concatenate([upper[:1], len(place) + np.arange(len(upper) - 1)])
    place = np.vstack([place, place[upper[1:]]])
    faces = []
    for r in range(DOWN):
        for c in range(ACROSS):
            a, b, up = r * n + c, r * n + c + 1, [(r + 1) * n + c, (r + 1) * n + c + 1]
            if r == MIDDLE - 1:  # the row under the slit
                up = [int(lower[k - TIP]) if k > TIP else MIDDLE * n + k for k in (c, c + 1)]
            faces += [[a, b, up[1]], [a, up[1], up[0]]]
    below = np.append(np.arange(MIDDLE * n), lower[1:])
    turn = np.radians(-open_deg)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    tip = place[upper[0]]
    place[below] = (place[below] - tip) @ spin.T + tip
    sheet = Sheet("strip", place, np.array(faces), (1.0, 1.0, 1.0), ())
    return sheet, Stitch("dart 1 of strip", 0, upper, 0, lower, dart=True)


def between(place: np.ndarray) -> float:
    """The angle in degrees between the lengths of the strip's upper and lower thirds."""
    n = ACROSS + 1
    way = []
    for rows in (np.arange(0, 12 * n), np.arange(25 * n, (DOWN + 1) * n)):
        part = place[rows] - place[rows].mean(axis=0)
        axis = np.linalg.svd(part)[2][0]
        way.append(axis * np.sign(axis[1]))
    return float(np.degrees(np.arccos(np.clip(way[0] @ way[1], -1.0, 1.0))))


@pytest.mark.parametrize("open_deg", [4.0, 8.0, 12.0])
def test_a_dart_pinned_shut_turns_what_lies_beyond_it_back(open_deg: float) -> None:
    """A strip that hinges at the tip comes out straight, but for 1.5 degrees by when the search ends; the legs lie on
    one another, and no edge away from the dart changes its length by more than 2 %."""
    sheet, dart = strip_with_dart(open_deg)
    made = shut(Bundle((sheet,), (dart,)))[0].positions
    edges = sheet.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    length = [
        np.linalg.norm(np.diff(at[edges], axis=1)[:, 0], axis=1) for at in (sheet.positions, made)
    ]
    far = np.abs(sheet.positions[edges].mean(axis=1)[:, 1] - STEP * MIDDLE) > 100.0

    assert between(sheet.positions) == pytest.approx(open_deg, abs=0.01)
    assert between(made) < 1.5
    assert np.linalg.norm(sheet.positions[dart.a] - sheet.positions[dart.b], axis=1).max() > 5.0
    assert made[dart.a] == pytest.approx(made[dart.b], abs=1e-9)
    assert np.abs(length[1] / length[0] - 1.0)[far].max() < 0.02


def test_a_sheet_without_darts_stays_as_it_lies() -> None:
    """Seams to other sheets, or to itself as of a sleeve, are no darts."""
    sheet, dart = strip_with_dart(8.0)
    seam = Stitch("sleeve", 0, dart.a, 0, dart.b)

    assert shut(Bundle((sheet,), (seam,)))[0].positions is sheet.positions
