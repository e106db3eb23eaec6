"""The order of work, for the guide: flat work first, tubes last. Common practice, no source."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from padlib.flatten.flat import Flat
from padlib.pattern.piece import Piece

# Seams in the order in which they are sewn: while the work still lies flat, then tubes, then the join.
STAGES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Centre seams, while front and back lie flat", ("centre-front", "centre-back")),
    ("Shoulders and sides", ("shoulder-left", "shoulder-right", "side-left", "side-right")),
    (
        "Sleeves: upper to under, the back seam, then the front seam",
        ("sleeve-back-left", "sleeve-back-right", "sleeve-front-left", "sleeve-front-right"),
    ),
    ("Sleeves into the armholes", ("armhole-left", "armhole-right")),
    (
        "Legs: inner to outer, the front seam, then the back seam",
        ("leg-front-left", "leg-front-right", "leg-back-left", "leg-back-right"),
    ),
    ("Both legs together at the seat", ("seat-seam",)),
    ("Trunk to legs, from the crotch both ways round", ("hip-left", "hip-right")),
)


def steps(
    flats: Sequence[Flat],
    pieces: Sequence[Piece],
    *,
    closure: str,
    pillows: bool,
    sewn: Sequence[Mapping[str, Any]] = (),
) -> list[str]:
    """One sentence a step, with the seams' names as they stand on the pieces.

    sewn: the seams as the report has them; where one is eased, the step says how much goes in.
    """
    present = {e.seam for f in flats for e in f.panel.edges}
    out = [*_flat_work(pieces, closure), *_seams(present, sewn), "Hem neck, wrists and ankles."]
    if pillows:
        out.append(
            "Pads: sew the zip into the base, sew top to base all round, turn, fill through the zip, and "
            "tack the cushions inside the suit where its seams show their place."
            + eased_words(sewn, [s["name"] for s in sewn if s["name"] not in present])
        )
    out.append(
        "Try it on with a helper, open and shut the closure, sit, stride and reach; comb all seams."
    )
    return out


def _flat_work(pieces: Sequence[Piece], closure: str) -> list[str]:
    """Cutting, darts and the closure."""
    darted = sorted({p.name for p in pieces if p.darts})
    out = [
        "Cut every piece from the back, through the backing only; mark notches, darts and names on the "
        "backing; brush the loose pile out.",
    ]
    if darted:
        out.append(
            f"Darts first: {', '.join(darted)}. Sew from the mouth to the point and run out there."
        )
    if closure != "none":
        out.append(
            f"Set the closure into the centre {closure} while both halves still lie flat; sew a guard "
            "strip behind it."
        )
    return out


def _seams(present: Collection[str], sewn: Sequence[Mapping[str, Any]]) -> list[str]:
    """The seams of the plan in their stages, then the maker's own."""
    out, used = [], set()
    for words, seams in STAGES:
        here = [s for s in seams if s in present]
        used |= set(here)
        if here:
            out.append(
                f"{words}: {', '.join(here)}. Match the notches; stitch along the pile."
                + eased_words(sewn, here)
            )
    hems = {s for s in present if "wrist" in s or "ankle" in s}
    rest = sorted(set(present) - used - {"neck", "closure", "dart"} - hems)
    if rest:
        out.append(f"The maker's own seams: {', '.join(rest)}." + eased_words(sewn, rest))
    return out


def eased_words(seams: Sequence[Mapping[str, Any]], names: Sequence[str]) -> str:
    """A sentence for each ease on the named seams of a report: how much to ease in, and where."""
    told = [(s["name"], s["ease"]) for s in seams if s["name"] in names and s.get("ease")]
    return "".join(
        f" Ease in {ease['got_mm']:.0f} mm of {ease['panel']} on {name}, spread evenly over "
        f"{ease['along_mm']:.0f} mm between the notches, without pleats."
        for name, ease in told
    )
