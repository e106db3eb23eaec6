"""The kinds of part: one list, one file a kind or a family."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from padlib.errors import InputError
from padlib.pattern.parts import guard, gusset, limb, neck, panelled, small, tail
from padlib.pattern.parts.part import Ask, Kind, Made, Worn, values_of

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "neck-strip": neck.STRIP,
        "neck-facing": neck.FACING,
        "wrist-strip": limb.WRIST,
        "ankle-strip": limb.ANKLE,
        "underarm-gusset": gusset.UNDERARM,
        "crotch-gusset": gusset.CROTCH,
        "zip-guard": guard.GUARD,
        "zip-cover": guard.COVER,
        "tail-opening": tail.OPENING,
        "belt-loop": small.LOOP,
        "pocket": small.POCKET,
        "drawstring": small.DRAWSTRING,
        "pillow-tie": small.TIE,
        "lining": panelled.LINING,
        "vent": panelled.VENT,
    }
)


def make_part(ask: Ask, worn: Worn) -> Made:
    """What a part that was asked for comes to. Raises InputError in one sentence."""
    if ask.kind not in KINDS:
        close = difflib.get_close_matches(ask.kind, KINDS, n=1, cutoff=0.5)
        hint = f"did you mean '{close[0]}'?" if close else f"there are {', '.join(KINDS)}."
        raise InputError(f"part '{ask.name}': there is no kind '{ask.kind}'; {hint}")
    kind = KINDS[ask.kind]
    for need in kind.needs:
        if not getattr(ask, need):
            raise InputError(f"part '{ask.name}' is a {ask.kind}, which needs '{need}'; add it.")
    return kind.make(ask, worn, values_of(ask, kind))


def parts_text() -> str:
    """All kinds of part with their numbers, for the command line."""
    lines = [
        "Kinds of part, for [[part]] in a suit file. A number that is not given is the one in brackets;",
        "numbers without a published source are common practice. Lengths come from the suit's own seams.",
    ]
    for name, kind in KINDS.items():
        needs = f" (needs {', '.join(kind.needs)})" if kind.needs else ""
        lines += ["", f"{name}{needs}: {kind.words}"]
        lines += [
            f"  {p.name} ({kind.defaults[p.name]:g}): {p.help}; {p.low:g} to {p.high:g} {p.unit}, "
            f"because {p.reason}."
            for p in kind.table
        ]
    return "\n".join(lines) + "\n"


__all__ = ["KINDS", "Ask", "Made", "Worn", "make_part", "parts_text"]
