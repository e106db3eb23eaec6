"""Thread by the geometry of a stitch, against the table worked out in the check values (VALUES 4.3)."""

import pytest

from padlib.errors import InputError
from padlib.pattern.sewing import hours, thread_ratio


@pytest.mark.parametrize(
    ("stitch", "thin", "thick"),
    [(301, 2.79, 5.15), (401, 4.79, 7.15), (504, 14.45, 19.17), (514, 15.24, 22.32), (516, 19.24, 26.32)],
)  # fmt: skip
def test_ratios_of_the_table(stitch, thin, thick):
    """Ten stitches to the inch, 5 mm wide, plies of 1 and of 4 mm together."""
    for thickness, ratio in ((1.0, thin), (4.0, thick)):
        got = thread_ratio(stitch, thickness_mm=thickness, length_mm=2.54, width_mm=5.0)
        assert got == pytest.approx(ratio, abs=0.006)


def test_lockstitch_is_geometry():
    """One length above, one below, and twice the thickness at each stitch."""
    assert thread_ratio(301, thickness_mm=3.0, length_mm=3.0) == pytest.approx(4.0)


def test_unknown_stitch():
    """The known ones are named."""
    with pytest.raises(InputError, match="no stitch 999; take one of 301, 401"):
        thread_ratio(999, thickness_mm=1.0, length_mm=3.0)


def test_hours_are_a_range():
    """60 m at 0.5 to 1 m a minute: one to two hours."""
    assert hours(60.0, (0.5, 1.0)) == pytest.approx((1.0, 2.0))
