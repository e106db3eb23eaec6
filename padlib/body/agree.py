"""Whether tape measurements agree with each other: what cannot be, and what hardly anybody has.

Orderings, ratios and shares are those of ANSUR II (2012; 4,082 men, 1,986 women; NATICK/TR-15/007, public
domain), worked out from its public release. Bounds of a girth by breadth and depth are those of any convex section.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from padlib.body.gates import ORDERED as GATES
from padlib.body.gates import RISE_TIMES
from padlib.body.plausible import ORDERED
from padlib.errors import InputError
from padlib.findings import Finding, Grade

CANNOT, HARDLY = 264, 265  # numbers of the findings
SLACK = 1.005  # readings of a tape are good to about half a per cent
FAR = 4.0  # standard deviations
ADULT = 1500.0  # stature in mm from which the ratios of adults hold

# smaller, larger, share of men and of women for whom it is so (%)
MOSTLY = (
    ("waist_girth", "chest_girth", 98.2, 94.4),
    ("forearm_girth", "upper_arm_girth", 99.7, 99.8),
    ("crotch_height", "trochanter_height", 99.8, 100.0),
)
# measured over stature: mean and standard deviation of men, of women
OF_STATURE = {
    "cervicale_height": (0.8639, 0.0066, 0.8570, 0.0068),
    "shoulder_height": (0.8203, 0.0096, 0.8198, 0.0087),
    "axilla_height": (0.7567, 0.0090, 0.7607, 0.0092),
    "trochanter_height": (0.5128, 0.0152, 0.5190, 0.0144),
    "crotch_height": (0.4815, 0.0141, 0.4802, 0.0151),
    "knee_height": (0.2780, 0.0092, 0.2756, 0.0090),
    "ankle_height": (0.0415, 0.0029, 0.0385, 0.0028),
    "hand_length": (0.1101, 0.0042, 0.1112, 0.0047),
    "foot_length": (0.1544, 0.0052, 0.1513, 0.0053),
    "head_girth": (0.3274, 0.0129, 0.3450, 0.0150),
}
# one over another: mean and standard deviation of men, of women
PAIRS = {
    ("thigh_girth", "hip_girth"): (0.613, 0.021, 0.603, 0.020),
    ("neck_girth", "neck_base_girth"): (0.915, 0.021, 0.889, 0.025),
    ("wrist_girth", "minimum_leg_girth"): (0.768, 0.036, 0.719, 0.038),
}
# whole, its parts with signs, how far off the sum may be in mm
SUMS = (
    ("arm_length", (("upper_arm_length", 1), ("forearm_length", 1)), 20.0),
    ("body_rise", (("waist_height", 1), ("crotch_height", -1)), 15.0),
    ("trunk_length", (("cervicale_height", 1), ("crotch_height", -1)), 15.0),
)
BACK = (0.96, 1.16)  # back waist length over its height: mean 1.037 men, 1.024 women, 4 deviations
SECTIONS = ("bust", "waist", "hip")


def contradictions(values: Mapping[str, float]) -> list[Finding]:
    """Findings for measurements (mm by name) that contradict each other, the impossible ones first.

    Number 264, grade WARNING: on no body measured; 265, grade NOTE: on hardly any. Names that are not
    known and values that are no positive numbers are passed over.
    """
    known = {n: float(v) for n, v in values.items() if _number(v)}
    hard = [*_order(known), *_rise(known), *_sections(known)]
    soft = [*_mostly(known), *_sums(known), *_ratios(known), *_stature(known)]
    return hard + soft


def _number(value: object) -> bool:
    """Whether a value can be compared; what is wrong with the others is told where they are used."""
    usable = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
    return usable and bool(np.isfinite(value)) and value > 0


def check_tape(values: Mapping[str, float]) -> list[Finding]:
    """The findings of `contradictions` that can be lived with. Raises InputError for those that cannot."""
    found = contradictions(values)
    hard = [f.words for f in found if f.number == CANNOT]
    if hard:
        raise InputError(" ".join(hard))
    return found


def _cannot(words: str, where: str) -> Finding:
    return Finding(CANNOT, words, where, Grade.WARNING)


def _hardly(words: str, where: str) -> Finding:
    return Finding(HARDLY, words, where, Grade.NOTE)


def _order(known: Mapping[str, float]) -> Iterator[Finding]:
    """What is smaller on everybody."""
    for small, large in dict.fromkeys((*ORDERED, *GATES)):
        if small in known and large in known and known[small] >= known[large] * SLACK:
            words = (
                f"{small} {known[small]:g} mm must be less than {large} {known[large]:g} mm, "
                "as it is on everybody; measure both again."
            )
            yield _cannot(words, small)


def _rise(known: Mapping[str, float]) -> Iterator[Finding]:
    """The crotch length goes down and up again: more than twice the rise."""
    rise = known.get("body_rise")
    if rise is None and "waist_height" in known and "crotch_height" in known:
        rise = known["waist_height"] - known["crotch_height"]
    whole = known.get("total_crotch_length")
    if rise and whole and whole * SLACK <= RISE_TIMES * rise:
        words = (
            f"total_crotch_length {whole:g} mm must be more than twice the {rise:g} mm from crotch to waist; "
            "measure it, waist_height and crotch_height again."
        )
        yield _cannot(words, "total_crotch_length")


def _sections(known: Mapping[str, float]) -> Iterator[Finding]:
    """A convex ring of breadth b and depth d is 2 sqrt(b2 + d2) to 2 (b + d) long."""
    for part in SECTIONS:
        b, d, girth = (known.get(f"{part}_{kind}") for kind in ("breadth", "depth", "girth"))
        if not (b and d and girth):
            continue
        low, high = 2 * float(np.hypot(b, d)), 2 * (b + d)
        if not low / SLACK <= girth <= high * SLACK:
            words = (
                f"{part}_girth {girth:g} mm cannot go round a section {b:g} mm broad and {d:g} mm deep, "
                f"which takes "
                f"{low:.0f} to {high:.0f} mm; measure the three again."
            )
            yield _cannot(words, f"{part}_girth")


def _mostly(known: Mapping[str, float]) -> Iterator[Finding]:
    for small, large, men, women in MOSTLY:
        if small in known and large in known and known[small] > known[large]:
            words = (
                f"{small} {known[small]:g} mm is more than {large} {known[large]:g} mm; it is less on "
                f"{men:g} % of men "
                f"and {women:g} % of women, so look at both again."
            )
            yield _hardly(words, small)


def _sums(known: Mapping[str, float]) -> Iterator[Finding]:
    """Lengths that do not add up."""
    for whole, parts, most in SUMS:
        if whole not in known or any(name not in known for name, _ in parts):
            continue
        total = sum(sign * known[name] for name, sign in parts)
        if abs(known[whole] - total) > most:
            signed = "".join(f" {'+-'[s < 0]} {n}" for n, s in parts).removeprefix(" + ")
            words = (
                f"{whole} {known[whole]:g} mm is not {signed} = {total:g} mm, "
                f"{abs(known[whole] - total):.0f} mm apart; "
                "measure them again."
            )
            yield _hardly(words, whole)
    back, high, low = (
        known.get(n) for n in ("back_waist_length", "cervicale_height", "waist_height")
    )
    if back and high and low and not BACK[0] <= back / (high - low) <= BACK[1]:
        words = (
            f"back_waist_length {back:g} mm does not go with cervicale_height - waist_height = "
            f"{high - low:g} mm; it is "
            f"{BACK[0]:g} to {BACK[1]:g} times that, so measure the three again at one and the same waist."
        )
        yield _hardly(words, "back_waist_length")


def _ratios(known: Mapping[str, float]) -> Iterator[Finding]:
    if known.get("stature", ADULT) < ADULT:
        return  # a child has other ratios
    for (one, other), row in PAIRS.items():
        if one in known and other in known:
            low, high = _range(row)
            if not low <= known[one] / known[other] <= high:
                words = (
                    f"{one} {known[one]:g} mm is {known[one] / known[other]:.2f} of {other} "
                    f"{known[other]:g} mm; people "
                    f"have {low:.2f} to {high:.2f}, so measure both again."
                )
                yield _hardly(words, one)


def _stature(known: Mapping[str, float]) -> Iterator[Finding]:
    """Shares of stature that hardly anybody has."""
    stature = known.get("stature", 0.0)
    if stature < ADULT:
        return
    for name, row in OF_STATURE.items():
        low, high = _range(row)
        if name in known and not low * stature <= known[name] <= high * stature:
            words = (
                f"{name} {known[name]:g} mm is {known[name] / stature:.3f} of the stature; people have "
                f"{low:.3f} to "
                f"{high:.3f}, so measure it again."
            )
            yield _hardly(words, name)


def _range(row: tuple[float, float, float, float]) -> tuple[float, float]:
    """FAR deviations below and above both means."""
    men, man, women, woman = row
    return min(men - FAR * man, women - FAR * woman), max(men + FAR * man, women + FAR * woman)
