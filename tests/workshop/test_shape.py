"""Places drawn on the figure, kept in coordinates of the wearer's body."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from padlib.body.body import Body
from padlib.body.landmarks import with_landmarks
from padlib.mesh.point import nearest, positions
from padlib.mesh.read import read_mesh
from padlib.mesh.surface import Surface
from padlib.padding.spot import on_body
from padlib.suit.demo import DEMO_BODY
from padlib.suit.file import parse_suit
from padlib.workshop.edit import add_entry
from padlib.workshop.shape import Shape

BELLY = ([-90, -300, 1060], [0, -300, 1150], [90, -300, 1060], [120, -20, 700])


@pytest.fixture(scope="module")
def body():
    """The built-in body with its landmarks."""
    return with_landmarks(Body(read_mesh(DEMO_BODY)))


def test_drawn_places_follow_a_wearer_who_has_grown(body):
    """On the same body a tenth larger, the places written for the first lie a tenth farther from the ground's middle:
    similar bodies have similar coordinates. On the body itself they lie where they were drawn."""
    surface = body.surface
    shape = Shape(0, surface.vertices, surface.faces, surface.vertices, body)
    points = nearest(surface.vertices, surface.faces, np.array(BELLY, dtype=float))
    drawn = positions(surface.vertices, surface.faces, points)
    text = add_entry("name = 's'\n", "mark", {"style": "line", "through": shape.spots(points)})
    spots = parse_suit(text).marks[0].through
    grown = replace(body, surface=Surface(1.1 * surface.vertices, surface.faces))
    for wearer, scale in ((body, 1.0), (grown, 1.1)):
        found = on_body(wearer, spots, "test")
        at = positions(wearer.surface.vertices, wearer.surface.faces, found)

        assert np.linalg.norm(at - scale * drawn, axis=1).max() < 1.0  # mm
