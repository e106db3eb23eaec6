"""Lays: pieces keep apart, stay on the cloth, keep their pile, and come in pairs."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from padlib.errors import InputError
from padlib.lay import pack
from padlib.lay.lay import placed_outline
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
    """Of a pair one lies face up and one face down; others lie face down, so that the pile side is as printed."""
    triangle = np.array([[0, 0], [100, 0], [0, 50.0]])
    every = copies([piece(1, triangle, 2, True), piece(2, triangle, 3, False)])

    assert [(p.number, down) for p, down in every] == [
        (1, False), (1, True), (2, True), (2, True), (2, True),
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


@pytest.mark.parametrize("seconds", [0, 2])
def test_spoiled_places_stay_free(seconds: int) -> None:
    """No piece comes nearer to a spoiled place than the gap, on either way of laying."""
    avoid = ((300.0, 100.0, 60.0, 40.0), (0.0, 500.0, 900.0, 30.0))
    pieces = random_pieces(4, 5)
    lay = lay_pieces(pieces, cloth="fur", width_mm=900, seconds=seconds, avoid=avoid)
    by_number = {p.number: p for p in pieces}
    for q in lay.placements:
        shape = shapely.Polygon(placed_outline(by_number[q.number], q))
        for x, y, w, h in avoid:
            assert shape.distance(shapely.box(x, y, x + w, y + h)) >= 10 - 0.7
    plain = lay_pieces(pieces, cloth="fur", width_mm=900, seconds=0)
    assert lay.avoid == avoid
    assert seconds or lay.length_mm > plain.length_mm


@pytest.mark.parametrize(
    ("pile", "tilt", "allowed"),
    [
        ("one-way", 0.0, {0.0}),
        ("two-way", 0.0, {0.0, 180.0}),
        ("none", 0.0, {0.0, 90.0, 180.0, 270.0}),
        ("one-way", 4.0, {0.0, 2.0, 358.0, 4.0, 356.0}),
    ],
)
def test_turns_are_those_allowed(pile: str, tilt: float, allowed: set[float]) -> None:
    """By the pile no turn, half turns or quarter turns, tilted a little if asked; pieces keep apart all the same."""
    pieces = random_pieces(9, 5)
    lay = lay_pieces(
        pieces, cloth="fur", width_mm=700, seconds=2, gap_mm=10, pile=pile, tilt_deg=tilt
    )
    by_number = {p.number: p for p in pieces}
    shapes = [shapely.Polygon(placed_outline(by_number[q.number], q)) for q in lay.placements]

    assert {round(q.turn_deg, 6) for q in lay.placements} <= allowed
    for i, one in enumerate(shapes):
        assert one.bounds[0] >= -1e-3
        assert one.bounds[2] <= 700 + 1e-3
        assert all(one.distance(other) >= 10 - 0.7 for other in shapes[i + 1 :])
    assert lay.length_mm == pytest.approx(max(s.bounds[3] for s in shapes))


def test_wedges_interlock_on_cloth_without_pile() -> None:
    """Eight right triangles of 300 x 300 on 610 mm: half turned 600 mm long, not turned over 800."""
    wedge = np.array([[0, 0], [300, 0], [0, 300.0]])
    lay = lay_pieces(
        [piece(1, wedge, 8)], cloth="felt", width_mm=610, gap_mm=0, seconds=3, pile="two-way"
    )
    one_way = lay_pieces([piece(1, wedge, 8)], cloth="fur", width_mm=610, gap_mm=0, seconds=3)

    assert 590 <= lay.length_mm <= 640
    assert one_way.length_mm > 800


def test_progress_tells_the_length_so_far() -> None:
    """While the packer works the cloth and its length are told, shares growing to 1."""
    told = []
    lay_pieces(
        random_pieces(3, 6),
        cloth="fur",
        width_mm=900,
        seconds=2,
        tell=lambda w, s: told.append((w, s)),
    )

    assert told
    assert all(
        words.startswith("laying fur: ") and words.endswith(" m so far") for words, _ in told
    )
    assert [s for _, s in told] == sorted(s for _, s in told)


def test_without_the_packer_the_quick_lay_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the packer is missing the quick lay is given, and that is told."""
    monkeypatch.setattr(pack, "spyrrow", None)
    lay = lay_pieces(random_pieces(5, 5), cloth="fur", width_mm=800, seconds=5)

    assert [f.number for f in lay.findings] == [801]
    assert (
        lay.placements
        == lay_pieces(random_pieces(5, 5), cloth="fur", width_mm=800, seconds=0).placements
    )


def test_cost_is_by_the_metre() -> None:
    """Cloth of 30 a metre: the length in metres times 30."""
    lay = lay_pieces(random_pieces(5, 5), cloth="fur", width_mm=800, seconds=0, price=30.0)

    assert lay.cost() == pytest.approx(0.03 * lay.length_mm)


def test_bad_pile_and_tilt_are_told() -> None:
    """Each in a sentence."""
    with pytest.raises(InputError, match="pile is 'both'; it must be one of one-way"):
        lay_pieces([], cloth="fur", width_mm=600, pile="both")
    with pytest.raises(InputError, match="tilt is 30; it must lie between 0 and 5"):
        lay_pieces([], cloth="fur", width_mm=600, tilt_deg=30.0)
