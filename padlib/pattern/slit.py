"""Slits with a zip at the ends of legs and sleeves, where hand or heel would not pass."""

from __future__ import annotations

import numpy as np

from padlib.pattern.closure import choose_zip, place_along
from padlib.pattern.parts.part import (
    Made,
    Mark,
    Notion,
    Step,
    Worn,
    opening_of,
    runs_of,
    stitched,
)
from padlib.pattern.parts.site import Site, apart
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
    site, rest_of = _beyond(worn, seam)
    marks: tuple[Mark, ...] = ()
    if rest > 1.0 and rest_of:
        line = stitched([places for _, _, places in runs_of(worn, seam)])
        shut = [float(apart(line[[k]], np.concatenate(rest_of)).min()) for k in (0, -1)]
        line = line if shut[0] > shut[1] else line[::-1]  # from the hem upwards
        marks = (Mark(seam, place_along(line, chosen.length_mm / length), "zip"),)
    return Made(
        "slit",
        seam,
        marks=marks,
        steps=(Step("closure", words, (site,)),),
        notions=(zip_,),
        numbers=numbers,
    )


def _beyond(worn: Worn, slit: str) -> tuple[Site, list[np.ndarray]]:
    """The seam that runs on where a slit ends, open while the zip is set in, and its lines (k, 3) on the shell."""
    keys, lines = [], []
    for flat in worn.flats:
        own = [(k, e) for k, e in enumerate(flat.panel.edges) if e.kind != "dart"]
        for i, (_, edge) in enumerate(own):
            if edge.seam == slit:
                for k, beside in (own[i - 1], own[(i + 1) % len(own)]):
                    if beside.kind == "sewn":
                        keys.append((flat.panel.name, k))
                        lines.append(flat.panel.surface.vertices[beside.run])
    return Site(tuple(keys), runs=len(keys)), lines
