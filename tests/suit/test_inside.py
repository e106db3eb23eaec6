"""Lines inside the pieces: zips at the middle of bases, outlines of cushions on the suit."""

from __future__ import annotations

import numpy as np

from padlib.suit.built import Built
from padlib.suit.inside import pad_lines, zip_lines, zip_places
from padlib.suit.pillows import rim_runs


def length(line) -> float:
    """Length of a polyline."""
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def halfway(line):
    """The point of a polyline at half its length."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return np.array([np.interp(along[-1] / 2, along, line[:, k]) for k in range(3)])


def test_every_printed_base_has_its_zip_at_the_middle(demo_built: Built) -> None:
    """One line of the zip's length within 4 % (the cloth's stretch), as far from both ends of the middle."""
    pieces = [p for p in demo_built.pieces if p.panels[0].endswith("-base")]
    zips = {(p.name): p.zip_mm for p in demo_built.pillows}
    assert len(pieces) == 2
    for piece in pieces:
        lines = [i for i in piece.inner if i.purpose == "place"]
        name = piece.panels[0].split("-")[1]
        assert lines[0].words == f"zip {zips[name]:.0f} mm"
        drawn = sum(length(i.points) for i in lines)
        assert 0.96 * zips[name] < drawn < 1.04 * zips[name]


def test_a_zip_is_as_long_as_told_and_centred(demo_built: Built) -> None:
    """In 3D: zip_mm long, its middle at half the length of the base's middle line."""
    for pillow in demo_built.pillows:
        line = zip_places(pillow)
        whole = pillow.middle.positions(pillow.base.vertices, pillow.base.faces)
        assert abs(length(line) - pillow.zip_mm) < 1.0
        assert np.linalg.norm(halfway(whole) - halfway(line)) < 1.0


def test_outlines_on_the_suit_are_as_long_as_the_rims(demo_built: Built) -> None:
    """What is drawn on all flats of the suit, both sides, is the rim's length on the shell within 6 %."""
    built = demo_built
    lines, marks = pad_lines(built.body, built.shell, built.pillows, built.flats)
    drawn = sum(length(i.points) for own in lines.values() for i in own if length(i.points) > 15)
    rims = 0.0
    for pillow in built.pillows:
        rim, cuts = rim_runs(pillow)
        rims += length(np.vstack([rim, rim[:1]]))
        assert [m.mark for m in marks[pillow.name, pillow.side]] == [1, 2, 3, 4]
    assert 0.9 * rims < drawn < 1.25 * rims  # on the shell a rim is longer than on the skin
    for panel, own in lines.items():
        assert all(i.purpose == "place" for i in own)
        flat = next(f for f in built.flats if f.panel.name == panel)
        low, high = flat.positions.min(axis=0) - 5, flat.positions.max(axis=0) + 5
        for inner in own:
            assert (inner.points > low).all()
            assert (inner.points < high).all()


def test_zip_lines_lie_inside_their_flats(demo_built: Built) -> None:
    """Every base has one, also the right ones, which are not printed."""
    lines = zip_lines(demo_built.pillows, demo_built.pillow_flats)
    assert len(lines) == len(demo_built.pillows)


def test_top_and_base_are_as_long_as_each_other(demo_built: Built) -> None:
    """Every run of every rim is as long on the top as on the base, within 0.2 mm."""
    assert len(demo_built.pillow_differences) == len(demo_built.pillows)
    assert max(demo_built.pillow_differences.values()) <= 0.2
