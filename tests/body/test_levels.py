"""Levels asked of a body: given heights and lengths between them, met at once in the plain case of a straight trunk."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from padlib.body.levels import bow, levels

NOW = {  # mm
    "stature": 1700.0, "cervicale_height": 1460.0, "waist_height": 1050.0, "crotch_height": 800.0,
    "body_rise": 250.0, "trunk_length": 660.0, "back_waist_length": 410.0,
}  # fmt: skip
WISHED = {
    "stature": 1750.0, "cervicale_height": 1500.0, "waist_height": 1060.0, "crotch_height": 835.0,
    "body_rise": 225.0, "trunk_length": 665.0, "back_waist_length": 440.0,
}  # fmt: skip
SETS = [s for k in range(1, 7) for s in itertools.combinations(list(WISHED)[1:], k)]


@pytest.mark.parametrize("names", SETS)
def test_any_set_of_heights_and_drops_is_met_in_one_round(names: tuple[str, ...]) -> None:
    """What was asked is what the moved levels give, for every set of six that go together; stature always.

    The back's own length alone may be left to the chest, and only where its ends follow from the others.
    """
    given = {n: WISHED[n] for n in names}
    z, up = levels(NOW, given, WISHED["stature"])
    new = {n: NOW[n] + float(np.interp(NOW[n], z, up)) for n in list(NOW)[:4]}
    new["body_rise"] = new["waist_height"] - new["crotch_height"]
    new["trunk_length"] = new["cervicale_height"] - new["crotch_height"]
    new["back_waist_length"] = new["cervicale_height"] - new["waist_height"]

    for name in ("stature", *names):
        assert new[name] == pytest.approx(WISHED[name], abs=1e-6), name


@pytest.mark.parametrize(
    ("names", "held"),
    [
        (("cervicale_height", "body_rise"), False),
        (("cervicale_height", "waist_height"), True),
        (("trunk_length", "body_rise"), True),
        (("cervicale_height", "body_rise", "crotch_height"), True),
        (("trunk_length", "waist_height"), False),
    ],
)
def test_the_chest_gives_way_only_where_both_ends_of_the_back_are_fixed(names, held: bool) -> None:
    """A chain of heights and drops from the nape to the waist, or none."""
    given = {n: WISHED[n] for n in (*names, "back_waist_length")}

    assert (bow(NOW, given) != 0.0) == held
