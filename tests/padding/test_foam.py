"""Foam sheets: outlines of known solids, all of the pad inside the stack."""

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from padlib.errors import InputError
from padlib.output.foam import foam_drawing
from padlib.padding.foam import closed_pillow, foam_stack
from padlib.padding.pad import Pad
from padlib.padding.pillow import make_pillows
from padlib.padding.shell import build_shell

BARE = {"cloth_thickness": 0.0, "ease": 0.0, "bridge": 0.0}


@pytest.fixture(scope="module")
def capped(slab):
    """A spherical cap 60 mm high over a circle of radius 150 mm, as a pillow on a plane."""
    turn = np.arange(60) * 2 * np.pi / 60
    loop = tuple((float(150 * np.cos(a)), float(150 * np.sin(a)), 0.0) for a in turn)
    pads = [Pad("cap", "drawn", "both", {"outline": loop, "depth": 60.0, "blend": 0.0})]
    shell = build_shell(slab, pads, **BARE)
    return make_pillows(slab, shell, pads)[0]


def test_sheets_of_a_cap_are_disks_of_its_own_radius(capped):
    """Each sheet's outline is the section at its inner face: sqrt(B^2 - h^2) of the sphere, within 2 %."""
    stack = foam_stack(capped, 20.0)
    ball = (150.0**2 + 60.0**2) / (2 * 60.0)
    assert len(stack.sheets) == 3
    for sheet in stack.sheets:
        radius = np.sqrt(ball**2 - (ball - 60.0 + sheet.height) ** 2)
        assert len(sheet.outlines) == 1
        assert sheet.area == pytest.approx(np.pi * radius**2, rel=0.025)
        far = np.linalg.norm(sheet.outlines[0] - sheet.outlines[0].mean(axis=0), axis=1)
        assert far.max() == pytest.approx(radius, rel=0.04)
    assert stack.carved_g == pytest.approx(28.8 * capped.volume_l)
    assert stack.mass_g == pytest.approx(28.8e-6 * 20 * sum(s.area for s in stack.sheets))


def test_the_pad_lies_inside_its_stack(human):
    """Every vertex of a thigh pad's cushion lies within the outline of the sheet at its height."""
    body = human("plain")
    pads = [Pad("thigh", "thigh", "left")]
    pillow = make_pillows(body, build_shell(body, pads), pads)[0]
    stack = foam_stack(pillow, 25.0)
    place = closed_pillow(pillow).vertices @ stack.frame.T
    height = place[:, 2] - place[:, 2].min()
    for sheet in stack.sheets:
        inside = (height > sheet.height + 1) & (height < sheet.height + 24)
        shape = shapely.union_all([Polygon(o).buffer(0) for o in sheet.outlines]).buffer(3.0)
        points = shapely.points(place[inside, 0], place[inside, 1])
        assert shapely.contains(shape, points).mean() > 0.999
    assert stack.sheets[-1].height < height.max() <= stack.sheets[-1].height + 25
    assert sum(s.area for s in stack.sheets) * 25 > pillow.volume_l * 1e6


def test_the_drawing_has_every_sheet_at_true_scale(capped):
    """One part a sheet, none over another, its outline as long as the stack's."""
    stack = foam_stack(capped, 20.0)
    drawing = foam_drawing([stack], title="probe")
    parts = drawing.parts[1:]
    assert len(parts) == 3
    for part, sheet in zip(parts, stack.sheets, strict=True):
        assert Polygon(part.marks[0].points).area == pytest.approx(sheet.area)
    rooms = [Polygon(part.outline) for part in parts]
    assert not any(a.intersects(b) for k, a in enumerate(rooms) for b in rooms[k + 1 :])
    assert drawing.width_mm < 1100


def test_sheets_out_of_limits_are_told(capped):
    """One sentence with the limits."""
    with pytest.raises(
        InputError, match="foam sheets of 1 mm were asked for; they must be 3 to 200 mm"
    ):
        foam_stack(capped, 1.0)
