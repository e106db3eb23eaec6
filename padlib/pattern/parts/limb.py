"""Wrists and ankles: strips that make sleeves and legs longer."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from padlib.padding.shapes.parameter import Parameter
from padlib.pattern.parts.part import (
    Ask,
    Blank,
    Kind,
    Made,
    Step,
    Worn,
    need_seam,
    opening_of,
)
from padlib.pattern.parts.site import along
from padlib.pattern.parts.taper import tapered

SAME_MM = 1.0  # left and right openings that differ by less share one strip


def _longer(family: str, hands: str) -> Callable[[Ask, Worn, Mapping[str, float]], Made]:
    """How strips of a family of openings are made; hands: what is worn beyond them."""

    def make(ask: Ask, worn: Worn, v: Mapping[str, float]) -> Made:
        seams = need_seam(worn, ask, family)
        around = {side: opening_of(worn, seam) for side, seam in seams.items()}
        alike = max(around.values()) - min(around.values()) < SAME_MM
        blanks: list[Blank] = []
        for side, long in around.items():
            if alike and blanks:
                continue
            name = ask.name if alike else f"{ask.name} {side}"
            top = sum(around.values()) / len(around) if alike else long
            low = v["lower"] or top
            narrower = f", tapers to {low:.0f} mm round" if v["lower"] else ""
            blanks.append(
                tapered(
                    ask,
                    name,
                    (top, low),
                    v["length"],
                    hem=v["hem"],
                    seamed=worn.allowance_mm,
                    words=family,
                    count=len(around) if alike else 1,
                    notes=(f"adds {v['length']:g} mm{narrower}",),
                )
            )
        there = {e.seam for f in worn.flats for e in f.panel.edges}
        slit = any(f"closure-{seam}" in there for seam in seams.values())
        sites = tuple(along(worn.flats, seam, ring=not slit) for seam in seams.values())
        names = {s: (ask.name if alike else f"{ask.name} {side}") for side, s in seams.items()}
        way = (
            f"leave each strip open, sew it to the {family} with the quarter marks spread evenly, its ends at the "
            "slit, turn them in beside the zip"
            if slit
            else f"close each strip to a tube, sew it to the {family} with the quarter marks spread evenly, its seam "
            f"on the {family}'s back seam"
        )
        words = f"{ask.name}: {way}, and hem it; it covers {hands}."
        return Made(
            ask.kind,
            ask.name,
            tuple(blanks),
            joins=names,
            steps=(Step("hem", words, sites),),
            numbers={f"{s}_mm": mm for s, mm in zip(seams.values(), around.values(), strict=True)}
            | {"length_mm": v["length"]}
            | ({"lower_mm": v["lower"]} if v["lower"] else {}),
        )

    return make


def _table(most: float, why: str) -> tuple[Parameter, ...]:
    return (
        Parameter("length", "mm", "how much is added", 15, most, why),
        Parameter("hem", "mm", "allowance at its lower edge", 0, 60, "more stands off the limb"),
        Parameter(
            "lower",
            "mm",
            "round of its lower edge; 0: as the opening",
            0,
            1500,
            "no limb is thicker",
        ),
    )


WRIST = Kind(
    "a strip at each wrist, because sleeves end up short when arms are bent",
    _table(200, "more is a sleeve of its own"),
    {"length": 50.0, "hem": 25.0, "lower": 0.0},
    _longer("wrist", "the edge of the hand that is put on"),
)
ANKLE = Kind(
    "a strip at each ankle that runs down over the edge of the foot that is zipped on",
    _table(200, "more is trodden on"),
    {"length": 40.0, "hem": 25.0, "lower": 0.0},
    _longer("ankle", "the edge of the foot that is put on"),
)
