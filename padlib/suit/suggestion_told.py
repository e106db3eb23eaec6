"""What a suggestion says: lines to read, plain values for JSON, and what it changes in a suit file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from padlib.suit.extras import written
from padlib.suit.file import DrawnSeam
from padlib.suit.suggestion import BUILT, DARTED, GUESSED, Suggestion
from padlib.suit.trials import Laid, Worth


def seam_entry(seam: DrawnSeam) -> dict[str, Any]:
    """A new seam as an entry of [[seam]]."""
    return {
        "name": seam.name,
        "through": [written(spot) for spot in seam.through],
        "round": seam.round,
    }


def values(told: Suggestion) -> dict[str, Any]:
    """A suggestion as plain values."""
    return {
        "moves": dict(told.moves),
        "seams": [seam_entry(seam) for seam in told.seams],
        "usual": _laid(told.usual),
        "suggested": _laid(told.sought),
        "worth": [
            {
                "seam": worth.seam,
                "kind": worth.kind,
                "length_mm": worth.length_mm,
                "before_new_seams": worth.early,
                "without": _laid(worth.without),
                "with": _laid(worth.with_it),
            }
            for worth in told.worth
        ],
        "plans_cut": told.found.tried,
        "plans_laid": told.plans,
        "judged": told.judged,
        "seconds": told.seconds,
        "out_of_time": told.out,
    }


def _laid(laid: Laid) -> Mapping[str, float]:
    plain = asdict(laid)
    return {
        "stretch_percent": {key: plain[key] for key in ("mean", "p95", "p99")},
        "darts": laid.darts,
        "dart_mm": laid.dart_mm,
        "panels_over_limit": laid.over,
        "panels_guessed": laid.guessed,
    }


def text(told: Suggestion) -> str:
    """A suggestion as lines to read, the changes of the suit file first."""
    usual, sought = told.usual, told.sought
    tries = f"{told.found.tried} plans cut, {told.plans} laid flat"
    if not told.moves and not told.seams:
        return (
            f"Neither moving a seam nor drawing a new one pays ({tries}): as they are, the panels {_take(usual)} "
            f"{usual.dart_mm:.0f} mm of darts and {usual.mean:.2f} % of stretch on average.{_judged(told)}"
        )
    lines = []
    if told.moves:
        lines += ["[seams]", *(f"{key} = {value:g}" for key, value in told.moves.items()), ""]
    for seam in told.seams:
        lines += ["[[seam]]", f'name = "{seam.name}"', "through = ["]
        lines += [f"    {_spot(written(spot))}," for spot in seam.through]
        lines += ["]", "round = true", ""]
    lines += [
        f"{_laid_flat(told)}: darts {usual.dart_mm:.0f} mm as the seams are, {sought.dart_mm:.0f} mm as suggested; "
        f"stretch {usual.mean:.2f} and {sought.mean:.2f} % on average, {usual.p95:.2f} and {sought.p95:.2f} % at the "
        f"95th percentile; panels over the limit {usual.over} and {sought.over} ({tries}).{_judged(told)}",
        *map(_worth, told.worth),
    ]
    return "\n".join(lines)


def _take(laid: Laid) -> str:
    """How sure it is what panels take."""
    return "will take about" if laid.guessed else "take"


def _laid_flat(told: Suggestion) -> str:
    """How what is told was found."""
    return "Laid flat" if told.judged == BUILT else "Laid flat, as far as there was time"


def _judged(told: Suggestion) -> str:
    """What was left out for want of time."""
    words = {
        GUESSED: "before darts were sought: what is told of them is what panels laid without darts will need",
        DARTED: "before both plans were laid as they are built: darts were sought for the panels that the suggestion "
        "changes, and what others take may be what they will need",
        BUILT: "while plans were sought, so there may be better ones",
    }[told.judged]
    return (
        f" The {told.seconds:.0f} s were out {words}; more time may tell more." if told.out else ""
    )


def _worth(worth: Worth) -> str:
    """What one seam buys, as a sentence."""
    without, with_it = worth.without, worth.with_it
    it = "them" if worth.kind == "moved" else "it"
    what = {
        "moved": f"The {worth.seam} seam's moves",
        "new": f"The new {worth.seam} seam ({worth.length_mm:.0f} mm on both sides together)",
        "plan": f"The plan's {worth.seam} seam ({worth.length_mm:.0f} mm)",
    }[worth.kind]
    beside = "panel" if worth.kind == "plan" else "panels"
    if worth.early:
        what += ", before the new seams that end on them"
    about = "about " if without.guessed else ""
    words = (
        f"{what}: without {it} the {beside} there would take {about}{without.dart_mm:.0f} mm of darts and "
        f"{without.p95:.2f} % of stretch at the 95th percentile, with {it} {with_it.dart_mm:.0f} mm and "
        f"{with_it.p95:.2f} %"
    )
    if without.over != with_it.over:
        words += f"; over the limit are {without.over} and {with_it.over}"
    return f"{words}."


def _spot(spot: Any) -> str:
    """A place as TOML writes it."""
    if isinstance(spot, dict):
        return "{" + ", ".join(f"{key} = {_spot(value)}" for key, value in spot.items()) + "}"
    if isinstance(spot, list):
        return f"[{', '.join(_spot(value) for value in spot)}]"
    return f'"{spot}"' if isinstance(spot, str) else f"{spot:.10g}"
