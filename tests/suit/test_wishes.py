"""The maker's own darts: read from the suit file, brought to the panel that is laid, and kept there."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from padlib.errors import SuitError
from padlib.flatten.disk import boundary_loop
from padlib.flatten.pins import Ban, Pin
from padlib.mesh.surface import Surface
from padlib.seams.panels import Edge, Panel
from padlib.suit.file import parse_suit
from padlib.suit.steps import flatten_panels
from padlib.suit.wishes import Wishes, suit_wishes

SPEC = importlib.util.spec_from_file_location(
    "panels_by_hand", Path(__file__).parents[1] / "panels_by_hand.py"
)
BY_HAND = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(BY_HAND)

TEXT = """
[darts]
percentile = 97
hide = 0.1

[[dart]]
panel = "back-right"
from = [-60, 0, 0]
to = "seat_right"

[[dart]]
state = "forbid"
seam = "side-right"

[[dart]]
state = "forbid"
from = [100, 0, 0]
radius = 20
"""
MARKS = {"seat_right": np.array([-100.0, 5.0, 0.0])}


def square(name: str, side: str, mirror_of: str | None = None) -> Panel:
    """A flat square of 80 mm beside the middle, with seams 'side-SIDE' and 'centre'."""
    sign = 1.0 if side == "left" else -1.0
    vertices, faces = BY_HAND.grid(
        lambda u, v: np.stack([sign * (60 + 80 * u), 80 * v - 40, 0 * u], 1), 9, 9
    )
    faces = faces if side == "left" else np.ascontiguousarray(faces[:, ::-1])
    loop = boundary_loop(faces)
    half = len(loop) // 2
    runs = loop[: half + 1], np.append(loop[half:], loop[0])
    edges = (Edge(f"side-{side}", "sewn", runs[0]), Edge("centre", "sewn", runs[1]))
    return Panel(name, side, Surface(vertices, faces), np.arange(81), edges, mirror_of)


BOTH = (square("back-left", "left"), square("back-right", "right", "back-left"))


def test_what_a_suit_file_says_of_darts() -> None:
    """Percentile, hiding, pinned darts and bans are read with their line."""
    suit = parse_suit(TEXT)
    assert (suit.darts["percentile"], suit.darts["hide"]) == (97.0, 0.1)
    pin, seam, spot = suit.dart
    assert (pin.state, pin.panel, pin.start, pin.end) == (
        "pin",
        "back-right",
        (-60.0, 0.0, 0.0),
        "seat_right",
    )
    assert pin.line == 6
    assert (seam.state, seam.seam) == ("forbid", "side-right")
    assert (spot.start, spot.radius) == ((100.0, 0.0, 0.0), 20.0)


def test_wishes_go_to_the_panel_that_is_laid() -> None:
    """What is asked of a mirror image is asked of its original, mirrored, seam names and all."""
    wishes = suit_wishes(parse_suit(TEXT).dart, BOTH, MARKS)
    assert dict(wishes) == {
        "back-left": Wishes(
            (Pin((60.0, 0.0, 0.0), (100.0, 5.0, 0.0)),),
            (Ban(seam="side-left"), Ban(at=(100.0, 0.0, 0.0), radius=20.0)),
        )
    }


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('panel = "back"\nfrom = [0, 0, 0]\nto = [1, 0, 0]', "line 1: there is no panel 'back'"),
        (
            'panel = "back-left"\nfrom = "tail"\nto = [1, 0, 0]',
            "names 'tail', which is no landmark",
        ),
        ('state = "forbid"\nseam = "hem"', "no seam 'hem' to keep darts off; there are centre, si"),
        ('state = "forbid"\nfrom = [0, 0, 900]', "no panel lies within 30 mm of x 0, y 0, z 900"),
    ],
)
def test_wishes_that_cannot_be(lines: str, words: str) -> None:
    """A panel, landmark, seam or place that is not there is told with the line of the file."""
    asked = parse_suit(f"[[dart]]\n{lines}").dart
    with pytest.raises(SuitError, match=words):
        suit_wishes(asked, BOTH, MARKS)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('panel = "back-left"\nfrom = [0, 0, 0]', "this pinned dart has no 'to'; add it"),
        ('from = [0, 0, 0]\nto = "crown"', "this pinned dart has no 'panel'"),
        ('state = "forbid"', "either at a place, 'from', or on a 'seam'"),
        ('state = "forbid"\nseam = "side"\nfrom = "crown"', "either at a place"),
        ('state = "keep"', "'state' cannot be 'keep'"),
        ("from = [0, 0]", r"'from' needs points as \[x, y, z\]"),
        ('state = "forbid"\nseam = "side"\nradius = 0', "'radius' is 0; it must lie between"),
        ('mouth = "crown"', "'mouth' is unknown in"),
    ],
)
def test_slips_in_the_suit_file(lines: str, words: str) -> None:
    """A dart that says too little or too much is refused with file and line."""
    with pytest.raises(SuitError, match=words):
        parse_suit(f"[[dart]]\n{lines}", name="giant.toml")


def test_a_suits_percentile_and_pins_reach_the_flats() -> None:
    """Laid through the steps of a suit, a dome keeps its pinned dart and the percentile asked for."""
    ball, faces = BY_HAND.cap(70, rings=10)
    loop = boundary_loop(faces)
    edge = Edge("rim", "sewn", np.append(loop, loop[0]))
    vertices = ball * [1.6, 1.0, 0.8]
    dome = Panel("dome", "both", Surface(vertices, faces), np.arange(len(ball)), (edge,))
    pin = Pin((0.0, 95.0, 27.0), (5.0, 62.0, 60.0))
    flat = flatten_panels(
        [dome],
        {"dome": np.array([0.0, -1.0, 0.0])},
        limit=0.05,
        most=4,
        wishes={"dome": Wishes((pin,), (Ban(at=(0.0, -95.0, 27.0), radius=30.0),))},
        percentile=99.0,
    )[0]
    at = flat.panel.surface.vertices
    assert np.linalg.norm(at[flat.darts[0].left[0]] - pin.mouth) < 8.0
    assert len(flat.darts) > 1
    size = np.sort(np.abs(flat.stretch).max(axis=1))
    assert size[int(0.985 * len(size))] <= 0.05  # triangles are of much the same size
    for dart in flat.darts[1:]:
        assert np.linalg.norm(at[dart.left] - [0.0, -95.0, 27.0], axis=1).min() > 25.0
