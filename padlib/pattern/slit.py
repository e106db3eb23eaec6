"""Slits with a zip at the ends of legs and sleeves, where hand or heel would not pass."""

from __future__ import annotations

from padlib.pattern.closure import choose_zip
from padlib.pattern.parts.part import Made, Notion, Step, Worn, opening_of
from padlib.seams.assemble import slit_name

WORDS = {"ankle": ("leg", "ankle"), "wrist": ("sleeve", "wrist")}


def slit_part(worn: Worn, end: str, side: str, *, shortest_mm: float, cloth: str) -> Made | None:
    """The zip of a slit at a limb's end, if the suit has one there.

    It is set in while the limb's seam is still open; the zip is the longest standard one that the slit holds, or cut
    to it. shortest_mm: what getting in needs.
    """
    seam = slit_name(end, side)
    length = opening_of(worn, seam)
    if length <= 0:
        return None
    chosen = choose_zip(length, shortest_mm=shortest_mm, top_mm=0.0, size=5)
    limb, place = WORDS[end]
    words = (
        f"{side.capitalize()} {limb}: set a zip of {chosen.length_mm:.0f} mm into the slit of {length:.0f} mm at the "
        f"{place} while the {limb}'s seam is still open; lay a strip of cloth behind the teeth, no zip on bare skin"
    )
    rest = chosen.rest_mm()
    words += f"; sew the {rest:.0f} mm above it shut." if rest > 1.0 else "."
    kind = "" if chosen.standard else ", by the metre, cut and stopped at the closed end"
    zip_ = Notion(
        f"zip, chain size {chosen.size}, opens towards the {place}, {cloth} colour{kind}",
        1,
        chosen.length_mm,
    )
    numbers = {
        "seam_mm": length,
        "shortest_mm": shortest_mm,
        "zip_mm": chosen.length_mm,
        "chain": chosen.size,
        "rest_mm": rest,
    }
    return Made("slit", seam, steps=(Step("closure", words),), notions=(zip_,), numbers=numbers)
