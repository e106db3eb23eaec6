"""Measurements that contradict each other, against real records and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from padlib.body.agree import check_tape, contradictions
from padlib.errors import InputError

# ANSUR II, subjects 23724 (m) and 25352 (f), the ones nearest to all means (public domain, NATICK/TR-15/007)
MAN = {
    "stature": 1765, "head_girth": 574, "neck_girth": 390, "neck_base_girth": 426, "chest_girth": 1044,
    "waist_girth": 970, "waist_breadth": 331, "waist_depth": 246,
    "hip_girth": 1042, "hip_breadth": 357, "hip_depth": 254,
    "thigh_girth": 639, "calf_girth": 402, "minimum_leg_girth": 227, "upper_arm_girth": 357, "forearm_girth": 311,
    "wrist_girth": 168, "hand_length": 199, "foot_length": 269, "cervicale_height": 1515, "shoulder_height": 1424,
    "axilla_height": 1311, "waist_height": 1042, "trochanter_height": 900, "crotch_height": 842, "knee_height": 480,
    "ankle_height": 67, "back_waist_length": 482, "total_crotch_length": 626,
}  # fmt: skip
WOMAN = {
    "stature": 1627, "head_girth": 558, "neck_girth": 339, "neck_base_girth": 371, "chest_girth": 929,
    "waist_girth": 844, "waist_breadth": 288, "waist_depth": 215,
    "hip_girth": 983, "hip_breadth": 341, "hip_depth": 227,
    "thigh_girth": 615, "calf_girth": 377, "minimum_leg_girth": 226, "upper_arm_girth": 315, "forearm_girth": 268,
    "wrist_girth": 152, "hand_length": 187, "foot_length": 251, "cervicale_height": 1395, "shoulder_height": 1328,
    "axilla_height": 1234, "waist_height": 989, "trochanter_height": 865, "crotch_height": 782, "knee_height": 459,
    "ankle_height": 64, "back_waist_length": 428, "total_crotch_length": 605,
}  # fmt: skip


@pytest.mark.parametrize("record", [MAN, WOMAN])
def test_real_people_agree_with_themselves(record: dict[str, float]) -> None:
    """Two complete records of a public survey give no finding at all."""
    assert contradictions(record) == []
    assert check_tape(record) == []


@pytest.mark.parametrize(
    ("change", "where", "number"),
    [
        ({"wrist_girth": 330}, "wrist_girth", 264),
        ({"neck_girth": 600}, "neck_girth", 264),
        ({"knee_height": 900}, "knee_height", 264),
        ({"total_crotch_length": 390}, "total_crotch_length", 264),
        ({"waist_girth": 1200}, "waist_girth", 264),
        ({"waist_depth": 420}, "waist_girth", 264),
        ({"chest_girth": 900}, "waist_girth", 265),
        ({"arm_length": 650, "upper_arm_length": 300, "forearm_length": 250}, "arm_length", 265),
        ({"body_rise": 260}, "body_rise", 265),
        ({"back_waist_length": 600}, "back_waist_length", 265),
        ({"thigh_girth": 800}, "thigh_girth", 265),
        ({"foot_length": 350}, "foot_length", 265),
        ({"crotch_height": 899, "trochanter_height": 890, "hip_height": 905}, "crotch_height", 265),
    ],
)
def test_each_contradiction_is_named(change: dict[str, float], where: str, number: int) -> None:
    """One changed number gives a finding about it, that names its value."""
    found = [f for f in contradictions(MAN | change) if (f.where, f.number) == (where, number)]

    assert found
    assert f"{(MAN | change)[where]:g} mm" in found[0].words


def test_impossible_ones_are_refused_together() -> None:
    """Both impossible pairs stand in one message; what is only odd is told."""
    wrong = MAN | {"wrist_girth": 330, "knee_height": 900}
    with pytest.raises(InputError, match=r"wrist_girth 330 .* knee_height 900") as caught:
        check_tape(wrong)

    assert "\n" not in str(caught.value)
    assert [f.number for f in check_tape(MAN | {"chest_girth": 900})] == [265]


def test_what_is_no_number_is_left_to_others() -> None:
    """Words, nothing, infinity and unknown names neither raise nor count."""
    assert (
        contradictions({"waist_girth": "wide", "hip_girth": np.inf, "tail": 3, "stature": True})
        == []
    )


@pytest.mark.property
@settings(max_examples=60, deadline=None, derandomize=True)
@given(a=st.floats(60, 400), b=st.floats(60, 400), stretch=st.floats(1.15, 3))
def test_an_ellipse_fits_its_own_breadth_and_depth(a: float, b: float, stretch: float) -> None:
    """The exact perimeter of an ellipse (scipy's elliptic integral) is possible; 2 (breadth + depth) x 1.15 is not."""
    long, short = max(a, b), min(a, b)
    perimeter = 4 * long * float(ellipe(1 - (short / long) ** 2))
    size = {"waist_breadth": 2 * a, "waist_depth": 2 * b}

    assert contradictions(size | {"waist_girth": perimeter}) == []
    assert len(contradictions(size | {"waist_girth": 4 * (a + b) * stretch})) == 1
