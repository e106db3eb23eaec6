"""Lays: pieces keep apart, stay on the cloth, keep their pile, and come in pairs."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.lay.pack import copies, lay_pieces, outline
from padlib.lay.skyline import skyline
from padlib.pattern.piece import Piece


def piece(number: int, line: np.ndarray, count: int = 1, mirrored: bool = False) -> Piece:
    """A piece of which only the cut line matters here."""
    return Piece(
        number, f"p{number}", "left", "fur", count, mirrored, line, line, (), (), (), (), (),
        np.array([[0.0, 10.0], [0.0, 0.0]]), 0.0, 0.0,
    )  # fmt: skip


def random_pieces(seed: int, count: int) -> list[Piece]:
    """Star-shaped outlines of random size."""
    rng = np.random.default_rng(seed)
    out = []
    for number in range(1, count + 1):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 24))
        radius = rng.uniform(60, 220) * rng.uniform(0.6, 1.0, 24)
        line = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        out.append(piece(number, line, 2, True))
    return out


@pytest.mark.parametrize("seconds", [0, 2])
@pytest.mark.parametrize("seed", [1, 2])
def test_pieces_keep_apart_and_on_the_cloth(seed: int, seconds: int) -> None:
    """No two placed pieces are nearer than the gap, and none leaves the cloth; independent of the packer."""
    pieces = random_pieces(seed, 6)
    lay = lay_pieces(pieces, cloth="fur", width_mm=900, gap_mm=10, seconds=seconds, seed=3)
    by_number = {p.number: p for p in pieces}
    shapes = [
        shapely.Polygon(outline(by_number[q.number], q.mirrored) + np.array(q.offset))
        for q in lay.placements
    ]

    assert len(shapes) == 12
    for i, one in enumerate(shapes):
        x0, y0, x1, y1 = one.bounds
        assert x0 >= -1e-6
        assert y0 >= -1e-6
        assert x1 <= 900 + 1e-6
        assert y1 <= lay.length_mm + 1e-6
        for other in shapes[i + 1 :]:
            assert (
                one.distance(other) >= 10 - 0.7
            )  # the packer works on outlines simplified by 0.3 mm
    area = sum(s.area for s in shapes)
    assert lay.used_percent == pytest.approx(100 * area / (900 * lay.length_mm))


def test_rectangles_fill_the_width_exactly() -> None:
    """Four squares of 240 mm with a gap of 10 lie two and two on cloth of 500 mm: 490 mm long."""
    square = np.array([[0, 0], [240, 0], [240, 240], [0, 240.0]])
    offsets, length = skyline([square] * 4, 500, 10, step=1.0)

    assert length == pytest.approx(490, abs=2)
    assert len({round(x) for x, _ in offsets}) == 2


def test_both_sides_of_a_mirrored_piece_are_laid() -> None:
    """A piece that is cut twice and mirrored lies once face up and once face down."""
    triangle = np.array([[0, 0], [100, 0], [0, 50.0]])
    every = copies([piece(1, triangle, 2, True), piece(2, triangle, 3, False)])

    assert [(p.number, down) for p, down in every] == [
        (1, False), (1, True), (2, False), (2, False), (2, False),
    ]  # fmt: skip
    assert outline(every[1][0], True)[:, 0].min() == -100


def test_quick_lay_is_the_same_every_time() -> None:
    """Without a time budget the same pieces give the same lay."""
    lays = [lay_pieces(random_pieces(5, 5), cloth="fur", width_mm=800, seconds=0) for _ in range(2)]

    assert lays[0] == lays[1]


def test_piece_wider_than_the_cloth_is_named() -> None:
    """A piece that cannot lie on the cloth is named with both widths."""
    line = np.array([[0, 0], [700, 0], [700, 50], [0, 50.0]])
    with pytest.raises(InputError, match=r"cloth 'fur' is 600 mm wide but piece 'p1' needs 700 mm"):
        lay_pieces([piece(1, line)], cloth="fur", width_mm=600)


def test_no_pieces_need_no_cloth() -> None:
    """An empty lay has no length."""
    assert lay_pieces([], cloth="fur", width_mm=600).length_mm == 0
